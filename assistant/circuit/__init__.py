"""The circuit model: what each fault would look like to each instrument.

Values in, values out; arrays over systems ("cars").  No bench, vehicle or human measurement stands behind its
figures; parameters say where they come from and which of them were chosen.
"""
