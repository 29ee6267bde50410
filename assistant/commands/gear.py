"""`bay-assistant gear`: check whether a session could run with the present gear."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.console import print_json
from assistant.commands.options import add_json, add_model, add_sound, add_voice
from assistant.speaking import DEFAULT_RATE

if TYPE_CHECKING:
    import argparse

    from assistant.commands.gear_check import GearReport
    from assistant.meter.clamp_trial import ClampTrial
    from assistant.meter.trial import MeterList, MeterTrial

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
    instead = parser.add_mutually_exclusive_group()
    instead.add_argument(
        "--meter",
        nargs="?",
        const="",
        metavar="SPEC",
        help="only list the meters that are plugged in, or try one: demo, or DRIVER:conn=/dev/ttyUSB0",
    )
    instead.add_argument(
        "--clamp-scope",
        metavar="SPEC",
        help="only try a clamp on a scope, named as for 'run', with no current in it: channel, rate, level and noise",
    )
    add_voice(parser)
    add_sound(parser)
    add_model(parser)


def run(options: argparse.Namespace) -> int:
    """Print the report; the exit status is 1 if a session could not run, or what is tried gives nothing."""
    report = _reported(options)
    if options.json:
        print_json(report.to_json())
    else:
        print(report.text(), end="")
    return 0 if report.able else 1


def _reported(options: argparse.Namespace) -> GearReport | MeterList | MeterTrial | ClampTrial:
    """Try the clamp or the meter, list the meters, or check the gear of a session."""
    if options.clamp_scope is not None:
        from assistant.meter import clamp_trial  # noqa: PLC0415

        return clamp_trial.tried(options.clamp_scope)
    if options.meter is not None:
        from assistant.meter import trial  # noqa: PLC0415

        return trial.tried(options.meter) if options.meter else trial.plugged()
    from assistant.commands import gear_check  # noqa: PLC0415
    from assistant.commands.settled import settle  # noqa: PLC0415

    settle(options)
    return gear_check.check(
        model=options.model,
        microphone=options.microphone or None,
        speaker=options.speaker or None,
        voice=options.voice,
        rate=options.speech_rate or DEFAULT_RATE,
        say=options.say,
    )
