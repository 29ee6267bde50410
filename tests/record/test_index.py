"""Finding past sessions."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

from sample_log import FACTS, START, begin, procedure_folder, record, ticking, tokens

from assistant.record import Facts, SessionLog, list_sessions, sessions_folder


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


def test_where_sessions_are_kept() -> None:
    """Our own variable first, then the XDG base directory (absolute only, as its specification says)."""
    assert Path("/a/b") == sessions_folder({"BAY_ASSISTANT_SESSIONS": "/a/b", "XDG_DATA_HOME": "/c"})
    assert Path("/c/bay-assistant/sessions") == sessions_folder({"XDG_DATA_HOME": "/c"})
    home = Path("~/.local/share/bay-assistant/sessions").expanduser()
    assert home == sessions_folder({"XDG_DATA_HOME": "relative"}) == sessions_folder({})
