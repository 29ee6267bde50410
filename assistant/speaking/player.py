"""Speech leaves the loudspeaker: at once, until its last sample or until it is cut.

PortAudio (through sounddevice) is only touched by `Player`; `NullPlayer` plays on a clock that may be
virtual, and `SoundTrack` collects what was said by both sides into one sound file.
"""

from __future__ import annotations

import contextlib
import importlib
import math
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from assistant.errors import GearProblem
from assistant.speaking.voice import Samples, Speech

if TYPE_CHECKING:
    from pathlib import Path

_BLOCK_S = 0.01
"""Sound is handed to the device in pieces of this length, so that speech starts and stops quickly."""

_LATENCY_S = 0.03
"""Delay asked of the device: three blocks, enough not to stutter beside a recogniser on two cores."""

_SILENT_FOR_S = 2.5
"""A device that has asked for no sound for so long has stopped working.

Longer than the 2 s for which an idle virtual sink of PulseAudio may make a new stream wait."""

_TRY_AGAIN_S = 2.0

OnFinished = Callable[[bool], None]

NO_PORTAUDIO = "PortAudio, which plays and records sound, is not installed. Run: apt install libportaudio2"


class Output(Protocol):
    """What a session needs of a player."""

    def play(self, speech: Speech, on_finished: OnFinished) -> None:
        """Play this now, cutting what is being played; report ``on_finished(cut)`` once."""

    def cut(self) -> None:
        """Be quiet at once."""

    def close(self) -> None:
        """Give the device back."""


def load_sounddevice() -> Any:
    """The module sounddevice, loaded when live sound is first needed.

    Raises:
        GearProblem: It or the system library under it is missing; says what to install.
    """
    try:
        return importlib.import_module("sounddevice")
    except OSError as error:
        raise GearProblem(NO_PORTAUDIO) from error
    except ImportError as error:
        raise GearProblem(f"Live sound cannot be loaded: {error}. Install bay-assistant again.") from error


def device_named(name: str | None) -> str | int | None:
    """A sound device as it was named on the command line: by its number when it is one."""
    return int(name) if name is not None and name.isdigit() else name


class _Job:
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

    job: _Job | None
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
        sounddevice: Any = None,
    ) -> None:
        self._sounddevice = sounddevice if sounddevice is not None else load_sounddevice()
        self._device = device
        self._on_gear_lost = on_gear_lost or (lambda _why: None)
        self._on_gear_back = on_gear_back or (lambda: None)
        self._lock = threading.Lock()
        self._job: _Job | None = None
        self._leaving: _Job | None = None
        self._reports: queue.SimpleQueue[_Report] = queue.SimpleQueue()
        self._closing = threading.Event()
        self._lost = False
        self._last_call = time.monotonic()
        self.first_sound_s: float | None = None
        """From the latest `play` until its first sound left the device, as far as the device tells; s."""
        self._stream: Any = None
        self.rate = 0
        self._channels = 0
        self._open()
        self._reporter = threading.Thread(target=self._report, name="player-report", daemon=True)
        self._keeper = threading.Thread(target=self._keep, name="player-keep", daemon=True)
        self._reporter.start()
        self._keeper.start()

    @property
    def speaking(self) -> bool:
        """Whether something is being played that has not yet left the loudspeaker wholly."""
        return self._job is not None or self._leaving is not None

    def play(self, speech: Speech, on_finished: OnFinished) -> None:
        """Play this now; what is being played is cut.

        `on_finished` gets False once the last sample has left the loudspeaker, True when it was cut or the
        device is lost.
        """
        begun = time.monotonic()
        job = _Job(_fit(speech.samples, speech.rate, self.rate, self._channels), on_finished)
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
        time.sleep(2 * _BLOCK_S)  # lets the fade leave, so that the loudspeaker does not click
        self._closing.set()
        _shut(self._stream)
        self._reports.put(_Report(None, 0.0, cut=True))
        for thread in (self._reporter, self._keeper):
            if thread is not threading.current_thread():
                thread.join(timeout=2.0)

    # --- the device --------------------------------------------------------------------------------

    def _open(self) -> None:
        sounddevice = self._sounddevice
        try:
            about = sounddevice.query_devices(self._device, "output")
            self.rate = int(about["default_samplerate"])
            self._channels = min(2, int(about["max_output_channels"]))
            self._stream = sounddevice.RawOutputStream(
                samplerate=self.rate,
                blocksize=round(_BLOCK_S * self.rate),
                device=self._device,
                channels=self._channels,
                dtype="int16",
                latency=_LATENCY_S,
                callback=self._fill,
            )
            self._last_call = time.monotonic()
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError, OSError) as error:
            which = "no loudspeaker" if self._device is None else f"no loudspeaker '{self._device}'"
            raise GearProblem(
                f"There is {which} that can be used ({_plain(error)}). Plug one in, or name another device."
            ) from error

    def _asks_for_sound(self) -> bool:
        """A device that is dead still takes its first few blocks when it is opened, so look at later ones."""
        opened = time.monotonic()
        while time.monotonic() - opened < _SILENT_FOR_S and not self._closing.wait(0.05):
            if self._last_call - opened > 2 * _LATENCY_S:
                return True
        return False

    def _fill(self, out: Any, frames: int, when: Any, _status: Any) -> None:
        """Audio thread: the next block of the current job, or silence."""
        now = self._last_call = time.monotonic()
        block = np.zeros((frames, self._channels), np.int16)
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
                    delay = self._delay(when)
                    if first:
                        self.first_sound_s = now + delay - job.begun
                    if job.position >= len(job.frames):
                        self._job, self._leaving = None, job
                        due = now + delay + len(piece) / self.rate
                        self._reports.put(_Report(job, due, cut=False))
        out[:] = block.tobytes()

    def _delay(self, when: Any) -> float:
        """Seconds from the audio callback until the block leaves the device."""
        told = float(when.outputBufferDacTime - when.currentTime)
        return told if 0.0 < told < 1.0 else float(self._stream.latency)

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
        """Wait for the last sample; False when a cut came first, whose own report is then on its way."""
        while True:
            left = report.due - time.monotonic()
            with self._lock:
                if self._leaving is not report.job:
                    return False
                if left <= 0:
                    self._leaving = None
                    return True
            time.sleep(min(left, _BLOCK_S))

    def _keep(self) -> None:
        while not self._closing.wait(0.25):
            silent_for = time.monotonic() - self._last_call
            with contextlib.suppress(Exception):
                if self._stream.active and silent_for < _SILENT_FOR_S:
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
            # A dead device can hold whoever closes it; that must not keep us from opening a new one.
            threading.Thread(target=_shut, args=(self._stream,), name="player-shut", daemon=True).start()
            if self._closing.wait(_TRY_AGAIN_S):
                return
            with contextlib.suppress(GearProblem):
                self._open()
                if self._asks_for_sound():
                    break
        with self._lock:
            self._lost = False
        with contextlib.suppress(Exception):
            self._on_gear_back()


def _shut(stream: Any) -> None:
    with contextlib.suppress(Exception):
        stream.abort()
    with contextlib.suppress(Exception):
        stream.close()


def _plain(error: BaseException) -> str:
    return " ".join(str(part) for part in error.args if isinstance(part, str)) or type(error).__name__


def _fit(samples: Samples, rate: int, to_rate: int, channels: int) -> NDArray[np.int16]:
    """The samples at the device's rate, the same on every channel; shape (frames, channels)."""
    fitted = resample(samples, rate, to_rate)
    return np.repeat(fitted[:, None], channels, axis=1)


def resample(samples: Samples, rate: int, to_rate: int) -> Samples:
    """Mono 16-bit samples at another rate."""
    if rate == to_rate or not len(samples):
        return samples
    soxr = importlib.import_module("soxr")  # late: 20 ms that a text-only command need not pay
    fitted: Samples = soxr.resample(samples, rate, to_rate)
    return fitted


# --- without a device -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Played:
    """Something that was said from `at` until `until` (s on the player's clock); `cut` short or whole."""

    speech: Speech
    at: float
    until: float
    cut: bool


class NullPlayer:
    """Plays nothing; speech takes the time that it would take, on a clock that is given.

    The owner of the clock asks `due` for the next moment at which something happens, sets the clock there
    and calls `tick`; `on_finished` is called inside `tick`, `cut` and `play`.

    Args:
        now: The clock, seconds.
        track: Where what was said is placed, at the moment at which it was said.
    """

    def __init__(self, now: Callable[[], float], track: SoundTrack | None = None) -> None:
        self._now = now
        self._track = track
        self._current: tuple[Speech, float, OnFinished] | None = None
        self.played: list[Played] = []

    @property
    def due(self) -> float | None:
        """When the speech that is on will have ended; None when nothing is being said."""
        if self._current is None:
            return None
        speech, at, _ = self._current
        return at + speech.duration_s

    def play(self, speech: Speech, on_finished: OnFinished) -> None:
        """Begin to say this now; what was being said is cut."""
        self.cut()
        self._current = (speech, self._now(), on_finished)

    def tick(self) -> None:
        """Report the end of speech if the clock has reached it."""
        if self.due is not None and self._now() >= self.due:
            self._end(self.due, cut=False)

    def cut(self) -> None:
        """Be quiet now; speech that had already ended by the clock counts as whole."""
        if self.due is not None:
            self._end(min(self._now(), self.due), cut=self._now() < self.due)

    def close(self) -> None:
        """Cut what is being said."""
        self.cut()

    def _end(self, until: float, *, cut: bool) -> None:
        if self._current is None:
            return
        speech, at, on_finished = self._current
        self._current = None
        self.played.append(Played(speech, at, until, cut))
        if self._track is not None:
            length = round((until - at) * speech.rate)
            self._track.add_assistant(at, speech.samples[:length], speech.rate)
        on_finished(cut)


@dataclass(frozen=True)
class _Placed:
    at: float
    samples: NDArray[np.float32]
    pan: float


class SoundTrack:
    """Both voices on one time line: the assistant left of centre, the technician right of it.

    Args:
        rate: Sampling rate of the track, Hz.
    """

    _PAN = 0.55
    """Share of the way from the centre (0) to one side (1): apart, yet both in both ears."""

    _EDGE_S = 0.008
    """Each piece fades in and out over this time, so that noise in a clip does not click."""

    def __init__(self, rate: int = 22050) -> None:
        self.rate = rate
        self._pieces: list[_Placed] = []
        self._lock = threading.Lock()

    def add_assistant(self, at: float, samples: Samples, rate: int) -> None:
        """Place what the assistant says; it begins `at` seconds after the start of the track."""
        self._add(at, samples, rate, -self._PAN)

    def add_technician(self, at: float, samples: Samples, rate: int) -> None:
        """Place what the technician says."""
        self._add(at, samples, rate, self._PAN)

    @property
    def duration_s(self) -> float:
        """End of the last piece, s."""
        return max((piece.at + len(piece.samples) / self.rate for piece in self._pieces), default=0.0)

    def render(self) -> NDArray[np.int16]:
        """The mix, shape (frames, 2); turned down as a whole if it would clip."""
        with self._lock:
            pieces = list(self._pieces)
        mix = np.zeros((math.ceil(self.duration_s * self.rate) + 1, 2), np.float32)
        for piece in pieces:
            start = round(piece.at * self.rate)
            room = mix[start : start + len(piece.samples)]
            # Constant power: the two gains are a cosine and a sine of the same angle.
            angle = (piece.pan + 1) * math.pi / 4
            room[:, 0] += math.cos(angle) * piece.samples[: len(room)]
            room[:, 1] += math.sin(angle) * piece.samples[: len(room)]
        peak = float(np.max(np.abs(mix), initial=0.0))
        if peak > 1.0:
            mix /= peak
        return np.round(mix * 32767).astype(np.int16)

    def write(self, path: Path) -> None:
        """Write the mix as a WAV or FLAC file, by the suffix of its name.

        Raises:
            GearProblem: The file cannot be written, or has another suffix.
        """
        if path.suffix.lower() not in (".wav", ".flac"):
            raise GearProblem(f"A sound file must be named .wav or .flac, not '{path.name}'.")
        soundfile = importlib.import_module("soundfile")
        try:
            soundfile.write(str(path), self.render(), self.rate, subtype="PCM_16")
        except (OSError, RuntimeError) as error:
            raise GearProblem(f"The sound file {path} cannot be written: {error}.") from error

    def _add(self, at: float, samples: Samples, rate: int, pan: float) -> None:
        if at < 0:
            raise ValueError(f"a piece cannot begin before the track does ({at} s)")
        piece = resample(samples, rate, self.rate).astype(np.float32) / np.float32(32768)
        edge = min(round(self._EDGE_S * self.rate), len(piece) // 2)
        if edge:
            ramp = np.linspace(0.0, 1.0, edge, dtype=np.float32)
            piece[:edge] *= ramp
            piece[-edge:] *= ramp[::-1]
        with self._lock:
            self._pieces.append(_Placed(at, piece, pan))
