"""Turns text into speech: pyttsx3 renders each sentence once, and a cache keeps it.

The synthesiser (eSpeak NG) comes from the wheel ``espeakng-loader``, so no system package is needed. An
installed one is ignored, because its data might belong to another version than the library.
Everything that touches pyttsx3 happens on one dedicated thread, because the library keeps one global voice and
calls back from a thread of its own.
Callers wait for that thread with a time limit, so nothing here can hang a session.
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import importlib
import importlib.metadata
import itertools
import os
import queue
import tempfile
import threading
import wave
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant import files
from assistant.core.words.sentences import sentences
from assistant.errors import GearProblem

DEFAULT_VOICE = "gmw/en-us"
"""eSpeak NG's plain US-English voice."""

DEFAULT_RATE = 160
"""Words per minute: slower than the synthesiser's 175, because the listener is doing something else."""

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
_RENDER_LIMIT_S = 5.0
"""A sentence takes about 0.02 s; after this long the synthesiser is stuck."""

Samples = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class Speech:
    """A rendered utterance: mono 16-bit `samples` at `rate` hertz, and the `text` that they say."""

    samples: Samples
    rate: int
    text: str

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate


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

    def render(self, text: str) -> Speech:
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

    def _render(self, text: str, *, urgent: bool) -> Speech:
        parts: list[Samples] = []
        rate = 0
        for sentence in sentences(text):
            samples, rate = self._sentence(sentence, urgent=urgent)
            if parts:
                parts.append(np.zeros(round(_PAUSE_S * rate), np.int16))
            parts.append(samples)
        if not parts:
            raise GearProblem("There is no text to speak. Give at least one word.")
        return Speech(np.concatenate(parts), rate, text)

    def _sentence(self, sentence: str, *, urgent: bool) -> tuple[Samples, int]:
        key = self._key(sentence)
        known = self._memory.get(key) or self._load(key)
        if known is None:
            raw, rate = _SYNTHESISER.render(
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
            return _read_wave(self._folder / f"{key}.wav")
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


def _read_wave(path: Path) -> tuple[Samples, int]:
    """Samples and rate of a mono 16-bit WAV file.

    Raises:
        ValueError: It is something else or empty.
        OSError, EOFError, wave.Error: It cannot be read.
    """
    with files.open_regular(path) as opened, wave.open(opened, "rb") as file:
        if (file.getnchannels(), file.getsampwidth()) != (1, 2) or not file.getnframes():
            raise ValueError(f"{path} is not mono 16-bit sound")
        data = file.readframes(file.getnframes())
        if len(data) != 2 * file.getnframes():
            raise ValueError(f"{path} is cut short")
        return np.frombuffer(data, "<i2").astype(np.int16), file.getframerate()


# --- the one thread that owns pyttsx3 ---------------------------------------------------------------


@dataclass(order=True)
class _Job:
    priority: int
    number: int
    text: str = field(compare=False)
    voice: str = field(compare=False)
    rate: int = field(compare=False)
    answer: Future[tuple[Samples, int]] = field(compare=False, default_factory=Future)


class _Synthesiser:
    """Renders everything in this process on one daemon thread, urgent sentences first."""

    def __init__(self) -> None:
        self._jobs: queue.PriorityQueue[_Job] = queue.PriorityQueue()
        self._numbers = itertools.count()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._stuck: _Job | None = None

    def render(self, text: str, voice: str, rate: int, *, urgent: bool) -> tuple[Samples, int]:
        """The rendered samples and their rate.

        Raises:
            GearProblem: As `Voice.render`.
        """
        job = _Job(0 if urgent else 1, next(self._numbers), text, voice, rate)
        with self._lock:
            if self._stuck is not None and not self._stuck.answer.done():
                raise GearProblem(_STUCK)
            self._stuck = None
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="voice", daemon=True)
                self._thread.start()
        self._jobs.put(job)
        try:
            return job.answer.result(timeout=_RENDER_LIMIT_S)
        except TimeoutError:
            with self._lock:
                self._stuck = job
            raise GearProblem(_STUCK) from None

    def _work(self) -> None:
        pyttsx3: _Pyttsx3 | None = None
        while True:
            job = self._jobs.get()
            try:
                if pyttsx3 is None:
                    pyttsx3 = _load_pyttsx3()
                job.answer.set_result(_synthesise(pyttsx3, job.text, job.voice, job.rate))
            except GearProblem as problem:
                job.answer.set_exception(problem)
            except Exception as error:  # noqa: BLE001  (whatever a driver raises, a person gets a sentence)
                job.answer.set_exception(GearProblem(f"The voice failed: {error}. {_REINSTALL}"))


_REINSTALL = "Install bay-assistant again, with its packages pyttsx3 and espeakng-loader."
_STUCK = (
    f"The voice did not answer within {_RENDER_LIMIT_S:.0f} seconds. "
    "End the program and start it again; the session goes on where it was."
)
_SYNTHESISER = _Synthesiser()


@dataclass(frozen=True)
class _Pyttsx3:
    """The parts of the library that we use: its engine class, its wait for the end, the path of its data."""

    engine: Callable[[str], Any]
    synchronize: Callable[[], int]
    data: str

    def data_path(self) -> contextlib.AbstractContextManager[None]:
        return _environment("ESPEAK_DATA_PATH", self.data)


def _load_pyttsx3() -> _Pyttsx3:
    """Load pyttsx3 with the wheel's own eSpeak NG, whatever else is installed.

    Raises:
        GearProblem: One of the two packages is missing, or the library cannot be loaded.
    """
    try:
        loader = importlib.import_module("espeakng_loader")
        # Its own symbols first, in case this process already has another speech library (a GNU libc flag).
        own_symbols_first = getattr(os, "RTLD_DEEPBIND", 0)
        library = ctypes.CDLL(loader.get_library_path(), mode=ctypes.RTLD_LOCAL | own_symbols_first)
        data = loader.get_data_path()
        with _library_found_as("espeak", library):
            pyttsx3 = importlib.import_module("pyttsx3")
            bindings = importlib.import_module("pyttsx3.drivers._espeak")
            driver = importlib.import_module("pyttsx3.drivers.espeak")
    except (ImportError, OSError, RuntimeError, AttributeError) as error:
        raise GearProblem(f"The voice cannot be loaded: {error}. {_REINSTALL}") from error
    if _address(bindings.dll) != _address(library):
        raise GearProblem(
            "Another part of this program loaded a speech library first, so the voice cannot be trusted. "
            "Start bay-assistant as a program of its own."
        )
    # The driver prints a line for every file, which must not reach a screen in use.
    vars(driver)["print"] = lambda *_words, **_options: None
    return _Pyttsx3(pyttsx3.engine.Engine, bindings.Synchronize, data)


def _address(library: ctypes.CDLL) -> int | None:
    """Address of the library's first function in memory, which only the same library shares."""
    return ctypes.cast(library.espeak_Initialize, ctypes.c_void_p).value


@contextlib.contextmanager
def _library_found_as(part_of_name: str, library: ctypes.CDLL) -> Iterator[None]:
    """Let `ctypes.cdll.LoadLibrary` answer every name that contains `part_of_name` with `library`.

    pyttsx3 tries a fixed list of paths, some of them absolute, and uses the first that loads.
    """
    load = ctypes.cdll.LoadLibrary

    def found(name: str) -> ctypes.CDLL:
        return library if part_of_name in str(name) else load(name)

    vars(ctypes.cdll)["LoadLibrary"] = found
    try:
        yield
    finally:
        del vars(ctypes.cdll)["LoadLibrary"]


@contextlib.contextmanager
def _environment(name: str, value: str) -> Iterator[None]:
    """Set an environment variable for a while; programs that start later must not inherit it."""
    before = os.environ.get(name)
    os.environ[name] = value
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before


def _synthesise(pyttsx3: _Pyttsx3, text: str, voice: str, rate: int) -> tuple[Samples, int]:
    """Render one sentence on a fresh engine.

    pyttsx3 2.99's `runAndWait` queues an end of its loop, which sometimes finds the library still busy and
    cancels the next sentence halfway. So the loop starts without it; a fresh engine costs nothing.
    """
    problems: list[BaseException] = []
    ends: list[bool] = []
    with tempfile.TemporaryDirectory(prefix="bay-assistant-") as folder, pyttsx3.data_path():
        path = Path(folder) / "sentence.wav"
        engine = pyttsx3.engine("espeak")
        engine.connect("error", lambda exception=None, **_: problems.append(exception))
        engine.connect("finished-utterance", lambda completed=False, **_: ends.append(completed))
        engine.setProperty("voice", voice)
        engine.setProperty("rate", rate)
        engine.save_to_file(text, str(path))
        engine.startLoop()
        # The driver reports the end before the library's own thread has finished the sentence.
        pyttsx3.synchronize()
        if problems or str(engine.getProperty("voice")).lower() != voice.lower():
            raise GearProblem(
                f"There is no voice named '{voice}'. Use '{DEFAULT_VOICE}' or another voice of eSpeak NG."
            )
        if ends != [True]:
            raise GearProblem(f"The voice stopped in the middle of '{text}'. Say it again.")
        try:
            return _read_wave(path)
        except (OSError, EOFError, wave.Error, ValueError) as error:
            raise GearProblem(f"The voice made no sound of '{text}': {error}.") from error
