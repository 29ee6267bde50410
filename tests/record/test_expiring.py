"""Sessions older than they are kept: counted in days, named by what became of them, and removed as a whole."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant.cli import main
from assistant.commands.expiring import delete_groups
from assistant.errors import RecordProblem
from assistant.record import Facts, SessionLog, list_sessions
from assistant.record.expiring import Expired, expired, remove
from assistant.record.summaries import Summary
from assistant.resources import directory

TODAY = date(2026, 11, 29)


def summary(
    name: str, age: int, *, sealed: bool = True, review: str = "signed", problem: str = ""
) -> Summary:
    """A session that began so many days ago."""
    began = datetime(2026, 11, 29, 8, 0, tzinfo=UTC) - timedelta(days=age)
    return Summary(
        name, Path("/nowhere") / name, began, Facts(), sealed=sealed, review=review, problem=problem
    )


@given(st.lists(st.tuples(st.integers(0, 800), st.booleans(), st.sampled_from(["", "signed", "unsigned"]))),
       st.integers(1, 700))  # fmt: skip
def test_each_old_session_is_in_one_group_and_no_young_one_in_any(
    sessions: list[tuple[int, bool, str]], days: int
) -> None:
    """Older than so many days, not exactly so old; open before unsigned before signed."""
    made = [
        summary(f"s{number}", age, sealed=sealed, review=review)
        for number, (age, sealed, review) in enumerate(sessions)
    ]
    found = expired(made, TODAY, days)
    groups = [*found.signed, *found.unsigned, *found.open, *found.damaged]
    assert {one.id for one, (age, _, _) in zip(made, sessions, strict=True) if age > days} == {
        one.id for one in groups
    }
    assert len(groups) == len({one.id for one in groups})
    assert all(one.sealed and one.review == "signed" for one in found.signed)
    assert all(one.sealed and one.review != "signed" for one in found.unsigned)
    assert not any(one.sealed for one in found.open)


def test_a_damaged_one_and_one_without_a_date_are_never_deleted() -> None:
    """The first is named apart, the second is in no group; asking for everything deletes neither."""
    undated = Summary("undated", Path("/nowhere/undated"), problem="no header")
    found = expired([summary("broken", 900, problem="damaged"), undated], TODAY, 30)
    assert (["broken"], 0) == (
        [one.id for one in found.damaged],
        len(found.signed + found.open + found.unsigned),
    )
    assert 0 == delete_groups(found, lambda _: pytest.fail("asked about a damaged session"))


def made(parent: Path, age: int, *, sealed: bool) -> Path:
    """A session on the disk that began so many days ago."""
    moment = datetime.now().astimezone() - timedelta(days=age)
    log = SessionLog.create(parent, Facts(), directory("procedures"), now=lambda: moment)
    if sealed:
        log.seal()
    log.close()
    return log.folder


def test_only_the_word_yes_deletes_and_each_group_is_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --delete nothing goes; y, an empty line and the end of the input keep; a young session is never named."""
    sessions = tmp_path / "sessions"
    closed, interrupted, young = (
        made(sessions, age, sealed=sealed) for age, sealed in ((400, True), (500, False), (10, True))
    )
    command = ["sessions", "--sessions", str(sessions), "--expired", "--keep-days", "365"]

    def answered(text: str, *more: str) -> str:
        monkeypatch.setattr("sys.stdin", io.StringIO(text))
        assert 0 == main([*command, *more])
        return capsys.readouterr().out

    said = answered("yes\nyes\n")
    assert "closed, but signed by nobody:\n" in said
    assert "interrupted: they can still be resumed:\n" in said
    assert young.name not in said
    for text in ("", "y\n\n", "\n\n", "no\nyes please\n"):
        assert 2 == answered(text, "--delete").count("Kept.")
        assert all(one.is_dir() for one in (closed, interrupted, young))
    answered("no\nyes\n", "--delete")
    assert [True, False, True] == [one.exists() for one in (closed, interrupted, young)]
    answered("YES\n", "--delete")
    assert [young] == [one for one in sessions.iterdir() if one.is_dir()]
    assert "No session in" in answered("")
    assert [young.name] == [one.id for one in list_sessions(sessions)]


def test_without_a_number_of_days_sessions_are_kept_for_good(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The option says it, else the setting; without both nothing has expired."""
    folder = made(tmp_path / "s", 400, sealed=True)
    command = ["sessions", "--sessions", str(folder.parent), "--expired"]
    assert 2 == main(command)
    assert "kept for good" in capsys.readouterr().err
    (tmp_path / "settings.toml").write_text("keep-days = 30\n", encoding="utf-8")
    monkeypatch.setenv("BAY_ASSISTANT_SETTINGS", str(tmp_path / "settings.toml"))
    assert 0 == main(command)
    assert folder.name in capsys.readouterr().out
    assert 0 == main([*command, "--keep-days", "500"])
    assert folder.name not in capsys.readouterr().out
    assert 2 == main(["sessions", "--sessions", str(folder.parent), "--delete"])
    assert 2 == main([*command, "--open"])


def test_a_session_in_use_and_a_link_stay(tmp_path: Path) -> None:
    """What another program is writing, and what lies elsewhere, is not removed; the message says why."""
    log = SessionLog.create(tmp_path / "s", Facts(), directory("procedures"))
    with pytest.raises(RecordProblem, match="in use"):
        remove(log.folder)
    log.close()
    link = tmp_path / "s" / "link"
    link.symlink_to(log.folder)
    with pytest.raises(RecordProblem, match="is a link"):
        remove(link)
    remove(log.folder)
    assert ["link"] == [one.name for one in (tmp_path / "s").iterdir()]


def test_what_a_killed_deletion_left_is_cleared_away(tmp_path: Path) -> None:
    """It is in no list, and the next new session removes it."""
    folder = made(tmp_path / "s", 1, sealed=True)
    folder.rename(folder.with_name(f".{folder.name}.gone"))
    assert [] == list_sessions(tmp_path / "s")
    made(tmp_path / "s", 0, sealed=True)
    assert not list((tmp_path / "s").glob(".*.gone"))
    assert not Expired()
