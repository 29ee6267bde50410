"""The measurement, from manifest to figures: shares the rows out to processes and puts their figures together."""

from __future__ import annotations

import datetime as dt
import hashlib
import multiprocessing
import time
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, as_completed
from typing import TYPE_CHECKING

from assistant import files, resources
from assistant.benchmarks import machine
from assistant.errors import GearProblem, UsageProblem
from assistant.hearing_bench import pocketsphinx, working
from assistant.hearing_bench.manifest import NAME, Manifest
from assistant.hearing_bench.measurements import HearingFigures, Options
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.rows.makers import WHOLE
from assistant.hearing_bench.scoring import Delays
from assistant.hearing_bench.streaming import Attentive, memory_mb, take_turn
from assistant.hearing_bench.trial import level_name
from assistant.hearing_bench.working import Done, Worker, WorkPiece, models_of
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assistant.grammar.step_grammar import StepGrammar

ALONE = ("turns", "memory")
"""Parts that are measured last and by themselves, because they are times and sizes."""

SLICES = 4
"""Slices of a row for each process, so that none waits long for another at the end."""


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
        self._models = models_of(options.models)
        self.measured = HearingFigures(
            machine(),
            dt.datetime.now(dt.UTC).isoformat(timespec="minutes"),
            options.quick,
            {name: _digest(path / "am" / "final.mdl") for path, name in self._models},
        )
        if options.beside:
            try:
                self.measured.models[pocketsphinx.name()] = ""
            except GearProblem as problem:
                self.measured.notes.append(str(problem))

    def run(self) -> HearingFigures:
        """Take all requested figures."""
        begun = time.monotonic()
        parts = [
            part for part in self._manifest.parts() if not self._options.only or part in self._options.only
        ]
        rows = [part for part in parts if part not in ALONE]
        of = 1 if self._options.jobs == 1 else SLICES * self._options.jobs
        pieces = list(_pieces(rows, of))
        worker = Worker(self._options, self._models) if self._options.jobs == 1 or "turns" in parts else None
        try:
            done = (
                self._here(worker, pieces) if worker and self._options.jobs == 1 else self._shared_out(pieces)
            )
            for piece, one in sorted(done, key=lambda pair: pieces.index(pair[0])):
                self._add(piece, one)
            self._order(rows)
            if worker is not None and "turns" in parts:
                self._turns(worker)
        finally:
            if worker is not None:
                worker.close()
        if "memory" in parts:
            for path, name in self._models:
                self._progress(f"memory of {name}")
                self.measured.memory_mb[name] = memory_mb(path)
        self.measured.took_s = time.monotonic() - begun
        return self.measured

    def _here(self, worker: Worker, pieces: list[WorkPiece]) -> list[tuple[WorkPiece, Done]]:
        return [(piece, worker.do(piece, self._progress)) for piece in pieces]

    def _shared_out(self, pieces: list[WorkPiece]) -> list[tuple[WorkPiece, Done]]:
        """Let processes hear the pieces.

        Raises:
            GearProblem: One of the processes ended.
        """
        if not pieces:
            return []
        done: list[tuple[WorkPiece, Done]] = []
        pool = ProcessPoolExecutor(
            self._options.jobs,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=working.begin,
            initargs=(self._options, self._models),
        )
        try:
            later = {pool.submit(working.do, piece): piece for piece in pieces}
            for number, one in enumerate(as_completed(later), start=1):
                done.append((later[one], one.result()))
                self._progress(f"{later[one].part}: {number} of {len(pieces)} pieces of work are done")
        except BrokenExecutor as error:
            raise GearProblem(
                "One of the measuring processes ended unexpectedly. Measure with --jobs 1."
            ) from error
        finally:
            pool.shutdown(cancel_futures=True)
        return done

    def _add(self, piece: WorkPiece, done: Done) -> None:
        measured = self.measured
        measured.groups.update(dict.fromkeys((record.part for record in done.records), piece.part))
        measured.records += done.records
        for name, stream in done.streams.items():
            known = measured.streams.get(name)
            measured.streams[name] = known.with_more(stream) if known else stream
        measured.notes += [note for note in done.notes if note not in measured.notes]
        if done.lost:
            measured.models.pop(done.lost, None)
            measured.streams.pop(done.lost, None)
            measured.records = [record for record in measured.records if record.recogniser != done.lost]
            note = f"{done.lost} is left out: its process ended unexpectedly."
            measured.notes += [note] if note not in measured.notes else []

    def _order(self, rows: list[str]) -> None:
        """Put the records in the order of the parts, whichever process heard them."""
        self.measured.records = [
            record for record in self.measured.records if record.recogniser in self.measured.models
        ]
        self.measured.records.sort(key=lambda record: rows.index(self.measured.groups[record.part]))

    def _turns(self, worker: Worker) -> None:
        plan = self._manifest.turns
        wanted = [part for part in self._manifest.answers if part.name in plan.of]
        utterances = []
        for part in wanted:
            share = min(1.0, plan.count / part.count / len(part.voices)) * worker.context.share
            utterances += worker.made.answers(part, share)
        first: dict[StepGrammar, int] = {}
        for utterance in utterances:
            first.setdefault(utterance.grammar, len(first))
        utterances.sort(key=lambda one: first[one.grammar])  # few changes of grammar
        for ours in worker.ours:
            ear = Attentive(ours.recogniser, worker.made.grammars, DEFAULT_THRESHOLDS)
            for number, utterance in enumerate(utterances, start=1):
                self._progress(f"turns, {ours.name}: {number} of {len(utterances)}")
                for level in plan.levels_db:
                    mixture = worker.made.mixture(utterance, level, tail_s=plan.tail_s)
                    delays = self.measured.delays.setdefault((ours.name, level_name(level)), Delays())
                    take_turn(ear, utterance.grammar, utterance.words, mixture, delays)


def measure(options: Options, progress: Callable[[str], None] = lambda _text: None) -> HearingFigures:
    """Measure how well the recogniser hears.

    Raises:
        BayAssistantError: The manifest or a model cannot be used, or a part that is asked for does not exist.
    """
    return Bench(options, progress).run()


def _digest(path: Path) -> str:
    found = hashlib.sha256()
    with files.open_regular(path) as file:
        while piece := file.read(1 << 20):
            found.update(piece)
    return found.hexdigest()[:12]


def _pieces(parts: list[str], of: int) -> Iterator[WorkPiece]:
    for part in parts:
        count = 1 if part in WHOLE else of
        yield from (WorkPiece(part, number, count) for number in range(count))
