"""The one thread that owns pyttsx3, and with it the synthesiser eSpeak NG.

The synthesiser comes from the wheel ``espeakng-loader``, so no system package is needed. An installed one is
ignored, because its data might belong to another version than the library.
Everything that touches pyttsx3 happens on one dedicated thread, because the library keeps one global voice and
calls back from a thread of its own.
Callers wait for that thread with a time limit, so nothing here can hang a session.
"""

from __future__ import annotations

import contextlib
import ctypes
import importlib
import itertools
import os
import queue
import tempfile
import threading
import wave
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.errors import GearProblem
from assistant.speaking.speech import Samples
from assistant.speaking.wave_file import read_wave

DEFAULT_VOICE = "gmw/en-us"
"""eSpeak NG's plain US-English voice."""

_RENDER_LIMIT_S = 5.0
"""A sentence takes about 0.02 s; after this long the synthesiser is stuck."""


@dataclass(order=True)
class _Rendering:
    priority: int
    number: int
    text: str = field(compare=False)
    voice: str = field(compare=False)
    rate: int = field(compare=False)
    answer: Future[tuple[Samples, int]] = field(compare=False, default_factory=Future)


class SynthesiserThread:
    """Renders everything in this process on one daemon thread, urgent sentences first."""

    def __init__(self) -> None:
        self._jobs: queue.PriorityQueue[_Rendering] = queue.PriorityQueue()
        self._numbers = itertools.count()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._stuck: _Rendering | None = None

    def render(self, text: str, voice: str, rate: int, *, urgent: bool) -> tuple[Samples, int]:
        """The rendered samples and their rate.

        Raises:
            GearProblem: As `Voice.render`.
        """
        job = _Rendering(0 if urgent else 1, next(self._numbers), text, voice, rate)
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
SYNTHESISER = SynthesiserThread()
"""The one of this process: the library keeps one global voice."""


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
            return read_wave(path)
        except (OSError, EOFError, wave.Error, ValueError) as error:
            raise GearProblem(f"The voice made no sound of '{text}': {error}.") from error
