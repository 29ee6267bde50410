"""A step that repeats the measurement of an earlier result, to prove a repair by the very reading that had failed.

Such a step names no measurement of its own in its file (``repeat: deciding``): it is asked as the earlier one was, with
the same instrument, connection, engine state, unit and limits, and its cautions. What it shows leads on by whether it
is good.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Answer, Step
from assistant.core.library.vocabulary import UNJUDGED

if TYPE_CHECKING:
    from collections.abc import Iterable

DECIDING = "deciding"
"""The value of ``repeat``: the last result outside its limits on the way to the verdict."""

PASSED, FAILED, NOT_YET = "good", "faulty", "not-yet"
"""Answers that a step with ``repeat`` has; the last one is where it leads if the test is skipped."""


@dataclass(frozen=True)
class Repeated(Step):
    """A step as it is asked when it repeats an earlier one.

    Attributes:
        of: Number of the result that it repeats.
        own: The step as its file has it.
    """

    of: int = 0
    own: Step | None = None

    def answered(self, outcome: str) -> Answer:
        """The answer of the file's step for what the repeated measurement shows.

        Raises:
            ValueError: The file's step has no such answer.
        """
        name = NOT_YET if outcome == UNJUDGED else PASSED if outcome == self.good else FAILED
        answer = self.own.answer(name) if self.own else None
        if answer is None:
            raise ValueError(f"a step that repeats a measurement has no answer '{name}'")
        return answer


def repeated(own: Step, earlier: Step, of: int, cautions: Iterable[str] = ()) -> Repeated:
    """A step that asks an earlier one again and leads on by its own answers.

    Args:
        own: The step of the file.
        earlier: The step of the result that is repeated; it has a good outcome.
        of: Number of that result.
        cautions: Cautions of the earlier step's whole procedure.
    """
    passed, failed = own.answer(PASSED), own.answer(FAILED)
    later = own.answer(NOT_YET)
    if passed is None or failed is None or later is None:
        raise ValueError("a step that repeats a measurement lacks one of its answers")

    def leading(answer: Answer) -> Answer:
        target = passed.target if answer.outcome == earlier.good else failed.target
        return replace(answer, target=target, rules_out=())

    reading = earlier.reading
    if reading is not None:
        bands = tuple(replace(band, target=leading(band).target, rules_out=()) for band in reading.bands)
        unjudged = reading.unjudged and replace(reading.unjudged, target=later.target, rules_out=())
        reading = replace(reading, bands=bands, unjudged=unjudged)
    asked = replace(
        earlier,
        name=own.name,
        cautions=tuple(dict.fromkeys((*earlier.cautions, *cautions))),
        answers=tuple(map(leading, earlier.answers)),
        reading=reading,
        if_skipped=later.target,
        line=own.line,
        repeat=own.repeat,
    )
    return Repeated(**{one.name: getattr(asked, one.name) for one in fields(Step)}, of=of, own=own)
