"""The microphone, through PortAudio: a source of 16 kHz samples that recovers after being unplugged or muted.

PortAudio is loaded only when a microphone is first needed, so everything else works without it.
"""

from __future__ import annotations

import contextlib
import functools
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import soxr

from assistant.errors import GearProblem
from assistant.hearing.deafness import Deafness
from assistant.hearing.sound import RATE, Samples
from assistant.speaking.portaudio import load_sounddevice, shut, why_not

BLOCK_S = 0.032
"""Sound comes from the device in pieces of this length, one chunk of the voice-activity model."""

SILENT_FOR_S = 2.0
"""A device that delivers nothing for this long has stopped working; devices deliver every few hundredths of a
second.
"""

TRY_AGAIN_S = 2.0
"""Pause between two attempts to open it again."""

LISTEN_AGAIN_S = 5.0
"""A device that gives only silence is reopened after this time: it may be another one by now.

It stays open until then, because an unmuted device sounds again by itself."""

OWN_VOICE_S = 1.0
"""Time after its own speech in which the assistant's voice may still arrive if the loudspeaker's signal is
recorded.
"""

FIRST_WITHIN_S = GLANCE_WAIT_S = 3.0
"""Longer than the two seconds for which a virtual source of PulseAudio can delay the first block of a new stream."""

_LOOK_S = 0.25

LOST = "The microphone stopped working. Check its plug and cable."

SILENT = "It gives nothing but silence. Is it muted, or is another source chosen?"


@dataclass(frozen=True)
class _Told:
    """Callbacks of a microphone, as `Microphone.start` takes them."""

    deliver: Callable[[Samples], None]
    lost: Callable[[str], None]
    back: Callable[[], None]


class Microphone:
    """One channel of an input device, 16 bits, 16,000 samples a second, resampled if the device has another rate.

    Args:
        device: Name, part of a name, or number of an input device; None for the system's default.
        own_voice: Whether the loudspeaker speaks now; sound meanwhile is not evidence of a microphone.
        sounddevice: Stand-in for the module of that name.

    Raises:
        GearProblem: PortAudio is missing.
    """

    def __init__(
        self,
        device: str | int | None = None,
        *,
        own_voice: Callable[[], bool] = lambda: False,
        sounddevice: Any = None,
    ) -> None:
        self._sounddevice = sounddevice if sounddevice is not None else load_sounddevice()
        self._device = device
        self._stream: Any = None
        self._opening = 0
        self._last_call = 0.0
        self._own_voice = own_voice
        self._spoke_at = -OWN_VOICE_S
        self._deafness = Deafness()
        self._closing = threading.Event()
        self._keeper: threading.Thread | None = None
        self._told = _Told(lambda _samples: None, lambda _why: None, lambda: None)

    def start(
        self,
        deliver: Callable[[Samples], None],
        lost: Callable[[str], None],
        back: Callable[[], None],
    ) -> None:
        """Open the device and deliver its sound from now on.

        Args:
            deliver: Called with each piece of sound on the audio thread; must return at once.
            lost: Called with a plain reason when the device stops working or gives only exact silence.
            back: Called when it gives sound again; until then it is reopened again and again.

        Raises:
            GearProblem: There is no such device, or it cannot be opened.
        """
        self._told = _Told(deliver, lost, back)
        self._open()
        self._keeper = threading.Thread(target=self._keep, name="microphone-keep", daemon=True)
        self._keeper.start()

    @property
    def sounded(self) -> bool:
        """Whether anything other than exact silence has come, judged before resampling, which dithers."""
        return self._deafness.sounded

    def close(self) -> None:
        """Give the device back; safe to call twice."""
        self._closing.set()
        shut(self._stream)
        if self._keeper is not None and self._keeper is not threading.current_thread():
            self._keeper.join(timeout=1.0)

    def _open(self) -> None:
        sounddevice = self._sounddevice
        try:
            about = sounddevice.query_devices(self._device, "input")
            rate = RATE
            try:
                sounddevice.check_input_settings(
                    device=self._device, samplerate=RATE, channels=1, dtype="int16"
                )
            except (sounddevice.PortAudioError, ValueError):
                rate = int(about["default_samplerate"])
            resampler = soxr.ResampleStream(rate, RATE, 1, dtype="int16") if rate != RATE else None
            self._opening += 1
            self._deafness.opened_again()
            stream = sounddevice.RawInputStream(
                samplerate=rate,
                blocksize=round(BLOCK_S * rate),
                device=self._device,
                channels=1,
                dtype="int16",
                callback=functools.partial(self._take, self._opening, rate, resampler),
            )
            self._last_call = time.monotonic()
            stream.start()
            self._stream = stream
        except (sounddevice.PortAudioError, ValueError, OSError) as error:
            which = "no microphone" if self._device is None else f"no microphone '{self._device}'"
            raise GearProblem(
                f"There is {which} that can be used ({why_not(error, self._device)}). Plug one in, name another one "
                "that 'bay-assistant gear' lists, or run with --keys-only."
            ) from error

    def _take(
        self, opening: int, rate: int, resampler: Any, data: Any, _frames: int, _when: Any, _status: Any
    ) -> None:
        """Audio thread: look at the block and hand it on."""
        if opening != self._opening or self._closing.is_set():
            return  # a stream that is being abandoned
        now = self._last_call = time.monotonic()
        samples: Samples = np.frombuffer(bytes(data), np.int16)
        if self._own_voice():
            self._spoke_at = now
        spoke = now - self._spoke_at < OWN_VOICE_S
        self._deafness.feed(samples, samples.size / rate, now, own_voice=spoke)
        if resampler is not None:
            samples = resampler.resample_chunk(samples)
        if samples.size and not self._deafness.deaf:
            self._told.deliver(samples)

    # --- watching over the device ---

    def _keep(self) -> None:
        while not self._closing.wait(_LOOK_S):
            why = self._trouble()
            if why is None:
                continue
            with contextlib.suppress(Exception):
                self._told.lost(why)
            if self._recovered():
                with contextlib.suppress(Exception):
                    self._told.back()

    def _trouble(self) -> str | None:
        """The reason why nothing can be heard; None if all is well."""
        if not self._alive():
            return LOST
        return SILENT if self._deafness.deaf else None

    def _alive(self, within_s: float = 0.0) -> bool:
        within_s = within_s or SILENT_FOR_S
        try:
            return bool(self._stream.active) and time.monotonic() - self._last_call < within_s
        except Exception:  # noqa: BLE001  a stream that cannot even say so is not alive
            return False

    def _recovered(self) -> bool:
        """Try until the device delivers real sound again; False if it is closed meanwhile.

        A device that comes back without sound is not back: it would feed the recogniser nothing.
        """
        self._deafness.deaf = True
        while not self._closing.is_set():
            pause_s = 0.0 if self._alive() else TRY_AGAIN_S
            # Closing a dead device can block; that must not keep us from opening a new stream.
            shutting = threading.Thread(
                target=shut, args=(self._stream,), name="microphone-shut", daemon=True
            )
            shutting.start()
            shutting.join(timeout=_LOOK_S)
            if self._closing.wait(pause_s):
                return False
            with contextlib.suppress(GearProblem):
                self._open()
                if self._sounds():
                    return True
        return False

    def _sounds(self) -> bool:
        """Listen to a newly opened stream for as long as that is useful; whether there was sound."""
        opened = time.monotonic()
        while time.monotonic() - opened < LISTEN_AGAIN_S and not self._closing.wait(0.05):
            if not self._deafness.deaf:
                return True
            if not self._alive(FIRST_WITHIN_S):
                return False
        return False


def glance(microphone: Microphone, seconds: float) -> Samples:
    """Listen for a moment: samples at 16 kHz, fewer if the device is slow, none if it hangs.

    Args:
        microphone: Not yet started; closed afterwards.
        seconds: Wanted length of sound; the call waits for it at most `GLANCE_WAIT_S` longer.

    Raises:
        GearProblem: There is no such device, or it cannot be opened.
    """
    blocks: list[Samples] = []
    enough = threading.Event()

    def deliver(samples: Samples) -> None:
        blocks.append(samples)
        if sum(block.size for block in blocks) >= seconds * RATE:
            enough.set()

    try:
        microphone.start(deliver, lambda _why: None, lambda: None)
        enough.wait(seconds + GLANCE_WAIT_S)
    finally:
        microphone.close()
    return np.concatenate(blocks) if blocks else np.zeros(0, np.int16)


def list_devices(sounddevice: Any = None) -> list[str]:
    """A line for each input device, the default one marked with a star.

    Raises:
        GearProblem: PortAudio is missing; the message says what to install.
    """
    module = sounddevice if sounddevice is not None else load_sounddevice()
    try:
        default = module.query_devices(None, "input")["index"]
    except (module.PortAudioError, ValueError):
        default = None
    return [
        f"{'*' if number == default else ' '} {number}: {about['name']} ({about['max_input_channels']} in)"
        for number, about in enumerate(module.query_devices())
        if about["max_input_channels"] > 0
    ]
