"""Pictures: a measurement on its circuit, and what it would show by the circuit model.

svg.py         a small writer of SVG that knows how much room its letters take
symbols.py     parts and instruments
connection.py  circuit and measurement -> schematic; it does not need the circuit model
loading.py     the heavy lamp that loads the circuit while a drop is measured
curves.py      a trace of the circuit model -> panels: what is stated, what loads the circuit, what the eye sees
plots.py       panels -> curves over time
whole.py       both on one sheet, as SVG and as PNG
"""
