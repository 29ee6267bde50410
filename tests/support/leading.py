"""Leads a few ways in which faults come about through procedures, without the rest of the catalogue."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.circuit.catalogue import Change, Mechanism, mechanism_named
from assistant.circuit.looks import Looks
from assistant.circuit.observers import HONEST, Observer
from assistant.circuit.parameters import Systems
from assistant.proof.cases import case_of
from assistant.proof.judging import CaseFigures, row
from assistant.proof.walk import walk

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library

COIL = "coil-with-external-driver"


def alone(fault: str, name: str | None = None, circuit: str = COIL) -> Mechanism:
    """One way in which a fault comes about, as bad as ever for each car, computed without the rest of its circuit."""
    found = mechanism_named(circuit, fault, name)
    key = f"{found.fault}/{found.name}"
    changes = tuple(replace(change, key=change.key or key) for change in found.changes)
    return replace(found, name=f"{found.name}, alone", changes=changes)


def with_ohm(fault: str, name: str, ohm: float, circuit: str = COIL) -> Mechanism:
    """The same with a certain resistance in place of the drawn one."""
    found = alone(fault, name, circuit)
    changes = tuple(
        Change(change.name, "set", ohm) if change.how == "draw" else change for change in found.changes
    )
    return replace(found, changes=changes)


def figures(
    library: Library,
    entry: str,
    mechanisms: Sequence[Mechanism],
    observer: Observer = HONEST,
    *,
    cars: int = 20,
    circuit: str = COIL,
) -> list[CaseFigures]:
    """What comes of each of them over some random cars."""
    looks = Looks(library, circuit, mechanisms, Systems.random(cars, 1))
    present = looks.present()
    walked = walk(
        library, entry, looks.shares(observer), present.shape, skips=observer.leaves_out, present=present
    )
    return [
        row(library, walked, number, case_of(mechanism), float(present[number].sum()))
        for number, mechanism in enumerate(mechanisms)
    ]
