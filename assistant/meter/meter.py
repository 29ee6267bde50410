"""A meter on a cable: reads sigrok on a thread of its own, and delivers readings that stand still and trouble."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.meter.readings import MeterReading, MeterTrouble

if TYPE_CHECKING:
    from collections.abc import Callable
    from decimal import Decimal

    Deliver = Callable[[MeterReading | MeterTrouble], None]


class Meter(Closes):
    """A meter, read through sigrok until it is closed.

    Nothing here blocks the caller: `start` returns at once, and what the meter says arrives on the reader's thread. If
    the cable is pulled out, "gone" is delivered, and "back" when it is in again; nobody has to do anything.

    Args:
        spec: Which meter, as sigrok's ``--driver`` takes it: ``demo``, ``DRIVER:conn=/dev/ttyUSB0``.
        clock: Seconds; for `Sample.at_s` and all times.

    Raises:
        UsageProblem: The spec is malformed.
        GearProblem: The program ``sigrok-cli`` is not installed; says how to install it.
    """

    def __init__(self, spec: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._spec = spec
        self._clock = clock

    def start(self, deliver: Deliver) -> None:
        """Begin to read.

        Args:
            deliver: Takes each reading and each trouble, on the reader's thread; it should only post them on.
        """
        raise NotImplementedError

    def expect(
        self,
        quantity_units: tuple[str, ...] | None,
        ac: bool,
        *,
        limits: tuple[Decimal, ...] = (),
        peak: bool = False,
    ) -> None:
        """What the step wants; safe from any thread.

        Readings and "wrong function" are delivered only while something is wanted; "silent", "gone" and "back" always.
        A new wish begins anew: a value that already stands still is delivered again.

        Args:
            quantity_units: Units in which the step may be answered, all of one quantity: ``("V", "mV")``; the first
                is the one that values in a foreign unit are converted to. None: nothing is wanted.
            ac: The step wants alternating voltage or current.
            limits: Borders between the bands of the reading, in the first unit: a value that wavers across one does
                not stand still.
            peak: The step wants the peak hold, so a held display is right.
        """
        raise NotImplementedError

    def latest(self) -> MeterReading | None:
        """The reading that stands still now; None while it moves or nothing is wanted; for "take it"."""
        raise NotImplementedError

    def close(self) -> None:
        """End the program and the thread; safe to call twice."""
        raise NotImplementedError
