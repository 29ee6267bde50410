"""`bay-assistant demo`: a session fed from recorded sounds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.options import add_model, add_voice, voice_of

if TYPE_CHECKING:
    import argparse

ABOUT = "Play a whole session from recorded sounds; needs no sound gear."
EXAMPLE = "bay-assistant demo --out demo-session"
FINDING = "the session took another way than its script"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--out",
        type=Path,
        default=Path("demo-session"),
        metavar="DIR",
        help="folder for the results (default: demo-session)",
    )
    parser.add_argument(
        "--real-time", action="store_true", help="run at normal speed instead of as fast as possible"
    )
    parser.add_argument(
        "--script", type=Path, metavar="FILE", help="play this scenario instead of the bundled one"
    )
    add_voice(parser)
    add_model(parser)


def run(options: argparse.Namespace) -> int:
    """Play the scenario."""
    from assistant import demo  # noqa: PLC0415

    return demo.run(
        options.out,
        model=options.model,
        real_time=options.real_time,
        script=options.script,
        voice=voice_of(options),
    )
