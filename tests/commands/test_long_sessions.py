"""Very long sessions: the work for each line stays the same, however long the session is."""

from __future__ import annotations

import gc
import sys
import tracemalloc
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from assistant import resources, writeup
from assistant.commands.bench.long_sessions import measure, parts, record, resumed
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values.thresholds import NO_LIMIT
from assistant.loading.folder import load_folder
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.record import read_session
from assistant.record.replaying import replay
from assistant.rehearsal.dialogue import Dialogue
from assistant.rehearsal.endurance import Day, LongSession

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.events import Action, Event
    from assistant.record import RecordedSession


Procedures = tuple["Library", "Knowledge | None"]


@pytest.fixture(scope="module")
def procedures() -> Procedures:
    """The bundled procedures, and what they are weighed with."""
    return load_folder(resources.directory("procedures"))


class Kept:
    """A log in memory; `lines` counts, and rows are kept only where they are wanted."""

    def __init__(self, *, keep: bool) -> None:
        self.lines = 0
        self.rows: list[tuple[Event, tuple[Action, ...]]] = []
        self._keep = keep

    def append(self, event: Event, actions: tuple[Action, ...]) -> None:
        """As the record's."""
        self.lines += 1
        if self._keep:
            self.rows.append((event, actions))


def calls(work: Callable[[], object]) -> int:
    """How many functions of Python and C are called in this work."""
    count = 0

    def profile(_frame: object, event: str, _argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(profile)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


def played(procedures: Procedures, day: Day, lines: int) -> Kept:
    """A long session in memory."""
    log = Kept(keep=True)
    long = LongSession(*procedures, log, day)
    long.begin()
    while log.lines < lines:
        long.act()
    return log


@pytest.mark.parametrize("day", list(Day))
def test_recalling_leads_where_receiving_does(procedures: Procedures, day: Day) -> None:
    """A dialogue that recalls a session without making its screen goes on exactly as one that lived it."""
    rows = played(procedures, day, 600).rows
    half = len(rows) // 2
    runner = Runner(*procedures, DEFAULT_THRESHOLDS)
    for event, _ in rows[:half]:
        runner.recall(event)
    assert [runner.receive(event) for event, _ in rows[half:]] == [actions for _, actions in rows[half:]]


@pytest.mark.parametrize("day", [Day.KEYS, Day.RADIO])
def test_an_answer_costs_the_same_after_hours(procedures: Procedures, day: Day) -> None:
    """The calls for the same number of lines do not grow with the lines before them."""
    log = Kept(keep=False)
    long = LongSession(*procedures, log, day)
    long.begin()

    def more(lines: int) -> None:
        end = log.lines + lines
        while log.lines < end:
            long.act()

    more(2000)
    early = calls(lambda: more(1000))
    more(4000)
    late = calls(lambda: more(1000))
    assert late <= 1.3 * early


def test_writing_up_grows_with_the_session_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice the lines take at most 2.3 times the calls for the text, the page and the JSON."""
    monkeypatch.setattr("os.fdatasync", lambda _descriptor: None)
    counts = []
    for lines in (2000, 4000):
        folder, _ = record(tmp_path / str(lines), resources.directory("procedures"), Day.WORK, lines)
        session = read_session(folder)
        library, knowledge = load_folder(folder / "procedures")

        def write_up(
            session: object = session,
            library: Library = library,
            knowledge: Knowledge | None = knowledge,
        ) -> None:
            draft = writeup.draft(session, library, knowledge=knowledge)  # type: ignore[arg-type]
            writeup.text(draft)
            writeup.html(draft, {}, writeup.connections_to_embed(session, library))  # type: ignore[arg-type]

        counts.append(calls(write_up))
    assert counts[1] <= 2.3 * counts[0]


def test_a_long_session_is_replayed_and_gone_on_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record of thousands of lines is reproduced line by line, and resumes in the step where it stopped."""
    monkeypatch.setattr("os.fdatasync", lambda _descriptor: None)
    folder, taken = record(tmp_path, resources.directory("procedures"), Day.WORK, 2000)
    assert taken > 200
    assert replay(folder) == []
    again, lived = resumed(folder), Runner(*load_folder(folder / "procedures"), DEFAULT_THRESHOLDS)
    for line in read_session(folder).lines:
        lived.receive(line.event)
    assert (again.state, again.position, again.taken) == (lived.state, lived.position, lived.taken)


def test_every_result_of_a_long_session_is_in_its_write_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is left out because there is much of it."""
    monkeypatch.setattr("os.fdatasync", lambda _descriptor: None)
    folder, taken = record(tmp_path, resources.directory("procedures"), Day.KEYS, 1500)
    draft, _, _ = writeup.drafted(folder)
    assert [test.number for test in draft.tests] == list(range(1, taken + 1))


def test_memory_stays_flat(procedures: Procedures) -> None:
    """A thousand further answers take at most 600 bytes each: what a correction needs to go back to them."""
    log = Kept(keep=False)
    tracemalloc.start()
    try:
        long = LongSession(*procedures, log, Day.KEYS)
        long.begin()
        while long.answers < 400:
            long.act()
        gc.collect()  # what nothing refers to any more is not kept
        begun = tracemalloc.get_traced_memory()[0]
        while long.answers < 1400:
            long.act()
        gc.collect()
        grown = tracemalloc.get_traced_memory()[0] - begun
    finally:
        tracemalloc.stop()
    assert grown < 600 * 1000


def test_too_many_results_are_not_weighed_and_why_says_so(procedures: Procedures) -> None:
    """Past the limit nothing is doubted or weighed, and "why" says the reason; below it, it gives reasons."""
    told = {}
    for most in (0, 120):
        limits = replace(DEFAULT_THRESHOLDS, weighed_results=most)
        talk = Dialogue(procedures[0], limits, knowledge=procedures[1])
        talk.begin("feed-dead")
        while talk.runner.state is not State.ASKING or not talk.runner.taken:
            if talk.runner.state is State.INQUIRING:
                talk.key("plus")
            elif talk.runner.state is State.ASKING:
                talk.key("1")
            elif talk.runner.state is State.READING_BACK:
                talk.key("enter")
            talk.ready()
            talk.rested()
        talk.key("why")
        told[most] = talk.last
    assert told[0] == "More than 0 results. That's too many to weigh together."
    assert told[120].startswith("Most likely now: ")


def test_a_write_up_says_that_so_many_results_are_not_weighed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No figure is made of more results than one car gives, and the write-up says so, also for an old record."""
    monkeypatch.setattr("os.fdatasync", lambda _descriptor: None)
    folder, _ = record(tmp_path, resources.directory("procedures"), Day.KEYS, 400)
    session = read_session(folder)
    library, knowledge = load_folder(folder / "procedures")
    taken = len(
        [one for one in writeup.draft(session, library, knowledge=knowledge).tests if not one.taken_back]
    )
    assert taken > 1

    def limited(most: int) -> RecordedSession:
        thresholds = replace(session.header.thresholds, weighed_results=most)
        return replace(session, header=replace(session.header, thresholds=thresholds))

    few = "Not weighed: more than 1 results count, too many for one car with one fault."
    assert [one.text for one in writeup.draft(limited(1), library, knowledge=knowledge).model] == [few]
    assert few != writeup.draft(limited(NO_LIMIT), library, knowledge=knowledge).model[0].text


def test_a_verdict_that_was_reached_again_and_again_is_told_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cause of a long session names each earlier verdict once, with how often; its lines are all sources."""
    monkeypatch.setattr("os.fdatasync", lambda _descriptor: None)
    folder, _ = record(tmp_path, resources.directory("procedures"), Day.WORK, 3000)
    draft, _, _ = writeup.drafted(folder)
    before = [(found.procedure, found.says.partition(" (Reached")[0]) for found in draft.found_before]
    assert len(before) == len(set(before))
    often = [found for found in draft.found_before if found.says.endswith(" times.)")]
    assert often
    for found in often:
        lines = [source for source in found.sources if source.file == "log"]
        assert found.says.endswith(f"(Reached {len(lines)} times.)")


def test_the_time_left_knows_every_part_of_the_measuring(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is told while it measures begins with the parts that have a time, each once and in their order."""
    monkeypatch.setattr("os.fdatasync", lambda _descriptor: None)
    told: list[str] = []
    measure(resources.directory("procedures"), lines=60, answers=100, progress=told.append)
    known = list(parts(lines=60, answers=100))
    assert told[0] == "memory: 100 of 100 answers are done"
    assert known == [next(part for part in known if text.startswith(part)) for text in told]
    assert set(parts(lines=60, pdf=True)) - set(parts(lines=60)) == {f"{day}: write-up, PDF" for day in Day}
