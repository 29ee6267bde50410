"""`bay-assistant verify`: whether a session is what was recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.console import remark, report
from assistant.commands.options import SESSION, add_json, add_sessions, session_folder
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Check that a session, or a session in a bag, is as it was recorded."
EXAMPLE = "bay-assistant verify last"
FINDING = "the record is not what was recorded"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("session", metavar="SESSION", help=f"{SESSION}; or a bag made by 'pack'")
    add_json(parser)
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Print the findings, or that all is as recorded; the exit status is 1 when there are findings."""
    from assistant.record import bag, read_session, verify  # noqa: PLC0415
    from assistant.record.verifying import remarks  # noqa: PLC0415

    folder = session_folder(options)
    if bag.is_bag(folder):
        good = f"{folder.name}: the bag is whole, and its session is what was recorded."
        return report(bag.check(folder), good, as_json=options.json)
    with TimeLeft("Verifying") as left:
        findings = verify(folder, left.show)
    good = ""
    if not findings:
        session = read_session(folder)
        state = "sealed" if session.sealed else "not sealed"
        good = f"{folder.name}: {len(session.lines)} lines, chain unbroken, clips as recorded, {state}."
    status = report(findings, good, as_json=options.json)
    if not findings:
        for one in remarks(folder):
            remark(one)
    return status
