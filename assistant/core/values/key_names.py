"""Keys by name, as `assistant.core.values.events.KeyPressed` has them, and the labels that people read.

A board holds names. Several keys, one after the other, are separated by blanks: ``0 4 enter``.
"""

from __future__ import annotations

LABELS = {
    "enter": "Enter",
    "minus": "-",
    "plus": "+",
    "star": "*",
    "slash": "/",
    "point": ".",
    "erase": "Backspace",
    "stop": "Escape",
    "note": "n",
    "why": "w",
    "close": "q",
}
"""The label of each key that is not its own name."""

TWICE = "enter enter"
"""Enter, and Enter again on what is then shown."""

_NAMES = {label: name for name, label in LABELS.items() if not label.isalpha() or label == "Enter"}
_EARLIER = {**_NAMES, "Enter twice": TWICE}


def label(names: str) -> str:
    """The label of a key, or of keys pressed one after the other: "Enter", "Enter twice", ".21", "04"."""
    if names == TWICE:
        return "Enter twice"
    keys = names.split()
    if len(keys) > 1 and keys[-1] == "enter":  # the board says in words that Enter ends a number
        keys = keys[:-1]
    return "".join(LABELS.get(key, key) for key in keys)


def named(shown: str) -> str:
    """The names of a label; names stay as they are. Records of earlier versions hold labels."""
    if shown in _EARLIER:
        return _EARLIER[shown]
    if len(shown) == 2 and shown.isdigit():
        return f"{shown[0]} {shown[1]} enter"
    if len(shown) == 3 and shown[0] == "." and shown[1:].isdigit():
        return f"point {shown[1]} {shown[2]}"
    return shown
