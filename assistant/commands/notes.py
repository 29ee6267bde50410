"""`bay-assistant notes`: the voice notes of a session in words, written down by a machine after the session."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import print_json, remark
from assistant.commands.options import SESSION, add_json, add_sessions, session_folder
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Write down the voice notes of a session, offline, and print them; needs bay-assistant[dictation]."
EXAMPLE = "bay-assistant notes last"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("session", metavar="SESSION", help=SESSION)
    parser.add_argument(
        "--model",
        type=Path,
        metavar="DIR",
        help="a model of Whisper in CTranslate2's form (default: the installed tiny.en); nothing is fetched",
    )
    parser.add_argument("--again", action="store_true", help="also write down notes that have words already")
    add_json(parser)
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Write down what has no words yet, and print every note with its words."""
    from assistant.dictation.transcribing import transcribe  # noqa: PLC0415
    from assistant.record.recorded import clips_of  # noqa: PLC0415
    from assistant.writeup import drafted  # noqa: PLC0415
    from assistant.writeup.voice_notes import noted, shown  # noqa: PLC0415

    folder = session_folder(options)
    with TimeLeft("Writing down notes") as left:
        transcribe(folder, options.model, again=options.again, progress=left.show)
    made, session, _ = drafted(folder)
    notes = made.notes
    if options.json:
        lengths = {clip.file: clip.duration_s for line in session.lines for clip in clips_of(line.event)}
        print_json([noted(note, lengths[note.clip]) for note in notes])
    elif not notes:
        print(f"The session {folder.name} has no voice notes.")
    else:
        print("\n".join(shown(note) for note in notes))
        remark(
            "Listen before you rely on it: a machine mishears words, and numbers most of all. Correct a note with: "
            f"bay-assistant review {folder.name} --note '{notes[0].number}; the right words' --by NAME"
        )
    return 0
