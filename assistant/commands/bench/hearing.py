"""`bay-assistant bench hearing`: measure how well the recogniser hears."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.commands.arguments import real, whole
from assistant.commands.console import complain, print_json, write
from assistant.commands.time_left import ToldTime
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse

    from assistant.hearing_bench.measurements import HearingFigures, Options
    from assistant.hearing_bench.running import Bench

ABOUT = "Measure how well the recogniser hears: right, wrong, rejected, in noise, and beside PocketSphinx."
EXAMPLE = "bay-assistant bench hearing --quick --out hearing.json"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--model",
        dest="models",
        type=Path,
        metavar="DIR",
        nargs="+",
        action="extend",
        default=[],
        help="also measure these models",
    )
    parser.add_argument(
        "--quick", action="store_true", help="measure a fifth of it at two noise levels, in about two minutes"
    )
    parser.add_argument(
        "--hours",
        type=real(0, 1000, "a number of hours"),
        metavar="H",
        help="hours of noise and chatter (default: 2; 0 leaves them out)",
    )
    parser.add_argument(
        "--only", metavar="NAME", nargs="+", default=[], help="only these parts; an unknown name lists them"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the figures as JSON, also after each row"
    )
    parser.add_argument(
        "--svg", dest="svg_file", type=Path, metavar="FILE", help="write a reliability diagram"
    )
    parser.add_argument(
        "--cache",
        type=Path,
        metavar="DIR",
        help="folder for synthesised speech (default: the user's cache folder)",
    )
    parser.add_argument(
        "--manifest", type=Path, metavar="FILE", help="use this test set instead of the bundled one"
    )
    _add_ways(parser)


def _add_ways(parser: argparse.ArgumentParser) -> None:
    """Add the options of what is measured beside the manifest, and how."""
    parser.add_argument(
        "--orders",
        type=Path,
        metavar="DIR",
        help="folder of people's orders, with their slots in labels.json",
    )
    parser.add_argument(
        "--part",
        type=Path,
        metavar="FILE",
        help="with --orders: which of them to hear (default: the held part)",
    )
    parser.add_argument(
        "--jobs",
        type=whole(1, 64),
        default=2,
        metavar="N",
        help="measure in so many processes (default: 2)",
    )
    parser.add_argument(
        "--share",
        type=real(0.01, 1, "a share"),
        metavar="X",
        help="measure this share of each row, at all conditions (default: 1; with --quick 0.2)",
    )
    parser.add_argument(
        "--go-on",
        action="store_true",
        help="go on with the same measurement after Ctrl-C: the rows that were finished then are not measured again",
    )
    parser.add_argument("--alone", action="store_true", help="leave out PocketSphinx")


def run(options: argparse.Namespace) -> int:
    """Print the report, and write the named files; 130 if it was broken off with Ctrl-C."""
    from assistant.hearing_bench import report  # noqa: PLC0415
    from assistant.hearing_bench.kept_rows import replace  # noqa: PLC0415
    from assistant.hearing_bench.running import Bench  # noqa: PLC0415

    for path in (options.out, options.svg_file):
        if path is not None and not path.resolve().parent.is_dir():
            raise UsageProblem(f"The folder of {path} does not exist. Name a file in a folder that does.")
    file: Path | None = options.out

    def as_json(measured: HearingFigures) -> str:
        return json.dumps(report.to_json(measured), indent=1)

    def row_done(measured: HearingFigures) -> None:
        if file is not None and (file.is_file() or not file.exists()):  # not into a pipe or a device
            replace(file.resolve(), as_json(measured) + "\n")

    with ToldTime("Measuring") as progress:
        bench = Bench(_wanted(options), progress.tell, row_done)
        try:
            measured = bench.run()
        except KeyboardInterrupt:
            progress.end()
            complain(_broken_off(bench, file))
            return 130
    if options.json:
        print_json(report.to_json(measured))
    else:
        print(report.text(measured), end="")
    if file is not None:
        write(file, as_json(measured) + "\n")
    if options.svg_file is not None:
        write(options.svg_file, report.svg(measured))
    return 0


def _wanted(options: argparse.Namespace) -> Options:
    from assistant.hearing_bench.measurements import Options  # noqa: PLC0415

    return Options(
        models=(*([options.model] if options.model else []), *options.models),
        quick=options.quick,
        hours=options.hours,
        only=tuple(options.only),
        cache=options.cache,
        manifest=options.manifest,
        orders=options.orders,
        part=options.part,
        jobs=options.jobs,
        beside=not options.alone,
        share=options.share,
        go_on=options.go_on,
    )


def _broken_off(bench: Bench, file: Path | None) -> str:
    """The sentence about what is kept of a measurement that was broken off."""
    rows = bench.rows
    kept = [row for row in rows if row in bench.kept.rows]
    if not kept:
        return "Interrupted before the first row was finished, so nothing is kept."
    done = f"{len(kept)} of {len(rows)} rows are kept ({', '.join(kept)})"
    figures = f", and their figures are in {file}" if file is not None else ""
    return f"Interrupted. {done}{figures}. The same command with --go-on measures the rest."
