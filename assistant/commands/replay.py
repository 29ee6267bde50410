"""`bay-assistant replay`: give a session's events to the dialogue again."""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

from assistant.commands.console import print_json, remark
from assistant.commands.options import SESSION, add_json, add_sessions, session_folder
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Feed a session's events to the dialogue again and compare its actions."
EXAMPLE = "bay-assistant replay last --show"
FINDING = "the dialogue acts differently now"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("session", metavar="SESSION", help=SESSION)
    parser.add_argument("--show", action="store_true", help="print the dialogue with its times")
    add_json(parser)
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Print the differences and, on request, the dialogue; the exit status is 1 if there are differences."""
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.loading.shop import procedures_in_use  # noqa: PLC0415
    from assistant.record import read_session  # noqa: PLC0415
    from assistant.record.replaying import earlier_rules, other_likelihoods, replay  # noqa: PLC0415

    folder = session_folder(options)
    with TimeLeft("Replaying") as left:
        differences = replay(folder, progress=left.show)
    session = read_session(folder)
    compared = "decisions" if earlier_rules(session) else "actions"
    spoken = io.StringIO() if options.json else sys.stdout
    if options.show:
        from assistant.commands.transcript import show  # noqa: PLC0415

        show(session, spoken)
    if options.json:
        dialogue = spoken.getvalue().splitlines() if isinstance(spoken, io.StringIO) else []
        print_json(
            {
                "session": folder.resolve().name,
                "events": len(session.lines),
                "compared": compared,
                "differences": [{"line": one.line, "problem": str(one)} for one in differences],
                **({"dialogue": dialogue} if options.show else {}),
            }
        )
    else:
        for difference in differences:
            print(difference)
        if not differences:
            print(f"{folder.name}: {len(session.lines)} events give the same {compared} again.")
    other = other_likelihoods(session, load_folder(procedures_in_use())[1])
    if other:
        remark(other)
    if earlier_rules(session):
        remark("It was recorded by an earlier version, whose words are not compared.")
    return 1 if differences else 0
