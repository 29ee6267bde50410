"""What the outcomes of each kind of answer cost, and the limits of confidence that follow from it.

The confidence is a probability of being right, so a limit is the probability at which two ways to go on cost the same.
Costs are counted in repeated questions: "say again", the question and the answer take about 8 s together. They are our
judgement; there is no measurement of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.fitting import case_weights
from assistant.core.values.answer_kind import AnswerKind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.acoustic.fitting import Stated

SILENT = 0.001
"""Largest share of answers that may be wrong and taken without being affirmed."""

DOUBTED = 0.3
"""Probability below which nothing is taken by any kind of answer but "stop"."""

_GRID = np.round(np.arange(0.05, 0.9951, 0.005), 3)


@dataclass(frozen=True)
class Price:
    """The cost of an outcome in repeated questions.

    Attributes:
        wrong: A wrong answer that is taken as it is.
        repeat: A right answer that has to be repeated. More than one, because whoever was rejected is rejected again
            more often than others.
        reason: Why, in a sentence.
        affirm: An answer that must be affirmed; None if such an answer is never read back.
        denied: A wrong answer that must be affirmed: "negative", and the answer again; or it is affirmed all the same.
        stray: What ``wrong`` and ``denied`` cost more if nobody answered at all: something near the grammar was said
            to somebody else, so the reply falls into other talk and is put right less often.
    """

    wrong: float
    repeat: float
    reason: str
    affirm: float | None = None
    denied: float = 0.0
    stray: float = 0.0


PRICES: Mapping[AnswerKind, Price] = {
    AnswerKind.STOP: Price(1.0, 6.0, "A false stop costs a question; a missed one may cost a hand."),
    AnswerKind.AFFIRM: Price(
        6.0,
        1.0,
        "Of what is read back with a question every fifth is wrong, and a false yes then lets the diagnosis run on "
        "for four minutes; the read-back itself is short.",
        stray=1.0,
    ),
    AnswerKind.RELEASE: Price(
        8.0,
        1.6,
        "The engine is cranked, or the step goes on, before the hands are away or the lamp is on.",
    ),
    AnswerKind.DENY: Price(1.0, 1.0, "A false no costs the same question again.", stray=0.3),
    AnswerKind.TAKE_BACK: Price(
        4.0, 1.6, "A false correction takes away a result and asks for it again.", stray=1.0
    ),
    AnswerKind.LEAVE: Price(
        12.0,
        1.6,
        "A step is left without its answer, or the session closed, and nobody may notice.",
        stray=2.0,
    ),
    AnswerKind.ASIDE: Price(1.0, 1.6, "It is spoken once more for nothing.", stray=0.5),
    AnswerKind.VERDICT: Price(
        30.0, 1.6, "A wrong verdict costs a part; one false read-back in twenty is affirmed.", 0.5, 4.0, 1.0
    ),
    AnswerKind.READING: Price(
        12.0,
        1.6,
        "Always read back; a wrong number that is affirmed looks like a measurement.",
        0.5,
        2.4,
        0.5,
    ),
    AnswerKind.SIGNS: Price(12.0, 1.6, "Always read back, sign by sign.", 0.5, 2.4, 0.5),
    AnswerKind.RESULT: Price(
        6.0,
        1.4,
        "The read-back inside the next sentence allows a correction, which costs three questions; one in ten is "
        "missed, and the diagnosis runs on for thirty questions.",
        0.5,
        1.8,
        0.5,
    ),
}
"""The price of each kind of answer."""


def limits_of(price: Price, strays: float = 0.0) -> tuple[float, float]:
    """The probabilities from which an answer is taken at all and from which it need not be affirmed.

    For what is never read back: rejecting costs ``repeat`` if it was right, taking costs ``wrong`` if it was not.
    For what may be read back: repeating, affirming or taking, whichever costs least.

    Args:
        price: The price of the kind.
        strays: Share of what is not right that was no answer at all, as `share_of_strays` finds it.
    """
    more = strays * price.stray
    wrong, denied = price.wrong + more, price.denied + more
    if price.affirm is None:
        limit = wrong / (wrong + price.repeat)
        return round(limit, 3), round(limit, 3)
    taken = 1 - (price.repeat - price.affirm) / denied
    sure = 1 - price.affirm / (wrong - denied)
    return round(taken, 3), round(max(taken, sure), 3)


def share_of_strays(judged: Sequence[Stated]) -> float:
    """Of all that is heard as an answer and is not right, at `DOUBTED` or more: the share that was no answer at all.

    Groups count with the weights of the fit (`fitting.SHARES`: our estimate of what is said in a bay).
    """
    heard = [one for one in judged if one.heard.phrase]
    weights = case_weights([one.heard for one in heard])
    doubted = np.array([not one.heard.right and one.probability >= DOUBTED for one in heard], bool)
    strays = np.array([one.heard.other for one in heard], bool)
    return round(float(weights[doubted & strays].sum() / max(1e-9, weights[doubted].sum())), 3)


def silent_limit(judged: Sequence[Stated], share: float = SILENT) -> float:
    """The lowest probability above which at most so many answers, of all that were given, are wrong; one more than was
    seen is counted, because people and rooms outside the measurement are worse than those inside.

    Only answers count: what is no answer at all has rows of its own in the figures.
    """
    answers = [one for one in judged if not one.heard.other]
    wrong = np.array([one.probability for one in answers if not one.heard.right])
    for limit in _GRID:
        if np.sum(wrong >= limit) + 1 <= share * len(answers):
            return float(limit)
    return float(_GRID[-1])


def all_limits(judged: Sequence[Stated], known: Sequence[Stated] = ()) -> dict[str, tuple[float, float]]:
    """The limits of every kind of answer; no answer is taken silently below `silent_limit`.

    Args:
        judged: Utterances of new voices.
        known: The same with what the voice said before.
    """
    silent = max(silent_limit(judged), silent_limit(known))
    strays = share_of_strays(judged)
    found = {}
    for kind in AnswerKind:
        price = PRICES[kind]
        taken, sure = limits_of(price, strays)
        found[kind.value] = (taken, max(sure, silent) if price.affirm is not None else sure)
    return found
