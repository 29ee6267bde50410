"""A recorded session read back by `verify`, `replay`, `sessions` and `writeup`: whole, cut short, and altered."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from calling import Refused, change, results

from assistant.cli import main

pytestmark = pytest.mark.usefixtures("own_home")


def test_a_finished_session_is_listed_verified_replayed_and_written_up(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The keyed results come out of every command that reads a session, by folder, by name and as "last"."""
    assert ["battery-at-rest", "battery-while-cranking"] == [step for step, _ in results(recorded)]
    where = ["--sessions", str(recorded.parent)]
    assert 0 == main(["sessions", *where])
    listed = capsys.readouterr().out
    assert recorded.name in listed
    assert "order R-7" in listed
    assert "cranking-voltage-low" in listed
    assert 0 == main(["sessions", "--json", *where])
    (summary,) = json.loads(capsys.readouterr().out)
    assert (recorded.name, True, 2) == (summary["session"], summary["sealed"], summary["results"])
    assert "1M8GDM9AXKP042788" == summary["facts"]["vin"]
    for name in (str(recorded), recorded.name, "last"):
        assert 0 == main(["verify", name, *where])
        assert "chain unbroken" in capsys.readouterr().out
    assert 0 == main(["verify", "last", "--json", *where])
    assert [] == json.loads(capsys.readouterr().out)
    assert 0 == main(["replay", "last", "--show", *where])
    shown = capsys.readouterr().out
    assert "KEY    enter" in shown
    assert "Key the volts" in shown
    assert "same actions again" in shown
    assert 0 == main(["replay", "last", "--json", *where])
    assert [] == json.loads(capsys.readouterr().out)["differences"]
    assert 0 == main(["writeup", "last", *where])
    text = capsys.readouterr().out
    assert "12.5 V" in text
    assert "R-7" in text
    assert text == (recorded / "write-up.txt").read_text(encoding="utf-8")
    page = tmp_path / "order.html"
    assert 0 == main(["writeup", "last", "--html", "--out", str(page), *where])
    assert str(page) in capsys.readouterr().err
    assert page.read_text(encoding="utf-8") == (recorded / "write-up.html").read_text(encoding="utf-8")


def test_a_session_cut_short_is_found_and_still_written_up(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """A last line cut by a power failure: `verify` finds it, and what came before is there."""
    (session / "seal.json").unlink()
    log = session / "log.jsonl"
    log.write_bytes(log.read_bytes()[:-20])
    assert 1 == main(["verify", str(session)])
    assert "cut short" in capsys.readouterr().out
    assert 1 == main(["verify", "--json", str(session)])
    (finding,) = json.loads(capsys.readouterr().out)
    assert "log.jsonl" == finding["path"]
    assert finding["line"] > 1
    assert 0 == main(["writeup", str(session)])
    assert "12.5 V" in capsys.readouterr().out
    assert 0 == main(["replay", str(session)])


def test_a_sealed_session_that_lost_its_end_is_a_finding_everywhere(session: Path, refused: Refused) -> None:
    """Whole lines taken from the end of a sealed log: exit 1 from each command that reads it."""
    log = session / "log.jsonl"
    lines = log.read_bytes().splitlines(keepends=True)
    log.write_bytes(b"".join(lines[:-3]))
    assert 1 == main(["verify", str(session)])
    for command in ("writeup", "replay"):
        assert "not what was recorded" in refused(command, session, status=1)


def test_an_altered_session_is_a_finding_everywhere(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """A changed value: `verify` names file and line, and neither write-up nor replay uses it."""
    line = change(session / "log.jsonl", '"12.5"', '"13.5"')
    assert 1 == main(["verify", str(session)])
    found = capsys.readouterr().out
    assert f"log.jsonl:{line + 1}" in found or f"log.jsonl:{line}" in found
    for arguments in (("writeup",), ("writeup", "--html"), ("replay",), ("replay", "--show")):
        said = refused(arguments[0], session, *arguments[1:], status=1)
        assert "bay-assistant verify" in said
    shown = main(["sessions", "--sessions", str(session.parent)])
    assert 0 == shown


def test_an_altered_procedure_of_a_session_is_a_finding(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """The limits that were used cannot be changed afterwards without being noticed."""
    change(session / "procedures" / "battery-and-cranking.yaml", "below: 11.9", "below: 10.9")
    assert 1 == main(["verify", str(session)])
    assert "procedures/battery-and-cranking.yaml" in capsys.readouterr().out
    for command in ("writeup", "replay"):
        assert "altered" in refused(command, session, status=1)


def test_a_header_that_is_no_json_is_a_finding_and_is_listed(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """A damaged header hides no session from the list, and is said by the other commands."""
    (session / "session.json").write_text("{", encoding="utf-8")
    assert 0 == main(["sessions", "--sessions", str(session.parent)])
    assert session.name in capsys.readouterr().out
    assert 1 == main(["verify", str(session)])
    capsys.readouterr()
    refused("writeup", session, status=1)
    refused("replay", session, status=1)
