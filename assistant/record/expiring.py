"""Sessions that are older than a shop keeps them, and their removal, which nothing does by itself."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.errors import RecordProblem
from assistant.record.laying import take_lock
from assistant.record.storage import sync_folder, write_problem
from assistant.record.summaries import Summary

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date
    from pathlib import Path


@dataclass(frozen=True)
class Expired:
    """Sessions that began longer ago than they are kept, oldest first.

    Attributes:
        signed: Closed, reviewed and signed.
        unsigned: Closed; nobody signed a review.
        open: Interrupted: they could still be gone on with.
        damaged: With a record that cannot be read in full; a person has to look at them.
    """

    signed: tuple[Summary, ...] = ()
    unsigned: tuple[Summary, ...] = ()
    open: tuple[Summary, ...] = ()
    damaged: tuple[Summary, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.signed or self.unsigned or self.open or self.damaged)


def expired(summaries: Iterable[Summary], today: date, keep_days: int) -> Expired:
    """The sessions that began more than so many days ago, by the clock of the shop.

    A session of which nobody knows when it began is never among them.

    Args:
        summaries: All sessions.
        today: The day.
        keep_days: Days for which a session is kept; one that is exactly so old still is.
    """
    old = sorted(
        (one for one in summaries if one.day is not None and (today - one.day).days > keep_days),
        key=lambda one: (str(one.day), one.id),
    )
    whole = [one for one in old if not one.problem]
    closed = [one for one in whole if one.sealed]
    return Expired(
        signed=tuple(one for one in closed if one.review == "signed"),
        unsigned=tuple(one for one in closed if one.review != "signed"),
        open=tuple(one for one in whole if not one.sealed),
        damaged=tuple(one for one in old if one.problem),
    )


def remove(folder: Path) -> None:
    """Remove a session for good.

    It first gets a hidden name, so that a crash leaves no half session in the list; a new session clears that away.

    Raises:
        RecordProblem: It is in use, is a link, or may not be removed.
    """
    if folder.is_symlink():
        raise RecordProblem(f"{folder} is a link. Remove the link and the session behind it by hand.")
    lock = take_lock(folder)
    try:
        aside = folder.with_name(f".{folder.name}.gone")
        folder.rename(aside)
        sync_folder(folder.parent)
        shutil.rmtree(aside, ignore_errors=True)  # a new session may be clearing it away at the same time
        if aside.exists():
            raise RecordProblem(f"{aside} could not be removed as a whole. Remove the rest by hand.")
        sync_folder(folder.parent)
    except OSError as error:
        raise write_problem(error, folder) from error
    finally:
        os.close(lock)
