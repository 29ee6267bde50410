"""`bay-assistant prove`: lead every fault of the circuit model through the procedures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.commands.arguments import real, whole
from assistant.commands.console import print_json
from assistant.commands.options import add_json, add_procedures, procedures_folder
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

    from assistant.core.library.library import Library
    from assistant.proof import order as proof_order
    from assistant.proof.result import Request

ABOUT = "Prove that procedures lead every fault of the circuit model, on many random cars, to its verdict."
EXAMPLE = "bay-assistant prove coil-control --systems 500 --order"
FINDING = "the proof does not hold"


_ORDER_S = 0.3
"""Time of the best order of one procedure, s, on one processor core of 2026."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument("names", nargs="*", metavar="PROCEDURE", help="procedures to prove (default: all)")
    parser.add_argument(
        "--systems",
        type=whole(1, 100_000),
        metavar="N",
        help="random cars for each way a fault can come about (default: 200; 30 for each pair)",
    )
    parser.add_argument(
        "--seed", type=whole(0, 10**9), default=1, metavar="N", help="seed of the random cars (default: 1)"
    )
    parser.add_argument(
        "--misreading",
        type=real(0, 0.5, "a share"),
        default=0.02,
        metavar="SHARE",
        help="share of answers that the misreading observer gets wrong, 0 to below 0.5 (default: 0.02)",
    )
    parser.add_argument(
        "--order",
        action="store_true",
        help="compare the expected minutes of the tests with those of the best order",
    )
    parser.add_argument(
        "--pairs",
        action="store_true",
        help="prove pairs of faults instead of single faults (default procedure: coil-control)",
    )
    add_json(parser)
    add_procedures(parser)


def run(options: argparse.Namespace) -> int:
    """Print the proof; the exit status is 1 when it does not hold."""
    from assistant.loading.folder import load_library, load_odds  # noqa: PLC0415
    from assistant.proof import order as proof_order, report as proof_report  # noqa: PLC0415
    from assistant.proof.result import Request  # noqa: PLC0415
    from assistant.proof.story import stories  # noqa: PLC0415
    from assistant.proof.work import prove, seconds  # noqa: PLC0415

    folder = procedures_folder(options)
    library = load_library(folder)
    asked = Request(
        procedures=tuple(dict.fromkeys(options.names)),
        systems=options.systems or 200,
        seed=options.seed,
        misreading=options.misreading,
    )
    odds = load_odds(folder, library.terms) if options.order else None
    if options.pairs:
        return _pairs(options, library, asked)
    orders: tuple[proof_order.Ordered, ...] = ()
    names = asked.procedures or tuple(library.procedures)
    parts = {"walks": seconds(library, asked)}
    if odds is not None:
        parts["order"] = _ORDER_S * len(names)
    with TimeLeft("Proving", parts, known=True) as left:
        report = prove(library, asked, left.part("walks"))
        if odds is not None:
            orders = proof_order.order(library, odds, names, left.part("order"))
    told = tuple(stories(library, report.procedures, asked))
    if options.json:
        print_json(proof_report.to_json(report, told, orders))
    else:
        print(proof_report.text(report, library, told, orders), end="")
    return 0 if report.holds else 1


def _pairs(options: argparse.Namespace, library: Library, asked: Request) -> int:
    from assistant.proof import pairs as proof_pairs  # noqa: PLC0415

    all_hold = True
    told: list[dict[str, Any]] = []
    cars = options.systems or proof_pairs.CARS
    for entry in asked.procedures or ("coil-control",):
        with TimeLeft("Proving pairs") as left:
            pairs = proof_pairs.prove_pairs(library, entry, cars=cars, seed=asked.seed, progress=left.show)
            fleeting = proof_pairs.prove_fleeting(library, entry)
        if options.json:
            told.append(proof_pairs.to_json(entry, pairs, cars, fleeting))
        else:
            print(proof_pairs.text(entry, pairs, cars), end="")
            print(proof_pairs.fleeting_text(entry, fleeting), end="")
        all_hold = all_hold and proof_pairs.holds(pairs)
    if options.json:
        print_json({"holds": all_hold, "procedures": told})
    return 0 if all_hold else 1
