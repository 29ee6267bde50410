"""Searching among past sessions: words, parts of a VIN, days."""

from __future__ import annotations

import contextlib
import re
import subprocess
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant.errors import UsageProblem
from assistant.record import Facts, Summary, Wanted
from assistant.record.searching import cannot_tell, fits, read_day, vin_part, words_of

TODAY = date(2026, 11, 26)  # a Thursday
STARTED = datetime.fromisoformat("2026-11-18T23:50:00-05:00")
CAR = Summary(
    "2026-11-18-2350-k7f3", Path("k7f3"), STARTED,
    Facts("RO 4711", "1M8GDM9AXKP042788", "blue pickup", "Cranks, won't start; café smell", "R. Alvarez"),
    "coil-control", "repaired", "", sealed=True, verdicts=("control-wire-open", "repaired"),
)  # fmt: skip


@pytest.mark.parametrize(
    ("wanted", "is_it"),
    [
        (Wanted(), True),
        (Wanted(order="ro4711"), True),
        (Wanted(order="471"), False),
        (Wanted(vin="KP042788"), True),
        (Wanted(vin="1M8GDM9AXKP042788"), True),
        (Wanted(vin="KP042789"), False),
        (Wanted(since=date(2026, 11, 18), until=date(2026, 11, 18)), True),
        (Wanted(since=date(2026, 11, 19)), False),  # by the shop's clock, though it was the 19th in UTC
        (Wanted(until=date(2026, 11, 17)), False),
        (Wanted(verdict="control-wire-open"), True),
        (Wanted(verdict="control-wire"), False),
        (Wanted(complaint=words_of("START crank")), True),
        (Wanted(complaint=words_of("cafe")), True),
        (Wanted(complaint=words_of("tart")), False),
        (Wanted(complaint=words_of("pickup")), False),
        (Wanted(words=words_of("pickup 042")), False),
        (Wanted(words=words_of("pickup 1m8 alv wire")), True),
        (Wanted(sealed=True), True),
        (Wanted(sealed=False), False),
    ],
)
def test_each_part_of_a_search_means_what_it_says(wanted: Wanted, is_it: bool) -> None:
    """Order without capitals, any part of the VIN, the shop's own day, beginnings of words without accents."""
    assert is_it == fits(CAR, wanted)


def test_a_damaged_session_is_not_passed_over() -> None:
    """The readable part decides; the lost part may hold what is looked for."""
    headless = Summary("x", Path("x"), problem="damaged")
    assert cannot_tell(headless, Wanted(order="4711"))
    assert not cannot_tell(headless, Wanted())  # it is listed
    logless = Summary("x", Path("x"), STARTED, CAR.facts, problem="damaged")
    assert cannot_tell(logless, Wanted(order="RO4711", verdict="driver-dead"))
    assert not cannot_tell(logless, Wanted(order="1", verdict="driver-dead"))
    assert not cannot_tell(CAR, Wanted(order="1"))


@given(st.dates(min_value=date(1000, 1, 1)))
def test_days_are_those_of_iso_8601(day: date) -> None:
    """Calendar and week dates, extended and basic, as the standard library writes them."""
    year, week, weekday = day.isocalendar()
    assert day == read_day(day.isoformat(), TODAY)
    assert day == read_day(day.strftime("%Y%m%d") if day.year > 999 else day.isoformat(), TODAY)
    assert day == read_day(f"{year:04d}-W{week:02d}-{weekday}", TODAY)


def test_days_are_those_of_the_date_command() -> None:
    """GNU `date` of coreutils, an outside program, agrees on week dates, yesterday and the days of the week."""

    def printed(*words: str) -> str:
        done = subprocess.run(["date", "-d", *words], capture_output=True, text=True, check=True)
        return done.stdout.strip()

    assert printed("2026-11-25", "+%G-W%V-%u") == "2026-W48-3"
    assert "2026-11-25" == read_day("2026-W48-3", TODAY).isoformat()
    assert read_day("yesterday", TODAY).isoformat() == printed("2026-11-26 -1 day", "+%F")
    for back in range(7):
        day = TODAY - timedelta(days=back)
        assert day == read_day(printed(day.isoformat(), "+%A"), TODAY)


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("last week", "2026-11-16", "2026-11-22"),
        ("last-week", "2026-11-16", "2026-11-22"),
        ("Last Month", "2026-10-01", "2026-10-31"),
        ("2026-02", "2026-02-01", "2026-02-28"),
        ("2024-02", "2024-02-01", "2024-02-29"),
        ("2026-12", "2026-12-01", "2026-12-31"),
        ("today", "2026-11-26", "2026-11-26"),
        ("thursday", "2026-11-26", "2026-11-26"),
        ("friday", "2026-11-20", "2026-11-20"),
    ],
)
def test_a_week_and_a_month_have_a_first_and_a_last_day(text: str, first: str, last: str) -> None:
    """As the first day it is the first of it, as the last day the last."""
    assert (first, last) == (
        read_day(text, TODAY).isoformat(),
        read_day(text, TODAY, last=True).isoformat(),
    )


@pytest.mark.parametrize(
    "text",
    [
        "2026-02-30",
        "26.11.2026",
        "11/26/2026",
        "2026-13",
        "2026-00",
        "",
        "soon",
        "9999-99",
        "202\N{FULLWIDTH DIGIT SIX}-11-26",
    ],
)
def test_what_is_no_day_is_refused_with_an_example(text: str) -> None:
    """The message shows how a day is written."""
    for last in (False, True):
        with pytest.raises(UsageProblem, match=r"is not a day\. .* for example 2026-11-26"):
            read_day(text, TODAY, last=last)


@given(st.text(max_size=12), st.booleans())
def test_any_text_is_a_day_or_refused(text: str, last: bool) -> None:
    """Never any other error."""
    with contextlib.suppress(UsageProblem):
        assert isinstance(read_day(text, TODAY, last=last), date)


def test_a_part_of_a_vin_is_taken_as_typed() -> None:
    """Small letters, spaces and hyphens do not matter; what no VIN has is named."""
    assert "KP042788" == vin_part(" kp-042 788")
    with pytest.raises(UsageProblem, match="the sign 'O'"):
        vin_part("KPO42788")
    with pytest.raises(UsageProblem, match="18 characters"):
        vin_part("1" * 18)
    with pytest.raises(UsageProblem, match="0 characters"):
        vin_part(" - ")


@given(st.text(), st.text())
def test_words_are_letters_and_digits_and_stay_so(one: str, other: str) -> None:
    """Words have no sign between them, do not depend on what stands beside them, and are words of themselves."""
    words = words_of(one)
    assert all(re.fullmatch(r"\w+", word) and " " not in word for word in words)
    assert words + words_of(other) == words_of(f"{one} {other}")
    assert words == words_of(" ".join(words))
