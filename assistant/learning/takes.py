"""The takes of a lesson: what was asked for and what was heard, and what follows for each answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.sound import Samples
from assistant.learning.learnt import HeardOften
from assistant.learning.prompts import ToSay

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.grammar.grammar_set import GrammarSet

WELL = 1.0
"""Share of its takes from which an answer counts as heard well: all of them, as there are two or three."""


@dataclass(frozen=True)
class Take:
    """One repetition.

    Attributes:
        prompt: What was to be said.
        words: The words that were heard, "" for none.
        right: Whether they mean the same.
        accepted: Whether they would have counted in a session.
        sound: The sound, 16 kHz.
        differences: Measures of the voice, for `VoiceSoFar.after`.
    """

    prompt: ToSay
    words: str
    right: bool
    accepted: bool
    sound: Samples = field(default_factory=lambda: np.zeros(0, np.int16), compare=False, repr=False)
    differences: Mapping[str, float] = field(default_factory=dict)


def scores(takes: Sequence[Take]) -> dict[str, HeardOften]:
    """For each answer how often it was heard, in the order of their first takes."""
    found: dict[str, HeardOften] = {}
    for take in takes:
        before = found.get(take.prompt.words, HeardOften(0, 0))
        right = take.right and take.accepted
        found[take.prompt.words] = HeardOften(before.right + right, before.of + 1)
    return found


def other_words(words: str, grammars: GrammarSet, heard: Mapping[str, HeardOften]) -> tuple[str, ...]:
    """Other forms of the same meaning to try instead: those that were heard well first, then those not yet tried.

    Args:
        words: The answer that is heard badly.
        grammars: The grammars with own words.
        heard: How each answer was heard.
    """
    try:
        kind, name = grammars.meaning_of(words)
    except Exception:  # noqa: BLE001  a reading has no name
        return ()
    others = [str(form) for form in grammars.forms(kind, name) if str(form) != words]
    well = [one for one in others if one in heard and is_well(heard[one])]
    # A longer form of other words is heard better than a short one that is nearly the same.
    untried = sorted(
        (one for one in others if one not in heard),
        key=lambda one: (words in one, -len(_phones(one, grammars))),
    )
    return (*well, *untried)


def _phones(words: str, grammars: GrammarSet) -> tuple[str, ...]:
    return grammars.lexicon.phones(words.split()) or ()


def is_well(score: HeardOften) -> bool:
    """Whether an answer is heard well."""
    return score.of > 0 and score.right >= WELL * score.of
