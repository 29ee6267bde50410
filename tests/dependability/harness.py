"""The frame of all attacks: numbered tries with a seed each, what failed and how to see it again, the table."""

from __future__ import annotations

import json
import random
import shutil
import time
import traceback
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

SEED = 20261128
"""The seed of all tries when none is given, so that a run can be repeated."""


class Hung(BaseException):  # so that nothing that is attacked can catch it
    """It took much longer than it may."""


@dataclass(frozen=True)
class Failure:
    """Something that did not hold.

    Attributes:
        number: Number of the try.
        what: What did not hold, in words.
        kept: Folder with what the try left behind.
    """

    number: int
    what: str
    kept: str


@dataclass
class Outcome:
    """The outcome of an attack.

    Attributes:
        attack: Name of the attack.
        tries: How many times it was tried.
        failures: What did not hold; one entry for each failed try.
        skipped: Why it could not be tried at all; "" when it was.
        counts: What else was counted, such as how many sessions were gone on with.
        seconds: How long it took, s.
    """

    attack: str
    tries: int = 0
    failures: list[Failure] = field(default_factory=list)
    skipped: str = ""
    counts: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """The same for a program."""
        return {
            "attack": self.attack,
            "tries": self.tries,
            "failures": [vars(failure) for failure in self.failures],
            "skipped": self.skipped,
            "counts": dict(self.counts),
            "seconds": round(self.seconds, 1),
        }


@dataclass
class Try:
    """One try: its own random numbers and its own folder, and what it finds.

    Attributes:
        number: Number of the try in its attack; the same number and seed do the same again.
        rng: Random numbers of this try alone.
        folder: An empty folder of its own; kept when something did not hold.
        problems: What did not hold.
        counts: What was counted.
        weight: How many tries it counts for; a try may make many alterations of one session.
    """

    number: int
    rng: random.Random
    folder: Path
    problems: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    weight: int = 1

    def wrong(self, what: str) -> None:
        """Keep what did not hold."""
        self.problems.append(what)

    def check(self, holds: bool, what: str) -> None:
        """Keep `what` unless it holds."""
        if not holds:
            self.problems.append(what)


@dataclass(frozen=True)
class Plan:
    """How an attack is to be run.

    Attributes:
        tries: How many tries.
        seed: Seed of all random numbers.
        workdir: Folder for what the tries make; failed tries leave their folder here.
        jobs: How many at a time.
        first: Number of the first try, to see a single one again.
        fork: Whether processes may be forked; not from a test run, in which libraries have threads of their own.
    """

    tries: int
    workdir: Path
    seed: int = SEED
    jobs: int = 1
    first: int = 0
    fork: bool = True


@dataclass(frozen=True)
class Attack:
    """An attack: its name in the table, the tries of a full run and of the ordinary test run, and how it is made."""

    name: str
    full: int
    quick: int
    make: Callable[[Plan], Outcome]


def run_tries(
    attack: str, one: Callable[[Try], None], plan: Plan, *, processes: bool = False, only: Sequence[int] = ()
) -> Outcome:
    """Make all tries of an attack.

    Args:
        attack: Its name.
        one: Makes one try; whatever it raises is a failure, too.
        plan: How many, where, with what seed.
        processes: Spread over processes instead of threads: for tries that compute much themselves.
        only: Numbers of the tries, when they are not simply counted up.
    """
    outcome = Outcome(attack)
    began = time.monotonic()
    numbers = only or range(plan.first, plan.first + plan.tries)
    jobs = [(attack, one, plan, number) for number in numbers]
    for tried in _spread(jobs, plan.jobs if plan.fork or not processes else 1, processes=processes):
        outcome.tries += tried.weight
        outcome.counts += tried.counts
        if tried.problems:
            what = "; ".join(tried.problems[:4]) + (
                f"; and {len(tried.problems) - 4} more" if tried.problems[4:] else ""
            )
            outcome.failures.append(Failure(tried.number, what, str(tried.folder)))
    outcome.seconds = time.monotonic() - began
    return outcome


def _spread(jobs: list[Any], at_a_time: int, *, processes: bool) -> Iterable[Try]:
    if at_a_time <= 1 or len(jobs) <= 1:
        yield from map(_make, jobs)
    elif processes:
        # What a try does may be a function that cannot be sent to another process; a forked one has it already.
        _jobs[:] = jobs
        with ProcessPoolExecutor(at_a_time, mp_context=get_context("fork")) as pool:
            yield from pool.map(_make_numbered, range(len(jobs)))
    else:
        with ThreadPoolExecutor(at_a_time) as pool:
            yield from pool.map(_make, jobs)


_jobs: list[Any] = []


def _make_numbered(at: int) -> Try:
    return _make(_jobs[at])


def _make(job: tuple[str, Callable[[Try], None], Plan, int]) -> Try:
    attack, one, plan, number = job
    folder = plan.workdir / attack.replace(" ", "-") / f"{number:05d}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    tried = Try(number, random.Random(f"{plan.seed}:{attack}:{number}"), folder)  # noqa: S311
    try:
        one(tried)
    except (Exception, Hung) as error:  # noqa: BLE001  whatever a try stumbles over is its finding
        trace = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(trace.filename).name}:{trace.lineno}"
        tried.wrong(f"{type(error).__name__} at {place}: {error}")
    if tried.problems:
        (folder / "problems.txt").write_text(
            f"seed {plan.seed}, attack {attack}, try {number}\n" + "\n".join(tried.problems) + "\n",
            encoding="utf-8",
            errors="backslashreplace",
        )
    else:
        shutil.rmtree(folder, ignore_errors=True)
    return tried


def table(outcomes: Iterable[Outcome]) -> str:
    """The table as it stands in the README: attack, tries, failures, what else was counted."""
    rows = ["| attack | tries | failures | besides |", "|---|---|---|---|"]
    for outcome in outcomes:
        besides = ", ".join(f"{count:,} {name}" for name, count in sorted(outcome.counts.items()))
        if outcome.skipped:
            rows.append(f"| {outcome.attack} | skipped | | {outcome.skipped} |")
        else:
            besides += f"{', ' if besides else ''}{outcome.seconds:.0f} s"
            rows.append(f"| {outcome.attack} | {outcome.tries:,} | {len(outcome.failures)} | {besides} |")
    return "\n".join(rows)


def details(outcomes: Iterable[Outcome], limit: int = 20) -> str:
    """Each failure with the folder that it left; at most `limit` of an attack."""
    lines: list[str] = []
    for outcome in outcomes:
        for failure in outcome.failures[:limit]:
            lines += [f"{outcome.attack}, try {failure.number}: {failure.what}", f"    {failure.kept}"]
        if outcome.failures[limit:]:
            lines.append(f"{outcome.attack}: {len(outcome.failures) - limit} further failures")
    return "\n".join(lines)


def json_text(outcomes: Iterable[Outcome]) -> str:
    """All outcomes for a program."""
    return json.dumps([outcome.to_json() for outcome in outcomes], indent=1)
