"""Spark tester, ramp on a scope, drop under load, logic probe, and the maker's values that a reading is judged by.

Each check against something outside the project names its source.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from assistant.circuit import makers, winding
from assistant.circuit.answers import outcome_shares
from assistant.circuit.catalogue import CIRCUITS, Change, Mechanism, mechanism_named, mechanisms
from assistant.circuit.instruments.pulses import Sign
from assistant.circuit.instruments.spark_tester import GAP_KV, Spark, needle_kv
from assistant.circuit.lamps import NO_OBSERVER
from assistant.circuit.network import GROUND, rows_of
from assistant.circuit.observed import Observed
from assistant.circuit.observing import observe
from assistant.circuit.parameters import KNOWN_TO_THE_PERSON, Systems
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.readings import reading_shares
from assistant.circuit.turning import turn
from assistant.core.library.procedure import (
    Answer,
    Band,
    Engine,
    Leads,
    Measurement,
    Reading,
    Specified,
    Target,
)

COIL, BUILT_IN, LOAD = "coil-with-external-driver", "built-in-driver-coil", "ground-switched-load"
TYPICAL = Systems.typical()
CARS = Systems.random(40, 7)
LEAD = Measurement("spark-tester", "engine-block", "plug-lead", Engine.CRANKING)
TOWERS = Measurement("spark-tester", "engine-block", "both-towers", Engine.CRANKING)
SWAPPED = Measurement("spark-tester", "engine-block", "swapped-coil", Engine.CRANKING)
RAMP = Measurement("clamp-scope", None, "feed-wire", Engine.CRANKING)
SPARKS = ("strong-spark", "weak-spark", "no-spark", "some-cylinders")
RAMPS = ("slow-ramp", "flat-top", "at-once", "no-current", "constant")


OHM = {
    "control-wire-to-ground": 0.05,
    "driver-shorted": 0.05,
    "weak-module-ground": 2.0,
    "high-resistance-control-wire": 2.0,
    "high-resistance-feed": 2.0,
}
"""Ohms in place of those that the catalogue draws, where a test needs a certain one."""


def severe(circuit: str, fault: str, name: str | None = None) -> Mechanism:
    """A fault with a certain resistance, or open: the worst that is drawn."""
    drawn = mechanism_named(circuit, fault, name)
    changes = tuple(
        Change(change.name, "set", OHM.get(fault, change.high)) if change.how == "draw" else change
        for change in drawn.changes
    )
    if fault == "shorted-primary":
        return drawn  # its resistance is drawn within a narrow range
    return replace(drawn, changes=changes)


def likeliest(
    circuit: str, fault: str, name: str | None, measure: Measurement, outcomes: tuple[str, ...]
) -> str:
    """Return the commonest answer for the typical car."""
    shares = outcome_shares(observe(circuit, severe(circuit, fault, name), measure, TYPICAL), outcomes)
    return outcomes[int(shares[0].argmax())]


def sections(mechanism: str, *across: tuple[str, str]) -> list[float]:
    """Drops of the feed under the heavy lamp in V, in a car with a bad feed."""
    wrong = severe(COIL, "high-resistance-feed", mechanism)
    found = []
    for probe, clip in across:
        value = observe(
            COIL, wrong, Measurement("loaded-voltmeter", clip, probe, Engine.KEY_ON), TYPICAL
        ).value
        assert value is not None
        found.append(float(value[0]))
    return found


# --- the ramp -------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", [5.0, 7.0, 8.5])
def test_the_time_to_the_limit_is_that_of_the_closed_form(limit: float) -> None:
    """Source: i = V/R (1 - exp(-t R/L)), solved for t: -L/R ln(1 - I R/V).  Within 0.5 %, other loads beside it."""
    systems = Systems.typical(
        current_limit=limit, dwell=9e-3, starter_swing=0, polarisation=0, other_ignition_loads=1e6
    )
    rows = rows_of(CIRCUITS[COIL], (mechanism_named(COIL, "none"),), systems)
    waves = turn(rows, Engine.CRANKING, (), ("battery-positive", GROUND), NO_OBSERVER)
    value = {name: float(entry[0]) for name, entry in rows.values.items()}
    volt = value["battery-voltage"] - value["battery-resistance"] * value["starter-current"]
    volt -= value["driver-saturation"]
    ohm = value["battery-resistance"] + value["primary-resistance"] + value["driver-resistance"]
    ohm += sum(
        value[name] for name in ("relay-link", "relay", "fuse", "feed-wire", "control-wire", "module-ground")
    )
    wanted = -value["primary-inductance"] / ohm * np.log(1 - limit * ohm / volt)
    assert float(waves.limit_s[0]) == pytest.approx(wanted, rel=0.005)
    found = winding.time_to_current(
        *(np.array([one]) for one in (limit, volt, ohm, value["primary-inductance"]))
    )
    assert float(found[0]) == pytest.approx(wanted)


def test_a_current_that_is_never_reached_has_no_time() -> None:
    """Above V/R the logarithm has no value: the time is infinite, not a number."""
    found = winding.time_to_current(*(np.array([one]) for one in (30.0, 10.0, 0.5, 3e-3)))
    assert np.isinf(found[0])


@pytest.mark.parametrize(
    ("fault", "name", "shown"),
    [
        ("shorted-primary", "full", "at-once"),
        ("shorted-primary", "part", "at-once"),
        ("driver-dead", None, "no-current"),
        ("open-primary", None, "no-current"),
        ("control-wire-to-ground", "wire", "constant"),
        ("driver-shorted", "transistor", "constant"),
        ("none", None, "slow-ramp"),
    ],
)
def test_a_ramp_tells_a_shorted_primary_from_no_control(fault: str, name: str | None, shown: str) -> None:
    """The lamp sees the first three of these alike; a scope does not."""
    assert likeliest(COIL, fault, name, RAMP, RAMPS) == shown


def test_a_long_dwell_ends_in_a_flat_top() -> None:
    """With 9 ms the typical coil reaches the driver's limit and stays there."""
    long = Systems.typical(dwell=9e-3)
    shares = outcome_shares(observe(COIL, mechanism_named(COIL, "none"), RAMP, long), RAMPS)
    assert shares[0, RAMPS.index("flat-top")] > 0.95


# --- the spark ------------------------------------------------------------------------------------


def test_a_sound_car_sparks_strongly_at_every_lead() -> None:
    """Every random sound car has the tester's 20 kV and a fat spark in the eyes of nearly all."""
    shares = outcome_shares(observe(COIL, mechanism_named(COIL, "none"), LEAD, CARS), SPARKS)
    assert shares[:, 0].min() > 0.7
    assert shares[:, 0].mean() > 0.97


def test_an_open_lead_takes_the_spark_at_the_plug_and_not_at_the_tower() -> None:
    """This tells a lead from its coil."""
    assert likeliest(COIL, "lead-or-plug", "plug-lead-open", LEAD, SPARKS[:3]) == "no-spark"
    assert likeliest(COIL, "lead-or-plug", "plug-lead-open", TOWERS, SPARKS[:3]) == "strong-spark"


def test_a_bad_coil_fails_in_another_place_and_a_good_one_sparks_there() -> None:
    """Swapping tells the coil from its wires and its driver."""
    assert likeliest(COIL, "open-primary", None, SWAPPED, SPARKS[:3]) == "no-spark"
    assert likeliest(COIL, "driver-dead", None, SWAPPED, SPARKS[:3]) == "strong-spark"
    assert likeliest(COIL, "control-wire-open", None, SWAPPED, SPARKS[:3]) == "strong-spark"


def test_a_resistance_in_the_way_of_the_current_makes_the_spark_weak() -> None:
    """Energy goes with the square of the current: two ohms leave a quarter of it."""
    for fault in ("weak-module-ground", "high-resistance-control-wire"):
        assert likeliest(COIL, fault, None, LEAD, SPARKS[:3]) == "weak-spark"


def test_what_one_coil_lacks_leaves_spark_at_the_others() -> None:
    """No inputs take it from all cylinders; an open primary from those of one coil, in a car that has several."""
    several = SPARKS.index("some-cylinders")
    for fault, least, most in (("no-inputs", 0.0, 0.0), ("open-primary", 0.49, 0.51)):
        shares = outcome_shares(observe(COIL, mechanism_named(COIL, fault), LEAD, TYPICAL), SPARKS)
        assert least <= shares[0, several] <= most


def test_the_available_voltage_is_at_most_the_clamp_times_the_turns() -> None:
    """Source: an ideal transformer: what the driver clamps at, times the ratio, and the battery's voltage beside it."""
    spark = observe(COIL, mechanism_named(COIL, "none"), LEAD, TYPICAL).shows(Spark)
    clamp, ratio = (float(TYPICAL.values[name][0]) for name in ("clamp-voltage", "turns-ratio"))
    assert GAP_KV < spark.kilovolts[0] <= 1.02 * clamp * ratio / 1e3
    current = observe(
        COIL,
        mechanism_named(COIL, "none"),
        Measurement("current-clamp", None, "feed-wire", Engine.CRANKING),
        TYPICAL,
    ).value
    assert current is not None
    henry = float(TYPICAL.values["primary-inductance"][0])
    assert float(spark.joules[0]) == pytest.approx(0.5 * henry * float(current[0]) ** 2, rel=1e-3)


# --- the feed under load --------------------------------------------------------------------------


def test_the_drops_of_the_pieces_are_the_drop_of_the_whole() -> None:
    """Source: Kirchhoff's voltage law.  The bad piece has nearly all of it."""
    whole, supply, fuse, wire = sections(
        "wire",
        ("battery-positive", "feed"),
        ("battery-positive", "fuse-supply"),
        ("fuse-supply", "fuse-load"),
        ("fuse-load", "feed"),
    )
    assert whole == pytest.approx(supply + fuse + wire, abs=1e-6)
    assert wire > 0.9 * whole > 2.0
    whole, supply = sections(
        "relay-contact", ("battery-positive", "feed"), ("battery-positive", "fuse-supply")
    )
    assert supply > 0.9 * whole


def test_a_grounds_drop_under_the_heavy_lamp_is_that_of_ohms_law() -> None:
    """Source: Ohm's law with the lamp's catalogue current, 2.1 A at 12.8 V: within 15 %, the lamp being dimmer here."""
    drop = Measurement("ground-drop-meter", GROUND, "driver-ground", Engine.KEY_OFF)
    sound = observe(COIL, mechanism_named(COIL, "none"), drop, CARS).value
    assert sound is not None
    assert sound.max() < 0.1
    poor = observe(
        COIL, mechanism_named(COIL, "none"), drop, Systems.typical(module_ground_resistance=0.2)
    ).value
    assert poor is not None
    assert float(poor[0]) == pytest.approx(0.2 * 2.1, rel=0.15)


# --- the driver in the coil -----------------------------------------------------------------------


def test_a_coil_whose_own_driver_is_dead_has_its_trigger_and_no_spark() -> None:
    """This tells the coil from wire and module."""
    probe = Measurement("logic-probe", GROUND, "trigger", Engine.CRANKING)
    dead = mechanism_named(BUILT_IN, "coil-driver-dead")
    assert bool(observe(BUILT_IN, dead, probe, TYPICAL).shows(Sign).there[0])
    assert likeliest(BUILT_IN, "coil-driver-dead", None, LEAD, SPARKS[:3]) == "no-spark"
    assert likeliest(BUILT_IN, "none", None, LEAD, SPARKS[:3]) == "strong-spark"


def test_an_open_trigger_wire_has_its_signal_at_the_module_alone() -> None:
    """Wire and module are told apart at the module's end."""
    broken = severe(BUILT_IN, "control-wire-open")
    for place, there in (("trigger", False), ("trigger-source", True)):
        measure = Measurement("logic-probe", GROUND, place, Engine.CRANKING)
        assert bool(observe(BUILT_IN, broken, measure, TYPICAL).shows(Sign).there[0]) is there


def test_only_a_coil_with_its_driver_inside_can_have_that_driver_dead() -> None:
    """The fault is in no other circuit."""
    assert {name for name in CIRCUITS if "coil-driver-dead" in {one.fault for one in mechanisms(name)}} == {
        BUILT_IN
    }


# --- the maker's values ---------------------------------------------------------------------------


def specified(low: str, high: str, unit: str = "ohm") -> Reading:
    """A reading that is judged by two specifications."""
    target = Target(Leads.VERDICT, "some")
    return Reading(
        unit,
        (Decimal(0), Decimal(20_000_000)),
        (
            Band("low", target, (), None, Specified(low), "maker", "low"),
            Band("within", target, (), Specified(low), Specified(high), "maker", "within"),
            Band("high", target, (), Specified(high), Decimal(50), "maker", "high"),
            Band("open", target, (), Decimal(50), None, "chosen", "open"),
        ),
        "lead-resistance",
        "coil-temperature",
        Answer("unjudged", target),
    )


PRIMARY = specified("primary-resistance-lowest", "primary-resistance-highest")
OHMS = Measurement("ohmmeter", "feed", "switched", Engine.KEY_OFF, ("coil",))


def test_copper_at_eighty_degrees_has_nearly_a_quarter_more_resistance() -> None:
    """Source: IEC 60028, 0.00393 per kelvin at 20 degrees Celsius: 1.2358 times at 80."""
    assert float(makers.warmer(Systems.typical(coil_temperature=80))[0]) == pytest.approx(1.2358)
    assert float(makers.warmer(Systems.typical(coil_temperature=20))[0]) == 1


def test_a_warm_coil_is_judged_like_a_cold_one() -> None:
    """The same copper, warmer, with the same limits of the maker, falls into the same bands."""
    cold = Systems.typical(coil_temperature=20, primary_resistance=0.5)
    warm = Systems.typical(coil_temperature=80, primary_resistance=0.5 * 1.2358)
    sound = mechanism_named(COIL, "none")
    shares = [reading_shares(observe(COIL, sound, OHMS, car), PRIMARY)[0] for car in (cold, warm)]
    assert shares[0] == pytest.approx(shares[1], abs=0.03)
    assert shares[0][1] > 0.9


def test_the_model_judges_a_reading_as_a_session_does() -> None:
    """Far from a limit nearly everybody's reading falls where `Reading.judge` puts the true value."""
    names = [band.outcome for band in PRIMARY.bands]
    for ohm in (0.06, 0.5, 2.0, 200.0):
        car = Systems.typical(lead_resistance=0.3, coil_temperature=50)
        facts = makers.known(CIRCUITS[COIL], car)
        shares = reading_shares(Observed(value=np.array([ohm]), facts=facts), PRIMARY)[0]
        given = {name: Decimal(str(float(value[0]))) for name, value in facts.items()}
        judged = PRIMARY.judge(Decimal(str(ohm + 0.3)), given).band
        assert judged is not None
        assert shares[names.index(judged.outcome)] > 0.9, ohm


def test_without_the_makers_values_only_what_is_plainly_open_is_judged() -> None:
    """A blank specification leaves the reading unjudged; 50 ohm and more is open for any coil."""
    facts = makers.known(CIRCUITS[COIL], TYPICAL)
    for ohm, column in ((0.5, 4), (np.inf, 3)):
        shares = reading_shares(Observed(value=np.array([ohm]), facts=facts), PRIMARY, blank=True)[0]
        assert shares[column] > 0.999
        assert shares.sum() == pytest.approx(1)


def test_a_reading_by_a_value_that_the_model_lacks_is_refused() -> None:
    """The sentence names the value, and those that there are."""
    with pytest.raises(CircuitProblem, match="no value for 'cranking-voltage-lowest'"):
        reading_shares(
            observe(COIL, mechanism_named(COIL, "none"), OHMS, TYPICAL),
            specified("cranking-voltage-lowest", "primary-resistance-highest"),
        )


def test_what_is_known_of_a_car_changes_nothing_of_the_car() -> None:
    """Leads, temperature and deviations are drawn apart: the electrical values of a seed stay."""
    generator = np.random.default_rng(3)
    drawn = generator.uniform(11.6, 12.5, 5)
    assert Systems.random(5, 3).values["battery-voltage"][0] in drawn
    for name in KNOWN_TO_THE_PERSON:
        assert len(set(Systems.random(5, 3).values[name])) == 5


def test_nearly_every_sound_car_is_within_its_makers_values() -> None:
    """The maker's limits hold the sound car; what is left is the error of contacts."""
    for circuit, reading in (
        (COIL, PRIMARY),
        (LOAD, specified("load-resistance-lowest", "load-resistance-highest")),
    ):
        shares = reading_shares(observe(circuit, mechanism_named(circuit, "none"), OHMS, CARS), reading)
        assert shares[:, 1].mean() > 0.9


# --- the tester's gap, and the diagram --------------------------------------------------------------


@pytest.mark.parametrize(
    ("kilovolts", "millimetres"), [(10, 8.5), (20, 17.5), (25, 22.0), (30, 26.9), (40, 38.1)]
)
def test_a_needle_gap_breaks_down_as_the_table_says(kilovolts: float, millimetres: float) -> None:
    """Source: needle-point spark gaps, table of the AIEE (secondary source); between its entries it rises."""
    assert needle_kv(millimetres) == pytest.approx(kilovolts)
    assert needle_kv(millimetres - 0.5) < needle_kv(millimetres)


def test_a_gap_beyond_the_table_is_refused() -> None:
    """No voltage is invented outside the table."""
    for gap in (-1.0, 38.2):
        with pytest.raises(CircuitProblem, match="outside it"):
            needle_kv(gap)


@pytest.mark.parametrize(
    ("circuit", "probe", "shown"),
    [
        (COIL, "coil-driver", "separate"),
        (COIL, "switching", "ground-side"),
        (BUILT_IN, "coil-driver", "built-in"),
        (LOAD, "part-switching", "ground-side"),
    ],
)
def test_the_diagram_tells_what_the_circuit_is(circuit: str, probe: str, shown: str) -> None:
    """A fault does not change the car's diagram."""
    measure = Measurement("diagram", None, probe, Engine.KEY_OFF)
    for mechanism in mechanisms(circuit):
        shares = outcome_shares(observe(circuit, mechanism, measure, TYPICAL), (shown, "unknown"))
        assert shares[0] == pytest.approx([1, 0])


def test_a_diagram_that_the_circuit_has_not_is_refused() -> None:
    """The sentence names those that it has."""
    measure = Measurement("diagram", None, "coils", Engine.KEY_OFF)
    with pytest.raises(CircuitProblem, match=r"no diagram of 'coils'.*part-switching"):
        observe(LOAD, mechanism_named(LOAD, "none"), measure, TYPICAL)
