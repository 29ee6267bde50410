"""`sessions` as a person uses it: finding last week's car, mistakes in a search, the odds of the shop."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from shipped import shipped_folder

from assistant.cli import main
from assistant.commands import shop_odds
from assistant.commands.bench.past_sessions import make_up
from assistant.loading.folder import FINDINGS_FILE
from assistant.record import add_review
from assistant.resources import directory

LIBRARY, KNOWLEDGE = shipped_folder()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Seven made-up sessions, two of them reviewed and signed."""
    make_up(tmp_path / "sessions", directory("procedures"), 7)
    sealed = sorted(path for path in (tmp_path / "sessions").iterdir() if (path / "seal.json").exists())
    add_review(sealed[0], reviewer="J. Okoye", found=("control-wire-open",), sign="w\n")
    add_review(sealed[1], reviewer="J. Okoye", found=("driver-dead",), sign="w\n")
    return tmp_path / "sessions"


def test_a_search_from_the_command_line(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Options and words work together; for a program as JSON; exit 0 also when nothing is found."""
    where = ["--sessions", str(folder)]

    def found(*options: str) -> list[str]:
        assert 0 == main(["sessions", "--json", *options, *where])
        return [summary["facts"]["order"] for summary in json.loads(capsys.readouterr().out)]

    everything = found()
    assert ["4006", "4005", "4004", "4003", "4002", "4001", "4000"] == everything
    assert ["4003"] == found("--order", "4003")
    assert ["4006", "4003", "4000"] == found("--verdict", "control-wire-open") == found("--sealed")
    assert ["4005", "4004", "4002", "4001"] == found("--open", "--rebuild")
    assert everything[:2] == found("--limit", "2")
    assert everything == found("--from", "2024-01", "--to", "2024-01-31")
    assert [] == found("--from", "2025-01-01")
    assert ["4002"] == found("4002", "alv")
    assert 0 == main(["sessions", "--order", "9", *where])
    assert "None of 7 sessions" in capsys.readouterr().out
    assert 0 == main(["verify", "0003", *where])  # the end of a name is enough
    assert "chain unbroken" in capsys.readouterr().out


def test_mistakes_on_the_command_line(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2 and a sentence: a wrong verdict, a session in place of the folder, a search with the odds."""
    session = next(path for path in folder.iterdir() if path.is_dir())
    for options, message in (
        (["--verdict", "coil-broken"], "There is no verdict 'coil-broken'"),
        (["--sessions", str(session)], "is a session itself. Name the folder"),
        (["--odds", "--order", "1"], "--odds counts all reviewed sessions"),
    ):
        assert 2 == main(["sessions", "--sessions", str(folder), *options])
        assert message in capsys.readouterr().err
    assert 2 == main(["run", "--resume", "last", "--no-history"])
    assert "keeps the odds it began with" in capsys.readouterr().err
    assert 2 == main(["verify", "zzzz", "--sessions", str(folder)])
    assert "There is no session 'zzzz'" in capsys.readouterr().err


def test_a_damaged_session_is_named_beside_a_search(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It may be the one that is looked for, so it is not passed over in silence."""
    session = min(path for path in folder.iterdir() if path.is_dir())
    (session / "session.json").write_bytes(b"{")
    assert 0 == main(["sessions", "--order", "4000", "--sessions", str(folder)])
    assert f"only partly searched: {session.name}" in capsys.readouterr().err


def test_the_odds_are_shown_openly(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Shipped, counted, used, how often the verdict was right, and the weight with its source."""
    assert 0 == main(["sessions", "--odds", "--sessions", str(folder)])
    text = capsys.readouterr().out
    assert "Signed reviews that name what was found: 2." in text
    assert "They weigh as much as 20 of this shop's cars. Chosen" in text
    assert "--no-history" in text
    on_it = text.partition("On coil-with-external-driver:")[2]
    row = next(line for line in on_it.splitlines() if "open control wire" in line)
    assert "1 of 1" in row
    assert "control-wire-open: right in 1 of 2; found instead: driver does not switch (1)" in text
    assert 0 == main(["sessions", "--odds", "--json", "--sessions", str(folder)])
    shown_odds = json.loads(capsys.readouterr().out)
    wire = shown_odds["circuits"]["coil-with-external-driver"]["control-wire-open"]
    assert wire["cars"] == 1.0
    assert KNOWLEDGE is not None
    whole = sum(item["shipped"] for item in shown_odds["circuits"]["coil-with-external-driver"].values())
    assert whole == pytest.approx(1)
    assert wire["used"] > wire["shipped"]


def test_the_odds_shown_are_the_odds_used(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table says what a session with these findings would begin with, fault by fault."""
    from assistant.core.reasoning.evidence import assess  # noqa: PLC0415
    from assistant.measured import DEFAULT_THRESHOLDS  # noqa: PLC0415
    from assistant.record.history import read_history  # noqa: PLC0415

    assert KNOWLEDGE is not None
    findings = read_history(folder, LIBRARY.terms).findings()
    counting = replace(KNOWLEDGE, odds=replace(KNOWLEDGE.odds, findings=findings))
    told = shop_odds.odds_json(read_history(folder, LIBRARY.terms), KNOWLEDGE)
    for circuit, rows in told["circuits"].items():
        assessment = assess(LIBRARY, counting, circuit, (), DEFAULT_THRESHOLDS)
        assert assessment is not None
        assert {fault: row["used"] for fault, row in rows.items()} == pytest.approx(assessment.posterior)


def live(folder: Path, *options: str) -> tuple[Path, str]:
    """A live session by keys that is left at once: its folder and what was printed."""
    before = set(folder.iterdir())
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "run", "coil-control", "--keys-only", "--silent", "--plain",
         "--sessions", str(folder), *options],
        input="qq", capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    (made,) = {path for path in folder.iterdir() if path.is_dir()} - before
    return made, done.stdout


def test_a_live_session_counts_the_findings_and_one_option_leaves_them_out(folder: Path) -> None:
    """It says so before it begins, keeps the counts in its folder, and replays with them."""
    session, said = live(folder)
    assert "2 findings of this shop are counted in the odds" in said
    findings = json.loads((session / "procedures" / FINDINGS_FILE).read_text(encoding="utf-8"))
    assert findings["cars"]["coil-with-external-driver"] == {"control-wire-open": 1.0, "driver-dead": 1.0}
    assert 0 == main(["replay", str(session)])
    assert 0 == main(["verify", str(session)])
    without, said = live(folder, "--no-history")
    assert "of this shop" not in said
    assert not (without / "procedures" / FINDINGS_FILE).exists()


def test_on_a_terminal_the_list_is_for_reading(folder: Path) -> None:
    """Headings and two lines a session, as wide as the terminal."""
    near, far = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "assistant", "sessions", "--limit", "1", "--sessions", str(folder)],
        stdout=far,
        env={**os.environ, "COLUMNS": "60", "LINES": "30"},
    )
    os.close(far)
    text = b""
    while True:
        try:
            piece = os.read(near, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        text += piece
    os.close(near)
    assert process.wait(timeout=30) == 0
    lines = text.decode().splitlines()
    assert lines[0] == "January 2024"
    assert "order 4006" in lines[1]
    assert len(lines[1]) <= 60
    assert lines[-1].startswith("6 more")


@pytest.mark.usefixtures("own_home")
def test_no_sessions_is_no_error(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """An empty list is a sentence, or an empty JSON list; also before the first session made its folder."""
    for where in (["--sessions", str(tmp_path)], []):
        assert 0 == main(["sessions", *where])
        assert "No sessions" in capsys.readouterr().out
        assert 0 == main(["sessions", "--json", *where])
        assert [] == json.loads(capsys.readouterr().out)


@pytest.mark.usefixtures("own_home")
def test_a_folder_of_sessions_that_is_named_and_missing_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A slip of the finger in --sessions must not pass for an empty shop."""
    assert 2 == main(["sessions", "--sessions", str(tmp_path / "none")])
    told = capsys.readouterr()
    assert ("", True) == (told.out, f"{tmp_path / 'none'} does not exist" in told.err)
