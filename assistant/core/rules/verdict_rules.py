"""Rules of the trade about limits and verdicts, checked against what is written beside them.

A limit is compared with its source, and a verdict's part with its faults.
"""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Leads
from assistant.core.library.vocabulary import AFTER_REPAIR, LOAD_CIRCUIT
from assistant.core.values.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Band, Measurement, Procedure, Reading, Step, Verdict

SMALL_OHMS = 5
"""Border in ohms below which the leads of an ohmmeter, some tenths of an ohm, count."""

ROUNDED = Decimal("0.01")
"""Share by which a limit may differ from the number in its source: 11.9 for 11.89 V."""

PREFIXES = {"": Decimal(1), "kilo": Decimal(1000), "milli": Decimal("0.001")}
"""Factors of the prefixes that a source writes out: 10 kilohm."""

PARTS_OF = {
    "ignition coil": ("coil", "switched part"),
    "feed circuit": ("feed", "fuse", "relay", "supply", "control", "switch"),
    "control wire": ("control wire", "fuse"),
    "driver module": ("driver module", "fuse"),
    "ground circuit": ("ground",),
    "supply circuit": ("supply", "fuse", "relay"),
    "sensor circuit": ("sensor", "wheel"),
    "battery and cables": ("battery", "cable", "ground", "starter", "clamp"),
    "plug lead or plug": ("lead", "plug", "boot"),
}
"""Words by which a verdict may name the part of a fault more exactly, before its "of" or "on".

A fuse that a short has blown belongs to the short."""

COILS_NAME = {LOAD_CIRCUIT: "switched part"}
"""Name of the coil's place in circuits whose part is not a coil."""


def findings(library: Library) -> Iterator[Finding]:
    """All findings, procedure by procedure, then those that compare procedures."""
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            yield from _leads_subtracted(procedure, step)
            yield from _limits_in_source(procedure, step)
            yield from _untested(procedure, step)
        for verdict in procedure.verdicts.values():
            yield from _part_fits(library, procedure, verdict)
            yield from _goes_on(procedure, verdict)
    yield from _same_limits(library)


# --- readings -------------------------------------------------------------------------------------


def borders(reading: Reading) -> Iterator[tuple[Decimal, tuple[Band, Band]]]:
    """Each border of two bands that is a number, with the bands on either side."""
    for lower, upper in pairwise(reading.bands):
        if isinstance(lower.high, Decimal):
            yield lower.high, (lower, upper)


def _leads_subtracted(procedure: Procedure, step: Step) -> Iterator[Finding]:
    """Ohms near those of the leads are judged without the leads, and the maker's ohms as at twenty degrees.

    Leads and contacts have 0.1 to 0.5 ohm (common practice, no source); copper gains 0.4 % a kelvin (IEC 60028).
    """
    reading = step.reading
    if reading is None or reading.unit != "ohm":
        return
    small = any(border < SMALL_OHMS for border, _ in borders(reading))
    if (small or reading.specified()) and not reading.subtract and "leads" not in step.look_for.lower():
        yield Finding(
            procedure.file,
            step.line,
            f"step '{step.name}' judges small ohms and does not subtract the leads",
            "Add 'subtract: lead-resistance', or say it in 'look_for'",
        )
    if reading.specified() and not reading.at_20_celsius:
        yield Finding(
            procedure.file,
            step.line,
            f"step '{step.name}' judges ohms by the maker's value, which is for 20 degrees Celsius",
            "Add 'at_20_celsius' with the fact that holds the temperature",
        )


def _limits_in_source(procedure: Procedure, step: Step) -> Iterator[Finding]:
    """Sources that name numbers name the limit, or two numbers whose difference it is."""
    if step.reading is None:
        return
    for border, (lower, upper) in borders(step.reading):
        named = [_numbers(band.source) for band in (lower, upper)]
        if all(named) and not any(_close(border, number) for numbers in named for number in numbers):
            yield Finding(
                procedure.file,
                step.line,
                f"step '{step.name}' has the limit {border} between '{lower.outcome}' and '{upper.outcome}', which the "
                "source of neither names",
                f"Write {border} into the source, or correct the limit",
            )


def _numbers(text: str) -> list[Decimal]:
    """The numbers of a text, and the difference of each two: "5 V within 0.5 V"; none of a document's number."""
    found = re.findall(r"(?<![\w.-])(\d+(?:\.\d+)?)(?![\w-]|\.\d)(?: (kilo|milli))?", text)
    given = [Decimal(number) * PREFIXES[prefix] for number, prefix in found]
    return [*given, *(abs(one - other) for one, other in combinations(given, 2))]


def _close(limit: Decimal, number: Decimal) -> bool:
    return abs(limit - number) <= ROUNDED * abs(number)


def _same_limits(library: Library) -> Iterator[Finding]:
    """The same measurement with the same sources has the same limit in every step."""
    seen: dict[tuple[Measurement, str, str, str], tuple[Decimal, Procedure, Step]] = {}
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            for border, (lower, upper) in borders(step.reading) if step.reading else ():
                key = (step.measure.usual(), lower.source, upper.source, f"{lower.seen}, {upper.seen}")
                first, first_of, first_step = seen.setdefault(key, (border, procedure, step))
                if border != first:
                    yield Finding(
                        procedure.file,
                        step.line,
                        f"step '{step.name}' has the limit {border}, and the same measurement has {first} from the "
                        f"same source in '{first_of.name}', step '{first_step.name}'",
                        "Give both the same limit, or say in the source why they differ",
                    )


def _untested(procedure: Procedure, step: Step) -> Iterator[Finding]:
    """A test that was skipped or not judged counts at most as a good one: it names no part that one does not name."""
    unjudged = step.reading.unjudged.target if step.reading and step.reading.unjudged else None
    good = step.answer(step.good) if step.good else None
    for target, what in ((step.if_skipped, "skipped"), (unjudged, "not judged")):
        if target is None or target.leads is not Leads.VERDICT or (good and good.target == target):
            continue
        verdict = procedure.verdicts[target.name]
        if verdict.part:
            yield Finding(
                procedure.file,
                step.line,
                f"step '{step.name}', {what}, leads to the verdict '{verdict.name}', which names the part "
                f"'{verdict.part}'",
                "Lead it to where a good answer leads, or to a verdict that names no part",
            )


# --- verdicts -------------------------------------------------------------------------------------


def _part_fits(library: Library, procedure: Procedure, verdict: Verdict) -> Iterator[Finding]:
    """A part that is named carries one of the verdict's faults; a fault of another part is told beside it."""
    parts = verdict.part.split(" and ") if verdict.part else []
    of_faults = {fault: library.terms.faults[fault].part for fault in verdict.faults}
    for part in parts:
        if not any(_is_of(part, carrier, procedure.circuit) for carrier in of_faults.values()):
            carriers = ", ".join(dict.fromkeys(of_faults.values())) or "no part"
            yield Finding(
                procedure.file,
                verdict.line,
                f"the verdict '{verdict.name}' names the part '{part}', and its faults are of: {carriers}",
                "Name a part of one of its faults, or the fault that this part has",
            )
    written = f"{verdict.says} {verdict.repair} {verdict.still_possible}".lower()
    for fault, carrier in of_faults.items():
        told = any(word in written for word in PARTS_OF.get(carrier, (carrier,)))
        if parts and not told and not any(_is_of(part, carrier, procedure.circuit) for part in parts):
            yield Finding(
                procedure.file,
                verdict.line,
                f"the verdict '{verdict.name}' names the part '{verdict.part}' and covers '{fault}', which is of the "
                f"{carrier}, and says nothing of it",
                "Leave that fault out, or say in 'still_possible' what is not told apart",
            )


def _is_of(part: str, carrier: str, circuit: str) -> bool:
    """Whether a verdict's part can be what carries a fault, by the names of parts in the terms."""
    head = re.split(r" of | on ", part)[0]
    words = PARTS_OF.get(carrier, (carrier,))
    if part == carrier:
        return carrier != "ignition coil" or circuit not in COILS_NAME
    if head == "switched part":
        return carrier == "ignition coil" and COILS_NAME.get(circuit) == head
    return any(word in head for word in words)


def _goes_on(procedure: Procedure, verdict: Verdict) -> Iterator[Finding]:
    """A verdict that names a fault leads on: to the next test, or to the check after the repair.

    One that names no part and leads to no further test names the one check that is safe and tells most.
    """
    if verdict.faults and verdict.continue_with is None:
        yield Finding(
            procedure.file,
            verdict.line,
            f"the verdict '{verdict.name}' names a fault and leads nowhere",
            "Add 'continue_with': the next procedure, or 'after-repair'",
        )
    stops = verdict.continue_with in (None, AFTER_REPAIR)  # without a part there is nothing to repair yet
    if not verdict.part and stops and verdict.next_check is None:
        yield Finding(
            procedure.file,
            verdict.line,
            f"the verdict '{verdict.name}' names no part, leads to no test and names no check: it leaves the "
            "technician standing",
            "Add 'next_check': what to do, the value that is good, and its source",
        )
    if verdict.part and not verdict.verify:
        yield Finding(
            procedure.file,
            verdict.line,
            f"the verdict '{verdict.name}' names a part and nothing to verify after the repair",
            "Say in 'verify' what shows that the repair was right",
        )
