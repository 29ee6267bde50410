"""Places that no car reaches: steps without a fault, and verdicts that cover less than they say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.circuit import catalogue
from assistant.circuit.observers import BLANK, HONEST, NO_CLAMP, SKIPPING, Observer
from assistant.core.words import placing
from assistant.proof.cases import circuit_of
from assistant.proof.judging import NO_FAULT, never_reached
from assistant.proof.walk import End, Walk, goes_on

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assistant.circuit.looks import Key
    from assistant.core.library.library import Library
    from assistant.proof.result import Proven


def unreached(library: Library, names: Sequence[str], whole: dict[tuple[str, Observer], Walk]) -> list[Key]:
    """Steps that no car with a fault reaches, from any of these procedures and with any observer."""
    reached: set[Key] = set()
    for name in names:
        faulty = [
            number
            for number, one in enumerate(catalogue.mechanisms(circuit_of(library, name)))
            if one.fault != NO_FAULT
        ]
        walks = [whole[name, observer] for observer in (HONEST, BLANK, SKIPPING, NO_CLAMP)]
        missed = set(never_reached(library, names, walks, faulty))
        reached |= {
            (other, step)
            for other in names
            for step in library.procedures[other].steps
            if (other, step) not in missed
        }
    return [
        (name, step)
        for name in names
        for step in library.procedures[name].steps
        if (name, step) not in reached
    ]


def idle(library: Library, names: Sequence[str], proven: Iterable[Proven]) -> list[str]:
    """Verdicts that no honest observer reaches, and faults that a verdict names although they never lead there."""
    came: dict[End, set[str]] = {}
    for one in proven:
        for observer in ("honest", "without values", "skipping", "no clamp"):
            for case, ends in zip(one.cases, one.ends[observer], strict=True):
                for end, share in ends.items():
                    if share > 0:
                        came.setdefault(end, set()).update(case.faults)
    found = []
    for name in names:
        for verdict in library.procedures[name].verdicts.values():
            if verdict.continue_with and goes_on(library, name, verdict.continue_with):
                continue
            faults = came.get(End(name, verdict.name), set()) - {NO_FAULT}
            if not faults:
                found.append(f"{name}: {verdict.name} (no fault leads there)")
                continue
            never = [fault for fault in verdict.faults if fault not in faults]
            if never and len(never) == len(verdict.faults):
                found.append(f"{name}: {verdict.name} (none of the faults that it names leads there)")
            elif never:
                found.append(
                    f"{name}: {verdict.name} (names {placing.listed(never)}, which never lead there)"
                )
    return found
