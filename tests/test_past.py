"""The command `sessions` as a person uses it: finding last week's car, mistakes in a search, the shop's odds."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from assistant import past
from assistant.cli import main
from assistant.errors import UsageProblem
from assistant.loading.folder import FINDINGS_FILE, load_folder
from assistant.record import Facts, Found, Summary, Wanted, add_review
from assistant.record.timing import make_up
from assistant.resources import directory

TODAY = date(2026, 11, 26)  # a Thursday
MORNING = datetime.fromisoformat("2026-11-26T09:05:00-05:00")
LIBRARY, KNOWLEDGE = load_folder(directory("procedures"))


def car(days: int, **facts: str) -> Summary:
    """A finished session so many days ago."""
    started = MORNING - timedelta(days=days)
    name = f"{started:%Y-%m-%d-%H%M}-k7f3"
    return Summary(
        name,
        Path(name),
        started,
        Facts(**facts),
        "coil-control",
        "control-wire-open",
        "",
        True,
        3,
        "signed",
        verdicts=("control-wire-open",),
    )


def shown(*summaries: Summary, width: int = 100, limit: int = 0) -> list[str]:
    """The lines on a terminal."""
    return list(past.listing(Found(summaries, len(summaries)), today=TODAY, width=width, limit=limit))


def test_sessions_stand_under_the_days_that_people_speak_of() -> None:
    """Today, yesterday, this week (from Monday), last week, then the month."""
    lines = shown(*(car(days) for days in (0, 1, 2, 3, 4, 10, 11, 60)))
    headings = [line for line in lines if line and not line.startswith(" ")]
    assert headings == [
        "Today", "Yesterday", "This week", "Last week", "November 2026", "September 2026",
    ]  # fmt: skip
    assert shown(car(-1))[0] == "Later than today"
    assert shown(replace(car(0), started=None, problem="damaged"))[0] == "Damaged"


def test_a_session_is_two_lines_that_fit_the_terminal() -> None:
    """When, order, vehicle, the end of the VIN and the complaint; then the name to type, and how it ended."""
    one = car(
        8,
        order="4711",
        vehicle="blue\npickup",
        vin="1M8GDM9AXKP042788",
        complaint="cranks\x1b[2J, won't start",
    )
    heading, first, second, _, hint = shown(one)
    assert heading == "Last week"
    assert first == (
        '  Wed 18 Nov 09:05  order 4711  blue pickup  VIN …KP042788  "cranks\\x1b[2J, won\'t start"'
    )
    assert second == "    2026-11-18-0905-k7f3  signed  coil-control: verdict control-wire-open, 3 results"
    assert hint == "Read it: bay-assistant writeup 2026-11-18-0905-k7f3"
    assert max(map(len, shown(one, width=40)[:3])) == 40
    assert shown(one, width=40)[1].endswith("…")


def test_the_one_that_was_found_comes_with_the_command_to_use_it() -> None:
    """Go on with an open one, look into a damaged one."""
    assert "run --resume" in shown(replace(car(0), sealed=False))[-1]
    assert "verify" in shown(replace(car(0), problem="The log is damaged."))[-1]


def test_a_long_list_says_what_it_leaves_out() -> None:
    """Not silently, and with the ways to see more."""
    assert shown(*(car(days) for days in range(5)), limit=2)[-1].startswith("3 more: --limit 0 shows all")
    assert "more" not in " ".join(shown(*(car(days) for days in range(2)), limit=2))


def test_nothing_found_says_what_was_looked_for() -> None:
    """So that a slip of the finger is seen; and whether there are any sessions at all."""
    wanted = past.Asked(order="47", since="last week", complaint="Wet").wanted(TODAY)
    said = past.nothing(Found((), 12), "here", wanted)
    assert said == (
        "None of 12 sessions is one with order 47, a day from 2026-11-16, 'wet' in its complaint. "
        "'bay-assistant sessions 47' finds beginnings."
    )
    assert past.nothing(Found(), "here", Wanted()) == "No sessions in here."


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (past.Asked(since="tomorrow"), "'tomorrow' is not a day"),
        (
            past.Asked(since="today", until="2026-11-25"),
            "Nothing can begin from 2026-11-26 and up to 2026-11-25",
        ),
        (past.Asked(on="today", until="today"), "Leave out --on"),
        (past.Asked(vin="QQ"), "cannot be a part of a VIN"),
        (past.Asked(vin=""), "cannot be a part of a VIN"),
        (past.Asked(order=" "), "--order is empty"),
        (past.Asked(complaint="?!"), "--complaint needs a word"),
        (past.Asked(words=("-",)), "needs a word"),
        (past.Asked(verdict=""), "--verdict is empty"),
    ],
)
def test_a_search_that_cannot_be_meant_is_refused(asked: past.Asked, message: str) -> None:
    """With a sentence that says what would be right."""
    with pytest.raises(UsageProblem, match=message):
        asked.wanted(TODAY)


def test_on_is_both_ends_of_a_day_a_week_or_a_month() -> None:
    """From its first day to its last."""
    week, month, day = (past.Asked(on=text).wanted(TODAY) for text in ("last week", "2026-10", "yesterday"))
    assert (date(2026, 11, 16), date(2026, 11, 22)) == (week.since, week.until)
    assert (date(2026, 10, 1), date(2026, 10, 31)) == (month.since, month.until)
    assert date(2026, 11, 25) == day.since == day.until
    assert week == past.Asked(since="last week", until="last week").wanted(TODAY)


def test_an_unknown_verdict_is_answered_with_the_known_ones() -> None:
    """Those of the procedures and those that past sessions reached; the nearest first."""
    past.check_verdict("control-wire-open", (), LIBRARY)
    past.check_verdict("of-an-older-version", ("of-an-older-version",), LIBRARY)
    with pytest.raises(UsageProblem, match=r"Did you mean 'control-wire-open'\? Known are: .*, older, "):
        past.check_verdict("control-wire-opened", ("older",), LIBRARY)
    assert past.Asked(verdict="Control wire open").wanted(TODAY).verdict == "control-wire-open"


# --- the commands ---------------------------------------------------------------------------------


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
    assert "keeps the odds that it began with" in capsys.readouterr().err
    assert 2 == main(["verify", "zzzz", "--sessions", str(folder)])
    assert "There is no session 'zzzz'" in capsys.readouterr().err


def test_a_damaged_session_is_named_beside_a_search(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It may be the one that is looked for, so it is not passed over in silence."""
    session = min(path for path in folder.iterdir() if path.is_dir())
    (session / "session.json").write_bytes(b"{")
    assert 0 == main(["sessions", "--order", "4000", "--sessions", str(folder)])
    assert f"not searched whole: {session.name}" in capsys.readouterr().err


def test_the_odds_are_shown_openly(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Shipped, counted, used, how often the verdict was right, and the weight with its source."""
    assert 0 == main(["sessions", "--odds", "--sessions", str(folder)])
    text = capsys.readouterr().out
    assert "Signed reviews that name what was found: 2." in text
    assert "count like 20 cars beside those of this shop. Chosen" in text
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
    told = past.odds_json(read_history(folder, LIBRARY.terms), KNOWLEDGE)
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
