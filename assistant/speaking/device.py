"""The output device: a stream that runs all the time and asks for its blocks on the audio thread."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.errors import GearProblem
from assistant.speaking.portaudio import shut, why_not
from assistant.speaking.speech import resample

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from assistant.speaking.speech import SpokenSound

BLOCK_S = 0.01
"""Sound is handed to the device in pieces of this length, so that speech starts and stops quickly."""

_LATENCY_S = 0.03
"""Delay asked of the device: three blocks, enough not to stutter beside a recogniser on two cores."""

_SILENT_FOR_S = 2.5
"""A device that has asked for no sound for so long has stopped working.

Longer than the 2 s for which an idle virtual sink of PulseAudio may make a new stream wait."""


class OutputDevice:
    """A loudspeaker's stream; opened again when it was lost.

    Args:
        sounddevice: The module of that name.
        device: Name, part of a name, or number of an output device; None for the system's default.
        fill: Called on the audio thread with the number of frames, the time (monotonic, s) and a function for
            the delay until they leave the device (s); gives samples of shape (frames, channels).
        played: Called on the audio thread with each block, silence included, and its rate in Hz.

    Attributes:
        rate: Sampling rate, Hz.
        channels: 1 or 2.
    """

    def __init__(
        self,
        sounddevice: Any,
        device: str | int | None,
        fill: Callable[[int, float, Callable[[], float]], NDArray[np.int16]],
        played: Callable[[NDArray[np.int16], int], None] | None = None,
    ) -> None:
        self._sounddevice = sounddevice
        self._device = device
        self._fill = fill
        self._played = played
        self._stream: Any = None
        self._last_call = time.monotonic()
        self.rate = 0
        self.channels = 0

    def open(self) -> None:
        """Open the stream; it asks for sound from now on.

        Raises:
            GearProblem: There is no such device, or it cannot be opened.
        """
        sounddevice = self._sounddevice
        try:
            about = sounddevice.query_devices(self._device, "output")
            self.rate = int(about["default_samplerate"])
            self.channels = min(2, int(about["max_output_channels"]))
            self._stream = sounddevice.RawOutputStream(
                samplerate=self.rate,
                blocksize=round(BLOCK_S * self.rate),
                device=self._device,
                channels=self.channels,
                dtype="int16",
                latency=_LATENCY_S,
                callback=self._ask,
            )
            self._last_call = time.monotonic()
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError, OSError) as error:
            which = "no loudspeaker" if self._device is None else f"no loudspeaker '{self._device}'"
            raise GearProblem(
                f"There is {which} that can be used ({why_not(error, self._device)}). Plug one in, name another one "
                "that 'bay-assistant gear' lists, or run with --silent."
            ) from error

    def fitted(self, speech: SpokenSound) -> NDArray[np.int16]:
        """Speech at the device's rate, the same on every channel; shape (frames, channels)."""
        return np.repeat(resample(speech.samples, speech.rate, self.rate)[:, None], self.channels, axis=1)

    def works(self) -> bool:
        """Whether the stream is active and has asked for sound lately.

        Raises:
            Exception: The stream cannot even say so.
        """
        silent_for = time.monotonic() - self._last_call
        return bool(self._stream.active) and silent_for < _SILENT_FOR_S

    def asks_for_sound(self, closing: threading.Event) -> bool:
        """Whether a stream that has just been opened asks for sound; False if it is closed meanwhile.

        A device that is dead still takes its first few blocks when it is opened, so later ones are checked.
        """
        opened = time.monotonic()
        while time.monotonic() - opened < _SILENT_FOR_S and not closing.wait(0.05):
            if self._last_call - opened > 2 * _LATENCY_S:
                return True
        return False

    def shut(self) -> None:
        """Give the device back."""
        shut(self._stream)

    def shut_aside(self) -> None:
        """Give the device back on a thread: a dead device can hold whoever closes it, and must not keep a new one."""
        threading.Thread(target=shut, args=(self._stream,), name="player-shut", daemon=True).start()

    def _ask(self, out: Any, frames: int, when: Any, _status: Any) -> None:
        """Audio thread: the next block."""
        now = self._last_call = time.monotonic()
        block = self._fill(frames, now, lambda: self._delay(when))
        out[:] = block.tobytes()
        if self._played is not None:
            self._played(block, self.rate)

    def _delay(self, when: Any) -> float:
        """Seconds from the audio callback until the block leaves the device."""
        told_s = float(when.outputBufferDacTime - when.currentTime)
        return told_s if 0.0 < told_s < 1.0 else float(self._stream.latency)
