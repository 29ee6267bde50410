"""`bay-assistant hear`: recognise sound files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.commands.console import complain, print_json
from assistant.commands.options import add_grammars, add_json, add_model, add_procedures
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = "Recognise speech in sound files; print one JSON object for each file, a line each."
EXAMPLE = "bay-assistant hear --grammar lamp answer.wav"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "files", nargs="+", type=Path, metavar="FILE", help="sound file: WAV or FLAC, at any rate"
    )
    parser.add_argument(
        "--grammar", metavar="NAME", help="listen for a whole grammar: lamp, number, control …"
    )
    parser.add_argument("--procedure", metavar="NAME", help="with --step: listen for what that step accepts")
    parser.add_argument("--step", metavar="NAME", help="with --procedure: name of the step")
    parser.add_argument(
        "--technician",
        metavar="NAME",
        help="hear with this technician's learnt voice and own words (default: the only one that is known)",
    )
    add_json(parser)
    add_model(parser)
    add_procedures(parser)
    add_grammars(parser)


def run(options: argparse.Namespace) -> int:
    """Print a line for each file as it is heard; the exit status is 2 if one of them cannot be read."""
    from assistant.commands import sound_files  # noqa: PLC0415

    heard: list[dict[str, Any]] = []
    parts = {"hearing": sound_files.work_s(options.files)}
    with TimeLeft("Hearing", parts, known=True) as left:

        def write(line: dict[str, Any]) -> None:
            with left.aside():
                if options.json:
                    heard.append(line)
                else:
                    print(json.dumps(line), flush=True)
            if "error" in line:
                tell(line["error"])

        def tell(sentence: str) -> None:
            with left.aside():
                complain(sentence)

        status = sound_files.run(
            options.files,
            grammar=options.grammar,
            procedure=options.procedure,
            step=options.step,
            model=options.model,
            grammars=options.grammars,
            procedures=options.procedures,
            technician=options.technician or "",
            write=write,
            tell=tell,
            progress=left.show,
        )
    if options.json:
        print_json(heard)
    return status
