"""`bay-assistant licences`: what others made, and under which licences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.console import print_json
from assistant.commands.options import add_json
from assistant.core.nearest import did_you_mean
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable

ABOUT = (
    "Show the licences of everything that bay-assistant contains and requires, and what follows from them."
)
EXAMPLE = "bay-assistant licences espeakng-loader --texts"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "package", nargs="?", metavar="PACKAGE", help="only this package, such as soxr (default: all)"
    )
    parser.add_argument(
        "--texts", action="store_true", help="also print the licence texts that the installed packages hold"
    )
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Print the notices with the versions that are installed."""
    from assistant.licences import installed, notices  # noqa: PLC0415

    found = notices.read_notices()
    if options.package is None:
        names: Iterable[str] = found.packages
        shown = notices.notices_json(found, installed.version)
        text = notices.text(found, installed.version)
    else:
        name = _normalised(options.package)
        if name not in found.packages:
            raise UsageProblem(
                f"bay-assistant requires no package named '{options.package}'. "
                f"{did_you_mean(name, found.packages)}Leave out the name to see them all."
            )
        names = [name]
        package = found.packages[name]
        shown = notices.package_json(package, installed.version(name))
        text = "\n".join(notices.package_lines(package, installed.version)) + "\n"
    if options.json:
        if options.texts:
            shown["texts"] = {name: installed.texts(name) for name in names}
        print_json(shown)
        return 0
    print(text, end="")
    if options.texts:
        _print_texts(names)
    return 0


def _print_texts(names: Iterable[str]) -> None:
    from assistant.licences import installed  # noqa: PLC0415

    for name in names:
        for file, text in installed.texts(name).items():
            print(f"\n{'=' * 80}\n{name}: {file}\n{'=' * 80}\n{text}")


def _normalised(name: str) -> str:
    """A package's name as PyPA's specification "Names and normalization" has it."""
    import re  # noqa: PLC0415

    return re.sub(r"[-_.]+", "-", name).lower()
