"""Pictures: a measurement on its circuit, and what it would show by the circuit model.

svg.py         a small writer of SVG that knows how much room its letters take
symbols.py     parts and instruments
connection.py  circuit and measurement -> schematic; it does not need the circuit model
plots.py       a trace of the circuit model -> curves over time
whole.py       both on one sheet, as SVG and as PNG
"""
