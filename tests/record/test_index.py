"""Finding past sessions."""

from __future__ import annotations

import fcntl
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st
from sample_log import FACTS, START, begin, procedure_folder, record, story, ticking, tokens, tone

from assistant.core.values.entries import FactGiven, FactUndone
from assistant.core.values.events import KeyPressed, Note
from assistant.record import (
    Facts,
    Found,
    Header,
    SessionLog,
    Wanted,
    find_sessions,
    index,
    index_file,
    index_rows,
    list_sessions,
    newest_session,
)
from assistant.record.index_file import INDEX_FILE
from assistant.record.searching import cannot_tell, fits, words_of


def test_newest_first_with_what_a_person_looks_for(tmp_path: Path) -> None:
    """The list shows the facts, the verdict or the step it stopped at, and whether it is closed."""
    with begin(tmp_path, "aaaa") as first:
        record(first)
        first.seal()
    later = ticking(START + timedelta(days=1))
    second = SessionLog.create(
        tmp_path / "sessions", FACTS, tmp_path / "procedures", now=later, token=tokens("bbbb")
    )
    record(second, 5)
    second.close()
    newest, oldest = list_sessions(tmp_path / "sessions")
    assert ["2026-11-26-1432-bbbb", "2026-11-25-1432-aaaa"] == [newest.id, oldest.id]
    assert ("", "feed", "feed-while-cranking", 0, False) == (
        newest.verdict, newest.procedure, newest.stopped, newest.results, newest.sealed,
    )  # fmt: skip
    assert ("feed-good", "", 1, True) == (oldest.verdict, oldest.stopped, oldest.results, oldest.sealed)
    assert FACTS == oldest.facts
    assert START == oldest.started


def test_a_summary_is_one_line_and_json(tmp_path: Path) -> None:
    """A person gets one line, a program JSON, also when the complaint was typed over several lines."""
    facts = Facts(order="4711", vehicle="blue\npickup", complaint="cranks,\nno start")
    procedure_folder(tmp_path)
    folder = tmp_path / "sessions"
    log = SessionLog.create(folder, facts, tmp_path / "procedures", now=ticking(), token=tokens("aaaa"))
    record(log)
    log.close()
    (summary,) = list_sessions(folder)
    assert (
        "2026-11-25-1432-aaaa  open  order 4711  blue pickup  feed: verdict feed-good, 1 result  cranks, no start"
        == summary.line()
    )
    again = json.loads(json.dumps(summary.to_json()))
    assert ("2026-11-25T14:32:07.250-05:00", "4711") == (again["started"], again["facts"]["order"])
    (log.folder / "session.json").write_bytes(b"{")
    assert "session.json is damaged" in list_sessions(folder)[0].line()


def told(fact: str, value: str, unit: str = "") -> FactGiven:
    """A fact by voice."""
    return FactGiven(fact, value, unit, "voice", value, 0.97, "affirmed", None)


def test_what_was_given_in_the_session_counts_like_what_was_typed(tmp_path: Path) -> None:
    """The last standing fact is listed and found; one that was taken back or left blank is not."""
    with begin(tmp_path, "aaaa") as log:
        for entry in (
            told("order", "4712"),
            told("order", "4713"),
            told("odometer", "98200", "miles"),
            told("technician", ""),
            told("lamp-kind", "led"),
            told("vin", "11111111111111111"),
            FactUndone("vin", "11111111111111111", "voice"),
        ):
            log.append(KeyPressed(1.0, "enter"), (Note(entry),))
    (summary,) = list_sessions(tmp_path / "sessions")
    facts = summary.facts
    assert ("4713", "", "", "98200 miles", "blue pickup") == (
        facts.order, facts.technician, facts.vin, facts.odometer, facts.vehicle,
    )  # fmt: skip
    assert ["aaaa"] == names(find_sessions(tmp_path / "sessions", Wanted(order="4713")))
    assert [] == names(find_sessions(tmp_path / "sessions", Wanted(order="4711")))


def test_no_folder_is_no_sessions(tmp_path: Path) -> None:
    """Before the first session there is nothing to list, and nothing is made by looking."""
    assert [] == list_sessions(tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()


def test_a_damaged_session_is_listed_with_its_problem(tmp_path: Path) -> None:
    """One bad folder does not hide the others."""
    with begin(tmp_path, "aaaa") as log:
        record(log)
    with begin(tmp_path, "bbbb") as broken:
        record(broken)
    with begin(tmp_path, "cccc") as headless:
        record(headless)
    (broken.folder / "log.jsonl").write_bytes(b'{"number":1}\n')
    (headless.folder / "session.json").write_bytes(b"{")
    (tmp_path / "sessions" / "something-else").mkdir()
    (tmp_path / "sessions" / ".half.new").mkdir()
    found = {summary.id[-4:]: summary.problem for summary in list_sessions(tmp_path / "sessions")}
    assert "" == found["aaaa"]
    assert "The log is damaged" in found["bbbb"]
    assert "session.json is damaged" in found["cccc"]
    assert 3 == len(found)


def test_a_torn_last_line_does_not_spoil_the_list(tmp_path: Path) -> None:
    """A session that lost power in the middle of a line is listed like any open one."""
    procedure_folder(tmp_path)
    with begin(tmp_path) as log:
        record(log, 4)
    with (log.folder / "log.jsonl").open("ab") as file:
        file.write(b'{"number":5,"ti')
    (summary,) = list_sessions(tmp_path / "sessions")
    assert ("", 1) == (summary.problem, summary.results)


# --- the index ------------------------------------------------------------------------------------


def shop(tmp_path: Path) -> Path:
    """Four sessions: two finished, one open, one with a damaged log."""
    for day, (token, count) in enumerate((("aaaa", None), ("bbbb", 5), ("cccc", None), ("dddd", None))):
        if not (tmp_path / "procedures").is_dir():
            procedure_folder(tmp_path)
        facts = Facts(f"47{day:02d}", "1M8GDM9AXKP042788", "blue pickup", f"no start on day {day}")
        clock = ticking(START + timedelta(days=day))
        log = SessionLog.create(
            tmp_path / "sessions", facts, tmp_path / "procedures", now=clock, token=tokens(token)
        )
        record(log, count)
        if count is None:
            log.seal()
        log.close()
    damaged = next((tmp_path / "sessions").glob("*-cccc"))
    (damaged / "log.jsonl").write_bytes(b"{}\n")
    return tmp_path / "sessions"


def names(found: Found) -> list[str]:
    """The last signs of what was found."""
    return [summary.id[-4:] for summary in found.summaries]


SEARCHES = (
    Wanted(),
    Wanted(order="4701"),
    Wanted(vin="042788"),
    Wanted(since=date(2026, 11, 26), until=date(2026, 11, 27)),
    Wanted(verdict="feed-good"),
    Wanted(complaint=("day", "3")),
    Wanted(words=("pick", "bbbb")),
    Wanted(sealed=True),
    Wanted(sealed=False),
    Wanted(order="9999"),
)


@pytest.mark.parametrize("full_text", [True, False])
def test_the_index_answers_as_the_records_do(
    tmp_path: Path, full_text: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every search gives the same with the index, fresh or kept, with or without FTS5, and without any index."""
    if not full_text:
        monkeypatch.setattr(index_file, "has_full_text", lambda _connection: False)
    folder = shop(tmp_path)
    records = list_sessions(folder)
    for _ in range(2):
        for wanted in SEARCHES:
            found = find_sessions(folder, wanted)
            assert [one for one in records if fits(one, wanted)] == list(found.summaries)
            assert [one for one in records if cannot_tell(one, wanted)] == list(found.unsearched)
            assert (4, frozenset({"feed-good"}), ()) == (found.of, found.verdicts, found.notices)
    with sqlite3.connect(folder / INDEX_FILE) as opened:
        (version,) = opened.execute("PRAGMA user_version").fetchone()
    assert full_text == bool(version % 2)


def test_what_changes_in_a_session_is_read_again_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A session that went on, one that came and one that went are noticed; the others are not read again."""
    folder = shop(tmp_path)
    find_sessions(folder)
    read: list[str] = []
    summarise = index_rows.summarise
    monkeypatch.setattr(
        index_rows, "summarise", lambda path: (read.append(path.name[-4:]), summarise(path))[1]
    )
    assert ["dddd", "cccc", "bbbb", "aaaa"] == names(find_sessions(folder))
    assert [] == read
    with SessionLog.resume(next(folder.glob("*-bbbb")), now=ticking()) as log:
        for event, actions in story(log.keep_clip(tone()))[5:]:
            log.append(event, actions)
        log.seal()
    shutil.rmtree(next(folder.glob("*-dddd")))
    with begin(tmp_path, "eeee"):
        pass
    found = find_sessions(folder, Wanted(verdict="feed-good"))
    assert ["bbbb", "aaaa"] == names(found)
    assert ["bbbb", "eeee"] == sorted(read)
    assert 4 == found.of


def test_an_alteration_with_its_time_put_back_is_noticed(tmp_path: Path) -> None:
    """Same size, same modification time: the change of the file's state still gives it away."""
    folder = shop(tmp_path)
    find_sessions(folder)
    header = next(folder.glob("*-aaaa")) / "session.json"
    before = header.stat()
    time.sleep(0.02)  # the file system's clock ticks every few milliseconds
    header.write_bytes(header.read_bytes().replace(b"4700", b"9900"))
    os.utime(header, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert ["aaaa"] == names(find_sessions(folder, Wanted(order="9900")))


def _garbage(path: Path) -> None:
    path.write_bytes(b"no database at all")


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def _blank_page(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096:8192] = bytes(4096)
    path.write_bytes(data)


def _of_tomorrow(path: Path) -> None:
    with sqlite3.connect(path) as opened:
        opened.execute("PRAGMA user_version = 999")


def _without_table(path: Path) -> None:
    with sqlite3.connect(path) as opened:
        opened.execute("DROP TABLE sessions")


def _bad_row(path: Path) -> None:
    with sqlite3.connect(path) as opened:
        opened.execute("UPDATE sessions SET summary = '{'")


@pytest.mark.parametrize(
    "harm", [Path.unlink, _garbage, _cut, _blank_page, _of_tomorrow, _without_table, _bad_row]
)
def test_a_missing_damaged_or_other_index_is_made_anew(tmp_path: Path, harm: Callable[[Path], None]) -> None:
    """Nobody notices, and nothing is lost."""
    folder = shop(tmp_path)
    whole = find_sessions(folder)
    harm(folder / INDEX_FILE)
    assert whole == find_sessions(folder)
    assert whole == find_sessions(folder, rebuild=True)


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    """A file of the same name that is not ours is kept as it is; the records are read, with one notice."""
    folder = shop(tmp_path)
    with sqlite3.connect(folder / INDEX_FILE) as opened:
        opened.execute("CREATE TABLE theirs (a)")
        opened.execute("PRAGMA application_id = 4711")
    data = (folder / INDEX_FILE).read_bytes()
    found = find_sessions(folder, rebuild=True)
    assert ["dddd", "cccc", "bbbb", "aaaa"] == names(found)
    (notice,) = found.notices
    assert "belongs to another program" in notice
    assert data == (folder / INDEX_FILE).read_bytes()


def test_an_index_that_cannot_be_written_costs_only_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The records are read, with one notice that says why."""
    folder = shop(tmp_path)
    (folder / INDEX_FILE).mkdir()
    found = find_sessions(folder, Wanted(order="4701"))
    assert ["bbbb"] == names(found)
    assert ["aaaa"] == [one.id[-4:] for one in find_sessions(folder, Wanted(order="4700")).summaries]
    (notice,) = found.notices
    assert re.search(r"index of .* is not used: .*cannot be written.* records are read instead", notice)
    (folder / INDEX_FILE).rmdir()

    def refuse(*_arguments: object, **_more: object) -> None:
        raise sqlite3.OperationalError("attempt to write a readonly database")

    monkeypatch.setattr(sqlite3, "connect", refuse)
    assert "readonly" in find_sessions(folder).notices[0]


def test_one_waits_for_the_other_and_then_helps_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody who holds the index for long is not waited for for ever."""
    folder = shop(tmp_path)
    monkeypatch.setattr(index, "WAIT_S", 0.05)
    held = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX)
        found = find_sessions(folder)
    finally:
        os.close(held)
    assert 4 == len(found.summaries)
    assert "another bay-assistant" in found.notices[0]
    assert () == find_sessions(folder).notices


def test_many_commands_at_once_all_find_everything(tmp_path: Path) -> None:
    """Six processes that make and use the same index at the same time; afterwards it is whole."""
    folder = shop(tmp_path)
    code = (
        "import sys; from pathlib import Path; from assistant.record import find_sessions\n"
        "for turn in range(4):\n"
        "    found = find_sessions(Path(sys.argv[1]), rebuild=turn % 2 == int(sys.argv[2]) % 2)\n"
        "    assert len(found.summaries) == 4 and not found.notices, found\n"
    )
    running = [
        subprocess.Popen([sys.executable, "-c", code, str(folder), str(number)], stderr=subprocess.PIPE)
        for number in range(6)
    ]
    assert [(b"", 0)] * 6 == [(one.communicate()[1], one.returncode) for one in running]
    with sqlite3.connect(folder / INDEX_FILE) as opened:
        assert [("ok",)] == opened.execute("PRAGMA integrity_check").fetchall()


_LETTERS = st.text(st.characters(codec="utf-8"), max_size=24) | st.sampled_from(
    (
        "cranks no start",
        "zq zzz q",
        "Café crème",
        "\N{FULLWIDTH LATIN CAPITAL LETTER W}et wet",
        "co\N{COMBINING CEDILLA}l",
        "a_b a-b a'b",
        '"*" OR',
    )
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(complaints=st.lists(_LETTERS, min_size=1, max_size=6), sought=_LETTERS, pick=st.integers(0, 99))
def test_full_text_search_finds_what_a_plain_scan_finds(
    tmp_path: Path, complaints: list[str], sought: str, pick: int
) -> None:
    """FTS5 of SQLite beside the meaning in Python, for any text and for beginnings of words that are there."""
    folder = Path(tempfile.mkdtemp(dir=tmp_path))
    for number, complaint in enumerate(complaints):
        (folder / f"s{number}").mkdir()
        header = Header(f"s{number}", START, "0", Facts(complaint=complaint))
        (folder / f"s{number}" / "session.json").write_bytes(header.to_bytes())
    there = words_of(" ".join(complaints)) or ("x",)
    word = there[pick % len(there)]
    records = list_sessions(folder)
    for words in (words_of(sought), (word[: 1 + pick % len(word)],), (word, there[0])):
        for wanted in (Wanted(complaint=words), Wanted(words=words)):
            expected = [one.id for one in records if fits(one, wanted)]
            assert expected == [one.id for one in find_sessions(folder, wanted).summaries]


def test_the_newest_session_is_found_without_reading_logs(tmp_path: Path) -> None:
    """The name "last" means the newest, or the newest that can be gone on with; none among none."""
    folder = shop(tmp_path)
    for log in folder.glob("*/log.jsonl"):
        log.unlink()
    newest, unsealed = newest_session(folder), newest_session(folder, unsealed=True)
    assert newest is not None
    assert unsealed is not None
    assert ("dddd", "bbbb") == (newest.name[-4:], unsealed.name[-4:])
    assert newest_session(tmp_path / "nowhere") is None
    assert not (folder / INDEX_FILE).exists()


def test_a_folder_name_that_is_no_text_is_indexed_all_the_same(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 in a name or in what was typed do not stop the search."""
    folder = tmp_path / "sessions"
    odd = folder / os.fsdecode(b"car-\xff")
    odd.mkdir(parents=True)
    header = Header("car", START, "0", Facts(order="A\udcff", complaint="wet\udcff"))
    (odd / "session.json").write_bytes(header.to_bytes())
    for wanted in (Wanted(), Wanted(complaint=("wet",)), Wanted(order="a\udcff")):
        assert [odd] == [one.folder for one in find_sessions(folder, wanted).summaries]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """A shop with its index."""
    folder = shop(tmp_path_factory.mktemp("kept"))
    find_sessions(folder)
    return folder, (folder / INDEX_FILE).read_bytes()


@settings(max_examples=40)
@given(harm=st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=30))
def test_a_search_is_right_whatever_happened_to_the_bytes_of_the_index(
    kept: tuple[Path, bytes], harm: list[tuple[int, int]]
) -> None:
    """Any bytes changed: the answer is that of the records, because damage is noticed and the index made anew."""
    folder, good = kept
    data = bytearray(good)
    for place, value in harm:
        data[place % len(data)] = value
    records = list_sessions(folder)
    for wanted in (
        Wanted(),
        Wanted(order="4701"),
        Wanted(complaint=("day", "3")),
        Wanted(verdict="feed-good"),
    ):
        (folder / INDEX_FILE).write_bytes(data)
        found = find_sessions(folder, wanted)
        assert [one for one in records if fits(one, wanted)] == list(found.summaries)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(("session.json", "log.jsonl", "log-2.jsonl", "reviews.jsonl", "seal.json")),
    content=st.binary(max_size=60)
    | st.sampled_from(
        (
            b"[]\n",
            b"{}\n",
            b'{"number":1,"actions":[1]}\n',
            b'{"number":1,"actions":[{"type":"Note"}]}\n',
            b"[" * 9999,
        )
    ),
)
def test_whatever_stands_in_a_session_it_is_listed(tmp_path: Path, name: str, content: bytes) -> None:
    """Any bytes in any of its files: one line with its problem at most, and the others as before."""
    folder = Path(tempfile.mkdtemp(dir=tmp_path))
    for number in range(2):
        (folder / f"s{number}").mkdir()
        (folder / f"s{number}" / "session.json").write_bytes(Header(f"s{number}", START, "0").to_bytes())
    (folder / "s1" / name).write_bytes(content)
    found = find_sessions(folder).summaries
    assert 2 == len(found)
    assert "" == next(one.problem for one in found if one.folder.name == "s0")
    assert all("\n" not in one.line() for one in found)
