"""Speech leaves the loudspeaker: at once, until its last sample or until it is cut."""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.errors import GearProblem
from assistant.speaking.device import BLOCK_S, OutputDevice
from assistant.speaking.portaudio import load_sounddevice

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from assistant.speaking.output import OnFinished
    from assistant.speaking.speech import SpokenSound

_TRY_AGAIN_S = 2.0


class _Playing:
    """One utterance on its way out; `on_finished` is called once, whatever happens."""

    def __init__(self, frames: NDArray[np.int16], on_finished: OnFinished) -> None:
        self.frames = frames
        self.position = 0
        self.cutting = False
        self.begun = time.monotonic()
        self._on_finished: OnFinished | None = on_finished
        self._lock = threading.Lock()

    def finish(self, *, cut: bool) -> None:
        with self._lock:
            call, self._on_finished = self._on_finished, None
        if call is not None:
            call(cut)


@dataclass(frozen=True)
class _Report:
    """A job that ends at `due` (monotonic s); None ends the reporting thread."""

    job: _Playing | None
    due: float
    cut: bool


class Player:
    """Plays speech on a sound device; the device runs all the time, silent between utterances.

    `on_finished` and the two gear callbacks are called on threads of the player's own, never on the audio
    thread and never inside `play` or `cut`; they must not block for long.

    Args:
        device: Name, part of a name, or number of an output device; None for the system's default.
        on_gear_lost: Called with a plain reason when the device stops working.
        on_gear_back: Called when it works again; the player tries every two seconds.
        on_played: Called on the audio thread with each block, silence included, and its rate in Hz.
        sounddevice: Stand-in for the module of that name.

    Raises:
        GearProblem: PortAudio is missing, or there is no such device or it cannot be opened.
    """

    def __init__(
        self,
        device: str | int | None = None,
        *,
        on_gear_lost: Callable[[str], None] | None = None,
        on_gear_back: Callable[[], None] | None = None,
        on_played: Callable[[NDArray[np.int16], int], None] | None = None,
        sounddevice: Any = None,
    ) -> None:
        module = sounddevice if sounddevice is not None else load_sounddevice()
        self._device = OutputDevice(module, device, self._fill, on_played)
        self._on_gear_lost = on_gear_lost or (lambda _why: None)
        self._on_gear_back = on_gear_back or (lambda: None)
        self._lock = threading.Lock()
        self._job: _Playing | None = None
        self._leaving: _Playing | None = None
        self._reports: queue.SimpleQueue[_Report] = queue.SimpleQueue()
        self._closing = threading.Event()
        self._lost = False
        self.first_sound_s: float | None = None
        """From the latest `play` until its first sound left the device, as far as the device tells; s."""
        self._device.open()
        self._reporter = threading.Thread(target=self._report, name="player-report", daemon=True)
        self._keeper = threading.Thread(target=self._keep, name="player-keep", daemon=True)
        self._reporter.start()
        self._keeper.start()

    @property
    def rate(self) -> int:
        """Sampling rate of the device, Hz."""
        return self._device.rate

    @property
    def speaking(self) -> bool:
        """Whether something is being played that has not yet left the loudspeaker wholly."""
        return self._job is not None or self._leaving is not None

    def play(self, speech: SpokenSound, on_finished: OnFinished) -> None:
        """Play this now; what is being played is cut.

        `on_finished` gets False once the last sample has left the loudspeaker, True if it was cut or the
        device is lost.
        """
        begun = time.monotonic()
        job = _Playing(self._device.fitted(speech), on_finished)
        job.begun = begun
        with self._lock:
            previous, self._job = self._job or self._leaving, job
            self._leaving = None
            lost = self._lost
            if lost:
                self._job = None
        if previous is not None:
            self._reports.put(_Report(previous, 0.0, cut=True))
        if lost:
            self._reports.put(_Report(job, 0.0, cut=True))

    def cut(self) -> None:
        """Be quiet at once: one block fades out, then silence."""
        with self._lock:
            job = self._job or self._leaving
            self._leaving = None
            if self._job is not None:
                self._job.cutting = True
        if job is not None:
            self._reports.put(_Report(job, 0.0, cut=True))

    def close(self) -> None:
        """Cut what is being played and give the device back; safe to call twice."""
        if self._closing.is_set():
            return
        self.cut()
        time.sleep(2 * BLOCK_S)  # lets the fade leave, so that the loudspeaker does not click
        self._closing.set()
        self._device.shut()
        self._reports.put(_Report(None, 0.0, cut=True))
        for thread in (self._reporter, self._keeper):
            if thread is not threading.current_thread():
                thread.join(timeout=2.0)

    def _fill(self, frames: int, now: float, delay: Callable[[], float]) -> NDArray[np.int16]:
        """Audio thread: the next block of the current job, or silence."""
        block = np.zeros((frames, self._device.channels), np.int16)
        with self._lock:
            job = self._job
            if job is not None:
                piece = job.frames[job.position : job.position + frames]
                block[: len(piece)] = piece
                first = job.position == 0
                job.position += frames
                if job.cutting:
                    ramp = np.linspace(1.0, 0.0, frames)[:, None]
                    block[:] = (block * ramp).astype(np.int16)
                    self._job = None
                else:
                    leaves = now + delay()
                    if first:
                        self.first_sound_s = leaves - job.begun
                    if job.position >= len(job.frames):
                        self._job, self._leaving = None, job
                        due = leaves + len(piece) / self._device.rate
                        self._reports.put(_Report(job, due, cut=False))
        return block

    # --- threads of our own ------------------------------------------------------------------------

    def _report(self) -> None:
        while True:
            report = self._reports.get()
            if report.job is None:
                return
            with contextlib.suppress(Exception):
                if report.cut or self._left(report):
                    report.job.finish(cut=report.cut)

    def _left(self, report: _Report) -> bool:
        """Wait for the last sample; False if a cut came first, whose own report is then on its way."""
        while True:
            left = report.due - time.monotonic()
            with self._lock:
                if self._leaving is not report.job:
                    return False
                if left <= 0:
                    self._leaving = None
                    return True
            time.sleep(min(left, BLOCK_S))

    def _keep(self) -> None:
        while not self._closing.wait(0.25):
            with contextlib.suppress(Exception):
                if self._device.works():
                    continue
            self._lose()
            self._recover()

    def _lose(self) -> None:
        with self._lock:
            self._lost = True
            jobs = [job for job in (self._job, self._leaving) if job is not None]
            self._job = self._leaving = None
        for job in jobs:
            self._reports.put(_Report(job, 0.0, cut=True))
        with contextlib.suppress(Exception):
            self._on_gear_lost("The loudspeaker stopped working. Check its plug and cable.")

    def _recover(self) -> None:
        while True:
            self._device.shut_aside()
            if self._closing.wait(_TRY_AGAIN_S):
                return
            with contextlib.suppress(GearProblem):
                self._device.open()
                if self._device.asks_for_sound(self._closing):
                    break
        with self._lock:
            self._lost = False
        with contextlib.suppress(Exception):
            self._on_gear_back()
