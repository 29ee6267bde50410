"""A driver of pyttsx3 for the neural voice, with all that pyttsx3's engine asks of a driver.

``register()`` puts it where pyttsx3 looks for its drivers, and then ``pyttsx3.init("heart")`` speaks with it:

    from assistant.speaking import driver
    driver.register()
    engine = pyttsx3.init("heart")
    engine.save_to_file("Key off.", "key-off.wav")
    engine.runAndWait()

The interface is that of pyttsx3 2.99, as its own ``drivers/dummy.py`` documents it. As there, all happens on the thread
that runs the engine's loop.
"""

from __future__ import annotations

import functools
import importlib
import re
import sys
import threading
import time
import wave
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.core.words.sentences import sentences
from assistant.speaking import DEFAULT_RATE
from assistant.speaking.naming import HEART
from assistant.speaking.speech import Samples, SpokenSound

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.speaking.neural.network import HeartNetwork
    from assistant.speaking.output import Output

PAUSE_S = 0.28
"""Silence between two sentences: long enough to separate two facts, short enough not to sound like the end."""

_POLL_S = 0.01

_SPEEDS = (
    *((86, 0.5), (105, 0.6), (122, 0.7), (131, 0.78), (142, 0.8), (155, 0.82), (168, 0.88), (177, 0.95)),
    *((189, 1.1), (202, 1.2), (214, 1.3), (226, 1.33), (272, 1.35), (283, 1.5), (297, 1.8), (317, 2.0)),
)
"""Words a minute, and the network's speed at which sentences last as long as eSpeak NG's at that rate.

Measured on 200 of the program's sentences. The steps come from the network: it rounds the length of every sound to
whole frames, and many are as short as two.
"""

SLOWEST, FASTEST = _SPEEDS[0][0], _SPEEDS[-1][0]


def register() -> None:
    """Let pyttsx3 find this driver by the voice's name."""
    sys.modules[f"pyttsx3.drivers.{HEART}"] = sys.modules[__name__]


def buildDriver(proxy: Any) -> HeartDriver:  # noqa: N802  the name that pyttsx3 asks for
    """A new driver for an engine's proxy."""
    return HeartDriver(proxy)


def speed_for(words_per_minute: float) -> float:
    """The network's speed at which it speaks so many words a minute."""
    rates, speeds = zip(*_SPEEDS, strict=True)
    return float(np.interp(words_per_minute, rates, speeds))


def speak(text: str, words_per_minute: float = DEFAULT_RATE, volume: float = 1.0) -> tuple[Samples, int]:
    """Samples and rate of a text, its sentences parted by a pause; a sentence of any length.

    Raises:
        Unpronounceable: A word is in no lexicon.
    """
    pronouncing = importlib.import_module("assistant.speaking.neural.pronouncing")
    breaths = importlib.import_module("assistant.speaking.neural.breaths").breaths
    network = _network()
    parts: list[Samples] = []
    for sentence in sentences(text):
        if parts:
            parts.append(np.zeros(round(PAUSE_S * network.rate), np.int16))
        for breath in breaths(pronouncing.phonemes(sentence), network.longest):
            sound = network.say(breath, speed=speed_for(words_per_minute))
            parts.append(np.round(np.clip(sound * volume, -1.0, 1.0) * 32767).astype(np.int16))
    return (np.concatenate(parts) if parts else np.zeros(0, np.int16)), network.rate


_loading = threading.Lock()


def _network() -> HeartNetwork:
    with _loading:
        return _loaded()


@functools.cache
def _loaded() -> HeartNetwork:
    """The network, which is loaded with the first sentence and then stays."""
    module = importlib.import_module("assistant.speaking.neural.network")
    network: HeartNetwork = module.HeartNetwork()
    return network


def _loudspeaker() -> Output:
    from assistant.speaking.player import Player  # noqa: PLC0415  a file needs no loudspeaker

    return Player()


class HeartDriver:
    """The driver: carries out one command after the other, and tells its proxy of beginnings, words and ends.

    Args:
        proxy: pyttsx3's ``DriverProxy``.
        output: Opens the loudspeaker for ``say``.
    """

    def __init__(self, proxy: Any, output: Callable[[], Output] = _loudspeaker) -> None:
        self._proxy = proxy
        self._open = output
        self._output: Output | None = None
        self._voice = importlib.import_module("pyttsx3.voice").Voice(
            HEART, "Heart", languages=["en-us"], gender="Female"
        )
        self._rate: float = DEFAULT_RATE
        self._volume = 1.0
        self._looping = self._ended = False
        self._doing: Iterator[None] | None = None

    def destroy(self) -> None:
        """The engine is done with this driver."""
        self._doing = None
        if self._output is not None:
            self._output.close()
            self._output = None

    # --- commands -----------------------------------------------------------------------------------

    def say(self, text: str) -> None:
        """Begin to speak on the loudspeaker."""
        self._begin(self._spoken(text))

    def save_to_file(self, text: str, filename: str) -> None:
        """Begin to speak into a WAV file, mono, 16 bits."""
        self._begin(self._saved(text, filename))

    def stop(self) -> None:
        """End what is being spoken; it is reported as not completed."""
        if self._doing is not None:
            self._doing = None
            if self._output is not None:
                self._output.cut()
            self._end(completed=False)

    def getProperty(self, name: str) -> Any:  # noqa: N802
        """A property.

        Raises:
            KeyError: There is no such property.
        """
        found = {"voices": [self._voice], "voice": HEART, "rate": self._rate, "volume": self._volume}
        if name not in found:
            raise KeyError(f"unknown property {name}")
        return found[name]

    def setProperty(self, name: str, value: Any) -> None:  # noqa: N802
        """Set a property; a number out of range is clipped.

        Raises:
            KeyError: There is no such property.
            ValueError: The value does not fit it.
        """
        if name == "voice":
            if value not in (None, HEART):
                raise ValueError(f"the driver '{HEART}' has no voice {value!r}")
        elif name == "rate":
            self._rate = min(max(_number(name, value), SLOWEST), FASTEST)
        elif name == "volume":
            self._volume = min(max(_number(name, value), 0.0), 1.0)
        else:
            raise KeyError(f"unknown property {name}")

    # --- the loop -----------------------------------------------------------------------------------

    def startLoop(self) -> None:  # noqa: N802
        """Carry out commands until `endLoop`."""
        self._looping = not self._ended
        self._ended = False
        self._go_on()
        while self._looping:
            self._step()
            if self._looping:
                time.sleep(_POLL_S)

    def endLoop(self) -> None:  # noqa: N802
        """Let `startLoop` return; at once if it comes first, as from `runAndWait` when nothing waits."""
        self._ended = not self._looping
        self._looping = False

    def iterate(self) -> Iterator[None]:
        """Carry out commands, one step each time that the caller's own loop asks for the next."""
        self._go_on()
        while True:
            self._step()
            yield

    def _go_on(self) -> None:
        """Take the commands that wait, unless one has begun before the loop did."""
        if self._doing is None:
            self._proxy.setBusy(False)

    def _begin(self, doing: Iterator[None]) -> None:
        self._proxy.setBusy(True)
        self._doing = doing

    def _step(self) -> None:
        """Go on with what is being done, up to its next wait."""
        doing = self._doing
        if doing is None:
            return
        try:
            next(doing)
        except StopIteration:
            if self._doing is doing:  # else it was stopped by whoever was told of a word
                self._doing = None
                self._end(completed=True)
        except Exception as problem:  # noqa: BLE001  pyttsx3 hands on whatever stops a driver
            self._doing = None
            self._proxy.notify("error", exception=problem)
            self._end(completed=False)

    def _end(self, *, completed: bool) -> None:
        self._proxy.notify("finished-utterance", completed=completed)
        self._proxy.setBusy(False)

    def _saved(self, text: str, filename: str) -> Iterator[None]:
        self._proxy.notify("started-utterance")
        samples, rate = speak(text, self._rate, self._volume)
        with Path(filename).open("wb") as opened, wave.open(opened, "wb") as file:
            file.setparams((1, 2, rate, 0, "NONE", ""))
            file.writeframes(samples.astype("<i2").tobytes())
        for word in _words(text):
            self._tell(word)
        yield

    def _spoken(self, text: str) -> Iterator[None]:
        samples, rate = speak(text, self._rate, self._volume)
        if self._output is None:
            self._output = self._open()
        ended = threading.Event()
        self._proxy.notify("started-utterance")
        self._output.play(SpokenSound(samples, rate, text), lambda _cut: ended.set())
        begun = time.monotonic()
        words = list(_words(text))
        while not ended.is_set():
            # The network does not tell when it speaks which word, so each is told at its share of the letters.
            share = (time.monotonic() - begun) * rate / max(1, len(samples))
            while words and words[0].start() <= share * len(text):
                self._tell(words.pop(0))
            yield
        for word in words:
            self._tell(word)

    def _tell(self, word: re.Match[str]) -> None:
        self._proxy.notify("started-word", location=word.start(), length=len(word.group()))


def _words(text: str) -> Iterator[re.Match[str]]:
    return re.finditer(r"\S+", text)


def _number(name: str, value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        raise ValueError(f"{value!r} is no {name}") from None
