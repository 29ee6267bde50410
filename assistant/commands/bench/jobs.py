"""`bay-assistant bench jobs`: whole jobs of a skilled technician against the clock."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from assistant import resources
from assistant.commands.arguments import real, whole
from assistant.commands.console import print_json
from assistant.commands.options import add_voice, voice_of
from assistant.commands.time_left import TimeLeft

if TYPE_CHECKING:
    import argparse

    from assistant.rehearsal.jobs import Job, Spent

ABOUT = "Time whole jobs of a skilled technician on modelled cars: all, the assistant's speech, and the starter's rest."
EXAMPLE = "bay-assistant bench jobs --cars 9"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--cars", type=whole(1, 200), default=9, metavar="N", help="random cars of each job (default: 9)"
    )
    parser.add_argument(
        "--hook-up",
        type=real(0, 120, "seconds"),
        default=8.0,
        metavar="S",
        help="seconds for a new connection (default: 8)",
    )
    parser.add_argument(
        "--crank",
        type=real(0.5, 15, "seconds"),
        default=4.0,
        metavar="S",
        help="seconds of a crank (default: 4)",
    )
    parser.add_argument(
        "--perceiving",
        action="store_true",
        help="the assistant hears the starter, and the meter reports by itself",
    )
    parser.add_argument("--steps", action="store_true", help="print the steps of each job as well")
    add_voice(parser)


def run(options: argparse.Namespace) -> int:
    """Print a line for each job."""
    from assistant.benchmarks import machine  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.rehearsal import jobs  # noqa: PLC0415

    library, knowledge = load_folder(resources.directory("procedures"))
    voice = voice_of(options)
    pace, cars = (
        jobs.Pace(options.hook_up, options.crank, ear=options.perceiving, meter=options.perceiving),
        jobs.Cars(options.cars),
    )
    timed: dict[str, list[Spent]] = {}
    with TimeLeft("Playing jobs") as left:
        for number, job in enumerate(jobs.JOBS):
            left.show(number, len(jobs.JOBS))
            timed[job.name] = jobs.time_job(
                library, knowledge, job, pace, lambda text: voice.render(text).duration_s, cars
            )
    if options.json:
        print_json(
            {
                "machine": machine(),
                "jobs": [
                    {"job": name, "cars": [_of_one_car(one) for one in spent]}
                    for name, spent in timed.items()
                ],
            }
        )
        return 0
    print(machine())
    print(
        f"Seconds; the median of {options.cars} random cars of a model with no bench measurement behind it."
    )
    print("| job | all | speech | rest | hook-ups | cranks | own words, s | words | answers | ends with |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for job in jobs.JOBS:
        print(_row(job, timed[job.name], steps=options.steps))
    return 0


def _of_one_car(spent: Spent) -> dict[str, Any]:
    """The times of a job on one car as JSON."""
    parts = asdict(spent)
    steps, end = parts.pop("steps"), parts.pop("end")
    return {**{f"{name}_s": seconds for name, seconds in parts.items()}, "steps": steps, "end": end}


def _row(job: Job, found: list[Spent], *, steps: bool) -> str:
    """A line of the table, and the steps below it on request."""
    spent = found[len(found) // 2]
    cells = (spent.all, spent.speech, spent.rest, spent.hook_ups, spent.cranks, spent.talk, spent.words)
    row = " | ".join(f"{seconds:.0f}" for seconds in cells)
    row = f"| {job.name} | {row} | {len(spent.steps)} | {spent.end} |"
    return f"{row}\n  {', '.join(spent.steps)}" if steps else row
