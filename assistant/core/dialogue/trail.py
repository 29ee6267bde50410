"""The trail of a dialogue: the steps that it left, in order; a correction can go back to each.

It grows with the session, so a look-up with every answer must not take longer as it grows.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.dialogue.circles import Visits
from assistant.core.library.procedure import Answer, Measurement
from assistant.core.values.perceived import Perceived

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


@dataclass(frozen=True, slots=True)
class Pending:
    """A result that was understood and waits to be affirmed.

    `seen` is what was perceived, if it was not said or keyed; `how` is then its source, `by` how it was taken, and
    `sure` how surely the word that took it was heard.
    """

    answer: Answer
    value: Decimal | None
    unit: str | None
    how: str
    words: str
    confidence: float
    snr_db: float | None
    clip: str | None
    judged: Decimal | None = None
    seen: Perceived | None = None
    by: str = ""
    sure: float = 0.0


@dataclass(frozen=True, slots=True)
class Paused:
    """A procedure that was set aside at this step, to do another one first."""

    procedure: str
    step: str


@dataclass(frozen=True, slots=True)
class Trail:
    """A step that was left and can be returned to; `number` is 0 for a skipped step.

    `confirmed` says how its result was confirmed, `kept` whether it was taken over from an earlier step, and `unasked`
    whether that was done without a question.
    `paused` are the procedures that were set aside then, which going back restores; `visits` those entered by
    then.
    """

    procedure: str
    step: str
    number: int
    measure: Measurement | None
    pending: Pending | None
    confirmed: str = ""
    kept: bool = False
    unasked: bool = False
    paused: tuple[Paused, ...] = ()
    visits: Visits = field(default_factory=Visits)


class Trails:
    """All steps that were left and not taken back."""

    def __init__(self) -> None:
        self._all: list[Trail] = []
        self._results = 0
        # Results by measurement, then by procedure and step, so earlier measurements are found at once.
        self._by_measure: dict[Measurement, dict[tuple[str, str], list[Trail]]] = {}

    def copy(self) -> Trails:
        """The same steps, to which others can be added."""
        twin = Trails()
        twin._all = list(self._all)
        twin._results = self._results
        twin._by_measure = {
            measure: {place: list(results) for place, results in steps.items()}
            for measure, steps in self._by_measure.items()
        }
        return twin

    def __len__(self) -> int:
        return len(self._all)

    @property
    def last(self) -> Trail | None:
        """The last step that was left."""
        return self._all[-1] if self._all else None

    @property
    def results(self) -> int:
        """Number of them that were left with a result."""
        return self._results

    def measured(self) -> list[Trail]:
        """Steps that were left with a result, in order."""
        return [past for past in self._all if past.pending is not None]

    def newest(self) -> Iterator[Trail]:
        """All steps, the one that was left last first."""
        return reversed(self._all)

    def append(self, past: Trail) -> None:
        """A step is left."""
        self._all.append(past)
        if past.pending is not None:
            self._results += 1
            if past.measure is not None:
                steps = self._by_measure.setdefault(past.measure, {})
                steps.setdefault((past.procedure, past.step), []).append(past)

    def pop(self) -> Trail:
        """Go back to the step that was left last.

        Raises:
            IndexError: There is none.
        """
        past = self._all.pop()
        if past.pending is not None:
            self._results -= 1
            if past.measure is not None:
                self._by_measure[past.measure][past.procedure, past.step].pop()
        return past

    def back_to(self, past: Trail) -> list[Trail]:
        """Go back to a step; gives it and all that came after it, newest first.

        Raises:
            IndexError: It is not among them.
        """
        left = [self.pop()]
        while left[-1] is not past:
            left.append(self.pop())
        return left

    def same_measurement(self, measure: Measurement, besides: tuple[str, str]) -> Iterator[Trail]:
        """Results of this measurement, newest first, less those of this procedure and step."""
        steps = self._by_measure.get(measure, {})
        found = [reversed(results) for place, results in steps.items() if place != besides]
        return heapq.merge(*found, key=lambda past: -past.number)


def new_since(measured: Iterable[Trail], results: int) -> list[Trail]:
    """Results that count and say something that was not known when so many had been taken, in order."""
    known = set()
    new = []
    for past in measured:
        if past.pending is None:
            continue
        says = (past.measure, past.pending.answer.outcome)
        if past.number <= results:
            known.add(says)
        elif not past.kept and says not in known:
            new.append(past)
    return new
