"""The coils of sound cars are charged as a control computer does it, and spark well."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from assistant.circuit import winding
from assistant.circuit.catalogue import CIRCUITS, mechanism_named
from assistant.circuit.instruments.spark_tester import GAP_KV, THIN_J
from assistant.circuit.lamps import NO_OBSERVER
from assistant.circuit.network import GROUND, rows_of
from assistant.circuit.parameters import PARAMETERS, Systems
from assistant.circuit.turning import turn
from assistant.core.library.procedure import Engine

CARS = Systems.random(200, 5)


def test_dwell_lasts_until_the_cars_own_coil_is_charged() -> None:
    """Source: i = V/R (1 - exp(-t R/L)). No sound car is cut off below 6.5 A, or 85 % of a lower limit."""
    peak = winding.peak_current(CARS.values)
    wanted = np.minimum(winding.CHARGED_A, winding.CHARGED_SHARE * CARS.values["current-limit"])
    assert (peak > wanted - 1e-9).all()
    assert (CARS.values["dwell"] >= PARAMETERS["dwell"].low).all()
    assert (CARS.values["dwell"] <= winding.LONGEST_DWELL_S).all()


def test_a_dwell_that_was_drawn_long_enough_stays() -> None:
    """The computer lengthens what is too short for this coil and shortens nothing."""
    value = {name: np.array([1.0, 1.0]) * entry.default for name, entry in PARAMETERS.items()}
    value["dwell"] = np.array([1e-3, 8e-3])
    found = winding.computed_dwell(value)
    assert found[0] > 1e-3
    assert found[1] == 8e-3
    needed = winding.time_to_current(np.full(2, 6.5), *winding.loop(value), value["primary-inductance"])
    assert found[0] == pytest.approx(needed[0])


@pytest.mark.parametrize("circuit", ["distributor", "coil-with-external-driver", "built-in-driver-coil"])
def test_sound_cars_spark_well_when_they_are_solved(circuit: str) -> None:
    """The closed forms that sound cars are drawn with hold in the solved circuit: no weak spark in any."""
    rows = rows_of(CIRCUITS[circuit], (mechanism_named(circuit, "none"),), CARS)
    rows = replace(rows, flags={**rows.flags, "no-spark-path": np.ones(rows.count, bool)})
    waves = turn(rows, Engine.CRANKING, (), ("battery-positive", GROUND), NO_OBSERVER)
    joules = 0.5 * rows.values["primary-inductance"] * waves.peak_a**2
    assert joules.min() > 1.25 * THIN_J
    assert waves.available_v.min() > 1.15e3 * GAP_KV
    assert waves.peak_a.min() > 6.2
    assert waves.peak_a == pytest.approx(winding.peak_current(CARS.values), rel=0.05)


def test_limits_of_a_sound_spark_lie_above_those_of_a_thin_one() -> None:
    """Sound cars are drawn with a margin over what an observer calls thin or missing."""
    assert pytest.approx(1.3 * THIN_J, rel=0.02) == winding.SOUND_J
    assert pytest.approx(1.15 * GAP_KV, rel=0.01) == winding.SOUND_KV


def test_a_car_whose_coil_stores_too_little_is_no_sound_car() -> None:
    """A small inductance, a low current or a low clamp make a weak spark, and such cars are drawn again."""
    good = {name: np.array([entry.default]) for name, entry in PARAMETERS.items()}
    assert winding.sparks_well(good).all()
    for changed in ({"primary-inductance": 0.5e-3}, {"current-limit": 4.0}, {"clamp-voltage": 250.0}):
        poor = good | {name: np.array([value]) for name, value in changed.items()}
        assert not winding.sparks_well(poor).any(), changed


def test_sound_feed_and_ground_keep_the_trades_drops() -> None:
    """Source: common practice, no source: at most 0.5 V in the feed and 0.1 V in the module's ground at 7 A."""
    assert CARS.values["feed-resistance"].max() * 7 < 0.5
    assert CARS.values["module-ground-resistance"].max() * 7 < 0.1
