"""The nearest known name to one that was mistyped: for commands, options, settings, sessions and names in a file.

A suggestion that is far off is worse than none, because somebody may follow it. So a name counts as near only if few
letters differ (`MOST_APART`), or if what was typed is the beginning of this one name alone.
"""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_APART = 2, 0.43
"""Most letters that may differ: so many (of two letters only one), or this share of the word if that is more.

A letter too many or too few counts as one; a wrong one, and two that changed places, count as two. The figures were
chosen by hand so that every word of the list in ``tests/core/test_nearest.py`` comes out right.
"""

LEAST_BEGINNING = 3
"""Fewest signs that count as the beginning of a name."""

_LOOKED_AT = 60
"""Number of signs of a wrong name that are compared."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known name that this one could be meant for; None if none is near.

    Capitals count as small letters, and spaces and underscores as hyphens.

    Args:
        word: What was typed.
        known: All names.
    """
    alike = {_folded(name): name for name in sorted(known, reverse=True)}
    typed = _folded(word[:_LOOKED_AT])
    if typed in alike:
        return alike[typed]
    beginning = [name for folded, name in alike.items() if folded.startswith(typed)]
    if len(typed) >= LEAST_BEGINNING and len(beginning) == 1:
        return beginning[0]
    apart = min(((_apart(typed, folded), name) for folded, name in alike.items()), default=None)
    least, share = MOST_APART
    most = max(min(least, len(typed) - 1), share * len(typed))
    return apart[1] if apart is not None and apart[0] <= most else None


def _apart(one: str, other: str) -> int:
    """Number of letters of both that have no fellow in the same order in the other."""
    matcher = difflib.SequenceMatcher(None, one, other, autojunk=False)
    return len(one) + len(other) - 2 * sum(block.size for block in matcher.get_matching_blocks())


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The question "Did you mean 'x'?" and a space, to go before another sentence; "" if no known name is near."""
    near = nearest(word, known)
    return f"Did you mean '{near}'? " if near else ""


def among(word: str, known: Iterable[str], listed: str = "Known are") -> str:
    """What could be meant, and all that is known: sentences without the last full stop.

    Args:
        word: What was typed.
        known: All names, in the order in which they are listed.
        listed: Begins the list.
    """
    names = list(known)
    if not names:
        return "None is defined"
    return f"{did_you_mean(word, names)}{listed}: {', '.join(names)}"


def _folded(name: str) -> str:
    return re.sub(r"[\s_-]+", "-", name.strip().casefold())
