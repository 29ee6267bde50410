"""Finding past sessions."""

from __future__ import annotations

import dataclasses
import json
import os
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.core.entries import Entry
from assistant.core.events import Note, from_json
from assistant.errors import BayAssistantError
from assistant.record.course import Course, Dated, follow
from assistant.record.header import HEADER_FILE, SEAL_FILE, Facts, parse_header, parse_time
from assistant.record.reading import log_names
from assistant.record.storage import read_file, read_problem

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

VARIABLE = "BAY_ASSISTANT_SESSIONS"


@dataclass(frozen=True)
class Summary:
    """A line of the list of sessions.

    Attributes:
        id: Name of the session.
        folder: Where it is.
        started: When it began; None when the header cannot be read.
        facts: What was typed about the job.
        procedure: Name of the procedure that it was in last; "" when none was begun.
        verdict: Name of the verdict that was affirmed; "" when there is none.
        stopped: Name of the step at which it stands; "" at the start of a procedure or with a verdict.
        sealed: Whether it was closed for good.
        results: How many results count.
        problem: Why it cannot be read, as a sentence; "" when it can.
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
    problem: str = ""

    def line(self) -> str:
        """One line for a person."""
        if self.problem:
            return f"{self.id}  {self.problem}"
        if self.verdict:
            end = f"verdict {self.verdict}"
        else:
            end = f"stopped at {self.stopped}" if self.stopped else "no verdict"
        where = f"{self.procedure}: {end}" if self.procedure else "not begun"
        results = f"{self.results} result{'' if self.results == 1 else 's'}"
        parts = [
            self.id,
            "sealed" if self.sealed else "open",
            f"order {self.facts.order}" if self.facts.order else "",
            self.facts.vehicle or self.facts.vin,
            f"{where}, {results}",
            self.facts.complaint,
        ]
        words = "  ".join(" ".join(part.split()) for part in parts if part)
        # What was typed may hold signs that would command the terminal.
        return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in words)

    def to_json(self) -> dict[str, Any]:
        """The same for a program; times are ISO 8601."""
        return {
            **dataclasses.asdict(self),
            "folder": str(self.folder),
            "started": self.started.isoformat(timespec="milliseconds") if self.started else None,
        }


def sessions_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """Where sessions are kept when nothing else is asked for.

    ``$BAY_ASSISTANT_SESSIONS``, else ``bay-assistant/sessions`` under ``$XDG_DATA_HOME`` or
    ``~/.local/share`` (XDG Base Directory Specification: a relative path there is ignored).
    """
    if environment.get(VARIABLE):
        return Path(environment[VARIABLE]).expanduser()
    data = environment.get("XDG_DATA_HOME", "")
    base = Path(data) if data.startswith("/") else Path("~/.local/share").expanduser()
    return base / "bay-assistant" / "sessions"


def list_sessions(parent: Path) -> list[Summary]:
    """All sessions in a folder, newest first.

    A damaged session is listed with its problem.
    The hash chain is not checked here: that is what `verify` is for.

    Returns:
        The sessions; none when the folder does not exist yet.

    Raises:
        RecordProblem: The folder may not be read.
    """
    try:
        if not parent.is_dir():
            return []
        folders = [
            entry
            for entry in parent.iterdir()
            if not entry.name.startswith(".") and (entry / HEADER_FILE).is_file()
        ]
    except OSError as error:
        raise read_problem(error, parent) from error
    summaries = [_summary(folder) for folder in folders]
    return sorted(
        summaries, key=lambda one: (one.started.timestamp() if one.started else 0.0, one.id), reverse=True
    )


def _summary(folder: Path) -> Summary:
    try:
        header = parse_header(read_file(folder / HEADER_FILE), HEADER_FILE)
    except BayAssistantError as error:
        return Summary(folder.name, folder, problem=str(error))
    sealed = (folder / SEAL_FILE).exists()
    try:
        course = follow(_entries(folder))
    except (BayAssistantError, OSError, ValueError, TypeError, KeyError, RecursionError):
        return Summary(
            header.id, folder, header.started, header.facts, sealed=sealed,
            problem=f"The log is damaged. 'bay-assistant verify {folder}' says where.",
        )  # fmt: skip
    return _summed(Summary(header.id, folder, header.started, header.facts, sealed=sealed), course)


def _summed(summary: Summary, course: Course) -> Summary:
    verdict = course.verdict()
    return Summary(
        summary.id, summary.folder, summary.started, summary.facts,
        procedure=course.procedure,
        verdict=verdict.verdict if verdict else "",
        stopped=course.step,
        sealed=summary.sealed,
        results=len(course.standing()),
    )  # fmt: skip


def _entries(folder: Path) -> Iterator[Dated]:
    """The entries only: decoding every event of every session would make the list slow."""
    expected = 1
    for name in log_names(folder):
        for data in read_file(folder / name).split(b"\n")[:-1]:
            body = json.loads(data)
            if body["number"] < expected:  # written again in the next file, after a write that failed
                continue
            expected = body["number"] + 1
            for action in body["actions"]:
                if action["type"] == "Note":
                    note = from_json(action)
                    if isinstance(note, Note) and isinstance(note.entry, Entry):
                        yield Dated(parse_time(body["time"]), body["number"], note.entry)
