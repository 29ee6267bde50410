"""Spoken language, from the grammar files to the meaning of what a technician says.

The files: `jsgf` parses them, `lexicon` and `english` have pronunciations, `counting` refuses a rule that would grow
too large, and `phrases` writes a rule out.
Networks: `compiling` makes a `network` of a rule, and `automaton` the acceptor that the recogniser gets.
Meaning: `tags`, `numbers` and `spelling` say what words mean, `language` gathers what all files say (`forms`), and
`grammar_set` gives the `step_grammar` of each step, put together from `parts`; `losses` leaves out forms that noise
could turn into others, and `lacking` those that a model does not know.
`lint` checks the whole, with `nearness` for phrases that sound alike.
"""
