"""All mechanisms of a circuit, computed together in one state of key, engine and plugs.

All mechanisms of a circuit are stepped at once the first time that one is asked for, because arrays of some
thousand rows cost little more than one row.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from assistant.circuit.catalogue import ALL, CIRCUITS, Circuit, Mechanism, mechanisms
from assistant.circuit.network import Rows, rows_of
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.remembered import once
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.circuit.parameters import Systems

ROWS_AT_ONCE = 2500
"""Rows that are stepped together: their arrays fit a processor's cache."""


class Company(tuple[Mechanism, ...]):  # noqa: SLOT001 - it keeps its hash
    """Mechanisms that are computed together; its hash is computed once, because it stands in every key."""

    _hash: int

    def __hash__(self) -> int:
        """The hash of the tuple."""
        if "_hash" not in self.__dict__:
            self._hash = tuple.__hash__(self)
        return self._hash

    def __eq__(self, other: object) -> bool:
        """Whether both hold the same."""
        return self is other or tuple.__eq__(self, other)


class Situation(NamedTuple):
    """The state of some cars, for all mechanisms that are computed together.

    Attributes:
        circuit: Name of the circuit.
        company: The mechanisms.
        engine: State of key and engine.
        unplugged: Parts that are unplugged, sorted.
    """

    circuit: str
    company: Company
    engine: Engine
    unplugged: tuple[str, ...]

    @property
    def turning(self) -> bool:
        """Whether the engine turns."""
        return self.engine in (Engine.CRANKING, Engine.RUNNING)


_OF_CIRCUIT: dict[str, Company] = {}
_BROUGHT: dict[Mechanism, Company] = {}
"""Mechanisms that a caller made, each with all those that are computed with it."""
_PLACES: dict[tuple[str, int], tuple[Mechanism, Company, int]] = {}
"""Company and number of each mechanism by the object itself: comparing some dozens by value takes its time."""


def together(company: Sequence[Mechanism]) -> None:
    """Compute mechanisms outside the catalogue together, which is quicker than one by one."""
    of_all = Company(company)
    _BROUGHT.clear()
    _PLACES.clear()
    _BROUGHT.update(dict.fromkeys(of_all, of_all))


def place_of(circuit: Circuit, mechanism: Mechanism) -> tuple[Company, int]:
    """The mechanisms that are computed together with this one, and which of them it is.

    Raises:
        CircuitProblem: The circuit cannot have this fault.
    """
    key = (circuit.name, id(mechanism))
    if key not in _PLACES or _PLACES[key][0] is not mechanism:
        company = _company(circuit, mechanism)
        _PLACES[key] = (mechanism, company, company.index(mechanism))
    return _PLACES[key][1:]


def _company(circuit: Circuit, mechanism: Mechanism) -> Company:
    """Mechanisms that are computed together with this one."""
    if circuit.name not in _OF_CIRCUIT:
        _OF_CIRCUIT[circuit.name] = Company(mechanisms(circuit.name))
    company = _OF_CIRCUIT[circuit.name]
    if mechanism in company:
        return company
    if mechanism in _BROUGHT:
        return _BROUGHT[mechanism]
    if circuit.only and mechanism in ALL:
        # A procedure for battery and starter is also met by a car with another fault.
        return _OF_CIRCUIT.setdefault("", Company(ALL))
    if mechanism.fault in circuit.without:
        raise CircuitProblem(f"The circuit '{circuit.name}' cannot have the fault '{mechanism.fault}'.")
    # A mechanism that a caller made: on its own.
    return Company((mechanism,))


@once
def _portions(systems: Systems, circuit: str, company: Company) -> list[Rows]:
    each = max(1, ROWS_AT_ONCE // systems.count)
    return [
        rows_of(CIRCUITS[circuit], company[begin : begin + each], systems)
        for begin in range(0, len(company), each)
    ]


def portions(systems: Systems, situation: Situation) -> list[Rows]:
    """Rows of a situation in portions that fit a processor's cache, mechanism by mechanism."""
    return _portions(systems, situation.circuit, situation.company)
