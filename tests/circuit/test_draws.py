"""How bad a fault is, is drawn for each car; which cars count; and which parts are truly bad."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from leading import COIL, alone, with_ohm
from shipped import shipped_library

from assistant.circuit.catalogue import (
    CIRCUITS,
    INTERMITTENT,
    NONE,
    Change,
    Mechanism,
    combined,
    mechanism_named,
    mechanisms,
)
from assistant.circuit.catalogue.mechanism import BROKEN, HIGH, LEAK
from assistant.circuit.looks import Looks
from assistant.circuit.network import changed_value
from assistant.circuit.parameters import Systems
from assistant.circuit.spoiling import bad_spark
from assistant.proof.cases import case_of
from assistant.proof.judging import Worth, condemns, judge
from assistant.proof.walk import End

LIBRARY = shipped_library()
MANY = Systems.random(2000, 5)
EVERY = [
    (circuit, mechanism)
    for circuit in CIRCUITS
    for mechanism in mechanisms(circuit)
    if any(change.how.startswith("draw") for change in mechanism.changes)
]


def drawn(change: Change, mechanism: Mechanism, systems: Systems) -> np.ndarray:
    """The drawn value or factor of each car."""
    return changed_value(np.ones(systems.count), replace(change, power=1), mechanism, systems)


def test_a_draw_is_the_same_for_a_piece_and_for_the_whole() -> None:
    """Each draw belongs to its car: it is the same in pieces of the work and in a process of its own."""
    for _, mechanism in EVERY:
        for change in mechanism.changes:
            whole = drawn(change, mechanism, MANY)
            piece = drawn(change, mechanism, MANY.part(range(100, 150)))
            assert piece.tolist() == whole[100:150].tolist()


def test_a_draw_is_log_uniform_within_its_limits() -> None:
    """Source: of a log-uniform value the logarithm is uniform; Kolmogorov's distance is below 1.63/sqrt(n) at 1 %."""
    seen = set()
    for _, mechanism in EVERY:
        for change in mechanism.changes:
            if not change.how.startswith("draw"):
                continue
            seen.add((change.value, change.high))
            value = drawn(change, mechanism, MANY)
            assert change.value <= value.min() < value.max() <= change.high
            share = np.sort(np.log(value / change.value) / np.log(change.high / change.value))
            uniform = (np.arange(MANY.count) + 0.5) / MANY.count
            assert np.abs(share - uniform).max() < 1.63 / np.sqrt(MANY.count), mechanism.name
    assert {LEAK, HIGH, BROKEN} <= seen


def test_the_changes_of_one_mechanism_are_drawn_together() -> None:
    """Shorted turns take a share of the resistance and its square of the inductance: one draw, not two."""
    part = mechanism_named(COIL, "shorted-primary", "part")
    ohm, henry = (
        changed_value(np.ones(MANY.count), change, part, MANY)
        for change in part.changes
        if change.how == "draw-times"
    )
    assert henry == pytest.approx(ohm**2)


def test_a_fault_is_drawn_alike_alone_and_in_a_pair() -> None:
    """Put together with another fault, each is as bad as it is by itself in the same car."""
    one, other = (
        mechanism_named(COIL, "control-wire-to-ground", "wire"),
        mechanism_named(COIL, "high-resistance-feed", "wire"),
    )
    both = combined(one, other)
    assert both.parts == ("control wire", "feed wire")
    for mechanism in (one, other):
        (change,) = mechanism.changes
        (in_both,) = (each for each in both.changes if each.name == change.name)
        assert drawn(in_both, both, MANY).tolist() == drawn(change, mechanism, MANY).tolist()


# --- which cars count -----------------------------------------------------------------------------


def test_a_leak_counts_only_where_it_takes_the_spark() -> None:
    """A dead short takes it from every car, ten megohm from none, and between them it goes with the ohms."""
    cars = Systems.random(30, 2)
    counted = [
        float(bad_spark(COIL, with_ohm("control-wire-to-ground", "wire", ohm), cars).mean())
        for ohm in (0.05, 1.0, 5.0, 50.0, 10e6)
    ]
    assert counted[0] == 1
    assert counted[-1] == 0
    assert counted == sorted(counted, reverse=True)
    assert any(0 < share < 1 for share in (*counted, *_shares_between(cars)))


def _shares_between(cars: Systems) -> list[float]:
    return [
        float(bad_spark(COIL, with_ohm("control-wire-to-ground", "wire", ohm), cars).mean())
        for ohm in (7.0, 10.0, 15.0, 20.0, 30.0)
    ]


def test_a_car_without_a_fault_counts_when_it_sparks_well() -> None:
    """Every random sound car does; a battery below the cranking floor matters whatever the spark."""
    cars = Systems.random(30, 2)
    assert bad_spark(COIL, mechanism_named(COIL, NONE, "sound"), cars).all()
    weak = mechanism_named("battery-and-starter", "weak-battery", "worn-out")
    assert bad_spark("battery-and-starter", weak, cars).all()


def test_the_proof_counts_the_cars_that_the_spark_model_counts() -> None:
    """Present is 1 where the spark is bad, else 0; a fault that comes and goes counts by what it does when there."""
    cars = Systems.random(25, 3)
    leak = alone("control-wire-to-ground", "wire")
    seldom = replace(leak, name="seldom", present=0.5)
    present = Looks(LIBRARY, COIL, [leak, seldom], cars).present()
    assert present[0].tolist() == present[1].tolist() == bad_spark(COIL, leak, cars).astype(float).tolist()
    assert 0 < present[0].sum() < 25


def test_what_comes_and_goes_is_seen_at_its_share_of_the_tests() -> None:
    """There at half of the tests: half of the answers are those of a sound car."""
    cars = Systems.random(3, 4)
    never = alone("driver-dead", "never-switches")
    half = replace(never, name="half", present=0.5)
    sound = alone(NONE, "sound")
    found = Looks(LIBRARY, COIL, [never, half, sound], cars).shares()(
        ("coil-and-driver", "led-in-coils-place")
    )
    assert found[1] == pytest.approx(0.5 * found[0] + 0.5 * found[2])
    assert {one.present for one in INTERMITTENT} == {0.5, 0.9}


# --- which parts are bad --------------------------------------------------------------------------


def test_an_open_plug_lead_is_no_ignition_coil() -> None:
    """A verdict that names the coil condemns a good part in that car, though both are of the secondary."""
    end = End("coil-and-driver", "coil-bad")
    lead = mechanism_named(COIL, "lead-or-plug", "plug-lead-open")
    coil = mechanism_named(COIL, "coil-secondary", "winding-open")
    assert lead.parts == ("plug lead",)
    assert condemns(LIBRARY, end, case_of(lead))
    assert judge(LIBRARY, end, case_of(lead)) is Worth.WRONG_PART
    assert judge(LIBRARY, end, case_of(coil)) is Worth.RIGHT


@pytest.mark.parametrize("name", [one.name for one in LIBRARY.procedures.values() if one.circuit in CIRCUITS])
def test_every_part_that_a_verdict_names_is_one_that_can_be_bad(name: str) -> None:
    """A verdict whose part no way of a fault of its circuit makes bad would condemn a good one in every car."""
    procedure = LIBRARY.procedures[name]
    known = {part for one in mechanisms(procedure.circuit) for part in one.parts}
    for verdict in procedure.verdicts.values():
        if verdict.part:
            assert set(verdict.part.split(" and ")) <= known, verdict.name


def test_no_part_is_bad_in_a_car_without_a_fault_or_without_inputs() -> None:
    """Every part named there is good: a missing signal is not the driver's fault."""
    for circuit in CIRCUITS:
        for one in mechanisms(circuit):
            assert bool(one.parts) is (one.fault not in (NONE, "no-inputs")), one.name
