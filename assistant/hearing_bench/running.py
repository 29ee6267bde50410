"""The measurement, from manifest to figures: shares the rows out to processes and puts their figures together."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import multiprocessing
import time
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, as_completed
from typing import TYPE_CHECKING

from assistant import files, resources
from assistant.benchmarks import machine
from assistant.circuit.pieces import held_back
from assistant.errors import GearProblem, UsageProblem
from assistant.hearing_bench import pocketsphinx, working
from assistant.hearing_bench.kept_rows import KeptRows
from assistant.hearing_bench.manifest import NAME, Manifest
from assistant.hearing_bench.measurements import HearingFigures, Options
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.rows.makers import WHOLE
from assistant.hearing_bench.scoring import Delays
from assistant.hearing_bench.streaming import Attentive, memory_mb, take_turn
from assistant.hearing_bench.trial import level_name
from assistant.hearing_bench.working import Done, Worker, WorkPiece, joined, models_of
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator
    from pathlib import Path

    from assistant.grammar.step_grammar import StepGrammar

    Hearer = Generator[tuple[WorkPiece, Done], None, None]

ALONE = ("turns", "memory")
"""Parts that are measured last and by themselves, because they are times and sizes."""

SLICES = 4
"""Slices of a row for each process, so that none waits long for another at the end."""


class Bench:
    """One measurement.

    Args:
        options: The options.
        progress: Called with a few words about the current work.
        row_done: Called with the figures so far whenever a row is finished and kept.

    Attributes:
        measured: The figures so far.
        kept: The finished rows.

    Raises:
        BayAssistantError: The manifest or a model cannot be used, or a requested part does not exist.
    """

    def __init__(
        self,
        options: Options,
        progress: Callable[[str], None],
        row_done: Callable[[HearingFigures], None] = lambda _measured: None,
    ) -> None:
        self._options = options
        self._progress = progress
        self._row_done = row_done
        self._manifest: Manifest = read_manifest(
            options.manifest or resources.directory("audio_fixtures") / NAME
        )
        for name in options.only:
            if name not in self._manifest.parts():
                raise UsageProblem(f"There is no part '{name}'. Parts: {', '.join(self._manifest.parts())}.")
        self._parts = [part for part in self._manifest.parts() if not options.only or part in options.only]
        self._models = models_of(options.models)
        date = dt.datetime.now(dt.UTC).isoformat(timespec="minutes")
        known = {name: _digest(path / "am" / "final.mdl") for path, name in self._models}
        self.measured = HearingFigures(machine(), date, options.quick, known)
        if options.beside:
            try:
                self.measured.models[pocketsphinx.name()] = ""
            except GearProblem as problem:
                self.measured.notes.append(str(problem))
        self.kept = KeptRows(options, self.measured.models, self.measured.machine, date)
        self._begun = time.monotonic()
        if options.go_on:
            self.kept.read()
            self.measured.date = self.kept.began
            self.measured.notes.append(f"Measured in {self.kept.goes} goes.")

    @property
    def rows(self) -> list[str]:
        """The wanted rows, which are kept one by one."""
        return [part for part in self._parts if part not in ALONE]

    def run(self) -> HearingFigures:
        """Take all requested figures.

        Raises:
            KeyboardInterrupt: Somebody broke it off; the finished rows are kept.
            GearProblem: A process ended.
            UsageProblem: What is finished cannot be kept.
        """
        of = 1 if self._options.jobs == 1 else SLICES * self._options.jobs
        pieces = list(_pieces([part for part in self.rows if part not in self.kept.rows], of))
        turns = "turns" in self._parts
        alone = self._options.jobs == 1
        worker = Worker(self._options, self._models) if alone or turns else None
        try:
            done = self._here(worker, pieces) if worker and alone else self._shared_out(pieces)
            self._collect(done)
            self._put_together()
            if worker is not None and turns:
                self._turns(worker)
        finally:
            if worker is not None:
                worker.close()
        if "memory" in self._parts:
            for path, name in self._models:
                self._progress(f"memory of {name}")
                self.measured.memory_mb[name] = memory_mb(path)
        self.measured.unfinished = []
        self.measured.took_s = self._took_s()
        self.kept.forget()
        return self.measured

    def _took_s(self) -> float:
        return self.kept.took_s + time.monotonic() - self._begun

    def _here(self, worker: Worker, pieces: list[WorkPiece]) -> Hearer:
        for piece in pieces:
            yield piece, worker.do(piece, self._progress)

    def _shared_out(self, pieces: list[WorkPiece]) -> Hearer:
        """Let processes hear the pieces.

        Raises:
            GearProblem: One of the processes ended.
        """
        if not pieces:
            return
        pool = ProcessPoolExecutor(
            self._options.jobs,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=working.begin,
            initargs=(self._options, self._models),
        )
        try:
            with held_back():
                later = {pool.submit(working.do, piece): piece for piece in pieces}
            for number, one in enumerate(as_completed(later), start=1):
                yield later[one], one.result()
                self._progress(f"{later[one].part}: {number} of {len(pieces)} pieces of work are done")
        except BrokenExecutor as error:
            raise GearProblem(
                "One of the measuring processes ended unexpectedly. Measure with --jobs 1."
            ) from error
        except (KeyboardInterrupt, GeneratorExit):
            for process in multiprocessing.active_children():  # a piece of work may take minutes
                process.terminate()
            raise
        finally:
            pool.shutdown(cancel_futures=True)

    def _collect(self, done: Hearer) -> None:
        """Keep each row when the last of its pieces is there."""
        found: dict[str, dict[int, Done]] = {}
        with contextlib.closing(done):
            for piece, one in done:
                row = found.setdefault(piece.part, {})
                row[piece.number] = one
                if len(row) == piece.of:
                    whole = joined([row[number] for number in sorted(row)])
                    self.kept.keep(piece.part, whole, self._took_s())
                    self._put_together()
                    self._row_done(self.measured)

    def _put_together(self) -> None:
        """Make the figures from the finished rows, in the order of the parts."""
        measured, rows = self.measured, self.kept.rows
        measured.records, measured.groups, measured.streams = [], {}, {}
        measured.took_s = self._took_s()
        measured.unfinished = [part for part in self._parts if part not in rows]
        for part, done in ((part, rows[part]) for part in self.rows if part in rows):
            measured.groups.update(dict.fromkeys((record.part for record in done.records), part))
            measured.records += done.records
            measured.streams.update(done.streams)
            lost = [f"{done.lost} is left out: its process ended unexpectedly."] if done.lost else []
            measured.notes += [note for note in (*done.notes, *lost) if note not in measured.notes]
            measured.models.pop(done.lost, None)
        measured.records = [record for record in measured.records if record.recogniser in measured.models]
        measured.streams = {name: one for name, one in measured.streams.items() if name in measured.models}

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
