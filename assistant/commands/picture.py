"""`bay-assistant picture`: a step of a procedure on a car with a fault, as one sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.console import print_json, write, written
from assistant.commands.options import add_json, add_procedures, procedures_folder
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse

ABOUT = "Draw a step of a procedure on a car with a fault: the connection, and what the circuit model shows."
EXAMPLE = (
    "bay-assistant picture --procedure coil-control --step feed-and-switched "
    "--fault shorted-primary --out steady.svg"
)


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("--procedure", required=True, metavar="NAME", help="name of the procedure")
    parser.add_argument("--step", required=True, metavar="NAME", help="a step of it that takes a measurement")
    parser.add_argument(
        "--fault",
        default="none",
        metavar="NAME",
        help="a fault in terms.yaml; an unknown name lists them (default: none)",
    )
    parser.add_argument(
        "--mechanism",
        metavar="NAME",
        help="one way the fault can come about; an unknown name lists them (default: the first)",
    )
    parser.add_argument(
        "--lamp",
        default="194",
        metavar="NAME",
        help="the test lamp; an unknown name lists them (default: 194)",
    )
    parser.add_argument(
        "--system",
        default="typical",
        metavar="WHICH",
        help="'typical', or 'seed:N' for a car drawn at random (default: typical)",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the SVG to this file instead of printing it"
    )
    parser.add_argument(
        "--png", type=Path, metavar="FILE", help="also write it as PNG; needs bay-assistant[picture]"
    )
    add_json(parser)
    add_procedures(parser)


def run(options: argparse.Namespace) -> int:
    """Print the sheet as SVG, or write it."""
    from assistant.commands import picturing  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.picture.whole import png  # noqa: PLC0415

    library = load_library(procedures_folder(options))
    svg = picturing.picture(
        library,
        options.procedure,
        options.step,
        options.fault,
        mechanism=options.mechanism,
        lamp=options.lamp,
        system=options.system,
    )
    if options.png is not None:
        resources.refuse_installed(options.png)
        drawn = png(svg)
        try:
            options.png.write_bytes(drawn)
        except OSError as error:
            raise UsageProblem(f"{options.png} cannot be written: {error.strerror}.") from error
        written(options.png)
    if options.out is not None:
        write(options.out, svg + "\n")
    files = [str(path) for path in (options.png, options.out) if path is not None]
    if options.json:
        asked = {name: getattr(options, name) for name in ("procedure", "step", "fault", "lamp", "system")}
        print_json({**asked, "written": files, "svg": None if files else svg})
    elif not files:
        print(svg)
    return 0
