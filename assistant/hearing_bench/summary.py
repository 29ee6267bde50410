"""Figures over many rows: wrong answers that nobody is asked about, and what was accepted by what it would do."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.hearing_bench.tables import interval

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.values.result import Result
    from assistant.hearing_bench.measurements import HeardUtterance
    from assistant.hearing_bench.scoring import Hearing

MANY = 1000
"""Wrong answers are given for so many answers."""


def kind_of(result: Result | None) -> str:
    """What a result would do: a word of the dialogue by its name, "an answer", or "a reading"."""
    if result is None:
        return "nothing"
    if result.control is not None:
        return str(result.control.value)
    return "an answer" if result.outcome is not None else "a reading"


@dataclass
class Silent:
    """Wrong answers out of so many: how many were surer than the limit, and how many were taken without a yes."""

    answers: int = 0
    wrong: int = 0
    sure: int = 0
    taken: int = 0

    def count(self, hearing: Hearing) -> None:
        """Count one more answer."""
        self.answers += 1
        if hearing.wrong:
            self.wrong += 1
            self.sure += hearing.sure
            self.taken += hearing.silent

    def of_many(self, count: int) -> float:
        """A count for each `MANY` answers; 0 without any."""
        return MANY * count / self.answers if self.answers else 0.0


@dataclass
class Accepted:
    """What was accepted of speech that was no phrase: pieces, and accepted ones by what they would do."""

    pieces: int = 0
    sure: int = 0
    kinds: dict[str, int] = field(default_factory=dict)

    @property
    def accepted(self) -> int:
        """All accepted pieces."""
        return sum(self.kinds.values())

    def count(self, hearing: Hearing) -> None:
        """Count one more piece."""
        self.pieces += 1
        if hearing.accepted:
            kind = kind_of(hearing.result)
            self.kinds[kind] = self.kinds.get(kind, 0) + 1
            self.sure += hearing.sure


def silent_by_condition(records: Iterable[HeardUtterance], name: str) -> dict[str, Silent]:
    """Wrong answers of one recogniser in each condition, and "all" of them together."""
    found: dict[str, Silent] = {"all": Silent()}
    for record in records:
        if record.recogniser == name and record.hearing.truth is not None:
            found["all"].count(record.hearing)
            found.setdefault(record.condition, Silent()).count(record.hearing)
    return found


def accepted_by_row(records: Iterable[HeardUtterance], name: str) -> dict[str, Accepted]:
    """What one recogniser accepted of other speech, by row, over all conditions."""
    found: dict[str, Accepted] = {}
    for record in records:
        if record.recogniser == name and record.hearing.truth is None:
            found.setdefault(record.part, Accepted()).count(record.hearing)
    return found


def silent_lines(name: str, found: Silent) -> list[str]:
    """The wrong answers of a recogniser, in a sentence."""
    return [
        (
            f"* {name}: {found.wrong} of {found.answers} answers wrong; for each {MANY} answers "
            f"{found.of_many(found.sure):.1f} wrong above the limit of sureness ({found.sure}), and "
            f"{found.of_many(found.taken):.1f} wrong and taken without a yes ({found.taken})."
        )
    ]


def accepted_lines(found: dict[str, Accepted]) -> list[str]:
    """A table of what was accepted, by what it would do."""
    lines = [
        "| speech that is no phrase | pieces | accepted, per cent | surely | as what |",
        "|---|---|---|---|---|",
    ]
    for part, one in found.items():
        kinds = sorted(one.kinds.items(), key=lambda pair: (-pair[1], pair[0]))
        named = ", ".join(f"{kind} {count}" for kind, count in kinds)
        share = interval(one.accepted, one.pieces)
        lines.append(f"| {part} | {one.pieces} | {share} | {one.sure} | {named} |")
    return lines
