"""`bay-assistant pack`: a session with its write-ups, packed for hand-over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import complain, print_json, written
from assistant.commands.options import SESSION, add_json, add_sessions, session_folder
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Pack a session and its write-ups for hand-over as a BagIt bag that anybody can check."
EXAMPLE = "bay-assistant pack last --out order-4711.zip"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("session", metavar="SESSION", help=SESSION)
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="PLACE",
        help="a new folder, or a new file that ends in .zip",
    )
    add_json(parser)
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Pack, and print what is handed over with it."""
    from assistant.commands import packing  # noqa: PLC0415

    folder = session_folder(options)
    with TimeLeft("Packing", packing.PARTS, known=True) as left:
        packed = packing.pack(folder, options.out, left.part)
    if packed.left_out:
        complain(packed.left_out)
    if options.json:
        print_json(
            {
                "session": folder.resolve().name,
                "written": [str(options.out)],
                "left_out": packed.left_out,
                "contents": list(packed.told),
            }
        )
    else:
        print("The recipient gets:")
        for line in packed.told:
            print(f"  {line}")
    written(options.out)
    return 0
