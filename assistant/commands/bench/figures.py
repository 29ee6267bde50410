"""The figures of README.md in `assistant.hearing`, measured: nothing here is a test, and no test looks at these times.

It plays the demo's scenario through the real ear, dialogue, record and voice, with an empty cache, and records
the time of each part on this machine. A person's wait is the sound that goes by before the end of speech is
decided plus the processing after it. Speech is rendered ahead for no longer than the session's clock would allow.
"""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import __version__, files, resources
from assistant.benchmarks import machine, percentile, resident_mb
from assistant.core.dialogue.sayable import request_for, requests_of
from assistant.core.dialogue.states import State
from assistant.core.words.sentences import sentences
from assistant.demo.person import PlayedPerson, Sounding
from assistant.demo.scenario import SCENARIO, read_scenario
from assistant.demo.stage import Stage
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE, read_sound
from assistant.loading.folder import load_library
from assistant.record import SessionLog
from assistant.rehearsal.player import MadeClock
from assistant.screen.terminal import LineScreen
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from concurrent.futures import Future

    from assistant.session.loop import Session
    from assistant.speaking.speech import SpokenSound

ROUNDS = 6
"""Number of times that the scenario is played: about 100 answers."""

PARTS = {"session": 60.0, "memory": 3.0, "grammars": 6.0, "start": 15.0}
"""The parts of the measuring with their weights, chosen: the sessions take most of the time."""

OUTPUT_S = 0.047
"""Time from `play` to sound at the loudspeaker, s, measured once on a virtual sound card (45 to 47 ms, n = 4). It
depends on the sound card and is not measured here, because there may be none.
"""


@dataclass
class TimedTurn:
    """One answer: sound from the last word to the decision that it had ended, s, and processing time, s."""

    decided_s: float
    decoding_s: float
    answering_s: float

    @property
    def processing_s(self) -> float:
        """Time from the end-point decision to rendered speech."""
        return self.decoding_s + self.answering_s


@dataclass
class Figures:
    """All results; times in s, memory in MB."""

    machine: str
    turns: list[TimedTurn] = field(default_factory=list)
    heard_s: float = 0.0
    decoding_s: float = 0.0
    graph_s: list[float] = field(default_factory=list)
    append_s: list[float] = field(default_factory=list)
    render_s: list[float] = field(default_factory=list)
    first_words_s: list[float] = field(default_factory=list)
    resident_mb: float = 0.0

    def rows(self) -> list[tuple[str, str, str]]:
        """Name, goal and result of each figure."""
        waits = [turn.decided_s + turn.processing_s + OUTPUT_S for turn in self.turns]
        processing = [turn.processing_s for turn in self.turns]
        both = "median and 95th percentile"
        return [
            (
                "end of an answer to the first sound of the next prompt, 95th percentile",
                "0.90 s",
                f"{percentile(waits, 95):.2f} s",
            ),
            ("the same, median", "", f"{percentile(waits, 50):.2f} s"),
            (
                "of which processing after the end-point decision, 95th percentile",
                "0.2 s",
                f"{percentile(processing, 95):.3f} s",
            ),
            ("answers measured", "", f"{len(self.turns)}"),
            (
                "recogniser's real-time factor, one core",
                "0.1",
                f"{self.decoding_s / max(self.heard_s, 1e-9):.3f}",
            ),
            ("resident memory of the whole assistant, highest", "290 MB", f"{self.resident_mb:.0f} MB"),
            (
                "start of the program to its first words, median of five",
                "1.0 s",
                f"{percentile(self.first_words_s, 50):.2f} s",
            ),
            (f"change of grammar, {both}", "", milliseconds(self.graph_s)),
            (f"event and actions safely on the disk, {both}", "", milliseconds(self.append_s)),
            (f"a sentence rendered for the first time, {both}", "150 ms", milliseconds(self.render_s)),
        ]

    def text(self) -> str:
        """A table in Markdown, as in README.md of `assistant.hearing`."""
        lines = [
            f"Measured by `bay-assistant bench` {__version__} on {self.machine}.",
            "",
            "| figure | to hold | measured |",
            "|---|---|---|",
        ]
        lines += [f"| {name} | {limit} | {value} |" for name, limit, value in self.rows()]
        return "\n".join(lines) + "\n"

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        return {
            "machine": self.machine,
            "figures": [{"name": n, "to_hold": limit, "measured": value} for n, limit, value in self.rows()],
            "turns": [
                {"decided_s": t.decided_s, "decoding_s": t.decoding_s, "answering_s": t.answering_s}
                for t in self.turns
            ],
        }


def milliseconds(values: list[float]) -> str:
    """Median and 95th percentile in ms."""
    return f"{1000 * percentile(values, 50):.1f} and {1000 * percentile(values, 95):.1f} ms"


def measure(*, model: Path | None = None, progress: Callable[[str], None] = lambda _text: None) -> Figures:
    """Take all figures; about two minutes.

    Raises:
        BayAssistantError: The model cannot be used.
    """
    figures = Figures(machine())
    path = find_model(model)
    recogniser = Recogniser(path)
    with tempfile.TemporaryDirectory(prefix="bay-assistant-bench-") as name:
        folder = Path(name)
        for number in range(1, ROUNDS + 1):
            progress(f"session {number} of {ROUNDS}")
            _session(figures, folder / str(number), recogniser)
        progress("memory")
        figures.resident_mb = resident_mb(highest=True)
        progress("grammars")
        _grammars(figures, path)
        progress("start")
        _starts(figures, folder, model)
    return figures


class _TimedPerson(PlayedPerson):
    """Records the ear's processing time for the chunk that ends an utterance."""

    spoken: frozenset[str]
    waiting: tuple[float, float] | None = None

    def _hear(self, sounding: Sounding) -> None:
        said = sounding.at + sounding.said / RATE
        begun = time.perf_counter()
        super()._hear(sounding)
        took = time.perf_counter() - begun
        note = State.NOTING in sounding.turn.when  # ends after a long silence, on purpose
        if not note and sounding.turn.play is not None and sounding.turn.play.name in self.spoken:
            self.waiting = (self.clock.now - said, took)


class _TimedLog:
    """Records the time of an event on its way to the disk."""

    def __init__(self, log: SessionLog, figures: Figures) -> None:
        self._log = log
        self._figures = figures

    def append(self, event: Any, actions: Any) -> Any:
        """Like the log's own."""
        begun = time.perf_counter()
        problem = self._log.append(event, actions)
        self._figures.append_s.append(time.perf_counter() - begun)
        return problem


class _AheadVoice(Voice):
    """Counts what is said, and has rendering ahead waited for, in a session whose clock jumps."""

    coming: Future[bool] | None = None

    def __init__(self, folder: Path) -> None:
        super().__init__(cache_folder=folder)
        self.said: list[str] = []

    def render(self, text: str) -> SpokenSound:
        """Like the voice's own."""
        self.said.append(text)
        return super().render(text)

    def prepare(self, texts: Iterable[str]) -> Future[bool]:
        """Like the voice's own."""
        self.coming = super().prepare(texts)
        return self.coming

    def look_ahead(self, session: Session, seconds: float) -> None:
        """Let a session look ahead and render for at most so long."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and session.look_ahead():
            pass
        if self.coming is not None:
            with contextlib.suppress(TimeoutError):
                self.coming.result(timeout=max(0.0, until - time.monotonic()))


def _session(figures: Figures, folder: Path, recogniser: Recogniser) -> None:
    scenario = read_scenario(resources.directory("audio_fixtures") / SCENARIO)
    grammars = GrammarSet.load(resources.directory("grammars"))
    clock = MadeClock()
    voice = _AheadVoice(folder / "speech")
    with SessionLog.create(folder / "sessions", scenario.facts, resources.directory("procedures")) as log:
        stage = Stage(scenario, log, recogniser, grammars, clock, voice, LineScreen(io.StringIO()))
        person = stage.person
        person.__class__ = _TimedPerson
        assert isinstance(person, _TimedPerson)  # noqa: S101
        clips = json.loads(
            files.read_text(resources.directory("audio_fixtures") / "manifest.json", files.SETTINGS)
        )["clips"]
        person.spoken = frozenset(clip["file"] for clip in clips if clip["words"])
        session = stage.session
        session.log = _TimedLog(log, figures)
        drain = session.drain

        drained = clock.now

        def timed_drain() -> bool:
            nonlocal drained
            voice.look_ahead(session, clock.now - drained)
            drained = clock.now
            begun = time.perf_counter()
            said = len(voice.said)
            did = drain()
            waiting, person.waiting = person.waiting, None
            if did and waiting is not None and waiting[0] > 0 and len(voice.said) > said:
                figures.turns.append(TimedTurn(waiting[0], waiting[1], time.perf_counter() - begun))
            return did

        session.drain = timed_drain  # type: ignore[method-assign]
        stage.play()
    _renderings(figures, folder / "anew", voice.said)
    for turn in scenario.turns:
        if turn.play is not None:
            figures.heard_s += read_sound(turn.play).duration_s
    step = load_library(resources.directory("procedures")).step("feed-dead", "feed-key-on")
    grammar = grammars.request(request_for(State.ASKING, step))
    for turn in scenario.turns:
        if turn.play is not None:
            figures.decoding_s += recogniser.hear(read_sound(turn.play).samples, grammar).elapsed_s


def _renderings(figures: Figures, folder: Path, said: list[str]) -> None:
    """Render each sentence that was said once more, with an empty cache."""
    voice = Voice(cache_folder=folder)
    for sentence in dict.fromkeys(part for text in said for part in sentences(text)):
        begun = time.perf_counter()
        voice.render(sentence)
        figures.render_s.append(time.perf_counter() - begun)


def _grammars(figures: Figures, path: Path) -> None:
    library = load_library(resources.directory("procedures"))
    grammars = GrammarSet.load(resources.directory("grammars"))
    recogniser = Recogniser(path)
    for request in requests_of(library):
        begun = time.perf_counter()
        recogniser.prepare(grammars.request(request))
        figures.graph_s.append(time.perf_counter() - begun)


def _starts(figures: Figures, folder: Path, model: Path | None) -> None:
    """Time from the start of a process to the moment when its first words could sound."""
    for number in range(5):
        command = [sys.executable, "-m", "assistant", "demo", "--out", str(folder / f"start{number}")]
        if model is not None:
            command += ["--model", str(model)]
        begun = time.perf_counter()
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        assert process.stdout is not None  # noqa: S101
        try:
            for line in process.stdout:
                if "SAYS" in line:
                    figures.first_words_s.append(time.perf_counter() - begun)
                    break
        finally:
            process.kill()
            process.wait()
