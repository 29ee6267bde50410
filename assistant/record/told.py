"""What each technician was told in today's sessions, so that it is told in short from now on.

Only the day counts, by the clock of the shop: the names of the session folders begin with it. A session counts for a
technician if nobody else is named in it; one that cannot be read counts for nobody, and its technician hears all again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.entries import CautionAcknowledged, CautionGiven, Cranked, CrankHeard, FactGiven
from assistant.core.values.events import ToldToday
from assistant.errors import MALFORMED, BayAssistantError
from assistant.record.summaries import entries_of, session_folders

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from assistant.core.values.entries import Entry

_TECHNICIAN = "technician"


def told_on(day: date, parent: Path) -> tuple[ToldToday, ...]:
    """What each technician was told in the sessions of a folder that began on this day, by name.

    Args:
        day: The day.
        parent: Folder of all sessions; it need not exist.

    Raises:
        RecordProblem: The folder may not be read.
    """
    told: dict[str, ToldToday] = {}
    for folder in session_folders(parent):
        if not folder.name.startswith(f"{day.isoformat()}-"):
            continue
        try:
            entries = [dated.entry for dated in entries_of(folder)]
        except (BayAssistantError, *MALFORMED):
            continue
        one = _told_in(entries)
        if one is not None:
            told[one.technician] = _joined(told[one.technician], one) if one.technician in told else one
    return tuple(told[name] for name in sorted(told))


def _told_in(entries: list[Entry]) -> ToldToday | None:
    """What the one technician of a session was told in it; None if nobody is named, or several are."""
    names = {
        one.value for one in entries if isinstance(one, FactGiven) and one.fact == _TECHNICIAN and one.value
    }
    if len(names) != 1:
        return None
    full = [one.caution for one in entries if isinstance(one, CautionGiven) and one.form.startswith("full")]
    ready = [name for one in entries if isinstance(one, CautionAcknowledged) for name in one.cautions]
    timed = any(isinstance(one, Cranked) and not isinstance(one, CrankHeard) and one.timed for one in entries)
    return ToldToday(names.pop(), tuple(dict.fromkeys(full)), tuple(dict.fromkeys(ready)), timed)


def _joined(one: ToldToday, other: ToldToday) -> ToldToday:
    return ToldToday(
        one.technician,
        tuple(dict.fromkeys((*one.cautions, *other.cautions))),
        tuple(dict.fromkeys((*one.acknowledged, *other.acknowledged))),
        one.cranking or other.cranking,
    )
