"""Captures the current of a clamp on a scope or another sampling device through sigrok, on a thread of its own."""

from __future__ import annotations

import threading
import time
from abc import abstractmethod
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.errors import GearProblem
from assistant.meter.dwells import CurrentCapture
from assistant.meter.lines import SigrokLines
from assistant.meter.readings import MeterTrouble
from assistant.meter.sampled import SampledLines
from assistant.meter.sigrok import Running, program, sampling_rate
from assistant.meter.spec import MeterSpec, channel_named

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    Deliver = Callable[[CurrentCapture | MeterTrouble], None]

RATE = 20000
"""Samples a second; a device that cannot do exactly this takes its nearest, and says so."""
LONGEST_S = 15.0
"""As long as anybody cranks; a capture that nobody ends ends then."""
_PATIENCE_S = 5.0
_GLANCE_S = 0.2


@dataclass(frozen=True)
class Collected:
    """What came of one run of the program.

    Attributes:
        capture: The capture; None if nothing came that can be one.
        unit: What the device measures: "V" or "A"; "" if it did not say.
        channels: Names of the channels that came; none of a file.
        rate: Samples a second; 0 if nobody said.
        complaint: What the program wrote last to standard error; "" for nothing.
    """

    capture: CurrentCapture | None
    unit: str
    channels: tuple[str, ...]
    rate: float
    complaint: str


class _OnThread(Closes):
    """One capture on a thread of its own: `start` before cranking, `finish` after it."""

    def __init__(self) -> None:
        self._finished = threading.Event()
        self._dropped = False
        self._thread: threading.Thread | None = None

    def start(self, deliver: Deliver) -> None:
        """Begin; returns at once.

        Args:
            deliver: Takes the capture, or trouble of kind "gone", once, on the capturing thread.
        """
        self._thread = threading.Thread(target=self._run, args=(deliver,), name="clamp", daemon=True)
        self._thread.start()

    def finish(self) -> None:
        """End it; what was captured is delivered soon after. Safe to call twice."""
        self._finished.set()

    def close(self) -> None:
        """End it and deliver nothing more."""
        self._dropped = True
        self._finished.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join()

    def _run(self, deliver: Deliver) -> None:
        found = self._found()
        if found is not None and not self._dropped:
            deliver(found)

    @abstractmethod
    def _found(self) -> CurrentCapture | MeterTrouble | None:
        """Capture until it is finished; None if it was dropped meanwhile. Runs on the thread."""


class ClampCapture(_OnThread):
    """A capture of a clamp on a scope.

    Args:
        spec: The device, as for `assistant.meter.meter.Meter`.
        channel: Name of its channel, such as ``CH1``; "" for a device that has only one.
        ampere_per_volt: Of the clamp: 100 for one of 10 mV/A. It does not count for a device that gives amps.
        rate: Samples a second.
        longest_s: A capture that nobody ends ends then, in s.

    Raises:
        UsageProblem: The spec or the channel is malformed.
        GearProblem: The program ``sigrok-cli`` is not installed; says how to install it.
    """

    def __init__(
        self,
        spec: str,
        channel: str = "",
        ampere_per_volt: float = 100.0,
        rate: int = RATE,
        longest_s: float = LONGEST_S,
    ) -> None:
        super().__init__()
        self._arguments = selecting(spec, channel, rate)
        self._ampere_per_volt = ampere_per_volt
        self._longest_s = longest_s
        program()

    def _found(self) -> CurrentCapture | MeterTrouble:
        why = "The clamp's device gives nothing. Check its cable. Say what the ramp looks like."
        try:
            found = live(self._arguments, self._ampere_per_volt, self._longest_s, self._finished)
        except GearProblem:  # it was uninstalled meanwhile
            return MeterTrouble("gone", "", why)
        if len(found.channels) > 1:
            why = "The clamp's device has several channels. Name one of them. Say what the ramp looks like."
        return MeterTrouble("gone", "", why) if found.capture is None else found.capture


class FileCapture(_OnThread):
    """A file of sigrok in place of a clamp, for trying: it is read as if it had been captured while cranking.

    Args:
        path: The file.
        ampere_per_volt: As for `ClampCapture`.
        longest_s: As for `ClampCapture`.
    """

    def __init__(self, path: Path, ampere_per_volt: float = 100.0, longest_s: float = LONGEST_S) -> None:
        super().__init__()
        self._path = path
        self._ampere_per_volt = ampere_per_volt
        self._longest_s = longest_s

    def _found(self) -> CurrentCapture | MeterTrouble | None:
        self._finished.wait(self._longest_s)
        if self._dropped:
            return None
        try:
            return from_file(self._path, self._ampere_per_volt)
        except GearProblem as problem:
            return MeterTrouble("gone", "", str(problem))


def from_file(path: Path, ampere_per_volt: float = 100.0) -> CurrentCapture:
    """The capture in a file of sigrok (``.sr``) with one channel.

    Raises:
        GearProblem: The program is missing, or the file has no capture.
    """
    found = filed(path, ampere_per_volt)
    if found.capture is None:
        raise GearProblem(f"{path} holds no capture of one channel that sigrok can read.")
    return found.capture


def filed(path: Path, ampere_per_volt: float = 100.0) -> Collected:
    """What is in a file of sigrok.

    Raises:
        GearProblem: The program is missing.
    """
    return _collected([f"--input-file={path}"], "csv", SampledLines(ampere_per_volt), threading.Event())


def selecting(spec: str, channel: str = "", rate: int = RATE) -> list[str]:
    """Arguments of the program that select a device, its channel and its rate; errors as for `ClampCapture`."""
    chosen = [f"--channels={channel_named(channel)}"] if channel else []
    return [*MeterSpec.of(spec).sampling(rate), *chosen]


def live(
    arguments: Sequence[str], ampere_per_volt: float, longest_s: float, finished: threading.Event
) -> Collected:
    """Capture a device until it is finished, or for so long.

    Args:
        arguments: From `selecting`.
        ampere_per_volt: As for `ClampCapture`.
        longest_s: The longest time, s.
        finished: Set when it shall end.

    Raises:
        GearProblem: The program is missing, or does not end.
    """
    taken = SampledLines(ampere_per_volt)
    timed = [*arguments, f"--time={round(1000 * longest_s)}"]
    found = _collected(timed, "analog", taken, finished)
    if not taken.channels:
        return found
    # Asked afterwards: a device that is opened once more before could miss the beginning of the crank.
    taken.rate = sampling_rate(arguments)
    return replace(found, capture=taken.capture(), rate=taken.rate)


def _collected(
    arguments: Sequence[str], output: str, taken: SampledLines, finished: threading.Event
) -> Collected:
    """Run the program until it ends, or until `finished` is set."""
    lines = SigrokLines()
    last = time.monotonic()
    with Running(arguments, output) as running:
        while not finished.is_set() and time.monotonic() - last < _PATIENCE_S:
            chunk = running.read(_GLANCE_S)
            if chunk is None:
                break
            for line in lines.feed(chunk):
                taken.take(line)
            if chunk:
                last = time.monotonic()
        complaint = running.complaint
    return Collected(taken.capture(), taken.unit, tuple(taken.channels), taken.rate, complaint)
