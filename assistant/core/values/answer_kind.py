"""What a wrong answer would cost, as a few kinds of answers; each kind has its own limits of confidence.

The recogniser judges an answer by its kind, and so does the dialogue when it decides whether to take the answer
silently, to read it back, or to ask again.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from assistant.core.values.result import Control

if TYPE_CHECKING:
    from collections.abc import Collection

    from assistant.core.values.result import Result


class AnswerKind(StrEnum):
    """The kinds of answers, by what a wrong one would do.

    Attributes:
        STOP: Stops everything; a false one costs a question, a missed one perhaps a hand.
        AFFIRM: A yes that makes a result count; nothing asks again after it.
        RELEASE: Releases what the step waits for: ready, go ahead, cranking, go anyway, take it, and a yes that means
            one.
        DENY: A no or a correction where something waits for a yes; a false one costs a repeated question.
        TAKE_BACK: A correction anywhere else takes the last result back.
        LEAVE: Leaves the question without an answer: skip, leave blank, close, other test, other lamp, that is all.
        ASIDE: Changes nothing: say again, choices, why, not sure, stand by, voice note.
        VERDICT: An answer that leads to a verdict; it is always read back.
        READING: A number; it is always read back.
        SIGNS: Spelled signs; they are always read back.
        RESULT: Any other answer.
    """

    STOP = "stop"
    AFFIRM = "affirm"
    RELEASE = "release"
    DENY = "deny"
    TAKE_BACK = "take back"
    LEAVE = "leave"
    ASIDE = "aside"
    VERDICT = "verdict"
    READING = "reading"
    SIGNS = "signs"
    RESULT = "result"


_RELEASES = frozenset({Control.READY, Control.GO_AHEAD, Control.CRANKING, Control.GO_ANYWAY, Control.TAKE_IT})

_OF_CONTROL = {
    Control.STOP: AnswerKind.STOP,
    Control.AFFIRM: AnswerKind.RELEASE,
    Control.NEGATIVE: AnswerKind.DENY,
    Control.CORRECTION: AnswerKind.TAKE_BACK,
    **dict.fromkeys(_RELEASES, AnswerKind.RELEASE),
    **dict.fromkeys(
        (
            Control.SKIP,
            Control.LEAVE_BLANK,
            Control.CLOSE,
            Control.OTHER_TEST,
            Control.OTHER_LAMP,
            Control.THAT_IS_ALL,
        ),
        AnswerKind.LEAVE,
    ),
}
_AT_A_READ_BACK = {
    Control.AFFIRM: AnswerKind.AFFIRM,
    Control.NEGATIVE: AnswerKind.DENY,
    Control.CORRECTION: AnswerKind.DENY,
}


def waits_for_yes(controls: Collection[Control]) -> bool:
    """Whether the words that can be said are those of a read-back: a yes there makes a result count."""
    return Control.AFFIRM in controls and not _RELEASES.intersection(controls)


def kind_of(result: Result, controls: Collection[Control], *, to_verdict: bool = False) -> AnswerKind:
    """The kind of an answer.

    Args:
        result: The answer.
        controls: Words of the dialogue that could be said (`GrammarRequest.controls`); they tell a read-back from
            other moments.
        to_verdict: Whether the answer leads to a verdict; only the dialogue knows.
    """
    if result.control is not None:
        here = _AT_A_READ_BACK if waits_for_yes(controls) else {}
        return here.get(result.control) or _OF_CONTROL.get(result.control, AnswerKind.ASIDE)
    if result.value is not None:
        return AnswerKind.READING
    if result.signs is not None:
        return AnswerKind.SIGNS
    return AnswerKind.VERDICT if to_verdict else AnswerKind.RESULT


@dataclass(frozen=True, slots=True)
class KindLimits:
    """Limits of confidence for one kind of answer.

    Attributes:
        kind: The kind.
        taken_from: Probability of being right below which such an answer counts as not understood.
        sure_from: Probability below which it is read back and must be affirmed, if that can be.
    """

    kind: AnswerKind
    taken_from: float
    sure_from: float
