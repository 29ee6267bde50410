"""A parser for the JSpeech Grammar Format, version 1.0 (W3C Note, 5 June 2000, an open specification).

A file is read in three steps: `header` reads the self-identifying header, which names the encoding, `symbols` cuts the
text into symbols, and `parsing` makes of them the `tree`: frozen dataclasses that carry their line.
`linking` then joins several grammars: `names` finds the rule that each name stands for, and `recursion` refuses rules
that no finite network can hold.

Any bytes give a tree or a `FileProblem`, never another exception.

Choices that the specification leaves open:

- A file without an encoding in its header is UTF-8.
- A quoted token may hold several words, spoken one after the other.
- ``*`` and ``+`` stand directly behind what they repeat; tags follow them.
- Either every alternative of a set has a weight, or none has one.
"""

from assistant.grammar.jsgf.linking import link
from assistant.grammar.jsgf.names import Linked
from assistant.grammar.jsgf.parsing import parse
from assistant.grammar.jsgf.tree import (
    Alternatives,
    Expansion,
    Grammar,
    Import,
    Null,
    Optional,
    Reference,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    Token,
    Void,
    references,
)

__all__ = [
    "Alternatives",
    "Expansion",
    "Grammar",
    "Import",
    "Linked",
    "Null",
    "Optional",
    "Reference",
    "Repeat",
    "Rule",
    "Sequence",
    "Tagged",
    "Token",
    "Void",
    "link",
    "parse",
    "references",
]
