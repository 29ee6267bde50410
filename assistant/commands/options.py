"""Options that several commands share, and their values."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import places
from assistant.commands.arguments import whole
from assistant.commands.help_pages import group
from assistant.errors import GearProblem, UsageProblem
from assistant.files import kind_of
from assistant.speaking import DEFAULT_RATE, LEAST_WORDS, MOST_WORDS
from assistant.speaking.naming import DEFAULT_VOICE, voice_named

if TYPE_CHECKING:
    from assistant.session.settings import BoardOptions
    from assistant.speaking.voice import Voice

FOLDERS, SOUND, KEYS, BOARD = "folders", "voice and sound", "number pad", "board for tablets"
"""Titles of the groups of options in the help pages."""

SESSION = "folder or name of the session, or 'last'"
"""Help text of an argument that names a session."""


def add_json(to: argparse._ActionsContainer, *, below: bool = False) -> None:
    """Add ``--json``, which means the same for every command: its result as one JSON document.

    Nothing else is then on standard output, whatever the exit status; errors and remarks are on standard error.

    Args:
        to: The command's parser, or a group of it.
        below: Whether it is a command below another one, whose own ``--json``, before the name, counts as well.
    """
    to.add_argument(
        "--json",
        action="store_true",
        default=argparse.SUPPRESS if below else False,
        help="print the result as one JSON document, and nothing else, on standard output",
    )


def add_model(parser: argparse.ArgumentParser) -> None:
    """Add ``--model``."""
    group(parser, FOLDERS).add_argument(
        "--model",
        type=Path,
        metavar="DIR",
        help="recogniser model in Vosk's format (default: $BAY_ASSISTANT_MODEL, else the bundled one)",
    )


def add_procedures(parser: argparse.ArgumentParser) -> None:
    """Add ``--procedures``; `procedures_folder` reads it."""
    group(parser, FOLDERS).add_argument(
        "--procedures",
        type=_procedures,
        metavar="DIR",
        help="folder of procedures, or 'bundled' (default: $BAY_ASSISTANT_PROCEDURES, the setting, else 'bundled')",
    )


def add_grammars(parser: argparse.ArgumentParser) -> None:
    """Add ``--grammars``; `grammars_folder` reads it."""
    group(parser, FOLDERS).add_argument(
        "--grammars",
        type=Path,
        metavar="DIR",
        help="folder of grammars (default: 'grammars' in the folder of procedures, else the bundled one)",
    )


def add_sessions(parser: argparse.ArgumentParser) -> None:
    """Add ``--sessions``; `sessions_folder` and `session_folder` read it."""
    group(parser, FOLDERS).add_argument(
        "--sessions",
        type=named_path,
        metavar="DIR",
        help="folder of the sessions (default: $BAY_ASSISTANT_SESSIONS, the setting, else the user's data folder)",
    )


def add_pad(parser: argparse.ArgumentParser) -> None:
    """Add ``--pad``; "" if it is given without a name, which lists the pads."""
    these = group(parser, KEYS)
    these.add_argument(
        "--pad",
        nargs="?",
        const="",
        metavar="DEVICE",
        help="read this number pad itself, wherever the desktop's focus is: its name, a part of it, or its path; "
        "without DEVICE the pads are listed",
    )
    these.add_argument(
        "--no-pad", dest="pad", action="store_const", const=False, help="no number pad, though one is set"
    )


def add_witnesses(parser: argparse.ArgumentParser) -> None:
    """Add ``--meter``, ``--clamp-scope`` and ``--hear-starter``: what perceives in place of the technician."""
    parser.add_argument(
        "--meter",
        metavar="SPEC",
        help="read a meter by sigrok-cli, as its --driver takes it: 'demo', 'DRIVER:conn=/dev/ttyUSB0'; "
        "a reading that stands is taken by 'take it' or Enter",
    )
    parser.add_argument(
        "--clamp-scope",
        metavar="SPEC",
        help="capture the current ramp while cranking by sigrok-cli, through a clamp on a scope: "
        "'DRIVER:conn=1.15:channel=CH1', with ':mv-per-a=100' for a clamp of 100 instead of 10 mV/A, or a file of "
        "sigrok ('ramp.sr') for trying; "
        "its shape is proposed, and taken by 'yes'",
    )
    parser.add_argument(
        "--hear-starter",
        action=argparse.BooleanOptionalAction,
        help="the microphone hears the starter too, which starts the crank timer (default: yes)",
    )


def add_sound(parser: argparse.ArgumentParser) -> None:
    """Add ``--microphone`` and ``--loudspeaker``, which was once called ``--speaker``."""
    these = group(parser, SOUND)
    what = "{} of the sound server by name, or device by name or number; 'gear' lists both (default: the system's)"
    these.add_argument("--microphone", metavar="NAME", help=what.format("source"))
    these.add_argument("--loudspeaker", "--speaker", dest="speaker", metavar="NAME", help=what.format("sink"))


def add_board(parser: argparse.ArgumentParser) -> None:
    """Add ``--board`` and what belongs to it; `board_options` reads them."""
    these = group(parser, BOARD)
    these.add_argument(
        "--board",
        action=argparse.BooleanOptionalAction,
        help="also serve the session as a page on the local network, for a tablet: buttons for all keys",
    )
    these.add_argument(
        "--board-watch",
        action=argparse.BooleanOptionalAction,
        help="like --board, with a second address for those who may watch and press nothing",
    )
    these.add_argument(
        "--board-cert",
        type=named_path,
        metavar="FILE",
        help="like --board, by HTTPS: PEM file with a certificate and its key",
    )
    these.add_argument(
        "--board-address",
        metavar="NAME",
        help="name or address by which tablets reach this machine (default: its address in the network)",
    )
    these.add_argument(
        "--board-port",
        type=whole(0, 65535),
        metavar="N",
        help="port of the board (default, also 0: 8470, or a free one if that is taken)",
    )


def board_options(options: argparse.Namespace) -> BoardOptions | None:
    """How the board is served, after `assistant.commands.settled.settle`; None if nobody wants one."""
    from assistant.session.settings import BoardOptions  # noqa: PLC0415

    if not options.board:
        return None
    certificate = options.board_cert or None
    return BoardOptions(
        bool(options.board_watch), certificate, options.board_address or "", options.board_port or 0
    )


def add_voice(parser: argparse.ArgumentParser) -> None:
    """Add ``--voice`` and ``--speech-rate``; each is None unless it is given."""
    these = group(parser, SOUND)
    these.add_argument(
        "--voice",
        type=_voice,
        metavar="NAME",
        help=f"voice: heart, espeak, or another of eSpeak NG, such as gmw/en-us+f3 (default: {DEFAULT_VOICE})",
    )
    these.add_argument(
        "--speech-rate",
        type=whole(LEAST_WORDS, MOST_WORDS),
        metavar="WORDS",
        help=f"speaking rate in words a minute, {LEAST_WORDS} to {MOST_WORDS} (default: {DEFAULT_RATE})",
    )


def voice_of(options: argparse.Namespace) -> Voice:
    """The voice that ``--voice`` and ``--speech-rate`` name."""
    from assistant.speaking.voice import Voice  # noqa: PLC0415

    return Voice(options.speech_rate or DEFAULT_RATE, options.voice)


def _voice(text: str) -> str:
    try:
        return voice_named(text)
    except GearProblem as problem:
        raise argparse.ArgumentTypeError(str(problem)) from problem


def named_path(text: str) -> Path | str:
    """The type of an option that names a path; "" takes back what the settings say."""
    return Path(text) if text else ""


def _procedures(text: str) -> Path:
    """A folder of procedures; "" takes back what the settings and the environment say, as the word ``bundled`` does."""
    from assistant.loading.shop import BUNDLED  # noqa: PLC0415

    return Path(text or BUNDLED)


def procedures_folder(options: argparse.Namespace) -> Path:
    """The folder of procedures in use: the named one, the shop's, or the bundled one."""
    from assistant.loading.shop import procedures_in_use  # noqa: PLC0415

    return procedures_in_use(options.procedures, heeding=_heeding(options))


def own_procedures_folder(options: argparse.Namespace) -> Path | None:
    """The shop's own folder of procedures; None for the bundled one."""
    from assistant.loading.shop import shop_folder  # noqa: PLC0415

    return shop_folder(options.procedures, heeding=_heeding(options))


def _heeding(options: argparse.Namespace) -> bool:
    return not getattr(options, "no_settings", False)


def grammars_folder(options: argparse.Namespace) -> Path:
    """The folder of grammars in use: the named one, that of the procedures, or the bundled one."""
    from assistant.loading.shop import grammars_in_use  # noqa: PLC0415

    return grammars_in_use(options.grammars, own_procedures_folder(options))


def sessions_folder(options: argparse.Namespace) -> Path:
    """The folder of the sessions, which need not exist yet.

    Raises:
        UsageProblem: It is not a folder.
        FileProblem: The settings do not tell it because of a mistake.
    """
    given: Path | str | None = options.sessions
    folder = Path(given) if given else _usual_sessions(heeding=given is None and _heeding(options))
    if folder.exists() and not folder.is_dir():
        kind = kind_of(folder.stat().st_mode) or "a file"
        raise UsageProblem(f"{folder} is {kind}. Name the folder that holds the sessions.")
    return folder


def _usual_sessions(*, heeding: bool) -> Path:
    """The folder of sessions without the option; one that is given empty takes back the setting."""
    if not heeding or os.environ.get(places.SESSIONS_VARIABLE):
        return places.sessions_folder()
    from assistant.preferences import keeping  # noqa: PLC0415  a named folder needs no settings

    written = keeping.load()
    written.check_key("sessions")
    found = written.values.get("sessions")
    return places.expanded(str(found), "the setting 'sessions'") if found else places.sessions_folder()


def session_folder(options: argparse.Namespace) -> Path:
    """A session by its folder, by its name or the end of its name, or the newest one as 'last'.

    Raises:
        UsageProblem, RecordProblem: No session has this name, or several do.
    """
    from assistant.record.summaries import session_named  # noqa: PLC0415

    name = str(options.session)
    return Path(name) if Path(name).is_dir() else session_named(sessions_folder(options), name)
