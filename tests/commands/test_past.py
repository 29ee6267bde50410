"""Past sessions: a search as it is typed, and the list in words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from shipped import shipped_library

from assistant.commands import past
from assistant.errors import UsageProblem
from assistant.record import Facts, Found, Summary, Wanted

TODAY = date(2026, 11, 26)  # a Thursday
MORNING = datetime.fromisoformat("2026-11-26T09:05:00-05:00")
LIBRARY = shipped_library()


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
    wanted = past.TypedSearch(order="47", since="last week", complaint="Wet").wanted(TODAY)
    said = past.nothing(Found((), 12), "here", wanted)
    assert said == (
        "None of 12 sessions matches: order 47, begun on or after 2026-11-16, 'wet' in the complaint. "
        "'bay-assistant sessions 47' finds numbers that begin with it."
    )
    assert past.nothing(Found(), "here", Wanted()) == "No sessions in here."


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (past.TypedSearch(since="tomorrow"), "'tomorrow' is not a day"),
        (
            past.TypedSearch(since="today", until="2026-11-25"),
            "--from 2026-11-26 is after --to 2026-11-25",
        ),
        (past.TypedSearch(on="today", until="today"), "Leave out --on"),
        (past.TypedSearch(vin="QQ"), "cannot be a part of a VIN"),
        (past.TypedSearch(vin=""), "cannot be a part of a VIN"),
        (past.TypedSearch(order=" "), "--order is empty"),
        (past.TypedSearch(complaint="?!"), "--complaint needs a word"),
        (past.TypedSearch(words=("-",)), "needs a word"),
        (past.TypedSearch(verdict=""), "--verdict is empty"),
    ],
)
def test_a_search_that_cannot_be_meant_is_refused(asked: past.TypedSearch, message: str) -> None:
    """With a sentence that says what would be right."""
    with pytest.raises(UsageProblem, match=message):
        asked.wanted(TODAY)


def test_on_is_both_ends_of_a_day_a_week_or_a_month() -> None:
    """From its first day to its last."""
    week, month, day = (
        past.TypedSearch(on=text).wanted(TODAY) for text in ("last week", "2026-10", "yesterday")
    )
    assert (date(2026, 11, 16), date(2026, 11, 22)) == (week.since, week.until)
    assert (date(2026, 10, 1), date(2026, 10, 31)) == (month.since, month.until)
    assert date(2026, 11, 25) == day.since == day.until
    assert week == past.TypedSearch(since="last week", until="last week").wanted(TODAY)


def test_an_unknown_verdict_is_answered_with_the_known_ones() -> None:
    """Those of the procedures and those that past sessions reached; the nearest first."""
    past.check_verdict("control-wire-open", (), LIBRARY)
    past.check_verdict("of-an-older-version", ("of-an-older-version",), LIBRARY)
    with pytest.raises(UsageProblem, match=r"Did you mean 'control-wire-open'\? Known are: .*, older, "):
        past.check_verdict("control-wire-opened", ("older",), LIBRARY)
    assert past.TypedSearch(verdict="Control wire open").wanted(TODAY).verdict == "control-wire-open"
