"""`bay-assistant run`: a live session, new or resumed."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from assistant.commands.arguments import whole
from assistant.commands.console import at_a_terminal
from assistant.commands.help_pages import group
from assistant.commands.options import (
    add_board,
    add_grammars,
    add_model,
    add_pad,
    add_procedures,
    add_sessions,
    add_sound,
    add_voice,
    add_witnesses,
    board_options,
    own_procedures_folder,
    sessions_folder,
)
from assistant.errors import UsageProblem
from assistant.preferences.known import KNOWN

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.commands.settled import Settled
    from assistant.preferences.kinds import Value
    from assistant.record import Facts
    from assistant.record.header import Shop

ABOUT = "Run a live diagnosis session."
EXAMPLE = "bay-assistant run coil-control --order 4711 --complaint 'cranks, no start'"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options: where to begin, the facts of the job, the way of working, and the gear."""
    parser.add_argument(
        "procedure",
        nargs="?",
        metavar="PROCEDURE",
        help="procedure to start with (default: no-start, which asks where to begin)",
    )
    parser.add_argument(
        "--resume", metavar="SESSION", help="resume an interrupted session: its folder, its name, or 'last'"
    )
    _add_facts(group(parser, "facts of the job"))
    _add_shop(group(parser, "the shop and its test gear, in place of the settings"))
    ways = group(parser, "way of working")
    ways.add_argument(
        "--headset",
        action=argparse.BooleanOptionalAction,
        help="the microphone cannot hear the loudspeaker, so listen while speaking",
    )
    ways.add_argument(
        "--keys-only",
        action=argparse.BooleanOptionalAction,
        help="use no microphone: answer on the number pad",
    )
    ways.add_argument(
        "--silent",
        action=argparse.BooleanOptionalAction,
        help="use no loudspeaker: read the screen and acknowledge cautions by key",
    )
    ways.add_argument(
        "--plain",
        action=argparse.BooleanOptionalAction,
        help="print a line for each sentence instead of drawing a screen",
    )
    add_pad(parser)
    add_witnesses(parser)
    add_board(parser)
    parser.add_argument(
        "--no-history",
        action="store_true",
        help="leave the findings of past sessions out of the odds; 'sessions --odds' shows them",
    )
    add_voice(parser)
    add_sound(parser)
    add_model(parser)
    add_procedures(parser)
    add_grammars(parser)
    add_sessions(parser)
    parser.add_argument(
        "--no-settings",
        action="store_true",
        help="leave the file of settings out",
    )


def _add_facts(facts: argparse._ArgumentGroup) -> None:
    facts.add_argument(
        "--order",
        metavar="NUMBER",
        help="repair order number; what an earlier session of it knows of the car is proposed",
    )
    facts.add_argument(
        "--vin", metavar="VIN", help="vehicle identification number; its check digit is verified"
    )
    facts.add_argument("--vehicle", metavar="TEXT", help="the vehicle, such as 'blue pickup'")
    facts.add_argument("--complaint", metavar="TEXT", help="the complaint in the customer's words")
    facts.add_argument(
        "--odometer", metavar="NUMBER", help="odometer reading, such as '98200 miles' or '158000 km'"
    )
    facts.add_argument(
        "--technician",
        metavar="TEXT",
        help="name of the technician, or initials that the settings know; "
        "cautions are spoken in full once a day for each technician",
    )
    facts.add_argument(
        "--crank-longest",
        type=whole(3, 60),
        metavar="S",
        help="the vehicle maker's longest cranking in one go, in seconds (default: the assistant's own limit)",
    )
    facts.add_argument(
        "--crank-rest",
        type=whole(1, 900),
        metavar="S",
        help="the vehicle maker's wait between two cranks, in seconds (default: the assistant's own)",
    )
    facts.add_argument(
        "--cylinders",
        type=whole(1, 16),
        metavar="N",
        help="number of cylinders, with which the ear makes a cranking speed of what it counts",
    )


def _add_shop(shop: argparse._ArgumentGroup) -> None:
    """What a setting says for every session; "" takes it back."""
    for key, metavar, what in (
        ("shop.name", "NAME", "the shop's name, at the head of the write-up"),
        ("shop.address", "TEXT", "its address there; \\n begins a new line"),
        ("shop.telephone", "NUMBER", "its telephone number there"),
        ("lamp.kind", "KIND", "the test lamp: bulb or led"),
        ("lamp.current", "A", "what the test lamp draws"),
        ("clamp", "TEXT", "the current clamp, named in the write-up"),
    ):
        more = ["--lamp"] if key == "lamp.kind" else []
        shop.add_argument(KNOWN[key].option, *more, type=_like(key), metavar=metavar, help=what)


def _like(key: str) -> Callable[[str], Value]:
    """The type of an option that takes what its setting takes; "" takes the setting back."""

    def read(text: str) -> Value:
        from assistant.preferences.reading import judged  # noqa: PLC0415  it loads the reader of TOML

        value, wrong = judged(key, KNOWN[key].kind.read(text)) if text else ("", None)
        if wrong is not None or value is None:
            raise argparse.ArgumentTypeError(". ".join(wrong or (f"{key} is empty",)))
        return value

    return read


def run(options: argparse.Namespace) -> int:
    """Run the session until it ends.

    Raises:
        UsageProblem: Options exclude each other, a fact is wrong, or a name is not known.
        FileProblem: The settings have a mistake.
        GearProblem, RecordProblem: The session cannot begin.
    """
    if options.resume and options.procedure:
        raise UsageProblem(
            f"A resumed session continues where it stopped; it cannot start '{options.procedure}'. "
            "Leave out the procedure, or leave out --resume."
        )
    if options.resume and options.no_history:
        raise UsageProblem(
            "A resumed session keeps the odds it began with. Leave out --no-history, or leave out --resume."
        )
    from assistant.commands import first_minutes, seen_before  # noqa: PLC0415
    from assistant.commands.settled import settle  # noqa: PLC0415

    asks = first_minutes.due(options)
    settled = settle(options, resumed=bool(options.resume))
    why_silent = _must_be_silent(options)
    if asks:
        first_minutes.begin(options)
    facts = _facts(options, settled)
    if not options.resume and at_a_terminal():
        facts = seen_before.proposed(facts, sessions_folder(options), first_minutes.line_typed)
    from assistant.session import live, settings  # noqa: PLC0415

    wanted = settings.Settings(
        procedure=options.procedure or "no-start",
        facts=facts,
        sessions=sessions_folder(options),
        resume=options.resume,
        history=not options.no_history,
        gear=settings.Gear(
            microphone=options.microphone or None,
            speaker=options.speaker or None,
            headset=options.headset,
            keys_only=options.keys_only,
            silent=options.silent,
            plain=options.plain,
            voice=options.voice,
            speech_rate=options.speech_rate,
            pad=None if options.pad is False else options.pad,
            why_silent=why_silent,
            perceiving=settings.Perceiving(
                meter=options.meter or None,
                clamp_scope=options.clamp_scope or None,
                hear_starter=options.hear_starter is not False,
            ),
        ),
        folders=settings.Folders(own_procedures_folder(options), options.grammars, options.model),
        board=board_options(options),
        shop=_shop(settled),
        initials=options.technician or "",
    )
    return live.run(wanted)


def _must_be_silent(options: argparse.Namespace) -> str:
    """Make a session by keys a silent one where no sound can be played; returns why, or ""."""
    if not options.keys_only or options.silent:
        return ""
    from assistant.speaking.portaudio import no_portaudio, there_is_portaudio  # noqa: PLC0415

    if there_is_portaudio():
        return ""
    options.silent = True
    return no_portaudio()


def _facts(options: argparse.Namespace, settled: Settled) -> Facts:
    from assistant.core.library.identity import check_odometer, check_vin  # noqa: PLC0415
    from assistant.record import Facts  # noqa: PLC0415

    vin = str(check_vin(options.vin)) if options.vin else ""
    lamp_kind, lamp_current = settled.lamp()
    return Facts(
        order=options.order or "",
        vin=vin,
        vehicle=options.vehicle or "",
        complaint=options.complaint or "",
        technician=settled.name_of(options.technician or ""),
        odometer=str(check_odometer(options.odometer)) if options.odometer else "",
        crank_longest=str(options.crank_longest or ""),
        crank_rest=str(options.crank_rest or ""),
        lamp_kind=lamp_kind,
        lamp_current=lamp_current,
        cylinders=str(options.cylinders or ""),
    )


def _shop(settled: Settled) -> Shop:
    from assistant.record.header import Shop  # noqa: PLC0415

    return Shop(
        name=settled.text("shop.name"),
        address=settled.text("shop.address"),
        telephone=settled.text("shop.telephone"),
        clamp=settled.text("clamp"),
    )
