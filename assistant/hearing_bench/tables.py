"""Records as rows of tables: what stands in one table, and the cells."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.hearing_bench.scoring import HearingCounts, score, wilson
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assistant.hearing_bench.measurements import HeardUtterance, HearingFigures
    from assistant.hearing_bench.scoring import Hearing

Cells = dict[tuple[str, str], "list[Hearing]"]
"""Hearings by recogniser and condition."""

Rows = dict[tuple[str, str], Cells]
"""Cells by row and speaker."""


def rows_of(records: Iterable[HeardUtterance], *, said: bool) -> Rows:
    """Hearings by row and speaker, then by recogniser and condition; of answers, or of other speech."""
    rows: Rows = {}
    for record in records:
        if (record.hearing.truth is not None) == said:
            cells = rows.setdefault((record.part, record.speaker), {})
            cells.setdefault((record.recogniser, record.condition), []).append(record.hearing)
    return rows


def tables_of(rows: Rows) -> list[tuple[tuple[str, ...], Rows]]:
    """The rows with the same conditions together, and these conditions, which are the columns."""
    found: dict[tuple[str, ...], Rows] = {}
    for key, cells in rows.items():
        conditions = tuple(dict.fromkeys(condition for _, condition in cells))
        found.setdefault(conditions, {})[key] = cells
    return list(found.items())


def table(
    measured: HearingFigures, conditions: tuple[str, ...], rows: Rows, cell: Callable[[HearingCounts], str]
) -> list[str]:
    """One table as Markdown."""
    lines = [
        f"| what, who | n | recogniser | {' | '.join(conditions)} |",
        "|---|---|---|" + "---|" * len(conditions),
    ]
    for (part, speaker), cells in rows.items():
        for name in measured.models:
            groups = [cells.get((name, condition), []) for condition in conditions]
            if not any(groups):
                continue
            shown = [cell(score(group, DEFAULT_THRESHOLDS.ask_below)) if group else "" for group in groups]
            n = max(len(group) for group in groups)
            lines.append(f"| {part}, {speaker} | {n} | {name} | {' | '.join(shown)} |")
    return lines


def percent(share: float) -> str:
    """A share as whole per cent."""
    return f"{100 * share:.0f}"


def interval(count: int, of: int) -> str:
    """A share with its 95 % interval, per cent."""
    found = wilson(count, of)
    return f"{percent(found.share)} [{percent(found.low)}-{percent(found.high)}]"


def answer_cell(counted: HearingCounts) -> str:
    """Right with its interval, wrong, rejected, and wrong without anyone being asked."""
    wrong, rejected = percent(counted.wrong / counted.n), percent(counted.rejected / counted.n)
    sure = percent(counted.sure_wrong / counted.n)
    return f"{interval(counted.right, counted.n)} / {wrong} / {rejected} · {sure}"


def other_cell(counted: HearingCounts) -> str:
    """Accepted with its interval, and accepted without anyone being asked."""
    return f"{interval(counted.wrong, counted.n)} · {percent(counted.sure_wrong / counted.n)}"
