"""Reasoning from all results of a session to its faults.

`odds` and `knowledge` hold what is known before any test, `odds_file` reads the part that people write.
`scales` has the arithmetic of one result, `posterior` the probability of each fault, and `evidence` the model, doubts,
reasons and the best next test; `adding_up` compares the pieces of a voltage drop with the whole.
"""
