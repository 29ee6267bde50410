"""A proof as text and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.circuit.deviations import STATED
from assistant.core.words import placing
from assistant.proof.judging import NO_FAULT, Worth, judge
from assistant.proof.limits import CAUTION, FULL, LIMITS, PART_ONLY
from assistant.proof.walk import End, followed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.circuit.order import Choice
    from assistant.core.library.library import Library
    from assistant.proof.order import Ordered
    from assistant.proof.result import Proof, Proven, Request


_WORTH_A_LINE = 0.0005
"""Share of the cars from which an end is listed: half of the last digit shown."""


def text(report: Proof, library: Library, told: Sequence[str] = (), orders: Sequence[Ordered] = ()) -> str:
    """The proof as text."""
    asked = report.asked
    version = f"bay-assistant {__version__}, circuit model {report.version[:12]}"
    lines = [
        f"{version}: {asked.systems} random cars (seed {asked.seed}) for each way in which a fault comes about.",
        CAUTION,
        "How bad a fault is, is drawn for each car; only cars count whose spark it makes weak or missing.",
        f"Limits for each way in which a fault comes about: {_limits()}.",
    ]
    for proven in report.procedures:
        lines += ["", *_table(proven, library, asked)]
    if report.nothing_electrical:
        lines += ["", f"About nothing electrical, so not proven: {', '.join(report.nothing_electrical)}"]
    if report.unreached:
        lines += ["", "Steps that no fault reaches: " + ", ".join(f"{a}/{b}" for a, b in report.unreached)]
    if report.idle:
        lines += ["", "Verdicts that cover less than they say:", *(f"  {one}" for one in report.idle)]
    for one in orders:
        lines += ["", *_order_lines(one)]
    for one_story in told:
        lines += ["", one_story]
    lines += ["", "Where the model knowingly differs from a car:", *(f"  {one}" for one in STATED)]
    lines.append("")
    for proven in report.procedures:
        lines += [f"FAILED: {failure.sentence}" for failure in proven.failures]
    if report.holds:
        lines.append("Proven, within this model: every figure stays within its limit.")
    return "\n".join(lines) + "\n"


def _table(proven: Proven, library: Library, asked: Request) -> Iterator[str]:
    """One procedure: a row for each fault with its worst way, then the ends that were not right."""
    further = followed(library, proven.name, proven=True)[1:]
    yield (
        f"{proven.name}, circuit {proven.circuit}"
        + (f", going on with {placing.listed(further)}" if further else "")
    )
    yield from _heads(asked)
    grouped = [
        (fault, [number for number, _ in group])
        for fault, group in groupby(enumerate(proven.cases), key=lambda pair: pair[1].fault)
    ]
    for fault, numbers in grouped:
        yield _row(proven, fault, numbers)
    if proven.presumed:
        yield f"  * presumed excluded before this procedure, fails nothing: {placing.listed(proven.presumed)}"
    for fault, numbers in grouped:
        yield from _not_right(proven, library, fault, numbers)
    for procedure, step, outcome, fault, share in proven.ruled_out:
        if share >= _WORTH_A_LINE:
            yield f"  {procedure}/{step} '{outcome}' rules out {fault}, yet {share:.1%} of its cars show that"


def _heads(asked: Request) -> Iterator[str]:
    """The two lines above the columns."""
    yield (
        f"  {'per cent of cars, worst way':32}"
        + "".join(f"  {head:^24}" for head in ("honest", "without maker's values"))
        + "  a good part is named to one who ..."
    )
    heads = (
        "mean cl.",
        "no clamp",
        "misses",
        "wrong e.",
        "no crank",
        f"misr {asked.misreading:.0%}",
        "skips",
    )
    yield (
        f"  {'fault (ways)':32}"
        + "  right  part  path  open" * len(FULL)
        + "".join(f" {head:>8}" for head in heads)
    )


def _row(proven: Proven, fault: str, numbers: Sequence[int]) -> str:
    """The row of a fault: each figure of its worst way, in per cent."""
    cells = ""
    for observer in FULL:
        rows = [proven.rows[observer][number] for number in numbers]
        shares = (
            min(one.right for one in rows),
            max(one.wrong_part for one in rows),
            max(one.wrong_path + one.wrong_on_the_way for one in rows),
            max(one.undecided for one in rows),
        )
        cells += " " + "".join(f"{100 * share:6.1f}" for share in shares)
    for observer in PART_ONLY:
        parts = (
            [proven.rows[observer][number].wrong_part for number in numbers]
            if observer in proven.rows
            else []
        )
        cells += f" {100 * max(parts):8.1f}" if parts else f" {'-':>8}"
    ways = f" ({len(numbers)})" if len(numbers) > 1 else ""
    mark = "*" if fault in proven.presumed else ""
    name = "a car without a fault" if fault == NO_FAULT else fault
    return f"  {name + ways + mark:32}{cells}"


def _not_right(proven: Proven, library: Library, fault: str, numbers: Sequence[int]) -> Iterator[str]:
    """The ends of a fault's cars that do not lead an honest observer right; for a sound car, all ends."""
    ends: dict[End, float] = {}
    for number in numbers:
        case = proven.cases[number]
        for end, share in proven.ends["honest"][number].items():
            if fault == NO_FAULT or judge(library, end, case) is not Worth.RIGHT:
                ends[end] = ends.get(end, 0.0) + share / len(numbers)
    told = [
        f"{share:.1%} {end}"
        for end, share in sorted(ends.items(), key=lambda pair: -pair[1])
        if share >= _WORTH_A_LINE
    ]
    if told:
        who = "a car without a fault ends" if fault == NO_FAULT else f"{fault}, honest, not right"
        yield f"  {who}: {'; '.join(told)}"


def _limits() -> str:
    """The limits in words."""
    named = {"wrong_part": "good part", "wrong_path": "other fault", "undecided": "undecided"}
    return "; ".join(
        f"{who} " + ", ".join(f"{named[figure]} {limit:.0%}" for figure, limit in limits.items())
        for who, limits in LIMITS.items()
    )


def _order_lines(one: Ordered) -> Iterator[str]:
    if one.best.first.test is None:
        yield f"Order of tests in {one.name}: one verdict covers all faults; there is nothing to compare."
        return
    excess = one.minutes - one.best.minutes
    yield (
        f"Order of tests in {one.name}: {one.minutes:.1f} min expected, best order {one.best.minutes:.1f} min, "
        f"excess {excess:.1f} min ({excess / one.best.minutes:.0%})."
    )
    yield "  Odds and minutes are judgement (odds.yaml); each fault looks as on a typical car. " + CAUTION
    if one.wrong:
        yield f"  For {one.wrong:.1%} of the odds the procedure ends elsewhere than the best order."
    yield "  The best order:"
    yield from _choice_lines(one.best.first, one.names, "    ")


def _choice_lines(choice: Choice, names: Sequence[str], indent: str) -> Iterator[str]:
    if choice.test is None:
        yield indent + ", ".join(names[number] for number in choice.faults)
        return
    yield f"{indent}{choice.test.name}"
    for shown, after in choice.after:
        yield f"{indent}  {shown}:"
        yield from _choice_lines(after, names, indent + "    ")


def to_json(report: Proof, told: Sequence[str] = (), orders: Sequence[Ordered] = ()) -> dict[str, Any]:
    """The proof as JSON; shares from 0 to 1."""
    return {
        "program": __version__,
        "model": report.version,
        "caution": CAUTION,
        "deviations": list(STATED),
        "systems": report.asked.systems,
        "seed": report.asked.seed,
        "misreading": report.asked.misreading,
        "limits": LIMITS,
        "holds": report.holds,
        "procedures": [
            {
                "procedure": proven.name,
                "circuit": proven.circuit,
                "presumed_excluded": list(proven.presumed),
                "failures": [failure.sentence for failure in proven.failures],
                "cases": [
                    {
                        "fault": case.fault,
                        "mechanism": case.mechanism,
                        "parts": list(case.parts),
                        "cars": proven.cars[number],
                        "observers": {
                            observer: {
                                **asdict(proven.rows[observer][number]),
                                "ends": {
                                    str(end): share for end, share in proven.ends[observer][number].items()
                                },
                            }
                            for observer in proven.rows
                        },
                    }
                    for number, case in enumerate(proven.cases)
                ],
                "ruled_out_though_there": [
                    {"procedure": a, "step": b, "outcome": c, "fault": d, "share": e}
                    for a, b, c, d, e in proven.ruled_out
                ],
            }
            for proven in report.procedures
        ],
        "not_proven": list(report.nothing_electrical),
        "unreached": [{"procedure": procedure, "step": step} for procedure, step in report.unreached],
        "idle_verdicts": list(report.idle),
        "stories": list(told),
        "order": [
            {
                "procedure": one.name,
                "minutes": one.minutes,
                "best_minutes": one.best.minutes,
                "excess_minutes": one.minutes - one.best.minutes,
                "sets_of_faults": one.best.sets,
                "not_right": one.wrong,
            }
            for one in orders
        ],
    }
