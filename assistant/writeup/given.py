"""The facts that were given or left blank: about the car and the work, and from the maker's information."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking
from assistant.core.library.procedure import Band
from assistant.core.library.vocabulary import UNJUDGED
from assistant.core.values.entries import FactGiven, FactUndone, ResultTaken
from assistant.core.values.units import number_written, plain_number
from assistant.core.words import placing, reporting
from assistant.record.course import Dated
from assistant.writeup.contents import Asked
from assistant.writeup.naming import HOW
from assistant.writeup.statement import Source, clock, line, once, term

if TYPE_CHECKING:
    from decimal import Decimal

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.record.course import Course

HEAD = ("order", "vin", "odometer", "technician")
"""Facts that stand in the boxes at the head of the form."""

_CONFIRMED = {"read back": "read back", "affirmed": "read back and affirmed"}


@dataclass(frozen=True)
class Standing:
    """A fact of a session: the value that counts, and earlier ones.

    Attributes:
        given: Its last entry that was not taken back; None if none counts.
        before: Earlier entries, each with the entry that took it back or replaced it.
    """

    given: Dated | None
    before: tuple[tuple[Dated, Dated], ...]


def facts_of(course: Course, until: int | None = None) -> dict[str, Standing]:
    """Every fact given up to a line of the log, by name, in the order of their first entries."""
    found: dict[str, Standing] = {}
    for dated in course.facts:
        entry = dated.entry
        if until is not None and dated.line > until:
            break
        if not isinstance(entry, FactGiven | FactUndone):
            continue
        before = found.get(entry.fact, Standing(None, ()))
        earlier = before.before + (((before.given, dated),) if before.given else ())
        found[entry.fact] = Standing(dated if isinstance(entry, FactGiven) else None, earlier)
    return found


class Numbers:
    """The numbers that judge the readings of a whole session; each is computed once.

    Args:
        library: The procedures that were copied into the session.
        course: The session.
    """

    def __init__(self, library: Library, course: Course) -> None:
        self._library = library
        self._facts = course.facts
        self._lines = [dated.line for dated in course.facts]
        self._taken = 0
        self._standing: dict[str, Dated] = {}
        self._found: dict[int, tuple[dict[str, Decimal], dict[str, int]]] = {}

    def at(self, until: int) -> tuple[dict[str, Decimal], dict[str, int]]:
        """The numbers up to this line of the log, each in its own unit, with their lines."""
        count = bisect_right(self._lines, until)
        if count not in self._found:
            self._found[count] = self._numbers(count)
        return self._found[count]

    def _numbers(self, count: int) -> tuple[dict[str, Decimal], dict[str, int]]:
        if count < self._taken:
            self._taken = 0
            self._standing = {}
        for dated in self._facts[self._taken : count]:
            if isinstance(dated.entry, FactGiven):
                self._standing[dated.entry.fact] = dated
            elif isinstance(dated.entry, FactUndone):
                self._standing.pop(dated.entry.fact, None)
        self._taken = count
        given = {
            name: (dated.entry.value, dated.entry.unit)
            for name, dated in self._standing.items()
            if isinstance(dated.entry, FactGiven)
        }
        numbers = asking.numbers(self._library.terms.facts, given)
        return numbers, {name: self._standing[name].line for name in numbers}


def numbers_at(library: Library, course: Course, until: int) -> tuple[dict[str, Decimal], dict[str, int]]:
    """The numbers that judge a reading, each in its own unit, with their lines of the log."""
    return Numbers(library, course).at(until)


def asked(library: Library, course: Course, *, specifications: bool) -> tuple[Asked, ...]:
    """The facts besides the boxes of the head; a corrected box appears here, too.

    Args:
        library: The procedures that were copied into the session.
        course: The session.
        specifications: Whether to return those of the vehicle maker's information, or the others.
    """
    found = []
    for name, standing in facts_of(course).items():
        inquiry = library.terms.facts[name]
        if inquiry.specification is not specifications or (name in HEAD and not standing.before):
            continue
        sources: list[Source] = [*term("facts", name)]
        value = captured = clip = ""
        if standing.given and isinstance(standing.given.entry, FactGiven):
            entry = standing.given.entry
            value = asking.written_value(inquiry, entry.value, entry.unit)
            captured = _captured(entry, standing.given)
            clip = entry.clip or ""
            sources += line(standing.given.line)
        for old, by in standing.before:
            sources += line(old.line, by.line)
        found.append(
            Asked(
                label=inquiry.label,
                value=value,
                captured=captured,
                clip=clip,
                taken_back=tuple(_old(library, name, old, by) for old, by in standing.before),
                sources=once(sources),
            )
        )
    return tuple(found)


def _captured(entry: FactGiven, dated: Dated) -> str:
    if not entry.value:
        return clock(dated.time)
    if entry.how not in HOW:
        return "typed before the session"
    confirmed = _CONFIRMED.get(entry.confirmed, entry.confirmed)
    return f'{clock(dated.time)} {HOW[entry.how]}, "{entry.words}"; {confirmed}'


def _old(library: Library, name: str, old: Dated, by: Dated) -> str:
    value = ""
    if isinstance(old.entry, FactGiven):
        value = asking.written_value(library.terms.facts[name], old.entry.value, old.entry.unit)
    if isinstance(by.entry, FactUndone):
        return f"{value}, taken back {clock(by.time)} {HOW.get(by.entry.how, by.entry.how)}"
    return f"{value}, given anew {clock(by.time)}"


def judged(library: Library, step: Step, result: ResultTaken, numbers: dict[str, Decimal]) -> str:
    """The judged value if it is not the reading itself: "0.50 ohm, less the leads (0.2 ohm)"; "" if it is."""
    reading = step.reading
    if reading is None or result.judged is None:
        return ""
    parts = []
    for name, words in ((reading.subtract, "less the leads"), (reading.at_20_celsius, "at 20 celsius, from")):
        if name in numbers:
            given = asking.written_value(
                library.terms.facts[name], plain_number(numbers[name]), library.terms.facts[name].unit
            )
            parts.append(f"{words} {given}" if words.endswith("from") else f"{words} ({given})")
    return ", ".join((number_written(result.judged, reading.unit), *parts))


def used(step: Step) -> tuple[str, ...]:
    """Names of the facts that judge a reading of this step."""
    reading = step.reading
    if reading is None:
        return ()
    return tuple(filter(None, (reading.subtract, reading.at_20_celsius, *reading.specified())))


def expected(library: Library, step: Step, numbers: dict[str, Decimal]) -> str:
    """The outcome of a good system, with the maker's numbers if they were given."""
    answer = step.answer(step.good) if step.good else None
    if step.reading and isinstance(answer, Band):
        return reporting.limits(answer, step.reading.unit, numbers)
    return reporting.expected(library, step)


def why_unjudged(library: Library, step: Step, numbers: dict[str, Decimal]) -> str:
    """The reason why a reading could not be judged."""
    missing = [name for name in (step.reading.specified() if step.reading else ()) if name not in numbers]
    if not missing:
        return "the maker's limits as given contradict each other"
    return f"left blank: {placing.listed([library.terms.facts[name].label for name in missing])}"


def is_unjudged(result: ResultTaken) -> bool:
    """Whether a reading was kept and not judged."""
    return result.outcome == UNJUDGED
