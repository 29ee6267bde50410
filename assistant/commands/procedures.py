"""`bay-assistant procedures`: list, show and copy the procedures, and say what changed in a copy."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import print_json, written
from assistant.commands.options import add_json, add_procedures
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse

ABOUT = "List, show and copy the procedures, and say what changed in a copy of your own."
EXAMPLE = "bay-assistant procedures --copy shop-procedures"
FINDING = "you and the program changed the same"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "names",
        nargs="*",
        metavar="NAME",
        help="procedures to show, or to copy; without any, all are listed or copied",
    )
    way = parser.add_mutually_exclusive_group()
    way.add_argument(
        "--copy",
        type=Path,
        metavar="DIR",
        help="copy procedures with all that they need into this new folder, to be edited",
    )
    way.add_argument(
        "--changes",
        type=Path,
        metavar="DIR",
        help="say what was changed in this copy, and what the program changed since; exit status 1 where both did",
    )
    way.add_argument(
        "--update",
        type=Path,
        metavar="DIR",
        help="bring into this copy what the program changed since, in the files that were not edited",
    )
    parser.add_argument(
        "--with-grammars",
        action="store_true",
        help="with --copy, copy the grammars as well, for procedures, places and answers with names of their own",
    )
    add_json(parser)
    add_procedures(parser)


def run(options: argparse.Namespace) -> int:
    """Do what was asked for; the exit status is 1 if a copy and the program changed the same.

    Raises:
        UsageProblem: Options exclude each other, a procedure is not known, or a folder cannot be read or written.
        FileProblem: A file of a folder is wrong.
    """
    if options.with_grammars and options.copy is None:
        raise UsageProblem("--with-grammars belongs to a copy. Add --copy DIR.")
    if options.names and (options.changes or options.update):
        raise UsageProblem("--changes and --update look at the whole folder. Leave out the names.")
    if options.copy is not None:
        return _copy(options)
    if options.changes is not None:
        return _changes(options)
    if options.update is not None:
        return _update(options)
    return _show(options) if options.names else _list(options)


def _list(options: argparse.Namespace) -> int:
    from assistant.commands import own_procedures, procedures_text  # noqa: PLC0415

    listed = own_procedures.listed(options.procedures)
    if options.json:
        print_json(listed)
    else:
        print("\n".join(procedures_text.table(listed)))
    return 0


def _show(options: argparse.Namespace) -> int:
    from assistant.commands import procedures_text  # noqa: PLC0415
    from assistant.core.words.outlining import outline  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.loading.shop import procedures_in_use  # noqa: PLC0415

    library = load_library(procedures_in_use(options.procedures))
    outlines = [outline(library, name) for name in options.names]
    if options.json:
        print_json(outlines)
        return 0
    width = procedures_text.width()
    print("\n\n\n".join("\n".join(procedures_text.shown(one, width)) for one in outlines))
    return 0


def _copy(options: argparse.Namespace) -> int:
    from assistant.commands import own_procedures  # noqa: PLC0415

    made = own_procedures.copied(
        options.procedures, options.copy, options.names, with_grammars=options.with_grammars
    )
    if options.json:
        print_json({"folder": str(options.copy), "procedures": made.names, "besides": made.besides})
    else:
        print(f"{len(made.names)} procedures are in {options.copy}.")
        if made.besides:
            print(f"Copied besides, because the named ones lead there: {', '.join(made.besides)}.")
    written(options.copy)
    return 0


def _changes(options: argparse.Namespace) -> int:
    from assistant.commands import own_procedures, procedures_text  # noqa: PLC0415

    found = own_procedures.changes_of(options.changes)
    if options.json:
        print_json(own_procedures.changes_json(found))
    else:
        print("\n".join(procedures_text.changes(found, procedures_text.width())))
    return 1 if found.three.conflicts else 0


def _update(options: argparse.Namespace) -> int:
    from assistant.commands import own_procedures, procedures_text  # noqa: PLC0415

    done = own_procedures.updated(options.update)
    if options.json:
        left = [own_procedures.change_json(one) for one in done.left]
        print_json({"taken": done.taken, "removed": done.removed, "kept": done.kept, "left": left})
    else:
        print("\n".join(procedures_text.updated(done, options.update, procedures_text.width())))
    return 1 if done.left else 0
