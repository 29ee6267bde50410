"""The time to find a past session: listing and searching with the index and without it.

A benchmark (``bay-assistant bench sessions``), not a test.
The sessions are made up: three played dialogues repeat with invented jobs and are written without waiting for the
disk.
"""

from __future__ import annotations

import os
import random
import tempfile
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import __version__
from assistant.core.dialogue.states import State
from assistant.core.library.identity import check_digit
from assistant.core.values.codec import to_json
from assistant.core.values.events import Action, Event
from assistant.core.values.result import Control
from assistant.loading.folder import load_folder, load_library
from assistant.record.header import HEADER_FILE, PROCEDURES, SEAL_FILE, Facts, Header
from assistant.record.history import read_history
from assistant.record.index import find_sessions
from assistant.record.index_file import INDEX_FILE
from assistant.record.new_review import add_review
from assistant.record.scanning import seal_bytes
from assistant.record.searching import Wanted, fits, vin_part, words_of
from assistant.record.storage import canonical, read_file, sha256
from assistant.record.summaries import list_sessions
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge

COUNT = 2000
"""Number of made-up sessions: some years of a shop."""

REVIEWED = 10
"""One in this many sessions is reviewed and signed."""

FIRST = datetime(2024, 1, 2, 8, 0, tzinfo=UTC)

STORIES = (
    # An open control wire.
    ("dark", "40 ohm", "40 ohm", "blinking"),
    ("dark", "40 ohm"),  # stopped at the wire
    ("dark", "0.1 ohm", "12.1 V", "12.1 V"),  # the control wire touches battery voltage
)
"""The played technician's answers to the tests of coil, control wire and driver: outcomes or readings."""

_PAINT = ("blue", "white", "red", "silver", "green", "black")
_BODY = ("pickup", "van", "coupe", "sedan", "wagon")
_COMPLAINTS = (
    "cranks, won't start",
    "died on the highway, cranks but no start",
    "starts when cold, not when wet",
    "no start since the wash",
    "stalls at a stop and does not start again",
)

PlayedStory = list[tuple[Event, tuple[Action, ...]]]


PARTS = {
    "making up": 6.5,
    "list all, from the records": 0.3,
    "find words, from the records": 0.2,
    "make the index": 0.4,
    "list all, with the index": 0.1,
    "check and count": 0.3,
    "the same again": 0.05,
    "index": 2.3,
}
"""Weight of each part, by the words that announce it: its time with 300 sessions, s."""


@dataclass(frozen=True)
class FindingTime:
    """An operation and its time, s."""

    name: str
    seconds: float


def played(library: Library, knowledge: Knowledge | None, answers: Sequence[str]) -> PlayedStory:
    """Events and actions of a session with these answers, affirmed if they are read back."""
    talk = Dialogue(library, knowledge=knowledge)
    talk.begin("coil-and-driver")
    _settle(talk)
    for answer in answers:
        outcome, _, unit = answer.partition(" ")
        if unit:
            talk.hear(value=outcome, unit=unit)
        else:
            talk.hear(outcome)
        if talk.runner.state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        _settle(talk)
    return list(zip(talk.events, talk.actions, strict=True))


def _settle(talk: Dialogue) -> None:
    """Leave facts blank, acknowledge cautions and let the starter rest, until the dialogue asks for a result."""
    while talk.runner.state in (State.INQUIRING, State.ACKNOWLEDGING, State.RESTING):
        if talk.runner.state is State.INQUIRING:
            talk.hear(control=Control.LEAVE_BLANK)
        talk.ready()
        talk.rested()


def make_up(parent: Path, procedures: Path, count: int, seed: int = 1) -> None:
    """Write a number of sessions, one to four a day; those of the first story are sealed.

    Args:
        parent: Folder for the sessions; it must not exist yet.
        procedures: Folder of procedures, of which each session holds a copy (a hard link).
        count: Number of sessions.
        seed: Seed of the invented jobs.
    """
    parent.mkdir(parents=True)
    library, knowledge = load_folder(procedures)
    stories = [played(library, knowledge, answers) for answers in STORIES]
    copies = {path.name: read_file(path) for path in sorted(procedures.glob("*.yaml"))}
    shared = parent.parent / "shared-procedures"
    shared.mkdir()
    for name, data in copies.items():
        (shared / name).write_bytes(data)
    chance = random.Random(seed)  # noqa: S311  invented jobs, no secret
    moment = FIRST
    for number in range(count):
        moment += timedelta(hours=chance.randint(3, 24), minutes=chance.randint(0, 59))
        header = Header(
            f"{moment:%Y-%m-%d-%H%M}-{number:04d}",
            moment,
            __version__,
            _job(chance, number),
            procedures={name: sha256(data) for name, data in copies.items()},
        )
        folder = parent / header.id
        (folder / PROCEDURES).mkdir(parents=True)
        for name in copies:
            os.link(shared / name, folder / PROCEDURES / name)
        _write(folder, header, stories[number % len(stories)], sealed=number % len(stories) == 0)


def _job(chance: random.Random, number: int) -> Facts:
    signs = "".join(chance.choice("0123456789ABCDEFGHJKLMNPRSTUVWXYZ") for _ in range(17))
    vin = signs[:8] + check_digit(signs) + signs[9:]
    vehicle = f"{chance.choice(_PAINT)} {chance.choice(_BODY)}"
    return Facts(str(4000 + number), vin, vehicle, chance.choice(_COMPLAINTS), "R. Alvarez")


def _write(folder: Path, header: Header, story: PlayedStory, *, sealed: bool) -> None:
    data = header.to_bytes()
    (folder / HEADER_FILE).write_bytes(data)
    last = sha256(data)
    rows = []
    for number, (event, actions) in enumerate(story, start=1):
        at = header.started + timedelta(seconds=event.at)
        body = {
            "number": number,
            "time": at.isoformat(timespec="milliseconds"),
            "event": to_json(event),
            "actions": [to_json(action) for action in actions],
            "previous": last,
        }
        rows.append(canonical(body))
        last = sha256(rows[-1])
    log = b"".join(rows)
    (folder / "log.jsonl").write_bytes(log)
    if sealed:
        files = {HEADER_FILE: sha256(data), "log.jsonl": sha256(log)}
        ended = header.started + timedelta(seconds=story[-1][0].at)
        (folder / SEAL_FILE).write_bytes(seal_bytes(ended, len(rows), last, files))


def measure(
    procedures: Path, count: int = COUNT, progress: Callable[[str], None] = lambda _text: None
) -> list[FindingTime]:
    """Time listing, searching and counting on made-up sessions in their own folder."""
    found: list[FindingTime] = []

    def timed(name: str, call: Callable[[], object]) -> None:
        progress(name)
        begun = time.perf_counter()
        call()
        found.append(FindingTime(name, time.perf_counter() - begun))

    with tempfile.TemporaryDirectory(prefix="bay-assistant-bench-") as name:
        parent = Path(name) / "sessions"
        progress(f"making up {count} sessions")
        make_up(parent, procedures, count)
        folders = sorted(path for path in parent.iterdir() if (path / SEAL_FILE).exists())
        for folder in folders[: count // REVIEWED]:
            add_review(folder, reviewer="J. Okoye", found=("control-wire-open",), sign="write-up\n")
        order, vin = Wanted(order="4007"), Wanted(vin=vin_part(_last_vin(parent)))
        words = Wanted(complaint=words_of("wet start"))
        timed("list all, from the records", lambda: list_sessions(parent))
        timed("find words, from the records", lambda: [fits(one, words) for one in list_sessions(parent)])
        timed("make the index", lambda: find_sessions(parent, order))
        timed("list all, with the index", lambda: find_sessions(parent))
        timed("find an order, with the index", lambda: find_sessions(parent, order))
        timed("find a part of a VIN, with the index", lambda: find_sessions(parent, vin))
        timed("find words of the complaint, with the index", lambda: find_sessions(parent, words))
        terms = load_library(procedures).terms
        reviewed = min(count // REVIEWED, len(folders))
        timed(f"check and count {reviewed} reviewed sessions", lambda: read_history(parent, terms))
        timed("the same again, with the index", lambda: read_history(parent, terms))
        progress(f"index: {(parent / INDEX_FILE).stat().st_size / 1024:.0f} kB")
    return found


def _last_vin(parent: Path) -> str:
    newest = find_sessions(parent, rebuild=True).summaries[0]
    (parent / INDEX_FILE).unlink()
    return newest.facts.vin[-8:]
