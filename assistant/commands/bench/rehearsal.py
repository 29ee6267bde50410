"""`bay-assistant bench rehearsal`: whole sessions on modelled cars with a person who errs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import real, whole
from assistant.commands.console import print_json
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

ABOUT = (
    "Rehearse whole sessions on modelled cars with a person who misreads or misses contact: count the good parts "
    "condemned and the questions asked again."
)
EXAMPLE = "bay-assistant bench rehearsal --cars 20 --misreading 0.05"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--procedure",
        default="coil-control",
        metavar="NAME",
        help="procedure to start with (default: coil-control)",
    )
    parser.add_argument(
        "--cars",
        type=whole(1, 10_000),
        default=20,
        metavar="N",
        help="cars for each way a fault can come about (default: 20)",
    )
    parser.add_argument(
        "--misreading",
        type=real(0, 0.5, "a share"),
        default=0.05,
        metavar="SHARE",
        help="share of answers that are wrong (default: 0.05)",
    )
    parser.add_argument(
        "--seed",
        type=whole(0, 2**32 - 1),
        default=20261126,
        metavar="N",
        help="seed for cars and chance (default: 20261126)",
    )
    parser.add_argument(
        "--processes", type=whole(1, 2), default=2, metavar="N", help="most processes at once (default: 2)"
    )
    parser.add_argument(
        "--no-weighing",
        dest="weighing",
        action="store_false",
        help="do not weigh the results together, so that nothing is asked again",
    )


def run(options: argparse.Namespace) -> int:
    """Print what was condemned and asked again."""
    from assistant.benchmarks import machine  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.rehearsal import erring  # noqa: PLC0415

    wanted = erring.RehearsalRequest(
        procedure=options.procedure,
        cars=options.cars,
        habits=erring.habits(options.misreading),
        seed=options.seed,
        processes=options.processes,
        weighing=options.weighing,
    )
    presumed = load_library(resources.directory("procedures")).procedure(wanted.procedure).presumes_no
    with TimeLeft("Rehearsing", {"sessions": erring.seconds(wanted)}, known=True) as left:
        left.part("sessions")
        found = erring.rehearse(wanted)
    if options.json:
        print_json({"machine": machine(), **erring.to_json(wanted, found)})
        return 0
    print(machine())
    print(erring.text(wanted, found, sorted(presumed)), end="")
    return 0
