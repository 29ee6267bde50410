"""The work of `bay-assistant sessions --expired`: lists old sessions, and deletes them after a yes for each group."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from assistant.commands.console import complain, print_json, remark
from assistant.commands.past import row
from assistant.errors import RecordProblem, UsageProblem
from assistant.printing import in_line
from assistant.record.expiring import Expired, expired, remove
from assistant.record.summaries import list_sessions

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date
    from pathlib import Path

    from assistant.record.summaries import Summary

GROUPS = (
    ("signed", "closed and signed"),
    ("unsigned", "closed, but signed by nobody"),
    ("open", "interrupted: they can still be resumed"),
    ("damaged", "damaged: never deleted here; 'bay-assistant verify NAME' says what is wrong"),
)
"""The groups in the order in which they are shown, each with what is said of it."""

YES = "yes"
"""The word that deletes."""


def keep_days(found: object) -> int:
    """The number of days.

    Raises:
        UsageProblem: None is set.
    """
    if not isinstance(found, int) or isinstance(found, bool):
        raise UsageProblem(
            "Sessions are kept for good, because nothing else is set. Give --keep-days N, or set it: "
            "bay-assistant settings --set keep-days N."
        )
    return found


def show(folder: Path, today: date, days: int, *, delete: bool, as_json: bool) -> int:
    """Print the expired sessions by group; with `delete` ask for each group, and delete it after a yes.

    Returns:
        The exit status: 1 if a session that was to be deleted could not be.

    Raises:
        RecordProblem: The folder may not be read.
    """
    found = expired(list_sessions(folder), today, days)
    if as_json:
        rows = {name: [row(one) for one in getattr(found, name)] for name, _ in GROUPS}
        print_json({"keep_days": days, **rows})
        return 0
    if not found:
        print(in_line(f"No session in {folder} is older than {days} days."))
        return 0
    for name, what in GROUPS:
        group: tuple[Summary, ...] = getattr(found, name)
        if group:
            print(f"{len(group)} older than {days} days, {what}:")
            for one in group:
                print(in_line(f"  {one.line()}"))
    if not delete:
        remark("Nothing was deleted; --delete asks for each group.")
        return 0
    return delete_groups(found, _typed)


def delete_groups(found: Expired, typed: Callable[[str], str]) -> int:
    """Ask for each group that may be deleted, and delete it after the word yes; anything else keeps it."""
    failed = 0
    for name, what in GROUPS[:-1]:
        group: tuple[Summary, ...] = getattr(found, name)
        if not group:
            continue
        counts = " Their findings then count no longer in the odds." if name == "signed" else ""
        question = f"Delete {len(group)} ({what.partition(':')[0]}) for good?{counts} Type {YES}: "
        if typed(question).strip().casefold() != YES:
            print("Kept.")
            continue
        for one in group:
            try:
                remove(one.folder)
            except RecordProblem as problem:
                complain(str(problem))
                failed = 1
            else:
                print(in_line(f"Deleted: {one.folder}"))
    return failed


def _typed(question: str) -> str:
    print(question, end="", flush=True)
    return sys.stdin.readline() if sys.stdin is not None else ""
