"""The shop's findings on past cars, counted from signed reviews.

Only a session counts whose record, seal and reviews are what was written, and whose last signed review names what
was found; a later signed review amends it, so that a wrong one can be put right, or taken out of the count by
naming nothing.
A review that nobody signed does not count.
Signed reviews that do not count are named with the reason.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.core.library.vocabulary import NO_CIRCUIT
from assistant.core.reasoning.odds import ANY_CIRCUIT, Findings
from assistant.errors import MALFORMED, BayAssistantError
from assistant.loading.folder import load_library
from assistant.record.contents import read_inside
from assistant.record.course import course_of
from assistant.record.header import PROCEDURES, REVIEWS_FILE, SEAL_FILE
from assistant.record.index import kept_for_reviewed
from assistant.record.reading import read_session
from assistant.record.review_head import counts_any
from assistant.record.reviews import read_reviews
from assistant.record.storage import sha256
from assistant.record.summaries import session_folders
from assistant.record.verifying import verify

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.core.library.terms import Terms
    from assistant.record.course import Course


@dataclass(frozen=True)
class ReviewedSession:
    """The lesson of one reviewed session.

    Attributes:
        session: Name of its folder.
        found: Faults that the shop found to be true, by the last signed review; () when none says so.
        circuits: Circuits that it was tested on; () when that is not known.
        verdict: Name of the verdict on the cause; "" if there was none.
        named: Faults that this verdict names.
        problem: Why it does not count although it was reviewed, as a sentence; "" when it does, or has nothing to
            count.
    """

    session: str
    found: tuple[str, ...] = ()
    circuits: tuple[str, ...] = ()
    verdict: str = ""
    named: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True)
class Score:
    """How often something was right, of how many cars; and what was found where it was wrong."""

    right: int
    of: int
    instead: Mapping[str, int] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class History:
    """The lessons of the reviewed sessions of a folder.

    Attributes:
        counted: Sessions whose signed reviews count.
        left_out: Why others do not, a sentence each that names the session.
    """

    counted: tuple[ReviewedSession, ...] = ()
    left_out: tuple[str, ...] = ()

    def findings(self) -> Findings:
        """The cars by circuit and fault, for the odds; each car counts once, shared by the faults found on it."""
        cars: dict[str, dict[str, float]] = {}
        for one in self.counted:
            for circuit in one.circuits or (ANY_CIRCUIT,):
                faults = cars.setdefault(circuit, {})
                for fault in one.found:
                    faults[fault] = faults.get(fault, 0.0) + 1.0 / len(one.found)
        # Thirds add up to whole cars again.
        return Findings(
            {name: {fault: round(n, 6) for fault, n in faults.items()} for name, faults in cars.items()}
        )

    def verdicts(self) -> dict[str, Score]:
        """Of each verdict that was reached: right where it names one of the faults that were found."""
        found: dict[str, Score] = {}
        for one in self.counted:
            if not one.verdict or not one.named:
                continue
            so_far = found.get(one.verdict, Score(0, 0))
            right = bool(set(one.named) & set(one.found))
            instead = dict(so_far.instead)
            for fault in () if right else one.found:
                instead[fault] = instead.get(fault, 0) + 1
            found[one.verdict] = Score(so_far.right + right, so_far.of + 1, instead)
        return dict(sorted(found.items()))

    def faults(self) -> dict[str, Score]:
        """Of each fault that was found: right where the verdict of its session named it."""
        found: dict[str, Score] = {}
        for one in self.counted:
            for fault in one.found:
                so_far = found.get(fault, Score(0, 0))
                found[fault] = Score(so_far.right + (fault in one.named), so_far.of + 1)
        return found


def read_history(
    parent: Path, terms: Terms, progress: Callable[[float, float], None] = lambda _done, _all: None
) -> History:
    """The lessons of the reviewed sessions of a folder.

    Each session is checked whole once; what it taught is kept in the index until one of its files changes.

    Args:
        parent: Folder of all sessions; it need not exist.
        terms: The faults that are known now; a finding of another one does not count.
        progress: Called with (done, total) sessions, of those that are not in the index.

    Raises:
        RecordProblem: The folder may not be read.
    """
    folders = [
        folder
        for folder in session_folders(parent)
        if os.path.lexists(folder / REVIEWS_FILE) or counts_any(folder)
    ]
    libraries: dict[tuple[tuple[str, str], ...], Library | None] = {}

    at = {folder: number for number, folder in enumerate(folders)}

    def teach(folder: Path) -> dict[str, Any]:
        progress(at.get(folder, 0), len(folders))
        return dataclasses.asdict(_taught(folder, libraries))

    kept = kept_for_reviewed(parent, folders, teach)
    counted, left_out = [], []
    for folder in folders:
        one = _from_json(kept[folder.name])
        unknown = [fault for fault in one.found if fault not in terms.faults]
        if one.problem:
            left_out.append(f"{one.session} does not count: {one.problem}")
        elif unknown:
            left_out.append(
                f"{one.session} does not count: its review found '{unknown[0]}', which is no fault of terms.yaml."
            )
        elif one.found:
            counted.append(one)
    return History(tuple(counted), tuple(left_out))


def _from_json(body: Mapping[str, Any]) -> ReviewedSession:
    lists = {name: tuple(body[name]) for name in ("found", "circuits", "named")}
    return ReviewedSession(**{**body, **lists})


def _taught(folder: Path, libraries: dict[tuple[tuple[str, str], ...], Library | None]) -> ReviewedSession:
    """The lesson of one session, after a check of its whole record."""
    name = folder.name
    try:
        wrong = verify(folder)
        if wrong:
            return ReviewedSession(name, problem=f"it is not what was recorded. {wrong[0]}")
        signed = [review for review in read_reviews(folder) if review.signed]
        if not signed:
            return ReviewedSession(name)
        last = signed[-1]
        if last.signed and last.signed.record != sha256(read_inside(folder, SEAL_FILE)):
            return ReviewedSession(name, problem="its signature belongs to another record.")
        session = read_session(folder)
        course = course_of(session)
    except BayAssistantError as error:
        return ReviewedSession(name, problem=str(error))
    except MALFORMED as error:
        return ReviewedSession(name, problem=f"its record cannot be understood ({error}).")
    key = tuple(sorted(session.header.procedures.items()))
    if key not in libraries:  # most sessions share the same procedures
        libraries[key] = _library(folder)
    library = libraries[key]
    if library is None:
        return ReviewedSession(name, found=tuple(dict.fromkeys(last.found)))
    entered = [library.procedures[one] for one in course.procedures if one in library.procedures]
    circuits = dict.fromkeys(one.circuit for one in entered if one.circuit != NO_CIRCUIT)
    verdict, named = _cause(course, library)
    return ReviewedSession(name, tuple(dict.fromkeys(last.found)), tuple(circuits), verdict, named)


def _cause(course: Course, library: Library) -> tuple[str, tuple[str, ...]]:
    """The last standing verdict that names faults, with these faults; a verdict on the repair comes later and
    names none.
    """
    for ended in reversed(course.verdicts):
        procedure = library.procedures.get(ended.procedure)
        if ended.affirmed and not ended.withdrawn and procedure and ended.verdict in procedure.verdicts:
            faults = procedure.verdicts[ended.verdict].faults
            if faults:
                return ended.verdict, tuple(faults)
    return "", ()


def _library(folder: Path) -> Library | None:
    """The procedures of a session, already verified; None if this version cannot load them any more."""
    try:
        return load_library(folder / PROCEDURES)
    except BayAssistantError:
        return None
