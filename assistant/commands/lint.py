"""`bay-assistant lint`: check procedures, cautions and grammars, and write the files that are made from them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.console import print_json, report, write
from assistant.commands.options import (
    add_grammars,
    add_json,
    add_procedures,
    grammars_folder,
    procedures_folder,
)
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge

ABOUT = "Check procedures, cautions and grammars."
EXAMPLE = "bay-assistant lint --procedures my-procedures"
FINDING = "a finding"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    add_json(parser)
    parser.add_argument(
        "--speech",
        action="store_true",
        help="check only what the assistant says: how long its sentences are, how much precedes the first crank, "
        "and words that the voice cannot pronounce",
    )
    parser.add_argument(
        "--write-schema",
        action="store_true",
        help="write procedure.schema.json for editors, beside the procedures",
    )
    parser.add_argument(
        "--write-likelihoods",
        action="store_true",
        help="write likelihoods.json, which a session uses to weigh its results, beside the procedures",
    )
    add_procedures(parser)
    add_grammars(parser)


def run(options: argparse.Namespace) -> int:
    """Print the findings, or write what was asked for; the exit status is 1 when there are findings."""
    from assistant.loading.folder import load_knowledge, load_library  # noqa: PLC0415

    folder = procedures_folder(options)
    if options.write_schema or options.write_likelihoods:
        resources.refuse_installed(folder)
    # A damaged table is written anew, so it is not read here.
    library = load_library(folder)
    knowledge = None if options.write_likelihoods else load_knowledge(folder, library.terms)
    made = [*([_write_schema] if options.write_schema else [])]
    made += [_write_likelihoods] if options.write_likelihoods else []
    if made:
        files = [str(make(library, folder)) for make in made]
        if options.json:
            print_json({"written": files})
        return 0
    return (_speech if options.speech else _all)(library, knowledge, options)


def _write_schema(library: Library, folder: Path) -> Path:
    from assistant.core.library.schema import procedure_schema  # noqa: PLC0415

    path = folder / "procedure.schema.json"
    write(path, json.dumps(procedure_schema(library.terms, library.cautions), indent=2) + "\n")
    return path


def _write_likelihoods(library: Library, folder: Path) -> Path:
    from assistant.circuit import likelihoods  # noqa: PLC0415
    from assistant.loading.folder import LIKELIHOODS_FILE  # noqa: PLC0415

    path = folder / LIKELIHOODS_FILE
    with TimeLeft("Computing") as left:
        made = likelihoods.table(library, progress=left.show)
    write(path, likelihoods.to_bytes(made).decode())
    return path


def _speech(library: Library, knowledge: Knowledge | None, options: argparse.Namespace) -> int:
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415
    from assistant.linting import SPEECH_PARTS, all_spoken, lesson_spoken, unpronounceable  # noqa: PLC0415
    from assistant.rehearsal import amount, judging  # noqa: PLC0415
    from assistant.speaking import DEFAULT_RATE  # noqa: PLC0415

    with TimeLeft("Checking", SPEECH_PARTS, known=True) as left:
        said = all_spoken(library, knowledge, progress=left.part("speech"))
        measured = amount.measure(library, knowledge, said, DEFAULT_RATE)
        grammars = GrammarSet.load(grammars_folder(options))
        spoken = [*said, *lesson_spoken(grammars)]
        pronounced = left.part("pronouncing")
        findings = [
            *judging.findings(library, spoken),
            *unpronounceable(spoken, grammars.lexicon.path, pronounced),
        ]
    if not options.json:
        print("\n".join(measured.lines()))
    return report(findings, "No finding.", as_json=options.json)


def _all(library: Library, knowledge: Knowledge | None, options: argparse.Namespace) -> int:
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415
    from assistant.linting import PARTS, lint  # noqa: PLC0415

    with TimeLeft("Checking", PARTS, known=True) as left:
        grammars = GrammarSet.load(grammars_folder(options))
        findings = lint(library, knowledge, grammars, left.part)
    steps = sum(len(procedure.steps) for procedure in library.procedures.values())
    good = f"{len(library.procedures)} procedures with {steps} steps and {len(grammars.names())} grammars: no finding."
    return report(findings, good, as_json=options.json)
