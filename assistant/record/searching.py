"""A search among past sessions, and whether a session matches it.

`fits` defines a search; the index gives the same answers faster, and a test compares the two.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import date, timedelta

from assistant.core.library.identity import VIN_LENGTH, VIN_SIGNS
from assistant.errors import UsageProblem
from assistant.record.summaries import Summary

_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_LONGEST_WORD = 60
"""Number of characters of a word that count; no word of a complaint is longer."""


@dataclass(frozen=True)
class Wanted:
    """A search; empty fields do not matter.

    Attributes:
        order: Number of the repair order; capitals and spaces do not matter.
        vin: Part of the vehicle identification number, from `vin_part`.
        since: First day, by the clock of the shop.
        until: Last day.
        verdict: Name of a verdict, which need not be the last.
        complaint: Words of the complaint, from `words_of`: all of them, in any order; beginnings of words will do.
        words: The same, anywhere in the facts and the end of the job.
        sealed: True for closed sessions, False for open ones, None for both.
    """

    order: str = ""
    vin: str = ""
    since: date | None = None
    until: date | None = None
    verdict: str = ""
    complaint: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    sealed: bool | None = None


@dataclass(frozen=True)
class Found:
    """The result of a search.

    Attributes:
        summaries: The sessions, newest first.
        of: Number of all sessions.
        unsearched: Damaged sessions that may or may not match.
        verdicts: Names of all verdicts that sessions reached.
        notices: Sentences that the person should know about the search.
    """

    summaries: tuple[Summary, ...] = ()
    of: int = 0
    unsearched: tuple[Summary, ...] = ()
    verdicts: frozenset[str] = frozenset()
    notices: tuple[str, ...] = ()


def words_of(text: str) -> tuple[str, ...]:
    """The words of a text for searching: letters and digits, without capitals and accents, in order."""
    bare = unicodedata.normalize("NFKD", text.casefold())
    signs = [sign for sign in bare if unicodedata.category(sign) != "Mn"]
    spaced = "".join(sign if unicodedata.category(sign)[0] in "LN" else " " for sign in signs)
    return tuple(word[:_LONGEST_WORD] for word in spaced.casefold().split(" ") if word)


def known_words(summary: Summary) -> tuple[str, ...]:
    """Every word by which a session can be looked for."""
    facts = summary.facts
    told = (facts.order, facts.vin, facts.vehicle, facts.complaint, facts.technician)
    return words_of(" ".join((*told, summary.procedure, *summary.verdicts, summary.stopped, summary.id)))


def order_sign(text: str) -> str:
    """A repair-order number without spaces and capitals, which do not matter."""
    return "".join(text.split()).casefold()


def vin_part(text: str) -> str:
    """The part of a VIN that was typed, in capitals without spaces and hyphens.

    Raises:
        UsageProblem: It has a character that no VIN has, or is longer than a VIN.
    """
    part = "".join(sign.upper() if sign.isascii() else sign for sign in text if sign not in "- \t\r\n")
    for sign in part:
        if sign not in VIN_SIGNS:
            raise UsageProblem(
                f"'{text}' cannot be a part of a VIN because of the sign {sign!r}. "
                "A VIN has only digits and the letters A to Z without I, O and Q."
            )
    if not part or len(part) > VIN_LENGTH:
        raise UsageProblem(
            f"'{text}' cannot be a part of a VIN: it has {len(part)} characters. "
            f"Give 1 to {VIN_LENGTH} of them; the last 8 are enough."
        )
    return part


def read_day(text: str, today: date, *, last: bool = False) -> date:
    """Parse a typed day.

    A date of ISO 8601 (``2026-11-25``, ``20261125``, ``2026-W48-3``, a month ``2026-11``), ``today``, ``yesterday``,
    a day of the week (the last one, today included), ``last week`` or ``last month``.

    Args:
        text: The typed text.
        today: The day by the clock of the shop.
        last: Return the last day of a week or month, not the first.

    Raises:
        UsageProblem: It is something else, or there is no such day.
    """
    word = " ".join(text.casefold().replace("-", " ").split())
    if word in ("today", "yesterday"):
        return today - timedelta(days=word == "yesterday")
    if word in _WEEKDAYS:
        return today - timedelta(days=(today.weekday() - _WEEKDAYS.index(word)) % 7)
    if word == "last week":
        monday = today - timedelta(days=today.weekday() + 7)
        return monday + timedelta(days=6) if last else monday
    if word == "last month":
        end = today.replace(day=1) - timedelta(days=1)
        return end if last else end.replace(day=1)
    try:
        if len(text) == len("2026-11") and text[4] == "-" and text[5] != "W" and text.isascii():
            first = date.fromisoformat(f"{text}-01")
            return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1) if last else first
        # The standard has only ASCII digits.
        return date.fromisoformat(text if text.isascii() else "")
    except (ValueError, OverflowError):
        raise UsageProblem(
            f"'{text}' is not a day. Write it as year-month-day, for example {today.isoformat()}, as a month "
            f"({today:%Y-%m}), or as today, yesterday, monday, 'last week' or 'last month'."
        ) from None


def fits(summary: Summary, wanted: Wanted) -> bool:
    """Whether a session matches; unknown fields do not match."""
    day = summary.day
    return (
        (wanted.sealed is None or wanted.sealed == summary.sealed)
        and (not wanted.order or order_sign(wanted.order) == order_sign(summary.facts.order))
        and (not wanted.vin or wanted.vin in summary.facts.vin)
        and (wanted.since is None or (day is not None and wanted.since <= day))
        and (wanted.until is None or (day is not None and day <= wanted.until))
        and (not wanted.verdict or wanted.verdict in summary.verdicts)
        and _all_begin(wanted.complaint, words_of(summary.facts.complaint))
        and _all_begin(wanted.words, known_words(summary))
    )


def _all_begin(wanted: tuple[str, ...], words: tuple[str, ...]) -> bool:
    return all(any(word.startswith(one) for word in words) for one in wanted)


def cannot_tell(summary: Summary, wanted: Wanted) -> bool:
    """Whether a damaged session might match: its readable part matches, and the rest is lost."""
    if not summary.problem or fits(summary, wanted):
        return False
    if summary.started is None:
        return wanted.sealed is None or wanted.sealed == summary.sealed
    known = Wanted(
        wanted.order, wanted.vin, wanted.since, wanted.until, "", wanted.complaint, (), wanted.sealed
    )
    return fits(summary, known)
