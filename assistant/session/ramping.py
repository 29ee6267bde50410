"""The clamp on a scope at the edge of a session: it captures while the engine is cranked, and proposes what it shows.

A capture begins when the dialogue cranks for the shape of a ramp, and ends with the crank or after `LONGEST_S`. It is
kept like the sound of an answer, classified on the capturing thread, and posted as an event. Nothing waits for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from assistant.core.values.perceived import Perceived
from assistant.core.values.result import Control, Result
from assistant.core.values.witness import Figure, Witness
from assistant.core.words.perceiving import WHY
from assistant.errors import RecordProblem
from assistant.meter.readings import MeterTrouble
from assistant.meter.shapes import classified, thinned

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    import numpy.typing as npt

    from assistant.core.dialogue.runner import Runner
    from assistant.core.values.events import Clip, Event
    from assistant.meter.dwells import CurrentCapture
    from assistant.meter.shapes import RampAnswer

    Make = Callable[[float], Event | None]
    Keep = Callable[[npt.NDArray[np.float64], float], Clip]
    Place = tuple[tuple[str, str], int]

LONGEST_S = 5.0
"""A capture ends by itself after so long: enough for ten dwells at the slowest cranking (chosen)."""


class Capturing(Protocol):
    """One capture: `assistant.meter.clamp_capture.ClampCapture`, or a stand-in."""

    def start(self, deliver: Callable[[CurrentCapture | MeterTrouble], None]) -> None:
        """Begin to capture; returns at once."""

    def finish(self) -> None:
        """End it; what was captured is delivered soon after."""

    def close(self) -> None:
        """End it and deliver nothing more."""


class ClampWatch:
    """Captures a ramp for each crank that a session makes to see one.

    Args:
        capture: Makes a capture.
        keep: Stores its samples in the record.
        happened: Takes the events.
    """

    def __init__(
        self, capture: Callable[[], Capturing], keep: Keep, happened: Callable[[Make], None]
    ) -> None:
        self._capture = capture
        self._keep = keep
        self._happened = happened
        self._running: Capturing | None = None
        self._finishing: Capturing | None = None
        self._crank: float | None = None
        self._place: Place = (("", ""), 0)

    def look(self, runner: Runner) -> None:
        """Begin a capture when the crank for it begins, one for each crank, and end it with the crank."""
        self._place = (runner.position, runner.taken)
        crank = runner.captures
        if crank is None:
            self._end()
        elif self._running is not None:
            self._crank = crank  # an announcement may date the same crank back
        elif crank != self._crank:
            self._crank = crank
            self._running = self._capture()
            of = self._place
            self._running.start(lambda came: self._deliver(came, of))

    def _end(self) -> None:
        if self._running is not None:
            self._running.finish()
            self._finishing, self._running = self._running, None

    def close(self) -> None:
        """End a capture that runs or is being judged; safe to call twice."""
        for one in (self._running, self._finishing):
            if one is not None:
                one.close()
        self._running = self._finishing = None

    def _deliver(self, came: CurrentCapture | MeterTrouble, of: Place) -> None:
        """Keep and post what came, unless the step was answered meanwhile."""
        if self._place != of:
            return
        if isinstance(came, MeterTrouble):
            seen = unanswered(came.why)
        else:
            kept = thinned(came)
            seen = event_of_ramp(classified(kept), self._kept(kept))
        self._happened(lambda at: seen(at) if self._place == of else None)

    def _kept(self, capture: CurrentCapture) -> Clip | None:
        try:
            return self._keep(capture.ampere, capture.rate)
        except (
            RecordProblem,
            ValueError,
        ):  # the proposal stands without its picture, as an answer without its sound
            return None


def event_of_ramp(answer: RampAnswer, clip: Clip | None) -> Callable[[float], Perceived]:
    """What a capture shows, as an event whose time is given later.

    Args:
        answer: What the classifier says.
        clip: File of its samples; None if they were not kept.
    """
    if not answer.outcome:
        return unanswered(answer.why, clip)
    figures = [Figure("dwells", str(answer.dwells))]
    if answer.dwells:
        figures.append(Figure("height", f"{answer.peak_a:.1f} A"))
    figures.append(Figure("level between", f"{answer.level_a:.1f} A"))
    if answer.limit_ms is not None:
        figures.append(Figure("limit after", f"{answer.limit_ms:.1f} ms"))
    if answer.why:
        figures.append(Figure(WHY, answer.why))
    result, sure = Result(outcome=answer.outcome), round(answer.probability, 3)
    return lambda at: Perceived(at, Witness.CLAMP, result, sure, None, tuple(figures), clip=clip)


def unanswered(why: str, clip: Clip | None = None) -> Callable[[float], Perceived]:
    """A capture without an answer: it is shown and recorded, and the technician says what the ramp looks like."""
    return lambda at: Perceived(
        at, Witness.CLAMP, Result(control=Control.NOT_SURE), 0.0, figures=(Figure(WHY, why),), clip=clip
    )
