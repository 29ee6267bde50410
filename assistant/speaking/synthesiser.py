"""The one thread that owns pyttsx3, and with it the synthesisers: the neural voice and eSpeak NG.

Both speak through pyttsx3's engine, each with its driver. eSpeak NG is loaded only when it is to speak: because its
voice was chosen, or because a sentence has a word that the neural voice's lexicons lack.
Where its wheel was left out, the neural voice spells such a word.
Everything that touches pyttsx3 happens on one dedicated thread, because eSpeak NG's library keeps one global voice and
calls back from a thread of its own.
Callers wait for that thread with a time limit, so nothing here can hang a session.
"""

from __future__ import annotations

import contextlib
import importlib
import itertools
import queue
import tempfile
import threading
import wave
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.errors import GearProblem
from assistant.speaking import driver, espeak
from assistant.speaking.naming import ESPEAK, HEART, no_voice
from assistant.speaking.speech import Samples
from assistant.speaking.spelled import spelled
from assistant.speaking.wave_file import read_wave

_RENDER_LIMIT_S = 5.0
_LETTER_LIMIT_S = 0.05
"""A sentence takes 0.02 to 0.1 s; after this long, and so much for each letter, the synthesiser is stuck.

The letters count only in what nobody wrote to be spoken: 500 digits in a row last 200 s and take 3 s of one core.
"""

_LOAD_LIMIT_S = 20.0
"""The first sentence of a voice may take so much longer, s: its files are read then, 0.3 s on a quick machine, but more
than the limit above on an emulated arm64 with other work beside it.
"""


@dataclass(frozen=True, eq=False)
class Rendered:
    """A rendered sentence.

    Attributes:
        samples: Mono, 16 bits, as they came from the synthesiser.
        rate: Sampling rate, Hz.
        voice: The voice that spoke it: the one that was asked for, or eSpeak's for a sentence that it cannot speak.
        why: Why another voice spoke it; "" if none did.
    """

    samples: Samples
    rate: int
    voice: str
    why: str = ""


@dataclass(order=True)
class _Rendering:
    priority: int
    number: int
    text: str = field(compare=False)
    voice: str = field(compare=False)
    rate: int = field(compare=False)
    answer: Future[Rendered] = field(compare=False, default_factory=Future)


class SynthesiserThread:
    """Renders everything in this process on one daemon thread, urgent sentences first."""

    def __init__(self) -> None:
        self._jobs: queue.PriorityQueue[_Rendering] = queue.PriorityQueue()
        self._numbers = itertools.count()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._stuck: _Rendering | None = None
        self._loaded: set[str] = set()

    def render(self, text: str, voice: str, rate: int, *, urgent: bool) -> Rendered:
        """The rendered sentence; an urgent one waits for nothing but the one that is being rendered.

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
        loading = 0.0 if voice in self._loaded else _LOAD_LIMIT_S
        try:
            return job.answer.result(timeout=_RENDER_LIMIT_S + _LETTER_LIMIT_S * len(text) + loading)
        except TimeoutError:
            with self._lock:
                self._stuck = job
            raise GearProblem(_STUCK) from None

    def _work(self) -> None:
        speakers = Speakers()
        while True:
            job = self._jobs.get()
            try:
                spoken = speakers.speak(job.text, job.voice, job.rate)
                self._loaded.add(job.voice)
                job.answer.set_result(spoken)
            except GearProblem as problem:
                job.answer.set_exception(problem)
            except Exception as error:  # noqa: BLE001  (whatever a driver raises, a person gets a sentence)
                job.answer.set_exception(GearProblem(f"The voice failed: {error}. {espeak.REINSTALL}"))


_STUCK = (
    "The voice did not answer in time. End the program and start it again; the session goes on where it was."
)
SYNTHESISER = SynthesiserThread()
"""The one of this process: eSpeak NG's library keeps one global voice."""


class Speakers:
    """The two synthesisers; eSpeak NG is loaded when it first speaks."""

    def __init__(self) -> None:
        self._espeak: espeak.EspeakLibrary | None = None

    def speak(self, text: str, voice: str, rate: int) -> Rendered:
        """One sentence by this voice, or by eSpeak NG's if the neural voice cannot speak it, or spelled without that.

        Raises:
            GearProblem: As `Voice.render`.
        """
        if voice != HEART:
            return self._by_espeak(text, voice, rate)
        try:
            return _by_heart(text, rate)
        except _CannotSpeakError as cannot:
            try:
                self._library()
            except GearProblem as missing:  # espeakng-loader may be left out, because of its licence
                return _spelled_by_heart(text, rate, cannot, missing)
            spoken = self._by_espeak(text, ESPEAK, rate)
            return Rendered(spoken.samples, spoken.rate, spoken.voice, str(cannot))

    def _library(self) -> espeak.EspeakLibrary:
        if self._espeak is None:
            self._espeak = espeak.load()
        return self._espeak

    def _by_espeak(self, text: str, voice: str, rate: int) -> Rendered:
        """One sentence on a fresh engine.

        pyttsx3 2.99's `runAndWait` queues an end of its loop, which sometimes finds eSpeak NG's library still busy and
        cancels the next sentence halfway. So the loop starts without it; a fresh engine costs nothing.
        """
        library = self._library()
        with library.data_path(), _sentence_file() as path:
            work = _Work("espeak", text, rate, path)
            work.engine.setProperty("voice", voice)
            work.engine.startLoop()
            # The driver reports the end before the library's own thread has finished the sentence.
            library.synchronize()
            if work.problems or str(work.engine.getProperty("voice")).lower() != voice.lower():
                raise no_voice(voice)
            return Rendered(*work.sound(), voice)


class _CannotSpeakError(Exception):
    """The neural voice cannot speak this sentence; says why."""


def _by_heart(text: str, rate: int) -> Rendered:
    """One sentence by the neural voice.

    Raises:
        _CannotSpeakError: A word has no pronunciation, or the voice does not work at all.
    """
    driver.register()
    with _sentence_file() as path:
        work = _Work(HEART, text, rate, path)
        work.engine.runAndWait()
        if work.problems:
            raise _CannotSpeakError(str(work.problems[0])) from work.problems[0]
        try:
            return Rendered(*work.sound(), HEART)
        except GearProblem as problem:
            raise _CannotSpeakError(str(problem)) from problem


def _spelled_by_heart(text: str, rate: int, cannot: _CannotSpeakError, missing: GearProblem) -> Rendered:
    """The sentence with its unknown words letter by letter, when eSpeak NG is not there.

    Raises:
        GearProblem: `missing`, if spelling does not help.
    """
    unknown = getattr(cannot.__cause__, "words", ())
    try:
        spoken = _by_heart(spelled(text, unknown), rate) if unknown else None
    except _CannotSpeakError:
        spoken = None
    if spoken is None:
        raise missing
    return Rendered(spoken.samples, spoken.rate, HEART, f"{cannot}; spelled, because eSpeak NG is missing")


class _Work:
    """A sentence on its way through a fresh engine into a file."""

    def __init__(self, name: str, text: str, rate: int, path: Path) -> None:
        try:
            module = importlib.import_module("pyttsx3.engine")
        except ImportError as error:
            raise GearProblem(f"The voice cannot be loaded: {error}. {espeak.REINSTALL}") from error
        self.problems: list[BaseException] = []
        self._ends: list[bool] = []
        self._text, self._path = text, path
        self.engine: Any = module.Engine(name)
        self.engine.connect("error", lambda exception=None, **_: self.problems.append(exception))
        self.engine.connect("finished-utterance", lambda completed=False, **_: self._ends.append(completed))
        self.engine.setProperty("rate", rate)
        self.engine.save_to_file(text, str(path))

    def sound(self) -> tuple[Samples, int]:
        """What was spoken.

        Raises:
            GearProblem: It was not spoken to its end.
        """
        if self._ends != [True]:
            raise GearProblem(f"The voice stopped in the middle of '{self._text}'. Say it again.")
        try:
            return read_wave(self._path)
        except (OSError, EOFError, wave.Error, ValueError) as error:
            raise GearProblem(f"The voice made no sound of '{self._text}': {error}.") from error


@contextlib.contextmanager
def _sentence_file() -> Any:
    with tempfile.TemporaryDirectory(prefix="bay-assistant-") as folder:
        yield Path(folder) / "sentence.wav"
