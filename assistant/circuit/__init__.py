"""The circuit model: what each fault would look like to each instrument.

Values in, values out; arrays over systems ("cars"). No bench, vehicle or human measurement is behind its figures;
each parameter states its source, or that it was chosen.
"""
