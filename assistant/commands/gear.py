"""`bay-assistant gear`: check whether a session could run with the present gear."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.console import print_json
from assistant.commands.options import add_json, add_model, add_sound, add_voice
from assistant.speaking import DEFAULT_RATE

if TYPE_CHECKING:
    import argparse

ABOUT = "Check the microphone, loudspeaker, voice, model and sound levels."
EXAMPLE = "bay-assistant gear --say"
FINDING = "a session could not run"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--say",
        action="store_true",
        help="also speak a sentence, in the voice and in the other one, and measure the microphone for two seconds",
    )
    add_json(parser)
    add_voice(parser)
    add_sound(parser)
    add_model(parser)


def run(options: argparse.Namespace) -> int:
    """Print the report; the exit status is 1 if a session could not run."""
    from assistant.commands import gear_check  # noqa: PLC0415
    from assistant.commands.settled import settle  # noqa: PLC0415

    settle(options)
    report = gear_check.check(
        model=options.model,
        microphone=options.microphone or None,
        speaker=options.speaker or None,
        voice=options.voice,
        rate=options.speech_rate or DEFAULT_RATE,
        say=options.say,
    )
    if options.json:
        print_json(report.to_json())
    else:
        print(report.text(), end="")
    return 0 if report.able else 1
