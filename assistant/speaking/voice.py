"""Turns text into speech: renders each sentence once (`assistant.speaking.synthesiser`) and keeps it in a cache."""

from __future__ import annotations

import functools
import hashlib
import importlib
import importlib.metadata
import threading
from concurrent.futures import Future
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from assistant import places
from assistant.core.words.sentences import sentences
from assistant.errors import GearProblem
from assistant.speaking import DEFAULT_RATE, LEAST_WORDS, MOST_WORDS, tones
from assistant.speaking.driver import PAUSE_S
from assistant.speaking.edges import active_level, levelled, trimmed
from assistant.speaking.kept import HeldSounds, KeptSounds, Sound
from assistant.speaking.naming import HEART, voice_named
from assistant.speaking.preparing import Preparing
from assistant.speaking.shaping import LEVELS, shaped
from assistant.speaking.speech import Samples, SpokenSound, resample
from assistant.speaking.synthesiser import SYNTHESISER

if TYPE_CHECKING:
    from collections.abc import Iterable

_CACHE_FORMAT = 2

_MOST_HELD_BYTES = 8_000_000
"""Sound kept in memory, besides the files: almost three minutes, far more than one procedure says."""

_NATIVE = {HEART: 24000}
"""Sampling rate of a voice whose sentences another voice may speak; all of them come out at it."""

_ACTIVE = {HEART: 0.162}
"""Level of its active speech at a peak of -1 dBFS, share of full scale: the median of 200 sentences."""


class Voice:
    """Renders text with one voice at one rate.

    Args:
        rate_words_per_minute: Speaking rate, 80 to 450 (eSpeak NG's own limits; the neural voice is no faster than
            `assistant.speaking.driver.FASTEST`).
        voice_name: ``heart``, ``espeak``, or the name of another voice of eSpeak NG such as ``gmw/en-us+f3``;
            None for the default.
        cache_folder: Folder for rendered sentences; None for
            `assistant.places.cache_folder`.
            A folder that cannot be written is not an error: sentences are then simply rendered again.

    Raises:
        GearProblem: The rate is out of range, or no voice can have this name.
    """

    prepares: ClassVar[bool] = True
    """Whether it is of use to ask for texts ahead."""

    def __init__(
        self,
        rate_words_per_minute: int = DEFAULT_RATE,
        voice_name: str | None = None,
        *,
        cache_folder: Path | None = None,
    ) -> None:
        if not LEAST_WORDS <= rate_words_per_minute <= MOST_WORDS:
            raise GearProblem(
                f"A speaking rate of {rate_words_per_minute} words per minute is not possible. "
                f"Give a rate from {LEAST_WORDS} to {MOST_WORDS}."
            )
        self.rate_words_per_minute = rate_words_per_minute
        self.voice_name = voice_named(voice_name)
        self._level = LEVELS[0]
        self._kept = KeptSounds(cache_folder if cache_folder is not None else places.cache_folder("speech"))
        self._held = HeldSounds(_MOST_HELD_BYTES)
        self._rendering: dict[str, Future[Sound]] = {}
        self._lock = threading.Lock()
        self._preparing = Preparing(lambda text: self._render(text, urgent=False))

    @property
    def level(self) -> int:
        """The present level of shaping, one of `assistant.speaking.shaping.LEVELS`."""
        return self._level

    def shape_for(self, level: int) -> None:
        """Shape what is rendered from now on for this much noise; safe from any thread.

        Raises:
            ValueError: There is no such level.
        """
        if level not in LEVELS:
            raise ValueError(f"there is no level {level} of shaping; there are {LEVELS}")
        self._level = level

    def render(self, text: str) -> SpokenSound:
        """The speech for `text`, with a short pause between sentences; safe to call from any thread.

        Raises:
            GearProblem: The text is empty, the voice does not exist, or the synthesiser is not installed, fails
                or does not answer in time.
        """
        return self._render(text, urgent=True)

    def prepare(self, texts: Iterable[str]) -> Future[bool]:
        """Render these texts in the background so that `render` finds them; `render` goes first.

        Texts of an earlier call that are not rendered yet are dropped.
        A text that cannot be rendered is skipped: `render` will say why when it is needed.

        Returns:
            True once all are rendered; False if a later call dropped the rest.
        """
        return self._preparing.ask(texts)

    def _render(self, text: str, *, urgent: bool) -> SpokenSound:
        parts: list[Samples] = []
        rate = 0
        level = self._level
        for sentence in sentences(text):
            samples, rate = self._sentence(sentence, level, urgent=urgent)
            if parts:
                parts.append(np.zeros(round(PAUSE_S * rate), np.int16))
            tone = tones.tone_before(sentence)
            if tone is not None:
                parts.append(tones.sounded(tone, rate, active_level(samples, rate)))
            parts.append(samples)
        if not parts:
            raise GearProblem("There is no text to speak. Give at least one word.")
        return SpokenSound(np.concatenate(parts), rate, text)

    def _sentence(self, sentence: str, level: int, *, urgent: bool) -> Sound:
        """A sentence as it is played: at the voice's rate, trimmed, levelled and shaped."""
        key = self._key(sentence)
        found = self._held.get((key, level))
        if found is None:
            samples, rate = self._unshaped(key, sentence, urgent=urgent)
            found = (shaped(samples, rate, level), rate)
            self._held.put((key, level), found)
        return found

    def _unshaped(self, key: str, sentence: str, *, urgent: bool) -> Sound:
        """The same before it is shaped, so that another level costs only the shaping."""
        found = self._held.get((key, LEVELS[0])) or self._kept.get(key)
        if found is not None:
            return found
        with self._lock:
            coming = self._rendering.get(key)
            mine = coming is None
            if coming is None:
                coming = self._rendering[key] = Future()
        if not mine:
            return coming.result()
        try:
            rendered = SYNTHESISER.render(
                sentence, self.voice_name, self.rate_words_per_minute, urgent=urgent
            )
            rate = _NATIVE.get(self.voice_name, rendered.rate)
            samples = trimmed(resample(rendered.samples, rendered.rate, rate), rate)
            most = None if rendered.voice == self.voice_name else _ACTIVE.get(self.voice_name)
            sound = (levelled(samples, rate, most), rate)
        except BaseException as problem:
            coming.set_exception(problem)
            raise
        else:
            coming.set_result(sound)
        finally:
            with self._lock:
                del self._rendering[key]
        self._kept.put(key, *sound)
        return sound

    def _key(self, sentence: str) -> str:
        parts = (
            _CACHE_FORMAT,
            _version(self.voice_name),
            self.voice_name,
            self.rate_words_per_minute,
            _read_as(self.voice_name, sentence),
        )
        return hashlib.sha256("\0".join(map(str, parts)).encode("utf-8", "surrogatepass")).hexdigest()


def _read_as(voice: str, sentence: str) -> str:
    """What the voice reads: its phonemes, so that a word that an author adds to a lexicon is heard at once."""
    if voice != HEART:
        return sentence
    pronouncing = importlib.import_module("assistant.speaking.neural.pronouncing")
    try:
        return f"/{pronouncing.phonemes(sentence)}/"
    except (ValueError, GearProblem):  # another voice will speak it
        return sentence


@functools.cache
def _version(voice: str) -> str:
    """What decides how a voice sounds: versions of the packages, and all files of a neural voice."""
    found = []
    for name in ("pyttsx3", "espeakng-loader"):
        try:
            found.append(importlib.metadata.version(name))
        except importlib.metadata.PackageNotFoundError:
            found.append("none")
    if voice == HEART:
        found.append(_digest(Path(__file__).with_name("neural")))
    return " ".join(found)


def _digest(folder: Path) -> str:
    """SHA-256 of all files of a folder, with their names: code, weights and pronunciations; 10 ms."""
    hashed = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.suffix != ".pyc":
            hashed.update(path.relative_to(folder).as_posix().encode() + b"\0")
            hashed.update(hashlib.sha256(path.read_bytes()).digest())
    return hashed.hexdigest()
