"""Pictures: a measurement on its circuit, and what the circuit model says would be seen.

svg.py         a small writer of SVG that knows how much room its letters take
symbols.py     parts and instruments
connection.py  circuit and measurement -> schematic; nothing of the circuit model is needed for it
plots.py       a trace of the circuit model -> curves over time
whole.py       both on one sheet, as SVG and as PNG
"""
