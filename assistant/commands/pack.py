"""`bay-assistant pack`: a session with its write-ups, packed for hand-over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import complain
from assistant.commands.options import SESSION, add_sessions, session_folder

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
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Pack, and print what is handed over with it."""
    from assistant.commands import packing  # noqa: PLC0415

    packed = packing.pack(session_folder(options), options.out)
    if packed.left_out:
        complain(packed.left_out)
    print(f"Packed: {options.out}")
    print("The recipient gets:")
    for line in packed.told:
        print(f"  {line}")
    return 0
