"""Measurements and answers as they are spoken and written.

`placing` names places, connections and tests, `instructing` says what to do at a step, `reporting` repeats a result,
and `remarking` has the other sentences of the dialogue; `sentences` takes a text apart.
Numbers with their units are in `assistant.core.values.units`.
"""
