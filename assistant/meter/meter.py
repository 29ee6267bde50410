"""A meter on a cable: reads sigrok on a thread of its own, and delivers readings that stand still and trouble."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.errors import GearProblem
from assistant.meter.lines import SigrokLines, parsed
from assistant.meter.readings import MeterReading, MeterTrouble
from assistant.meter.sigrok import Running, program
from assistant.meter.spec import MeterSpec
from assistant.meter.steadiness import Steadiness
from assistant.meter.wish import Wish

if TYPE_CHECKING:
    from collections.abc import Callable
    from decimal import Decimal

    from assistant.meter.readings import Sample

    Deliver = Callable[[MeterReading | MeterTrouble], None]

SILENT_S = 3.0
"""No value for so long, and the meter is silent; slow meters give one in a second."""
HOPELESS_S = 15.0
"""After this silence the program is started anew: a meter that was switched off and on may need that."""
RETRY_S = (0.5, 1.0, 2.0, 4.0)
"""Pauses before the program is started again; the last one repeats."""
_GLANCE_S = 0.25
"""How often the reader looks whether it should end, or the device file is gone."""
_MOST_SAMPLES = 50
"""Of one chunk, the latest: a source that floods gives a meter's pace and no more."""


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
        self._spec = MeterSpec.of(spec)
        program()
        self._clock = clock
        self._lock = threading.Lock()
        self._watch: Steadiness | None = None
        self._ending = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, deliver: Deliver) -> None:
        """Begin to read.

        Args:
            deliver: Takes each reading and each trouble, on the reader's thread; it should only post them on. One that
                was on its way while `expect` was called may still come; `Sample.at_s` of its first sample tells.
        """
        self._thread = threading.Thread(target=self._read_on, args=(deliver,), name="meter", daemon=True)
        self._thread.start()

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
                is the one in which values are told, see `MeterReading.unit`. None: nothing is wanted.
            ac: The step wants alternating voltage or current.
            limits: Borders between the bands of the reading, in the first unit: a value that wavers across one stands
                later.
            peak: The step wants the peak hold, so a held display is right.
        """
        watch = Steadiness(Wish(quantity_units, ac, limits, peak)) if quantity_units else None
        with self._lock:
            self._watch = watch

    def latest(self) -> MeterReading | None:
        """The reading that stands still now; None while it moves or nothing is wanted; for "take it"."""
        with self._lock:
            return self._watch.current if self._watch else None

    def close(self) -> None:
        """End the program and the thread; safe to call twice."""
        self._ending.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join()

    def _read_on(self, deliver: Deliver) -> None:
        """Run the program again and again until the end."""
        presence = _Presence(deliver, self._clock)
        tries = 0
        while not self._ending.is_set():
            try:
                with Running(self._spec.reading()) as running:
                    came = self._follow(running, presence, deliver)
            except GearProblem:  # it was uninstalled meanwhile
                came = False
            self._interrupt()
            tries = 0 if came else tries + 1
            if self._ending.is_set():
                return
            presence.ended()
            self._ending.wait(RETRY_S[min(tries, len(RETRY_S) - 1)])

    def _follow(self, running: Running, presence: _Presence, deliver: Deliver) -> bool:
        """Take values until the program ends, is hopeless, or its device file is gone; whether any came."""
        lines, channel, came, since = SigrokLines(), "", False, self._clock()
        port = Path(self._spec.port) if self._spec.port else None
        while not self._ending.is_set():
            chunk = running.read(_GLANCE_S)
            now = self._clock()
            if chunk is None:
                return came
            found = [one for line in lines.feed(chunk)[-_MOST_SAMPLES:] if (one := parsed(line, now))]
            for name, sample in found:
                channel = channel or name
                if name == channel:  # the main display; what the others show is no reading
                    came, since = True, now
                    presence.alive()
                    self._take(sample, deliver)
            if now - since > SILENT_S:
                presence.silent()
                self._interrupt()
            if now - since > HOPELESS_S or (port is not None and not port.exists()):
                return came
        return came

    def _take(self, sample: Sample, deliver: Deliver) -> None:
        with self._lock:
            watch = self._watch
            told = watch.take(sample) if watch is not None else []
        for one in told:
            deliver(one)

    def _interrupt(self) -> None:
        with self._lock:
            if self._watch is not None:
                self._watch.interrupted()


class _Presence:
    """Says once that the meter is silent or gone, and once that it is back.

    Args:
        deliver: Takes what is said.
        clock: Seconds.
    """

    def __init__(self, deliver: Deliver, clock: Callable[[], float]) -> None:
        self._deliver = deliver
        self._clock = clock
        self._absent = ""

    def alive(self) -> None:
        """A value came."""
        if self._absent:
            self._absent = ""
            self._deliver(MeterTrouble("back", "", "The meter reports again."))

    def silent(self) -> None:
        """No value comes, though the program runs."""
        if not self._absent:
            self._absent = "silent"
            self._deliver(
                MeterTrouble("silent", "", "The meter is silent. Say the reading, or use the keys.")
            )

    def ended(self) -> None:
        """The program ended, or its device file is gone."""
        if self._absent != "gone":
            said = self._absent
            self._absent = "gone"
            if not said:
                why = "The meter is gone. Check its cable and switch. Say the reading, or use the keys."
                self._deliver(MeterTrouble("gone", "", why))
