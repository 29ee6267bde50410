"""The measurement, from manifest to figures."""

from __future__ import annotations

import datetime as dt
import hashlib
import time
from collections import deque
from concurrent.futures import BrokenExecutor, CancelledError, Future
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant import files, resources
from assistant.benchmarks import machine
from assistant.errors import GearProblem, ModelProblem, UsageProblem
from assistant.hearing.confidence import evidence_in
from assistant.hearing.foreground import prepared
from assistant.hearing.judge import judge
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing_bench import pocketsphinx
from assistant.hearing_bench.manifest import NAME, Manifest
from assistant.hearing_bench.measurements import HeardUtterance, HearingFigures, Options
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.scoring import Delays, FalseAccepts, Hearing
from assistant.hearing_bench.speech import SpeechCache, cache_folder
from assistant.hearing_bench.streaming import Attentive, blocks, listen_for_hours, memory_mb, take_turn
from assistant.hearing_bench.testset import BenchUtterance, TestSet
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.confidence import Evidence
    from assistant.hearing.sound import Samples
    from assistant.hearing_bench.mixing import Mixture

WAITING = 2000
"""Largest number of utterances that wait for PocketSphinx: about 200 MB of sound."""


class Ours:
    """Our own recogniser with one model, as in a session: strict graph, judge, and the dialogue's limits."""

    def __init__(self, path: Path, name: str) -> None:
        self.path = path
        self.name = name
        self.recogniser = Recogniser(path)

    def prepare(self, grammar: StepGrammar) -> None:
        """Open a grammar.

        Raises:
            ModelProblem: The model lacks a word that the grammar needs.
        """
        self.recogniser.prepare(grammar)

    def hear(
        self, mixture: Mixture, utterance: BenchUtterance, *, speech: bool, evidence: Evidence | None = None
    ) -> Hearing:
        """Hear one utterance; `speech` and `evidence` as in `judge`."""
        begun = time.perf_counter()
        samples = prepared(mixture.samples)
        judged = judge(
            self.recogniser.hear(samples, utterance.grammar),
            utterance.grammar,
            DEFAULT_THRESHOLDS,
            speech=speech,
            evidence=evidence,
            sound=samples,
            acoustics=self.recogniser.acoustics,
        )
        took = time.perf_counter() - begun
        return Hearing(
            utterance.truth,
            judged.result,
            judged.accepted,
            judged.confidence,
            took,
            mixture.duration_s,
            judged.words,
        )


@dataclass(frozen=True)
class _Waiting:
    """An utterance that PocketSphinx has not heard yet."""

    utterance: BenchUtterance
    level_db: float
    duration_s: float
    heard: Future[pocketsphinx.Heard]


class Bench:
    """One measurement.

    Args:
        options: The options.
        progress: Called with a few words about the current work.

    Raises:
        BayAssistantError: The manifest or a model cannot be used, or a requested part does not exist.
    """

    def __init__(self, options: Options, progress: Callable[[str], None]) -> None:
        self._options = options
        self._progress = progress
        self._manifest: Manifest = read_manifest(
            options.manifest or resources.directory("audio_fixtures") / NAME
        )
        for name in options.only:
            if name not in self._manifest.parts():
                raise UsageProblem(f"There is no part '{name}'. Parts: {', '.join(self._manifest.parts())}.")
        self._ours = [Ours(path, name) for path, name in _models(options.models)]
        self._theirs: pocketsphinx.Beside | None = None
        self._waiting: deque[_Waiting] = deque()
        levels = self._manifest.quick.levels_db if options.quick else self._manifest.mixing.levels_db
        self.measured = HearingFigures(
            machine(),
            dt.datetime.now(dt.UTC).isoformat(timespec="minutes"),
            options.quick,
            {ours.name: _digest(ours.path / "am" / "final.mdl") for ours in self._ours},
            levels,
        )
        try:
            self._theirs = pocketsphinx.Beside()
            self.measured.models[self._theirs.name] = ""
        except GearProblem as problem:
            self.measured.notes.append(str(problem))
        self._set = TestSet(self._manifest, SpeechCache(options.cache or cache_folder()))

    def run(self) -> HearingFigures:
        """Take all requested figures."""
        try:
            return self._run()
        finally:
            if self._theirs is not None:
                self._theirs.close()

    def _run(self) -> HearingFigures:
        begun = time.monotonic()
        measured = self.measured
        for part, utterances in self._rows():
            self._row(part, utterances)
        if self._wanted("hours"):
            self._hours()
        self._progress("PocketSphinx: the rest")
        self._collect(0)
        if self._wanted("turns"):  # last, so nothing else runs beside it
            self._turns()
        if self._wanted("memory"):
            for ours in self._ours:
                self._progress(f"memory of {ours.name}")
                measured.memory_mb[ours.name] = memory_mb(ours.path)
        measured.notes += [note for note in self._set.notes if note not in measured.notes]
        measured.took_s = time.monotonic() - begun
        return measured

    def _wanted(self, part: str) -> bool:
        return not self._options.only or part in self._options.only

    @property
    def _share(self) -> float:
        return self._manifest.quick.share if self._options.quick else 1.0

    def _rows(self) -> Iterator[tuple[str, list[BenchUtterance]]]:
        manifest, made, share = self._manifest, self._set, self._share
        for answers in manifest.answers:
            if self._wanted(answers.name):
                self._progress(f"{answers.name}: speaking")
                yield answers.name, made.answers(answers, share)
        for phrases in manifest.phrases:
            if self._wanted(phrases.name):
                self._progress(f"{phrases.name}: speaking")
                yield phrases.name, made.phrases(phrases, share)
        for recordings in manifest.recordings:
            if self._wanted(recordings.name):
                yield recordings.name, made.recordings(recordings, share)
        for other in manifest.other:
            if self._wanted(other.name):
                self._progress(f"{other.name}: speaking")
                yield other.name, made.other(other, share)

    def _row(self, part: str, utterances: Sequence[BenchUtterance]) -> None:
        order: dict[StepGrammar, list[BenchUtterance]] = {}
        for utterance in utterances:
            order.setdefault(utterance.grammar, []).append(utterance)
        done = 0
        for grammar, group in order.items():
            able = self._able(part, grammar)
            for utterance in group:
                for level in self.measured.levels_db:
                    mixture = self._set.mixture(utterance, level)
                    self._hear(utterance, level, mixture, able)
                done += 1
                self._progress(f"{part}: {done} of {len(utterances)}")

    def _able(self, part: str, grammar: StepGrammar) -> list[Ours]:
        able = []
        for ours in self._ours:
            try:
                ours.prepare(grammar)
            except ModelProblem as problem:
                note = f"{ours.name} is left out of some of '{part}': {problem}"
                if note not in self.measured.notes:
                    self.measured.notes.append(note)
            else:
                able.append(ours)
        return able

    def _hear(self, utterance: BenchUtterance, level: float, mixture: Mixture, able: Sequence[Ours]) -> None:
        later = self._beside(mixture.samples, utterance.grammar)
        if later is not None:
            self._waiting.append(_Waiting(utterance, level, mixture.duration_s, later))
        speech, evidence = evidence_in(mixture.samples)
        for ours in able:
            hearing = ours.hear(mixture, utterance, speech=speech, evidence=evidence)
            self._record(ours.name, utterance, level, hearing)
        self._collect(WAITING)

    def _collect(self, most: int) -> None:
        """Collect PocketSphinx's results until no more than this many utterances wait for it."""
        while self._theirs is not None and len(self._waiting) > most:
            one = self._waiting.popleft()
            answer = self._answer(one.heard)
            if answer is None:
                return
            words, sure, took = answer
            result = one.utterance.grammar.parse(words)
            # Its results are accepted whatever their probability.
            hearing = Hearing(
                one.utterance.truth, result, result is not None, sure, took, one.duration_s, words
            )
            self._record(self._theirs.name, one.utterance, one.level_db, hearing)

    def _beside(self, samples: Samples, grammar: StepGrammar) -> Future[pocketsphinx.Heard] | None:
        if self._theirs is None:
            return None
        try:
            return self._theirs.hear(samples, grammar)
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
        if self._theirs is None:
            return
        lost, self._theirs = self._theirs, None
        lost.close()
        self._waiting.clear()
        self.measured.models.pop(lost.name)
        self.measured.records = [r for r in self.measured.records if r.recogniser != lost.name]
        self.measured.notes.append(f"{lost.name} is left out: its process ended unexpectedly.")

    def _record(self, name: str, utterance: BenchUtterance, level: float, hearing: Hearing) -> None:
        self.measured.records.append(HeardUtterance(name, utterance.part, utterance.speaker, level, hearing))

    def _hours(self) -> None:
        plan, made = self._manifest.hours, self._set
        standard = self._manifest.quick.hours if self._options.quick else plan.hours
        hours = standard if self._options.hours is None else self._options.hours
        if hours <= 0:
            return
        request, grammar = made.request(plan.question), made.question(plan.question)
        sentences = [
            words for one in self._manifest.other if one.name == plan.chatter for _, words, _ in one.sentences
        ]
        if not made.voices(plan.voices):
            self.measured.notes.append("Hours of noise have no chatter in them: no voice can speak here.")
        later: list[Future[pocketsphinx.Heard]] = []

        def found(clip: Samples) -> None:
            one = self._beside(clip, grammar)
            if one is not None:
                later.append(one)

        streams = listen_for_hours(
            [Attentive(ours.recogniser, made.grammars, DEFAULT_THRESHOLDS) for ours in self._ours],
            blocks(plan, made, sentences, hours, self._manifest.seed),
            request,
            DEFAULT_THRESHOLDS.ask_below,
            found,
            lambda done: self._progress(f"noise and chatter: {done:.2f} of {hours:g} hours"),
        )
        if self._theirs is not None:
            theirs = FalseAccepts(streams[0].hours)
            for answer in map(self._answer, later):
                if answer is None:
                    break
                words, sure, _ = answer
                accepted = grammar.parse(words) is not None
                theirs.count(words, sure, DEFAULT_THRESHOLDS.ask_below, accepted=accepted)
            if self._theirs is not None:
                streams.append(theirs)
        self.measured.streams = dict(zip(self.measured.models, streams, strict=True))

    def _turns(self) -> None:
        plan = self._manifest.turns
        wanted = [part for part in self._manifest.answers if part.name in plan.of]
        utterances = []
        for part in wanted:
            made = self._set.answers(part, min(1.0, plan.count / part.count / len(part.voices)) * self._share)
            utterances += made
        first: dict[StepGrammar, int] = {}
        for utterance in utterances:
            first.setdefault(utterance.grammar, len(first))
        utterances.sort(key=lambda one: first[one.grammar])  # few changes of grammar
        for ours in self._ours:
            ear = Attentive(ours.recogniser, self._set.grammars, DEFAULT_THRESHOLDS)
            for number, utterance in enumerate(utterances, start=1):
                self._progress(f"turns, {ours.name}: {number} of {len(utterances)}")
                for level in plan.levels_db:
                    mixture = self._set.mixture(utterance, level, tail_s=plan.tail_s)
                    delays = self.measured.delays.setdefault((ours.name, level), Delays())
                    take_turn(ear, utterance.grammar, utterance.words, mixture, delays)


def measure(options: Options, progress: Callable[[str], None] = lambda _text: None) -> HearingFigures:
    """Measure how well the recogniser hears.

    Raises:
        BayAssistantError: The manifest or a model cannot be used, or a part that is asked for does not exist.
    """
    return Bench(options, progress).run()


def _models(further: Sequence[Path]) -> list[tuple[Path, str]]:
    """The model of a session and the named ones, each under its own name."""
    found: list[tuple[Path, str]] = []
    for path in (find_model(), *(find_model(model) for model in further)):
        if any(path.resolve() == other.resolve() for other, _ in found):
            continue
        name = (
            "bundled model" if path.resolve() == resources.bundled_model().resolve() else path.resolve().name
        )
        taken = [other for _, other in found]
        while name in taken:
            name += "'"
        found.append((path, name))
    return found


def _digest(path: Path) -> str:
    found = hashlib.sha256()
    with files.open_regular(path) as file:
        while piece := file.read(1 << 20):
            found.update(piece)
    return found.hexdigest()[:12]
