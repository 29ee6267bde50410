"""A line about each session: read from its record, newest first."""

from __future__ import annotations

import dataclasses
import json
import os
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.core.nearest import did_you_mean
from assistant.core.values.codec import from_json
from assistant.core.values.entries import Entry, FactGiven, FactUndone
from assistant.core.values.events import Note
from assistant.errors import MALFORMED, BayAssistantError, RecordProblem, UsageProblem
from assistant.printing import in_line as plain
from assistant.record.contents import read_inside
from assistant.record.course import Course, Dated, follow
from assistant.record.header import HEADER_FILE, SEAL_FILE, Facts, parse_header, parse_time
from assistant.record.recorded import log_name, log_names
from assistant.record.reviews import last_stating, read_reviews, vin_stated
from assistant.record.storage import read_problem

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


@dataclass(frozen=True)
class Summary:
    """A line of the list of sessions.

    Attributes:
        id: Name of the session.
        folder: Its folder.
        started: When it began; None if the header cannot be read.
        facts: Facts about the job.
        procedure: Name of the procedure that it was in last; "" if none was begun.
        verdict: Name of the verdict that was affirmed last; "" if there is none.
        verdicts: All that were affirmed and still stand, in their order, each once.
        stopped: Name of the step at which it stands; "" at the start of a procedure or with a verdict.
        sealed: Whether it was closed for good.
        results: How many results count.
        review: ``signed`` when a review was signed, ``unsigned`` when there are only others, "" for none.
        problem: Why it cannot be read, as a sentence; "" if it can.
    """

    id: str
    folder: Path
    started: datetime | None = None
    facts: Facts = field(default_factory=Facts)
    procedure: str = ""
    verdict: str = ""
    stopped: str = ""
    sealed: bool = False
    results: int = 0
    review: str = ""
    problem: str = ""
    verdicts: tuple[str, ...] = ()

    @property
    def day(self) -> date | None:
        """The day on which it began, by the clock of the shop; None if the header cannot be read."""
        return self.started.date() if self.started else None

    @property
    def end(self) -> str:
        """Its outcome, in a few words."""
        if self.verdict:
            return f"verdict {', then '.join(self.verdicts or (self.verdict,))}"
        return f"stopped at {self.stopped}" if self.stopped else "no verdict"

    @property
    def state(self) -> str:
        """Whether it was closed, reviewed and signed, in a word."""
        if not self.sealed:
            return "open"
        return {"signed": "signed", "unsigned": "reviewed"}.get(self.review, "sealed")

    def line(self) -> str:
        """One line for a person."""
        if self.problem:
            return plain(f"{self.id}  {self.problem}")
        where = f"{self.procedure}: {self.end}" if self.procedure else "not begun"
        results = f"{self.results} result{'' if self.results == 1 else 's'}"
        parts = [
            self.id,
            self.state,
            f"order {self.facts.order}" if self.facts.order else "",
            self.facts.vehicle or self.facts.vin,
            f"{where}, {results}",
            self.facts.complaint,
        ]
        return plain("  ".join(" ".join(part.split()) for part in parts if part))

    def to_json(self) -> dict[str, Any]:
        """The same for a program; times are ISO 8601."""
        return {
            **dataclasses.asdict(self),
            "folder": str(self.folder),
            "started": self.started.isoformat(timespec="milliseconds") if self.started else None,
        }


def summary_from_json(body: Mapping[str, Any], parent: Path) -> Summary:
    """The summary that `Summary.to_json` wrote, of a folder in `parent`.

    Raises:
        KeyError, TypeError, ValueError: It is something else.
    """
    started = body["started"]
    return Summary(
        **{
            **body,
            "folder": parent / Path(body["folder"]).name,
            "started": parse_time(started) if started else None,
            "facts": Facts(**body["facts"]),
            "verdicts": tuple(body["verdicts"]),
        }
    )


def session_folders(parent: Path) -> list[Path]:
    """The session folders in a folder, by name; none if it does not exist yet.

    A folder that holds anything under the name of a header or of a log is one, so that a damaged one is not hidden.

    Raises:
        RecordProblem: The folder may not be read.
    """
    try:
        if not parent.is_dir():
            return []
        return sorted(
            entry for entry in parent.iterdir() if not entry.name.startswith(".") and _may_be_session(entry)
        )
    except OSError as error:
        raise read_problem(error, parent) from error


def _may_be_session(entry: Path) -> bool:
    """Whether there is a header or a log, be it a file or not: what is damaged is listed, not hidden."""
    return _there(entry / HEADER_FILE) or _there(entry / log_name(1))


def _there(path: Path) -> bool:
    """Whether there is anything of this name, or it may not be looked at."""
    try:
        path.lstat()
    except PermissionError:
        return path.parent.is_dir()
    except OSError:
        return False
    return True


def check_parent(parent: Path) -> None:
    """Make sure that a folder can be one of sessions.

    Raises:
        RecordProblem: It is a session itself.
    """
    if (parent / HEADER_FILE).is_file():
        raise RecordProblem(
            f"{parent} is a session itself. Name the folder that holds the sessions: --sessions {parent.parent}"
        )


def list_sessions(parent: Path) -> list[Summary]:
    """All sessions in a folder, newest first, each read from its record.

    A damaged session is listed with its problem.
    The hash chain is not checked here: that is what `verify` is for.

    Returns:
        The sessions; none if the folder does not exist yet.

    Raises:
        RecordProblem: The folder may not be read.
    """
    return newest_first([summarise(folder) for folder in session_folders(parent)])


def newest_first(summaries: list[Summary]) -> list[Summary]:
    """In the order of a list of sessions; those without a readable header come last."""
    return sorted(
        summaries,
        key=lambda one: (one.started.timestamp() if one.started else 0.0, one.id, one.folder.name),
        reverse=True,
    )


def newest_session(parent: Path, *, unsealed: bool = False) -> Path | None:
    """Folder of the session that began last; only headers are read, so that it is quick among thousands.

    Args:
        parent: Folder of the sessions.
        unsealed: Look only among those that can be gone on with.

    Raises:
        RecordProblem: The folder may not be read.
    """
    headers = []
    for folder in session_folders(parent):
        if unsealed and os.path.lexists(folder / SEAL_FILE):
            continue
        try:
            header = parse_header(read_inside(folder, HEADER_FILE), HEADER_FILE)
            headers.append(Summary(header.id, folder, header.started))
        except BayAssistantError:
            headers.append(Summary(folder.name, folder))
    found = newest_first(headers)
    return found[0].folder if found else None


def session_named(parent: Path, name: str, *, unsealed: bool = False) -> Path:
    """The session of a name, of the end of a name, or the newest one as ``last``.

    Args:
        parent: Folder of the sessions.
        name: As it was typed; its last four signs tell most sessions apart.
        unsealed: ``last`` is the newest one that can be gone on with.

    Raises:
        UsageProblem: There is none, or several.
        RecordProblem: The folder may not be read.
    """
    if name == "last":
        newest = newest_session(parent, unsealed=unsealed)
        if newest is None:
            what = "is no interrupted session" if unsealed else "are no sessions"
            raise UsageProblem(f"There {what} in {parent}.")
        return newest
    if (parent / name).is_dir():
        return parent / name
    if Path(name).is_file():
        raise UsageProblem(
            f"'{name}' is a file. Name the session's folder; what was packed is unpacked first."
        )
    ending = [folder for folder in session_folders(parent) if folder.name.endswith(f"-{name}")]
    if not ending:
        raise UsageProblem(
            f"There is no session '{name}', neither as a folder nor in {parent}. {_meant(parent, name)}"
            "Run 'bay-assistant sessions' to see them."
        )
    if len(ending) > 1:
        names = ", ".join(folder.name for folder in ending)
        raise UsageProblem(f"Several sessions end in '{name}': {names}. Give the whole name.")
    return ending[0]


def _meant(parent: Path, name: str) -> str:
    """The session that could be meant: by its whole name, by its end, or as ``last``; "" if none is near."""
    ends = {folder.name.rpartition("-")[2] for folder in session_folders(parent)}
    return did_you_mean(name, ["last", *ends, *(folder.name for folder in session_folders(parent))])


def summarise(folder: Path) -> Summary:
    """The summary of one session, damaged or not."""
    try:
        header = parse_header(read_inside(folder, HEADER_FILE), HEADER_FILE)
    except BayAssistantError as error:
        return Summary(folder.name, folder, problem=str(error))
    known = Summary(header.id, folder, header.started, header.facts, sealed=(folder / SEAL_FILE).exists())
    try:
        course = follow(entries_of(folder))
    except (BayAssistantError, *MALFORMED):
        return dataclasses.replace(
            known, problem=f"The log is damaged. 'bay-assistant verify {folder}' says where."
        )
    return _summed(known, course)


def _summed(known: Summary, course: Course) -> Summary:
    verdict = course.verdict()
    standing = [one for one in course.verdicts if one.affirmed and not one.withdrawn]
    facts = _standing_facts(known.facts, course)
    review = problem = ""
    try:
        reviews = read_reviews(known.folder)
        if reviews:
            review = "signed" if any(one.signed for one in reviews) else "unsigned"
        if stating := last_stating(reviews, vin_stated):
            facts = dataclasses.replace(facts, vin=vin_stated(stating))
    except BayAssistantError:
        problem = f"Its reviews are damaged. 'bay-assistant verify {known.folder}' says where."
    return dataclasses.replace(
        known,
        facts=facts,
        procedure=course.procedure,
        verdict=verdict.verdict if verdict else "",
        verdicts=tuple(dict.fromkeys(one.verdict for one in standing)),
        stopped=course.step,
        results=len(course.standing()),
        review=review,
        problem=problem,
    )


def _standing_facts(typed: Facts, course: Course) -> Facts:
    """Facts that were typed before, and those given, left blank or taken back in the session."""
    given: dict[str, str] = {}
    names = {item.name for item in dataclasses.fields(Facts)}
    for dated in course.entries:
        entry = dated.entry
        if isinstance(entry, FactGiven) and entry.fact in names:
            given[entry.fact] = " ".join(part for part in (entry.value, entry.unit) if entry.value and part)
        elif isinstance(entry, FactUndone) and entry.fact in names:
            given[entry.fact] = ""
    return dataclasses.replace(typed, **given)


def entries_of(folder: Path) -> Iterator[Dated]:
    """The entries only: decoding every event of every session would make the list slow."""
    expected = 1
    for name in log_names(folder):
        for data in read_inside(folder, name).split(b"\n")[:-1]:
            body = json.loads(data)
            if body["number"] < expected:  # written again in the next file, after a write that failed
                continue
            expected = body["number"] + 1
            for action in body["actions"]:
                if action["type"] == "Note":
                    note = from_json(action)
                    if isinstance(note, Note) and isinstance(note.entry, Entry):
                        yield Dated(parse_time(body["time"]), body["number"], note.entry)
