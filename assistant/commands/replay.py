"""`bay-assistant replay`: give a session's events to the dialogue again."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from assistant.commands.options import SESSION, add_sessions, session_folder

if TYPE_CHECKING:
    import argparse

ABOUT = "Feed a session's events to the dialogue again and compare its actions."
EXAMPLE = "bay-assistant replay last --show"
FINDING = "the dialogue acts differently now"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("session", metavar="SESSION", help=SESSION)
    parser.add_argument("--show", action="store_true", help="print the dialogue with its times")
    parser.add_argument("--json", action="store_true", help="print the differences as JSON")
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Print the differences and, on request, the dialogue; the exit status is 1 if there are differences."""
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.loading.shop import procedures_in_use  # noqa: PLC0415
    from assistant.record import read_session  # noqa: PLC0415
    from assistant.record.replaying import earlier_rules, other_likelihoods, replay  # noqa: PLC0415

    folder = session_folder(options)
    differences = replay(folder)
    if options.json:
        print(json.dumps([str(difference) for difference in differences]))
        return 1 if differences else 0
    session = read_session(folder)
    if options.show:
        from assistant.commands.transcript import show  # noqa: PLC0415

        show(session, sys.stdout)
    for difference in differences:
        print(difference)
    other = other_likelihoods(session, load_folder(procedures_in_use())[1])
    if other:
        print(other)
    if not differences:
        same = "decisions" if earlier_rules(session) else "actions"
        print(f"{folder.name}: {len(session.lines)} events give the same {same} again.")
        if earlier_rules(session):
            print("It was recorded by an earlier version, whose words are not compared.")
    return 1 if differences else 0
