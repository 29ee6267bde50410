"""Loads, lints and proves each mistake like a writer's own, and weighs the mistakes that nothing catches.

A mistake is *caught* by the first of these that has something new to say about it: the loader refuses the folder; the
lint has a finding, or the proof a failure, that the unchanged procedures do not have.
A mistake that nothing catches is weighed by the rows of the proof, every case with every observer, against those
of the unchanged procedures with the same cars. It *moves no figure* if no share moves by more than `MOVES`; it is
*harmful* if in any row the share of good parts condemned rises by more than `HARM_PART` or the share of right
verdicts falls by more than `HARM_RIGHT`; otherwise it *moves little*.
Cases of a fault that the procedure presumes excluded are left out of the harm, as in the proof.
A program error in any of the three is a defect of the program and does not count as caught.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.circuit.pieces import carried_out
from assistant.core.dialogue.sayable import requests_of
from assistant.core.library.procedure import Leads
from assistant.core.library.ways import targets
from assistant.errors import BayAssistantError
from assistant.grammar.grammar_set import GrammarSet
from assistant.linting import lint_grammars_for, lint_procedures, listened_for
from assistant.loading.folder import load_folder, load_library
from assistant.mistakes import editing, making
from assistant.mistakes.editing import Mistake
from assistant.proof.cases import electrical
from assistant.proof.result import Request
from assistant.proof.walk import followed
from assistant.proof.work import prove

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.finding import Finding
    from assistant.proof.result import Proof

COUNT = 90
"""Default number of mistakes: about three of each kind."""

SYSTEMS = 40
"""Random cars for each way in which a fault comes about: enough to see a shift of one car in forty."""

PROCESSES = 2

MOVES = 0.005
"""Share of the cars of a case by which a figure may differ and still count as not moved.  Chosen: far below one car in
forty, so that only odd answers of doubtful cars move less."""

HARM_PART = 0.01
"""Rise of the share of good parts condemned, in one case with one observer, from which a mistake is harmful.
Chosen: as much as any single fault may condemn in all."""

HARM_RIGHT = 0.05
"""The same for a fall of the share of right verdicts.  Chosen: it costs a further test, not a part."""

CARELESS = ("misreading", "skipping", "wrong end", "nobody cranks")
"""Observers who do a test wrong or leave it out: the proof promises them that no good part is condemned, and no
verdict, so that a fall of their right verdicts is not called harm."""


class Fate(StrEnum):
    """The fate of a mistake."""

    LOADER = "loader"
    LINT = "lint"
    PROOF = "prove"
    NO_FIGURE = "moves no figure"
    LITTLE = "moves little"
    HARMFUL = "harmful"
    DEFECT = "defect"


CAUGHT = (Fate.LOADER, Fate.LINT, Fate.PROOF)

UNREACHED = "No car of the proof comes there."
"""The reason why a mistake moves no figure, if the figures could not have moved."""

Place = tuple[str, str, str, str]
"""A row of the proof: procedure, observer, fault, mechanism."""


@dataclass(frozen=True)
class Moved:
    """A figure of the proof that differs from that of the unchanged procedures; shares from 0 to 1."""

    place: Place
    figure: str
    before: float
    after: float

    def __str__(self) -> str:
        procedure, observer, fault, mechanism = self.place
        car = fault if mechanism in ("", fault) else f"{fault} ({mechanism})"
        figure = self.figure.replace("_", " ")
        return f"{procedure}, {observer}, {car}: {figure} {self.before:.1%} to {self.after:.1%}"


@dataclass(frozen=True)
class Tried:
    """A mistake and its fate.

    Attributes:
        mistake: The mistake.
        fate: The check that caught it, or its effect.
        told: The first message of loader, lint or proof, or the program error; "" if nothing caught it.
        moved: If nothing caught it, the figures that moved, the worst first, at most three.
    """

    mistake: Mistake
    fate: Fate
    told: str = ""
    moved: tuple[Moved, ...] = ()


@dataclass(frozen=True)
class Baseline:
    """The results of the unchanged procedures, with which each changed folder is compared.

    Attributes:
        findings: Of the lint, each without its numbers.
        failures: Of the proof, likewise.
        rows: Place to the figures there.
        presumed: Procedure and fault that it presumes excluded.
        heard: Answers for which the grammars are linted.
        entries: Procedures that are proven.
    """

    findings: frozenset[str]
    failures: frozenset[str]
    rows: dict[Place, dict[str, float]]
    presumed: frozenset[tuple[str, str]]
    heard: frozenset[object]
    entries: tuple[str, ...]


@dataclass(frozen=True)
class TrialSetup:
    """The folders, cars and seed for trying mistakes.

    Attributes:
        procedures: Folder of the procedures; it stays unchanged.
        grammars: Folder of the grammars.
        systems: Random cars for each way in which a fault comes about.
        seed: Seed of the choice of mistakes and of the random cars.
    """

    procedures: Path
    grammars: Path
    systems: int = SYSTEMS
    seed: int = 1


def sound(bench: TrialSetup) -> Baseline:
    """Lint and prove the unchanged procedures.

    Raises:
        BayAssistantError: They cannot be loaded or proven.
    """
    library, knowledge = load_folder(bench.procedures)
    grammars = GrammarSet.load(bench.grammars)
    found = [*lint_grammars_for(library, grammars), *lint_procedures(library, knowledge, grammars)]
    report = prove(library, _asked(bench))
    entries = electrical(library, library.procedures)
    return Baseline(
        frozenset(_bare(bench.procedures, str(one)) for one in found),
        frozenset(_failures(bench.procedures, report)),
        _rows(report),
        frozenset((name, fault) for name in entries for fault in library.procedures[name].presumes_no),
        _heard(library),
        entries,
    )


def choose(bench: TrialSetup, count: int) -> list[Mistake]:
    """The mistakes that are tried: in procedures about a circuit, because nothing else has figures that could move."""
    library = load_library(bench.procedures)
    sources = editing.read(bench.procedures)
    about = {name: sources[name] for name in electrical(library, library.procedures)}
    return making.choose(making.everything(about), count, bench.seed)


def attempt(bench: TrialSetup, before: Baseline, mistake: Mistake) -> Tried:
    """Make one mistake in a copy of the folder, and find the check that notices it."""
    tree = editing.read(bench.procedures)[mistake.procedure].tree
    with tempfile.TemporaryDirectory(prefix="bay-assistant-mistake-") as name:
        folder = Path(name) / "procedures"
        shutil.copytree(bench.procedures, folder)
        changed = editing.written(editing.apply(tree, mistake))
        (folder / f"{mistake.procedure}.yaml").write_text(changed, encoding="utf-8")
        try:
            return _noticed(bench, before, mistake, folder)
        except Exception as error:  # noqa: BLE001  a defect of the program, which the report names
            return Tried(mistake, Fate.DEFECT, f"{type(error).__name__}: {error}")


def _noticed(bench: TrialSetup, before: Baseline, mistake: Mistake, folder: Path) -> Tried:
    try:
        library, knowledge = load_folder(folder)
    except BayAssistantError as problem:
        return Tried(mistake, Fate.LOADER, _shown(folder, str(problem)))
    grammars = GrammarSet.load(bench.grammars)
    for finding in _lint(before, library, knowledge, grammars):
        if _bare(folder, str(finding)) not in before.findings:
            return Tried(mistake, Fate.LINT, _shown(folder, str(finding)))
    names = tuple(
        name for name in before.entries if mistake.procedure in followed(library, name, proven=True)
    )
    try:
        report = prove(library, _asked(bench, names or (mistake.procedure,)))
    except BayAssistantError as problem:
        return Tried(mistake, Fate.PROOF, _shown(folder, str(problem)))
    for failure, text in _failures(folder, report).items():
        if failure not in before.failures:
            return Tried(mistake, Fate.PROOF, text)
    moved = list(differences(before.rows, _rows(report), before.presumed))
    told = "" if moved or _comes_there(report, library, mistake) else UNREACHED
    return Tried(mistake, fate(moved, before.presumed), told, tuple(moved[:3]))


def _comes_there(report: Proof, library: Library, mistake: Mistake) -> bool:
    """Whether any car of the proof reaches the step, or a step that leads to the verdict."""
    where, name = mistake.place.split("/", 1)
    steps = library.procedures[mistake.procedure].steps
    if where == "steps":
        near = [name] if name in steps else []
    else:
        near = [
            step.name
            for step in steps.values()
            if any(target.leads is Leads.VERDICT and target.name == name for target in targets(step))
        ]
    return not near or any((mistake.procedure, step) not in report.unreached for step in near)


def _lint(
    before: Baseline, library: Library, knowledge: Knowledge | None, grammars: GrammarSet
) -> Iterator[Finding]:
    """All findings; the grammars, which take seconds, only where something is listened for that was not before."""
    yield from lint_procedures(library, knowledge, grammars)
    if not _heard(library) <= before.heard:
        yield from lint_grammars_for(library, grammars)


def _heard(library: Library) -> frozenset[object]:
    return frozenset((*requests_of(library), *listened_for(library)))


def _asked(bench: TrialSetup, names: tuple[str, ...] = ()) -> Request:
    return Request(procedures=names, systems=bench.systems, seed=bench.seed, processes=1)


def _failures(folder: Path, report: Proof) -> dict[str, str]:
    """The sentence of each failure, by the same without its numbers: one more car does not make another failure."""
    found = [failure.sentence for proven in report.procedures for failure in proven.failures]
    return {_bare(folder, sentence): _shown(folder, sentence) for sentence in found}


def _shown(folder: Path, text: str) -> str:
    return text.replace(f"{folder}{os.sep}", "")


def _bare(folder: Path, text: str) -> str:
    return re.sub(r"[0-9.]+", "#", _shown(folder, text))


def _rows(report: Proof) -> dict[Place, dict[str, float]]:
    return {
        (proven.name, observer, case.fault, case.mechanism): asdict(row)
        for proven in report.procedures
        for observer, rows in proven.rows.items()
        for case, row in zip(proven.cases, rows, strict=True)
    }


def differences(
    before: dict[Place, dict[str, float]],
    after: dict[Place, dict[str, float]],
    presumed: frozenset[tuple[str, str]] = frozenset(),
) -> Iterator[Moved]:
    """Every figure that moved by more than `MOVES`, worst first, among the cases that both have.

    Args:
        before: The rows of the unchanged procedures.
        after: Those with a mistake.
        presumed: Procedure and fault that it presumes excluded, where no move counts as harm.
    """
    moved = [
        Moved(place, figure, before[place][figure], share)
        for place, row in after.items()
        if place in before
        for figure, share in row.items()
        if abs(share - before[place][figure]) > MOVES
    ]
    yield from sorted(
        moved, key=lambda one: (-_harm(one, presumed), -abs(one.after - one.before), one.place, one.figure)
    )


def _harm(moved: Moved, presumed: frozenset[tuple[str, str]]) -> float:
    """By how many times the limit a figure moved for the worse; 0 for a move that is not for the worse."""
    if (moved.place[0], moved.place[2]) in presumed or moved.figure.startswith("clear"):
        return 0
    rise = moved.after - moved.before
    if moved.figure == "right":
        return 0 if moved.place[1] in CARELESS else max(-rise / HARM_RIGHT, 0)
    if "part" in moved.figure:
        return max(rise / HARM_PART, 0)
    return 0


def fate(moved: Iterable[Moved], presumed: frozenset[tuple[str, str]]) -> Fate:
    """The effect of a mistake that nothing caught.

    Args:
        moved: All figures that it moved.
        presumed: Procedure and fault that it presumes excluded.
    """
    moved = list(moved)
    if any(_harm(one, presumed) > 1 for one in moved):
        return Fate.HARMFUL
    return Fate.LITTLE if moved else Fate.NO_FIGURE


# --- all of them ----------------------------------------------------------------------------------


def carry_out(
    bench: TrialSetup,
    before: Baseline,
    mistakes: list[Mistake],
    *,
    processes: int = PROCESSES,
    progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> list[Tried]:
    """Try all mistakes, in order; the same with any number of processes.

    Args:
        bench: The folders, cars and seed to try them with.
        before: The results of the unchanged procedures.
        mistakes: The mistakes.
        processes: Largest number of processes.
        progress: Called with (done, total).
    """
    found = []
    for tried in carried_out(attempt, (bench, before), mistakes, processes):
        found.append(tried)
        progress(len(found), len(mistakes))
    return found
