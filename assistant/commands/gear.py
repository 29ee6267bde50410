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
    if options.meter is not None:
        return _meter(options.meter, as_json=options.json)
    if options.clamp_scope is not None:
        return _clamp(options.clamp_scope, as_json=options.json)
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


def _meter(spec: str, *, as_json: bool) -> int:
    """List the meters, or try one."""
    from assistant.meter import trial  # noqa: PLC0415

    report = trial.tried(spec) if spec else trial.plugged()
    if as_json:
        print_json(report.to_json())
    else:
        print(report.text(), end="")
    return 0 if isinstance(report, trial.MeterList) or report.able else 1


def _clamp(spec: str, *, as_json: bool) -> int:
    """Try a clamp on a scope."""
    from assistant.meter import clamp_trial  # noqa: PLC0415

    report = clamp_trial.tried(spec)
    if as_json:
        print_json(report.to_json())
    else:
        print(report.text(), end="")
    return 0 if report.able else 1
