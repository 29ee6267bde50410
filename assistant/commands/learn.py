"""`bay-assistant learn`: learn a technician's voice and own words, show them, and throw them away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.options import add_grammars, add_json, add_model, add_procedures, add_sound, add_voice
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse

ABOUT = "Learn your voice in a lesson of three minutes, and your own words for answers."
EXAMPLE = 'bay-assistant learn --technician Sam --word "she\'s lit" --means lit'
FINDING = "the lesson was too short to learn from"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--technician",
        metavar="NAME",
        help="whose voice it is (default: the only one learnt so far, else 'technician')",
    )
    parser.add_argument(
        "--word", metavar="WORDS", help="with --means: teach your own words for an answer, without a lesson"
    )
    parser.add_argument(
        "--means", metavar="ANSWER", help="the answer they stand for: lit, dark, 'not sure' …"
    )
    parser.add_argument("--show", action="store_true", help="show what has been learnt, and do nothing else")
    parser.add_argument(
        "--forget",
        nargs="?",
        const="",
        metavar="WORDS",
        help="forget these own words; without WORDS, forget everything about the technician",
    )
    parser.add_argument(
        "--keep-sound",
        action="store_true",
        help="also keep the recordings of the lesson; without this no sound is kept",
    )
    add_json(parser)
    add_voice(parser)
    add_sound(parser)
    add_model(parser)
    add_procedures(parser)
    add_grammars(parser)


def run(options: argparse.Namespace) -> int:
    """Do one of the four things; the exit status is 1 if a lesson was too short to learn from.

    Raises:
        UsageProblem: Options exclude each other, or own words cannot be used.
        FileProblem: The settings have a mistake.
        GearProblem, RecordProblem: The lesson cannot begin, or nothing can be kept.
    """
    wanted = [name for name in ("show", "word") if getattr(options, name)]
    wanted += ["forget"] if options.forget is not None else []
    if len(wanted) > 1:
        raise UsageProblem(f"--{wanted[0]} and --{wanted[1]} exclude each other. Give one of them.")
    if bool(options.word) != bool(options.means):
        raise UsageProblem('Own words need both: --word "she\'s lit" --means lit.')
    if options.json and not wanted:
        raise UsageProblem(
            "A lesson talks with a person, so it prints no JSON. Ask afterwards: learn --show --json."
        )
    from assistant.commands import learning  # noqa: PLC0415
    from assistant.commands.settled import settle  # noqa: PLC0415

    settled = settle(options)
    options.technician = learning.named_by(settled, options.technician or "")
    if options.show:
        return learning.show(options)
    if options.forget is not None:
        return learning.forget(options)
    if options.word:
        return learning.teach_word(options)
    return learning.teach_voice(options)
