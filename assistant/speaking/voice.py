"""Turns text into speech: renders each sentence once (`assistant.speaking.synthesiser`) and keeps it in a cache."""

from __future__ import annotations

import contextlib
import hashlib
import importlib.metadata
import os
import tempfile
import threading
import wave
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assistant.core.words.sentences import sentences
from assistant.errors import GearProblem
from assistant.speaking import DEFAULT_RATE
from assistant.speaking.speech import Samples, SpokenSound
from assistant.speaking.synthesiser import DEFAULT_VOICE, SYNTHESISER
from assistant.speaking.wave_file import read_wave

if TYPE_CHECKING:
    from collections.abc import Iterable

_PAUSE_S = 0.28
"""Silence between two sentences: long enough to separate two facts, short enough not to sound like the end."""

_LEAD_S = 0.01
_TAIL_S = 0.06
_SILENCE = 10 ** (-50 / 20)
"""Share of full scale under which the edges of a sentence count as silence (-50 dBFS)."""

_PEAK = 10 ** (-1 / 20)
"""Every sentence is scaled to this peak (-1 dBFS): as loud as possible for a noisy bay, without clipping."""

_CACHE_FORMAT = 1
_MOST_CACHED_FILES = 4000
_MOST_HELD_BYTES = 8_000_000
"""Sound kept in memory, besides the files: about three minutes, far more than one procedure says."""


class Voice:
    """Renders text with one voice at one rate.

    Args:
        rate_words_per_minute: Speaking rate, 80 to 450 (the synthesiser's own limits).
        voice_name: Name of an eSpeak NG voice such as ``gmw/en-us`` or ``gmw/en-us+f3``; None for the default.
        cache_folder: Folder for rendered sentences; None for the user's cache folder
            (``$XDG_CACHE_HOME/bay-assistant/speech``, XDG Base Directory Specification 0.8).
            A folder that cannot be written is not an error: sentences are then simply rendered again.

    Raises:
        GearProblem: The rate is out of range.
    """

    def __init__(
        self,
        rate_words_per_minute: int = DEFAULT_RATE,
        voice_name: str | None = None,
        *,
        cache_folder: Path | None = None,
    ) -> None:
        if not 80 <= rate_words_per_minute <= 450:
            raise GearProblem(
                f"A speaking rate of {rate_words_per_minute} words per minute is not possible. "
                "Give a rate from 80 to 450."
            )
        self.rate_words_per_minute = rate_words_per_minute
        self.voice_name = voice_name or DEFAULT_VOICE
        self._folder = cache_folder if cache_folder is not None else _user_cache()
        self._memory: dict[str, tuple[Samples, int]] = {}  # the latest requests, newest at the end
        self._held = 0
        self._holding = threading.Lock()
        self._tidied = False

    def render(self, text: str) -> SpokenSound:
        """The speech for `text`, with a short pause between sentences; safe to call from any thread.

        Raises:
            GearProblem: The text is empty, the voice does not exist, or the synthesiser is not installed, fails
                or does not answer in time.
        """
        return self._render(text, urgent=True)

    def prepare(self, texts: Iterable[str]) -> threading.Thread:
        """Render these texts in the background so that `render` finds them; `render` goes first.

        A text that cannot be rendered is skipped: `render` will say why when it is needed.

        Returns:
            The thread that renders, for a caller that wants to wait.
        """
        wanted = list(texts)

        def work() -> None:
            for text in wanted:
                with contextlib.suppress(GearProblem):
                    self._render(text, urgent=False)

        thread = threading.Thread(target=work, name="voice-prepare", daemon=True)
        thread.start()
        return thread

    def _render(self, text: str, *, urgent: bool) -> SpokenSound:
        parts: list[Samples] = []
        rate = 0
        for sentence in sentences(text):
            samples, rate = self._sentence(sentence, urgent=urgent)
            if parts:
                parts.append(np.zeros(round(_PAUSE_S * rate), np.int16))
            parts.append(samples)
        if not parts:
            raise GearProblem("There is no text to speak. Give at least one word.")
        return SpokenSound(np.concatenate(parts), rate, text)

    def _sentence(self, sentence: str, *, urgent: bool) -> tuple[Samples, int]:
        key = self._key(sentence)
        known = self._memory.get(key) or self._load(key)
        if known is None:
            raw, rate = SYNTHESISER.render(
                sentence, self.voice_name, self.rate_words_per_minute, urgent=urgent
            )
            known = (_level(_trim(raw, rate)), rate)
            self._store(key, *known)
        self._hold(key, known)
        return known

    def _hold(self, key: str, known: tuple[Samples, int]) -> None:
        """Keep a sentence in memory; the least recently used ones go, and their files stay."""
        with self._holding:
            before = self._memory.pop(key, None)
            self._held += known[0].nbytes - (before[0].nbytes if before else 0)
            self._memory[key] = known
            while self._held > _MOST_HELD_BYTES and len(self._memory) > 1:
                oldest = next(iter(self._memory))
                self._held -= self._memory.pop(oldest)[0].nbytes

    def _key(self, sentence: str) -> str:
        parts = (_CACHE_FORMAT, *_versions(), self.voice_name, self.rate_words_per_minute, sentence)
        return hashlib.sha256("\0".join(map(str, parts)).encode("utf-8", "surrogatepass")).hexdigest()

    def _load(self, key: str) -> tuple[Samples, int] | None:
        try:
            return read_wave(self._folder / f"{key}.wav")
        except (OSError, EOFError, wave.Error, ValueError):
            return None

    def _store(self, key: str, samples: Samples, rate: int) -> None:
        with contextlib.suppress(OSError):
            self._folder.mkdir(0o700, parents=True, exist_ok=True)
            if not self._tidied:
                self._tidied = True
                self._folder.chmod(0o700)  # a read-back can hold a customer's name or number
                self._tidy()
            part = self._folder / f"{key}-{os.getpid()}-{threading.get_ident()}.part"
            try:
                with wave.open(str(part), "wb") as file:
                    file.setparams((1, 2, rate, 0, "NONE", ""))
                    file.writeframes(samples.astype("<i2").tobytes())
                part.replace(self._folder / f"{key}.wav")
            except OSError:
                part.unlink(missing_ok=True)

    def _tidy(self) -> None:
        """Delete the oldest half if there are many; every change of wording leaves sentences that nobody needs."""
        files = list(self._folder.glob("*.wav"))
        if len(files) > _MOST_CACHED_FILES:
            files.sort(key=lambda path: path.stat().st_mtime)
            for path in files[: len(files) // 2]:
                path.unlink(missing_ok=True)


def _user_cache() -> Path:
    base = os.environ.get("XDG_CACHE_HOME", "")
    try:
        root = Path(base) if Path(base).is_absolute() else Path.home() / ".cache"
    except RuntimeError:  # no home folder: an unwritable place will do
        root = Path(tempfile.gettempdir()) / "no-home" / "cache"
    return root / "bay-assistant" / "speech"


def _versions() -> tuple[str, ...]:
    found = []
    for name in ("pyttsx3", "espeakng-loader"):
        try:
            found.append(importlib.metadata.version(name))
        except importlib.metadata.PackageNotFoundError:
            found.append("none")
    return tuple(found)


def _trim(samples: Samples, rate: int) -> Samples:
    """Trim the silence at both ends to a little, so that the first sound comes quickly."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > _SILENCE * 32768)
    if not loud.size:
        return samples[:0]
    start = max(0, int(loud[0]) - round(_LEAD_S * rate))
    end = min(len(samples), int(loud[-1]) + 1 + round(_TAIL_S * rate))
    return samples[start:end]


def _level(samples: Samples) -> Samples:
    """Bring the peak of a sentence to -1 dBFS."""
    peak = int(np.max(np.abs(samples.astype(np.int32)), initial=0))
    if not peak:
        return samples
    return np.round(samples * (_PEAK * 32767 / peak)).astype(np.int16)
