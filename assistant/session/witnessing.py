"""What perceives in place of the technician, at the edge of a session: a meter, and the ear for the starter.

Both run on threads of their own and only post events.  The ear gets the microphone's sound beside the hearing of
speech, also while the assistant speaks, and takes nothing from it.
"""

from __future__ import annotations

import contextlib
import functools
import queue
import threading
import time
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

from assistant.core.library.vocabulary import HUMS
from assistant.core.values.perceived import (
    CrankSound,
    MeterState,
    MeterTold,
    Perceived,
    StarterHeard,
    WantedReading,
)
from assistant.core.values.result import Result
from assistant.core.values.units import plain_number
from assistant.core.values.witness import Figure, Witness
from assistant.hearing.starter.values import CrankPhase, CrankSpeed
from assistant.meter.readings import MeterReading

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.runner import Runner
    from assistant.core.values.events import Event
    from assistant.hearing.sound import Samples
    from assistant.hearing.starter.values import Perceived as Heard
    from assistant.meter.readings import MeterTrouble
    from assistant.session.ramping import ClampWatch

    Make = Callable[[float], Event]
    Happened = Callable[[Make], None]

LEFT_S = 1.5
"""A reading is taken away when it has not stood for so long: a word is recognised a second after it was said."""

BACKLOG = 200
"""Most pieces of sound that wait for the ear; a machine that is so busy loses some."""

_STATES = {
    "silent": (MeterState.SILENT, "no value comes"),
    "gone": (MeterState.GONE, "check its cable and switch"),
    "back": (MeterState.GOOD, ""),
}
"""What the dialogue is told of a meter without a reading, and the reason for the screen."""


class Watch(Protocol):
    """The witnesses of a session, as its loop needs them."""

    def look(self, runner: Runner) -> None:
        """The dialogue has moved on: tell the witnesses what is wanted now."""

    def left(self) -> bool:
        """Whether a reading that was told does not stand any more; true once."""


class NoWatch:
    """A session without witnesses."""

    def look(self, runner: Runner) -> None:
        """There is nothing to tell."""

    def left(self) -> bool:
        """No reading was told."""
        return False


class SteadyMeter(Protocol):
    """The meter that a session needs: `assistant.meter.meter.Meter`, or a stand-in."""

    def start(self, deliver: Callable[[MeterReading | MeterTrouble], None]) -> None:
        """Begin to read, on a thread of its own."""

    def expect(
        self, quantity_units: tuple[str, ...] | None, ac: bool, *, limits: tuple[Decimal, ...] = ()
    ) -> None:
        """What the step wants; None: nothing."""

    def latest(self) -> MeterReading | None:
        """The reading that stands now; None if none does."""


class StarterListener(Protocol):
    """The ear for the starter: `assistant.hearing.starter.ear.StarterEar`, or a stand-in."""

    cylinders: int | None

    def feed(self, samples: Samples) -> list[Heard]:
        """Hear the next samples, and give what was perceived by now."""


class MeterWatch:
    """Tells a session what a meter shows.

    Args:
        meter: The meter, which is started.
        happened: Takes the events.
        clock: Seconds.
    """

    def __init__(
        self, meter: SteadyMeter, happened: Happened, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._meter = meter
        self._happened = happened
        self._clock = clock
        self._wanted: WantedReading | None = None
        self._told = False
        self._stood = 0.0
        meter.start(self._deliver)

    def want(self, wanted: WantedReading | None) -> None:
        """Tell the meter what the dialogue wants now, if that is something else than before."""
        if wanted == self._wanted:
            return
        self._wanted, self._told = wanted, False
        if wanted is None:
            self._meter.expect(None, ac=False)
        else:
            self._meter.expect(wanted.units, wanted.ac, limits=wanted.limits)

    def left(self) -> bool:
        """Whether the reading that was told has not stood for `LEFT_S`; true once."""
        now = self._clock()
        if self._meter.latest() is not None:
            self._stood = now
        if not self._told or now - self._stood < LEFT_S:
            return False
        self._told = False
        return True

    def _deliver(self, one: MeterReading | MeterTrouble) -> None:
        self._happened(functools.partial(event_of_meter, one))
        self._told = isinstance(one, MeterReading)
        self._stood = self._clock()


def event_of_meter(one: MeterReading | MeterTrouble, at: float) -> Perceived | MeterTold:
    """What a meter reports, as an event at this time of the session."""
    if not isinstance(one, MeterReading):
        state, why = _STATES.get(one.kind, (MeterState.WRONG_FUNCTION, one.why))
        return MeterTold(at, state, why)
    result = Result(outcome="over-range") if one.value is None else Result(value=one.value, unit=one.unit)
    figures = [Figure("samples", _samples(one))]
    if one.samples and one.samples[-1].step:
        figures.append(Figure("last digit", f"{plain_number(one.samples[-1].step)} {one.samples[-1].unit}"))
    spread = None if one.value is None else float(one.spread)
    return Perceived(at, Witness.METER, result, 1.0, spread, tuple(figures), one.span_s)


def _samples(reading: MeterReading) -> str:
    """How many samples the reading rests on, over what time, and between what: "8 in 0.9 s, 12.39 to 12.41 V"."""
    values = [one.value for one in reading.samples if one.value is not None and one.unit == reading.unit]
    low, high = min(values, default=None), max(values, default=None)
    between = (
        "" if low is None or high is None else f", {plain_number(low)} to {plain_number(high)} {reading.unit}"
    )
    return f"{len(reading.samples)} in {reading.span_s:.1f} s{between if low != high else ''}"


class StarterWatch:
    """Tells a session what the ear hears of the starter, on a thread of its own.

    Args:
        ear: The ear.
        happened: Takes the events.
        rate: Samples a second.
        clock: Seconds.
    """

    def __init__(
        self,
        ear: StarterListener,
        happened: Happened,
        rate: int,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._ear = ear
        self._happened = happened
        self._rate = rate
        self._clock = clock
        self._pieces: queue.Queue[tuple[Samples, float] | None] = queue.Queue(BACKLOG)
        self._fed = 0
        self._thread = threading.Thread(target=self._run, name="starter", daemon=True)
        self._thread.start()

    def hear(self, samples: Samples) -> None:
        """The next sound of the microphone; returns at once, on any thread."""
        with contextlib.suppress(queue.Full):
            self._pieces.put_nowait((samples, self._clock()))

    def count(self, cylinders: int | None) -> None:
        """The engine has so many cylinders; None if nobody told."""
        self._ear.cylinders = cylinders

    def close(self) -> None:
        """End the thread; safe to call twice."""
        if self._thread.is_alive():
            self._pieces.put(None)
            self._thread.join(2.0)

    def _run(self) -> None:
        while (piece := self._pieces.get()) is not None:
            samples, came = piece
            heard = self._ear.feed(samples)
            self._fed += len(samples)
            late = self._clock() - came
            for one in heard:
                make = event_of_ear(one, self._fed / self._rate + late)
                if make is not None:
                    self._happened(make)


def event_of_ear(one: Heard, now_s: float) -> Make | None:
    """What the ear perceived, as an event whose time is given later; None for a crank of which it cannot tell how.

    Args:
        one: What was perceived.
        now_s: The present on the ear's clock, in seconds of sound.
    """
    ago = round(max(0.0, now_s - one.at_s), 3)
    sure = round(one.confidence, 3)
    if isinstance(one, CrankPhase):
        phase = CrankSound(one.phase)
        return lambda at: StarterHeard(at, phase, ago, sure)
    if isinstance(one, CrankSpeed):
        if one.manner is not None:
            result, sure = Result(outcome=one.manner), round(min(one.confidence, one.probability), 3)
        elif one.rpm is not None:
            result = Result(value=Decimal(round(one.rpm)), unit="rpm")
        else:
            return None
        figures = [] if one.rpm is None else [Figure("speed", str(round(one.rpm)))]
        if one.per_s is not None:
            figures.append(Figure("compressions", f"{one.per_s:.1f} a second"))
        figures.append(Figure("rhythm", one.evenness.replace("-", " ")))
        spread = None if one.sigma_rpm is None else round(one.sigma_rpm, 1)
        return lambda at: Perceived(at, Witness.EAR, result, sure, spread, tuple(figures))
    return lambda at: Perceived(at, Witness.EAR, Result(outcome=HUMS), sure)


class Witnesses:
    """The witnesses of a session; any may be missing.

    Args:
        meter: Reads a meter.
        starter: Hears the starter.
        clamp: Captures the ramp of a current.
    """

    def __init__(
        self,
        meter: MeterWatch | None = None,
        starter: StarterWatch | None = None,
        clamp: ClampWatch | None = None,
    ) -> None:
        self._meter = meter
        self._starter = starter
        self._clamp = clamp

    def look(self, runner: Runner) -> None:
        """Tell the meter what is wanted, the ear how many cylinders there are, and the clamp when to capture."""
        if self._meter is not None:
            self._meter.want(runner.wanted)
        if self._starter is not None:
            self._starter.count(runner.cylinders)
        if self._clamp is not None:
            self._clamp.look(runner)

    def left(self) -> bool:
        """Whether a reading that was told does not stand any more; true once."""
        return self._meter is not None and self._meter.left()
