"""`bay-assistant writeup`: write a session up for the repair order."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.console import written
from assistant.commands.options import add_json, add_sessions, session_folder
from assistant.commands.time_left import TimeLeft
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse

ABOUT = "Write up a session for the repair order."
EXAMPLE = "bay-assistant writeup last --html --out order-4711.html"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "session", metavar="SESSION", nargs="?", help="folder or name of the session, or 'last'"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument(
        "--html",
        action="store_true",
        help="one HTML page instead of plain text, with links to sound and photos",
    )
    form.add_argument("--pdf", action="store_true", help="PDF; needs --out and bay-assistant[pdf]")
    add_json(form)
    form.add_argument(
        "--schema",
        action="store_true",
        help="print the JSON Schema of --json, which has the sources of each statement",
    )
    parser.add_argument(
        "--embed",
        "--embed-sound",
        dest="embed_sound",
        action="store_true",
        help="embed sound and photos in the HTML page",
    )
    parser.add_argument("--out", type=Path, metavar="FILE", help="write to this file instead of printing")
    add_sessions(parser)


def run(options: argparse.Namespace) -> int:
    """Print or write the write-up, or print the schema of its JSON."""
    if options.schema:
        from assistant.writeup.data import schema_text  # noqa: PLC0415

        print(schema_text(), end="")
        return 0
    if options.session is None:
        raise UsageProblem("Name a session: its folder, its name, or 'last'.")
    folder = session_folder(options)
    if options.embed_sound and not options.html:
        raise UsageProblem("Only the HTML page can hold sound and photos. Add --html, or leave out --embed.")
    data = _written(folder, options)
    if options.out is None:
        print(data.decode("utf-8"), end="")
        return 0
    from assistant.private import write_named  # noqa: PLC0415

    try:
        write_named(options.out, data)
    except OSError as error:
        raise UsageProblem(f"The write-up cannot be written to {options.out}: {error.strerror}.") from error
    written(options.out)
    return 0


def _written(folder: Path, options: argparse.Namespace) -> bytes:
    """The write-up of a session in the requested form; all but a PDF are UTF-8 text."""
    from assistant import writeup  # noqa: PLC0415

    if options.pdf:
        if options.out is None:
            raise UsageProblem("A PDF needs a file: add --out FILE.pdf.")
        with TimeLeft("Making the PDF") as left:
            return writeup.write_pdf(folder, left.show)
    if options.html:
        beside = options.out.resolve().parent if options.out is not None else None
        return writeup.write_html(folder.resolve(), beside=beside, embed=options.embed_sound).encode("utf-8")
    return (writeup.write_json(folder) if options.json else writeup.write_text(folder)).encode("utf-8")
