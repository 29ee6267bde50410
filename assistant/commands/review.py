"""`bay-assistant review`: what was really done and found in a session, and a signature under it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.console import at_a_terminal, print_json
from assistant.commands.options import SESSION, add_json, add_sessions, session_folder
from assistant.errors import UsageProblem
from assistant.printing import in_line

if TYPE_CHECKING:
    import argparse

ABOUT = (
    "Review a session's write-up: record the repair, the faults found, codes, parts and labor, and sign it."
)
EXAMPLE = (
    "bay-assistant review last --done 'Spliced the wire.' --found control-wire-open --by 'J. Okoye' --sign"
)


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("session", metavar="SESSION", help=SESSION)
    parser.add_argument("--done", metavar="TEXT", help="the repair that was done")
    parser.add_argument(
        "--found",
        action="append",
        default=[],
        metavar="FAULT",
        help="a fault that was confirmed, by name or in plain words; repeat for more",
    )
    parser.add_argument(
        "--part",
        action="append",
        default=[],
        metavar="'PART; QUANTITY; PRICE; PART NUMBER'",
        help="a part that was used; repeat for more",
    )
    parser.add_argument(
        "--labor",
        "--labour",
        dest="labour",
        action="append",
        default=[],
        metavar="'WORK; HOURS; PRICE'",
        help="a line of labor; repeat for more",
    )
    parser.add_argument(
        "--code", action="append", default=[], metavar="CODE", help="a trouble code; repeat for more"
    )
    parser.add_argument("--vin", metavar="VIN", help="vehicle identification number, if the session lacks it")
    parser.add_argument("--location", metavar="TEXT", help="where it failed: connector, pin, splice")
    parser.add_argument(
        "--photo",
        action="append",
        default=[],
        metavar="'FILE; CAPTION'",
        help="a JPEG or PNG picture to keep with the session, without its place and camera data; repeat for more",
    )
    parser.add_argument(
        "--note",
        action="append",
        default=[],
        metavar="'NUMBER; WORDS'",
        help="the words of a voice note that you listened to; without WORDS those that 'notes' wrote down are right; "
        "repeat for more",
    )
    parser.add_argument("--remark", metavar="TEXT", help="any other remark")
    parser.add_argument("--by", metavar="NAME", help="name of the reviewer")
    parser.add_argument("--sign", action="store_true", help="sign the write-up as it stands with that name")
    add_json(parser)
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Keep the review; without any, show the write-up and, at a terminal, ask for one."""
    from assistant.commands.reviewing import ask  # noqa: PLC0415
    from assistant.writeup import reviewing  # noqa: PLC0415

    folder = session_folder(options)
    wanted = reviewing.WantedReview(
        reviewer=options.by or "",
        done=options.done or "",
        found=tuple(options.found),
        parts=tuple(options.part),
        labour=tuple(options.labour),
        remarks=options.remark or "",
        sign=options.sign,
        codes=tuple(options.code),
        location=options.location or "",
        vin=options.vin or "",
        photos=tuple(options.photo),
        notes=tuple(options.note),
    )
    if not wanted.says_something():
        if options.json:
            raise UsageProblem("--json asks nobody. Say what was done with --done, --found and the others.")
        print(reviewing.show(folder), end="")
        if not at_a_terminal():
            return 0
        try:
            wanted = ask(folder, wanted, lambda question: input(in_line(question)), print)
        except EOFError:
            print()
            wanted = reviewing.WantedReview()
        if not wanted.says_something():
            print("No review was kept.")
            return 0
    review = reviewing.record_review(folder, wanted)
    if options.json:
        name = review.signed.name if review.signed else None
        print_json({"session": folder.resolve().name, "review": review.number, "signed_by": name})
        return 0
    signed = f"signed by {review.signed.name}" if review.signed else "not signed"
    print(f"Review {review.number} of {folder.name}: kept, {signed}.")
    return 0
