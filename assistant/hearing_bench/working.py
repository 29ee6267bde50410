"""A share of a measurement's rows, heard by all recognisers; in this process or in one of several.

Each process has its own recognisers and makes its own sound, so that only names go in and figures come out.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import BrokenExecutor, CancelledError, Future
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from assistant import resources
from assistant.circuit.pieces import begin_further
from assistant.errors import GearProblem, ModelProblem
from assistant.hearing.recogniser import find_model
from assistant.hearing_bench import pocketsphinx
from assistant.hearing_bench.manifest import NAME, Manifest
from assistant.hearing_bench.measurements import HeardUtterance, Options
from assistant.hearing_bench.ours import Ours, marked
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.rows.context import RowContext
from assistant.hearing_bench.rows.makers import WHOLE, trials_of
from assistant.hearing_bench.scoring import FalseAccepts, Hearing
from assistant.hearing_bench.speech import SpeechCache, cache_folder
from assistant.hearing_bench.streaming import Attentive, blocks, listen_for_hours
from assistant.hearing_bench.testset import TestSet
from assistant.hearing_bench.trial import SoundTrial, slice_of
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.sound import Samples

WAITING = 2000
"""Largest number of utterances that wait for PocketSphinx: about 200 MB of sound."""


@dataclass(frozen=True)
class WorkPiece:
    """A piece of the work: a part, and which of so many slices of it (from 0)."""

    part: str
    number: int = 0
    of: int = 1


@dataclass
class Done:
    """The results of a piece: every utterance, what each recogniser accepted of the hours, and what was left out."""

    records: list[HeardUtterance] = field(default_factory=list)
    streams: dict[str, FalseAccepts] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    lost: str = ""


def joined(pieces: Sequence[Done]) -> Done:
    """The pieces of a row together, in their order."""
    whole = Done()
    for one in pieces:
        whole.records += one.records
        for name, stream in one.streams.items():
            known = whole.streams.get(name)
            whole.streams[name] = known.with_more(stream) if known else stream
        whole.notes += [note for note in one.notes if note not in whole.notes]
        whole.lost = whole.lost or one.lost
    return whole


@dataclass(frozen=True)
class _Waiting:
    """An utterance that PocketSphinx has not heard yet."""

    trial: SoundTrial
    duration_s: float
    heard: Future[pocketsphinx.Heard]


class Worker:
    """Hears pieces of a measurement.

    Args:
        options: The options of the measurement.
        models: Directory and name of each of our models.
        within: Whether PocketSphinx works in this process; otherwise it has one of its own.

    Raises:
        BayAssistantError: The manifest or a model cannot be used.
    """

    def __init__(self, options: Options, models: Sequence[tuple[Path, str]], *, within: bool = False) -> None:
        self.manifest: Manifest = read_manifest(
            options.manifest or resources.directory("audio_fixtures") / NAME
        )
        self._options = options
        self.ours = [Ours(path, name) for path, name in models]
        self.theirs: pocketsphinx.Beside | pocketsphinx.Within | None = None
        self._waiting: deque[_Waiting] = deque()
        self.notes: list[str] = []
        if options.beside:
            try:
                self.theirs = pocketsphinx.Within() if within else pocketsphinx.Beside()
            except GearProblem as problem:
                self.notes.append(str(problem))
        self.made = TestSet(self.manifest, SpeechCache(options.cache or cache_folder()))
        self.context = RowContext(
            self.manifest,
            self.made,
            options.share or (self.manifest.quick.share if options.quick else 1.0),
            options.quick,
            options.orders,
            options.part,
        )
        self._trials: dict[str, list[SoundTrial]] = {}
        self._done = Done()

    def close(self) -> None:
        """End what runs beside."""
        if self.theirs is not None:
            self.theirs.close()

    def do(self, piece: WorkPiece, progress: Callable[[str], None] = lambda _text: None) -> Done:
        """Hear a piece.

        Raises:
            BayAssistantError: A row cannot be made.
        """
        self._done = Done()
        if piece.part == "hours":
            self._hours(piece, progress)
        elif piece.part in WHOLE:
            for ours in self.ours:
                self._done.records += WHOLE[piece.part](self.context, ours)
        else:
            self._row(piece, progress)
        self._collect(0)
        self._done.notes += [note for note in (*self.notes, *self.made.notes) if note not in self._done.notes]
        return self._done

    # --- rows ---

    @property
    def levels_db(self) -> tuple[float, ...]:
        """Ratios of speech to noise of the manifest's rows."""
        return self.manifest.quick.levels_db if self._options.quick else self.manifest.mixing.levels_db

    def _row(self, piece: WorkPiece, progress: Callable[[str], None]) -> None:
        if piece.part not in self._trials:
            progress(f"{piece.part}: speaking")
            self._trials = {piece.part: trials_of(piece.part, self.context, self.levels_db)}
        trials = slice_of(self._trials[piece.part], piece.number, piece.of)
        grammar: StepGrammar | None = None
        able: list[Ours] = []
        for number, trial in enumerate(trials, start=1):
            if trial.grammar is not grammar:
                grammar = trial.grammar
                able = self._able(piece.part, grammar)
                if trial.then is not None:
                    able = [ours for ours in able if ours in self._able(piece.part, trial.then.grammar)]
            self._hear(trial, able)
            progress(f"{piece.part}: {number} of {len(trials)}")

    def _able(self, part: str, grammar: StepGrammar) -> list[Ours]:
        able = []
        for ours in self.ours:
            try:
                ours.prepare(grammar)
            except ModelProblem as problem:
                note = f"{ours.name} is left out of some of '{part}': {problem}"
                if note not in self._done.notes:
                    self._done.notes.append(note)
            else:
                able.append(ours)
        return able

    def _hear(self, trial: SoundTrial, able: Sequence[Ours]) -> None:
        mixture = trial.sound()
        later = self._beside(mixture.samples, trial.grammar) if trial.beside else None
        if later is not None:
            self._waiting.append(_Waiting(trial, mixture.duration_s, later))
        second = trial.then.sound() if trial.then is not None else None
        for ours in able:
            first = ours.hear(mixture.samples, trial.grammar, trial.truth)
            self._record(ours.name, trial, first)
            if trial.then is not None and second is not None:
                again = ours.hear(second.samples, trial.then.grammar, trial.then.truth)
                self._record(ours.name, trial.then, again)
                both = replace(trial, part=trial.together)
                self._record(ours.name, both, first if first.accepted else again)
        self._collect(WAITING)

    def _record(self, name: str, trial: SoundTrial, hearing: Hearing) -> None:
        self._done.records.append(HeardUtterance(name, trial.part, trial.speaker, trial.condition, hearing))

    # --- PocketSphinx ---

    def _collect(self, most: int) -> None:
        """Collect PocketSphinx's results until no more than this many utterances wait for it."""
        while self.theirs is not None and len(self._waiting) > most:
            one = self._waiting.popleft()
            answer = self._answer(one.heard)
            if answer is None:
                return
            words, sure, took = answer
            result = one.trial.grammar.parse(words)
            # Its results are accepted whatever their probability.
            hearing = Hearing(one.trial.truth, result, result is not None, sure, took, one.duration_s, words)
            self._record(self.theirs.name, one.trial, marked(hearing, one.trial.grammar))

    def _beside(self, samples: Samples, grammar: StepGrammar) -> Future[pocketsphinx.Heard] | None:
        if self.theirs is None:
            return None
        try:
            return self.theirs.hear(samples, grammar)
        except BrokenExecutor:
            self._lose()
            return None

    def _answer(self, later: Future[pocketsphinx.Heard]) -> pocketsphinx.Heard | None:
        try:
            return later.result()
        except (BrokenExecutor, CancelledError):
            self._lose()
            return None

    def _lose(self) -> None:
        """Continue without PocketSphinx, whose process has ended."""
        if self.theirs is None:
            return
        lost, self.theirs = self.theirs, None
        lost.close()
        self._waiting.clear()
        self._done.lost = lost.name

    # --- hours ---

    def _hours(self, piece: WorkPiece, progress: Callable[[str], None]) -> None:
        plan, made = self.manifest.hours, self.made
        standard = self.manifest.quick.hours if self._options.quick else plan.hours
        hours = standard if self._options.hours is None else self._options.hours
        if hours <= 0:
            return
        request, grammar = made.request(plan.question), made.question(plan.question)
        sentences = [
            words for one in self.manifest.other if one.name == plan.chatter for _, words, _ in one.sentences
        ]
        if not made.voices(plan.voices):
            self._done.notes.append("Hours of noise have no chatter in them: no voice can speak here.")
        later: list[Future[pocketsphinx.Heard]] = []

        def found(clip: Samples) -> None:
            one = self._beside(clip, grammar)
            if one is not None:
                later.append(one)

        streams = listen_for_hours(
            [Attentive(ours.recogniser, made.grammars, DEFAULT_THRESHOLDS) for ours in self.ours],
            blocks(plan, made, sentences, hours, self.manifest.seed, piece.number, piece.of),
            request,
            DEFAULT_THRESHOLDS.ask_below,
            found,
            lambda done: progress(f"noise and chatter: {done:.2f} of {hours / piece.of:g} hours"),
        )
        self._done.streams = {ours.name: stream for ours, stream in zip(self.ours, streams, strict=True)}
        if self.theirs is not None:
            theirs, name = FalseAccepts(streams[0].hours), self.theirs.name
            for answer in map(self._answer, later):
                if answer is None:
                    return
                words, sure, _ = answer
                accepted = grammar.parse(words) is not None
                theirs.count(words, sure, DEFAULT_THRESHOLDS.ask_below, accepted=accepted)
            self._done.streams[name] = theirs


# --- in a process of its own ----------------------------------------------------------------------

_here: list[Worker] = []


def begin(options: Options, models: Sequence[tuple[Path, str]]) -> None:
    """Make this process a worker."""
    begin_further()
    _here.append(Worker(options, models, within=True))


def do(piece: WorkPiece) -> Done:
    """Hear a piece in this process."""
    return _here[0].do(piece)


def models_of(further: Sequence[Path]) -> list[tuple[Path, str]]:
    """The model of a session and the named ones, each under its own name.

    Raises:
        ModelProblem: One cannot be used.
    """
    found: list[tuple[Path, str]] = []
    for path in (find_model(), *(find_model(model) for model in further)):
        if any(path.resolve() == other.resolve() for other, _ in found):
            continue
        bundled = path.resolve() == resources.bundled_model().resolve()
        name = "bundled model" if bundled else path.resolve().name
        taken = [other for _, other in found]
        while name in taken:
            name += "'"
        found.append((path, name))
    return found
