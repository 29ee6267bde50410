"""The signs of each fault: the outcome matrix, common practice, every measurement of the procedures."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from shipped import shipped_library

from assistant.circuit import eye
from assistant.circuit.answers import mistaken, outcome_shares
from assistant.circuit.catalogue import CIRCUITS, Change, Mechanism, mechanism_named, mechanisms
from assistant.circuit.instruments.lamp import Glow
from assistant.circuit.instruments.pulses import Sign
from assistant.circuit.lamps import lamp_named
from assistant.circuit.network import rows_of
from assistant.circuit.observed import Observed
from assistant.circuit.observing import VERSION, observe
from assistant.circuit.parameters import PARAMETERS, Systems, fingerprint
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.readings import reading_shares
from assistant.circuit.tracing import trace, traces
from assistant.circuit.turning import turn
from assistant.commands.bench import circuit_time
from assistant.core.library.procedure import Band, Engine, Leads, Measurement, Reading, Target
from assistant.core.library.vocabulary import NO_CIRCUIT

COIL = "coil-with-external-driver"
NEGATIVE, POSITIVE = "battery-negative", "battery-positive"
TYPICAL = Systems.typical(feed_resistance=0.1, module_ground_resistance=0.02, dwell=4e-3)
"""The car that the trade's notes were computed with: twice the resistance that sound feeds and grounds have."""
LIBRARY = shipped_library()
ELECTRICAL = [one for one in LIBRARY.procedures.values() if one.circuit != NO_CIRCUIT]

T1 = Measurement("test-lamp", NEGATIVE, "feed", Engine.CRANKING)
T2 = Measurement("test-lamp", NEGATIVE, "switched", Engine.CRANKING)
T3 = Measurement("test-lamp", NEGATIVE, "driver-end", Engine.CRANKING)
T4 = Measurement("test-lamp", POSITIVE, "switched", Engine.KEY_ON)
T5 = Measurement("test-lamp", POSITIVE, "driver-end", Engine.KEY_OFF, ("module", "coil"))
T6 = Measurement("test-lamp", NEGATIVE, "switched", Engine.KEY_ON, ("coil",))
CLAMP = Measurement("current-clamp", None, "feed-wire", Engine.CRANKING)

# The outcome matrix of the trade's notes (computed there by another implementation; no bench behind it):
# light on T1, T2, T3 as class, T4 to T6 as lit or dark, peak current in A.
MATRIX = [
    ("none", "lit", "distinct", "distinct", "dark", "dark", "dark", 8.0),
    ("open-feed", "dark", "dark", "dark", "dark", "dark", "dark", 0),
    ("open-primary", "lit", "dark", "dark", "dark", "dark", "dark", 0),
    ("shorted-primary", "lit", "like", "like", "dark", "dark", "dark", 9.0),
    ("control-wire-open", "lit", "like", "dark", "dark", "dark", "dark", 0),
    ("control-wire-to-ground", "lit", "dark", "dark", "lit", "lit", "dark", 17),
    ("control-wire-to-battery", "lit", "like", "like", "dark", "dark", "lit", 0.2),
    ("driver-dead", "lit", "like", "like", "dark", "dark", "dark", 0),
    ("no-inputs", "lit", "like", "like", "dark", "dark", "dark", 0),
    ("driver-shorted", "lit", "dark", "dark", "lit", "dark", "dark", 15.5),
    ("weak-module-ground", "lit", "distinct", "distinct", "dark", "dark", "dark", 3.7),
]


OHM = {
    "open-primary": 10e6,
    "control-wire-open": 10e6,
    "control-wire-to-ground": 0.05,
    "control-wire-to-battery": 0.05,
    "driver-shorted": 0.05,
    "high-resistance-feed": 2.0,
    "high-resistance-control-wire": 3.0,
    "shorted-primary": 0.06,
    "weak-module-ground": 2.0,
}
"""Resistances that the trade's notes were computed with; the catalogue draws them for each car."""


def as_noted(fault: str, name: str | None = None) -> Mechanism:
    """A fault with the resistance of the notes in place of a drawn one."""
    drawn = mechanism_named(COIL, fault, name)
    changes = tuple(
        Change(change.name, "set", OHM[fault]) if change.how == "draw" else change for change in drawn.changes
    )
    return replace(drawn, changes=changes)


def observed(fault: str, measure: Measurement, name: str | None = None, lamp: str = "194") -> Observed:
    """One fault on the typical system, as bad as in the notes."""
    return observe(COIL, as_noted(fault, name), measure, TYPICAL, lamp)


def light(seen: Observed) -> float:
    """Relative light of one system."""
    return float(seen.shows(Glow).brightness[0])


def ratio(seen: Observed) -> float:
    """How much more the lamp changes than the surge."""
    glow = seen.shows(Glow)
    return float(glow.index[0] / glow.feed_index[0])


def index(seen: Observed) -> float:
    """Visibility index of the lamp's changes, of one system."""
    return float(seen.shows(Glow).index[0])


def number(seen: Observed) -> float:
    """Reading of one system."""
    assert seen.value is not None
    return float(seen.value[0])


def looks(seen: Observed) -> str:
    """The class of a lamp, by the limits of the eye's module."""
    if light(seen) < eye.DARK:
        return "dark"
    if ratio(seen) < eye.LIKE_FEED:
        return "like"
    # The typical system lies at 3.0 in the notes, on the limit itself: 2.9 is taken for it.
    return "distinct" if ratio(seen) > eye.DISTINCT - 0.1 else "ambiguous"


@pytest.mark.parametrize("row", MATRIX, ids=[row[0] for row in MATRIX])
def test_the_outcome_matrix_of_the_trade_comes_out(
    row: tuple[str, str, str, str, str, str, str, float],
) -> None:
    """Classes are those of the matrix; peak current within 0.35 A or 5 %."""
    fault, feed, switched, driver_end, reversed_lamp, unplugged, terminal, ampere = row
    assert ("dark" if light(observed(fault, T1)) < eye.DARK else "lit") == feed
    assert looks(observed(fault, T2)) == switched
    assert looks(observed(fault, T3)) == driver_end
    for measure, wanted in ((T4, reversed_lamp), (T5, unplugged), (T6, terminal)):
        assert ("lit" if light(observed(fault, measure)) > eye.DIM else "dark") == wanted
    assert number(observed(fault, CLAMP)) == pytest.approx(ampere, rel=0.05, abs=0.35)


def test_figures_of_the_matrix_come_out_within_a_tenth() -> None:
    """Light as a share of the lamp on the posts, and visibility indices, against the notes' figures."""
    assert light(observed("high-resistance-feed", T1)) == pytest.approx(0.80, abs=0.05)
    assert light(observed("control-wire-to-ground", T1)) == pytest.approx(0.42, abs=0.05)
    assert light(observed("driver-shorted", T1)) == pytest.approx(0.46, abs=0.05)
    assert light(observed("high-resistance-control-wire", T3)) == pytest.approx(0.71, abs=0.05)
    surge, control = observed("driver-dead", T2), observed("none", T2)
    assert index(surge) == pytest.approx(7.1, rel=0.03)
    assert index(control) == pytest.approx(21.5, rel=0.1)
    assert ratio(observed("lead-or-plug", T2, "plug-lead-open")) == pytest.approx(19, rel=0.15)


def test_high_resistances_still_look_like_control_and_lower_the_current() -> None:
    """2 ohm in the feed and 3 ohm in the control wire: changes beyond the surge's, and 2.5 to 4 A."""
    for fault in ("high-resistance-feed", "high-resistance-control-wire"):
        assert ratio(observed(fault, T2)) > eye.LIKE_FEED
        assert 2.5 < number(observed(fault, CLAMP)) < 4


def test_heavy_lamp_shows_a_weak_feed_that_the_test_lamp_does_not() -> None:
    """Notes: 0.5 ohm 78 %, 1 ohm 56 %, 2 ohm 27 %; lamp 194 at 2 ohm 87 %. Within 0.08: bus loads differ."""
    for ohm, wanted in ((0.5, 0.78), (1.0, 0.56), (2.0, 0.27)):
        made = Mechanism("high-resistance-feed", "made", "", (Change("feed-wire", "set", ohm),))
        heavy = Measurement("heavy-lamp", NEGATIVE, "feed", Engine.KEY_ON)
        assert light(observe(COIL, made, heavy, TYPICAL)) == pytest.approx(wanted, abs=0.08)
    small = Measurement("test-lamp", NEGATIVE, "feed", Engine.KEY_ON)
    assert light(observed("high-resistance-feed", small)) == pytest.approx(0.87, abs=0.08)


def test_common_practice_normal_current_is_six_to_eight_ampere() -> None:
    """Common practice, no source: the primary's peak is about 6 to 8 A."""
    typical = observe(COIL, mechanism_named(COIL, "none"), CLAMP, Systems.typical())
    assert 6 <= number(typical) <= 8


def test_common_practice_a_shorted_primary_pulls_the_node_down_by_a_little_for_1_to_2_ms() -> None:
    """Common practice: the driver limits, the node dips about 1 V for 1 to 2 ms, and the lamp looks steady."""
    found = trace(COIL, as_noted("shorted-primary", "full"), T2, TYPICAL)
    limited = (found.time > 1e-3) & (found.time < 1.4e-3)
    dip = found.feed_v[0] - found.probe_v[limited]
    assert 0.5 < float(dip.mean()) < 2.0
    assert looks(observed("shorted-primary", T2)) == "like"


def test_common_practice_the_starter_swings_and_the_lamp_on_a_sound_feed_wavers() -> None:
    """Common practice: 50 to 70 A swing; the feed wavers visibly and is not control."""
    found = observed("none", T1)
    assert index(found) > eye.STEADY_INDEX
    assert looks(found) == "like"


def test_a_filament_dims_in_a_dwell_and_does_not_go_out() -> None:
    """Model and practice differ here: the lamp dips 10 to 30 % in the dwell and never goes dark."""
    found = trace(COIL, mechanism_named(COIL, "none"), T2, TYPICAL)
    dwell = found.time < 4.1e-3
    dip = 1 - found.light[dwell].min() / found.light[0]
    assert 0.1 < dip < 0.3


def test_a_lamp_on_the_switched_side_takes_secondary_voltage() -> None:
    """Notes: 30 kV without a lamp, 22 kV with 0.27 A, 3 kV with 2.1 A; within 15 %, or 1 kV."""
    rows = rows_of(CIRCUITS[COIL], (mechanism_named(COIL, "lead-or-plug", "plug-lead-open"),), TYPICAL)
    for node, lamp, wanted in (("feed", "194", 30e3), ("switched", "194", 22e3), ("switched", "1156", 3e3)):
        waves = turn(rows, Engine.CRANKING, (), (node, NEGATIVE), lamp_named(lamp))
        assert waves.available_v[0] == pytest.approx(wanted, rel=0.15, abs=1e3)


def test_control_looks_distinct_on_most_random_systems_and_is_hardly_ever_missed() -> None:
    """Notes: distinct 78 %, ambiguous 21 %, missed 2 %; this model's ranges are wider, so 60 to 85 % and below 3 %."""
    systems = Systems.random(300, 3)
    found = observe(COIL, mechanism_named(COIL, "none"), T2, systems).shows(Glow)
    times = found.index / found.feed_index
    assert 0.6 < np.mean(times >= eye.DISTINCT) < 0.85
    assert np.mean(times < eye.LIKE_FEED) < 0.03


def test_a_diode_test_light_says_no_control_on_a_good_driver_and_lights_through_kilohms() -> None:
    """Notes, where the lamp misleads: an LED test light fails in both ways, a filament lamp in neither."""
    led = observed("none", T2, lamp="led")
    assert ratio(led) < eye.LIKE_FEED + 0.1
    corroded = Mechanism("open-feed", "made", "", (Change("feed-wire", "set", 10e3),))
    feed = Measurement("test-lamp", NEGATIVE, "feed", Engine.KEY_ON)
    assert light(observe(COIL, corroded, feed, TYPICAL, "led")) > 0.05
    assert light(observe(COIL, corroded, feed, TYPICAL)) < eye.DARK


def test_a_high_impedance_meter_reads_battery_voltage_through_a_megohm() -> None:
    """Notes: the unloaded meter shows voltage where the lamp is dark."""
    broken = Mechanism("open-feed", "made", "", (Change("feed-wire", "set", 1e6),))
    meter = Measurement("voltmeter", NEGATIVE, "feed", Engine.KEY_ON, ("coil",))
    assert number(observe(COIL, broken, meter, TYPICAL)) > 11


def test_a_lamp_on_a_logic_trigger_kills_the_control_that_a_signal_meter_shows() -> None:
    """Built-in driver: the cold filament pulls 5 V down; the signal meter sees the trigger."""
    circuit = "built-in-driver-coil"
    sound = mechanism_named(circuit, "none")
    lamp = observe(circuit, sound, T2, TYPICAL)
    assert light(lamp) < eye.DARK
    probe = observe(circuit, sound, T2, TYPICAL, "logic-probe")
    assert index(probe) > eye.STEADY_INDEX
    assert number(observe(circuit, sound, CLAMP, TYPICAL)) > 6
    assert number(observe(circuit, mechanism_named(circuit, "control-wire-to-ground"), CLAMP, TYPICAL)) < 0.1


def test_a_ground_switched_load_shows_control_and_its_own_current() -> None:
    """The same method serves an injector: blink beyond the surge, and V over R of current."""
    circuit = "ground-switched-load"
    assert ratio(observe(circuit, mechanism_named(circuit, "none"), T2, TYPICAL)) > eye.DISTINCT
    dead = observe(circuit, mechanism_named(circuit, "driver-dead"), T2, TYPICAL)
    assert ratio(dead) < eye.LIKE_FEED
    assert number(observe(circuit, mechanism_named(circuit, "none"), CLAMP, TYPICAL)) == pytest.approx(
        0.8, abs=0.1
    )


def test_blinks_are_one_in_four_two_or_one_surges() -> None:
    """Coil per plug, waste-spark, distributor on four cylinders: the period holds that many surges."""
    for circuit, surges in (("coil-per-plug", 4), (COIL, 2), ("distributor", 1)):
        found = trace(circuit, mechanism_named(circuit, "none"), T2, TYPICAL)
        assert found.time[-1] == pytest.approx(surges * 0.15, rel=1e-6)


def test_missing_signals_relay_and_security_lamp_are_told_apart() -> None:
    """Mechanisms of one fault differ in what tells them."""
    key_on = Measurement("test-lamp", NEGATIVE, "feed", Engine.KEY_ON)
    dropped = "crank-signal-missing-relay-drops-out"
    assert light(observed("no-inputs", key_on, dropped)) > 0.9
    assert light(observed("no-inputs", T1, dropped)) < eye.DARK
    crank = Measurement("signal-meter", NEGATIVE, "crank-signal", Engine.CRANKING)
    look = Measurement("eyes", None, "security-lamp", Engine.KEY_ON)
    for name, signal, lamp in (
        (dropped, False, False),
        ("immobilizer", True, True),
        ("cam-signal-missing", True, False),
    ):
        assert bool(observed("no-inputs", crank, name).shows(Sign).there[0]) is signal
        assert bool(observed("no-inputs", look, name).shows(Sign).there[0]) is lamp


def test_battery_readings_fall_below_the_floor_only_when_it_is_weak() -> None:
    """9.6 V while cranking parts sound systems from weak batteries; the engine ground from both."""
    systems = Systems.random(200, 5)
    posts = Measurement("voltmeter", NEGATIVE, POSITIVE, Engine.CRANKING)
    block = Measurement("voltmeter", NEGATIVE, "engine-block", Engine.CRANKING)
    circuit = "battery-and-starter"
    sound = observe(circuit, mechanism_named(circuit, "none"), posts, systems).value
    weak = observe(circuit, mechanism_named(circuit, "weak-battery", "worn-out"), posts, systems).value
    ground = observe(
        circuit, mechanism_named(circuit, "weak-battery", "engine-ground-poor"), block, systems
    ).value
    assert sound is not None
    assert weak is not None
    assert ground is not None
    assert sound.min() > 9.6
    assert np.mean(weak < 9.6) > 0.9
    assert ground.min() > 0.2


def test_an_ohmmeter_reads_the_unplugged_coil_and_nothing_of_an_open_one() -> None:
    """Its own terminals: the winding; an open winding is over range."""
    ohm = Measurement("ohmmeter", "feed", "switched", Engine.KEY_OFF, ("coil",))
    assert number(observed("none", ohm)) == pytest.approx(0.5)
    assert np.isinf(number(observed("open-primary", ohm)))


def test_every_measurement_of_the_procedures_is_observable_for_every_mechanism() -> None:
    """No step needs hand-written glue, and shares of answers always sum to 1."""
    faults = set()
    for procedure in ELECTRICAL:
        for step in procedure.steps.values():
            for mechanism in mechanisms(procedure.circuit):
                faults.add(mechanism.fault)
                seen = observe(procedure.circuit, mechanism, step.measure, TYPICAL)
                if step.reading:
                    shares = reading_shares(seen, step.reading)
                else:
                    shares = outcome_shares(seen, [answer.outcome for answer in step.answers], 0.02)
                assert shares.shape == (1, len(step.ways()))
                assert shares.min() >= -1e-9
                assert shares.sum() == pytest.approx(1)
    assert faults == {*LIBRARY.terms.faults, "none"}


def test_every_mechanism_of_every_circuit_is_observable() -> None:
    """All circuits carry all their mechanisms, with the lamp at both ends."""
    for circuit in CIRCUITS:
        for mechanism in mechanisms(circuit):
            for measure in (T1, T2, T3, T5, CLAMP):
                seen = observe(circuit, mechanism, measure, TYPICAL)
                value = seen.value if seen.shown is None else seen.shows(Glow).brightness
                assert value is not None
                assert np.isfinite(value).all()


def test_answers_follow_the_classes_with_honest_ambiguity() -> None:
    """Clear cases get one answer, the ambiguous zone is shared, a surge is mostly called flickering."""
    words = ["blinking", "flickering", "steady", "dim", "dark"]
    one = np.ones(1)
    clear = outcome_shares(Observed(Glow(one, 30 * one, 7 * one)), words)[0]
    between = outcome_shares(Observed(Glow(one, 15 * one, 7 * one)), words)[0]
    surge = outcome_shares(Observed(Glow(one, 7 * one, 7 * one)), words)[0]
    still = outcome_shares(Observed(Glow(one, 0.5 * one, 7 * one)), words)[0]
    assert clear[0] > 0.99
    assert 0.3 < between[0] < 0.7
    assert surge[1] > 0.9
    assert still[2] > 0.99
    assert outcome_shares(Observed(Glow(0.1 * one, 0 * one, 7 * one)), words)[0][3] > 0.99
    assert outcome_shares(Observed(Glow(0 * one, 0 * one, 7 * one)), words)[0][4] > 0.99


def test_misreading_takes_from_every_answer_alike() -> None:
    """A share of mistakes goes to the other answers, and rows still sum to 1."""
    shares = mistaken(np.array([[1.0, 0.0, 0.0]]), 0.1)
    assert shares[0] == pytest.approx([0.9, 0.05, 0.05])
    with pytest.raises(CircuitProblem, match="between 0 and 1"):
        mistaken(shares, 1.5)


def test_a_reading_near_a_limit_falls_to_both_sides() -> None:
    """The meter's error, leads of an ohmmeter included, shares a reading on the limit evenly."""
    target = Target(Leads.STEP, "x")
    bands = (Band("low", target, high=Decimal("0.3")), Band("high", target, low=Decimal("0.3")))
    reading = Reading("ohm", (Decimal(0), Decimal(1000)), bands)
    shares = reading_shares(Observed(value=np.array([0.3, 0.06, 0.8, np.inf])), reading)
    assert shares[:, 0] == pytest.approx([0.5, 0.998, 0.0, 0.0], abs=0.01)
    assert shares.sum(axis=1) == pytest.approx(1)


def test_a_trace_shows_dwell_flyback_and_surge() -> None:
    """Node near ground in the dwell, far above the battery in the flyback, and time that only goes forward."""
    found = trace(COIL, mechanism_named(COIL, "none"), T2, TYPICAL)
    assert (np.diff(found.time) > 0).all()
    assert found.probe_v[(found.time > 1e-4) & (found.time < 3.9e-3)].max() < 2.5
    assert 100 < found.probe_v.max() < 400
    assert found.current_a.max() == pytest.approx(8, abs=0.3)
    assert found.seen.max() > found.feed_seen.max()
    flat = trace(COIL, as_noted("driver-shorted"), T4, TYPICAL)
    assert np.ptp(flat.light) == 0
    assert flat.current_a[0] == pytest.approx(17, abs=1)


WRONG = [
    (Measurement("test-lamp", NEGATIVE, "flux", Engine.CRANKING), "no point 'flux'"),
    (Measurement("test-lamp", "flux", "feed", Engine.CRANKING), "no point 'flux'"),
    (Measurement("test-lamp", "feed", "feed", Engine.CRANKING), "both on 'feed'"),
    (Measurement("test-lamp", NEGATIVE, "crank-signal", Engine.CRANKING), "Use the signal-meter"),
    (
        Measurement("signal-meter", NEGATIVE, "crank-signal", Engine.CRANKING, ("module",)),
        "module is unplugged",
    ),
    (Measurement("current-clamp", None, "feed-wire", Engine.CRANKING, ("coil",)), "coil is unplugged"),
    (Measurement("current-clamp", None, "feed", Engine.CRANKING), "closes around a cable"),
    (Measurement("test-lamp", None, "feed", Engine.CRANKING), "names no clip"),
    (Measurement("test-lamp", NEGATIVE, "feed-wire", Engine.CRANKING), "is a cable"),
    (Measurement("test-lamp", NEGATIVE, "feed", Engine.CRANKING, ("radio",)), "cannot be unplugged"),
    (Measurement("stethoscope", NEGATIVE, "feed", Engine.CRANKING), "no instrument 'stethoscope'"),
    (Measurement("ohmmeter", "feed", "switched", Engine.KEY_ON), "with the key off"),
    (Measurement("eyes", None, "mirror", Engine.KEY_ON), "nothing to look at"),
]


@pytest.mark.parametrize(("measure", "says"), WRONG, ids=[says for _, says in WRONG])
def test_a_measurement_that_the_circuit_cannot_have_is_refused_in_a_sentence(
    measure: Measurement, says: str
) -> None:
    """Each says what is wrong."""
    with pytest.raises(CircuitProblem, match=says):
        observe(COIL, mechanism_named(COIL, "none"), measure, TYPICAL)


def test_unknown_names_and_values_out_of_range_are_refused_in_a_sentence() -> None:
    """Circuit, fault, mechanism, lamp, parameter, number of the system, kind of answer."""
    with pytest.raises(CircuitProblem, match="no circuit 'toaster'"):
        mechanisms("toaster")
    with pytest.raises(CircuitProblem, match="no fault 'gremlins'"):
        mechanisms(COIL, "gremlins")
    with pytest.raises(CircuitProblem, match="no mechanism 'mice'"):
        mechanism_named(COIL, "open-feed", "mice")
    with pytest.raises(CircuitProblem, match="no lamp 'torch'"):
        observed("none", T1, lamp="torch")
    with pytest.raises(CircuitProblem, match="'dwell' is -1"):
        Systems.typical(dwell=-1)
    with pytest.raises(CircuitProblem, match="no parameter 'colour'"):
        Systems.typical(colour=1)
    with pytest.raises(CircuitProblem, match="no system 7"):
        trace(COIL, mechanism_named(COIL, "none"), T1, TYPICAL, 7)
    with pytest.raises(CircuitProblem, match="cannot show 'purple'"):
        outcome_shares(observed("none", T1), ["purple"])
    with pytest.raises(CircuitProblem, match="At least one system"):
        Systems.random(0, 1)
    with pytest.raises(CircuitProblem, match="cannot have the fault 'coil-secondary'"):
        observe("ground-switched-load", mechanism_named(COIL, "coil-secondary"), T1, TYPICAL)


def test_random_systems_are_the_same_for_the_same_seed() -> None:
    """And differ for another."""
    first, again, other = Systems.random(5, 1), Systems.random(5, 1), Systems.random(5, 2)
    assert all((first.values[name] == again.values[name]).all() for name in first.values)
    assert (first.values["dwell"] != other.values["dwell"]).any()


def test_a_running_engine_has_no_surge() -> None:
    """Without the starter the lamp on a sound feed is steady, and control is seen on the switched side."""
    feed = Measurement("test-lamp", NEGATIVE, "feed", Engine.RUNNING)
    switched = Measurement("test-lamp", NEGATIVE, "switched", Engine.RUNNING)
    seen, control = observed("driver-dead", feed), observed("none", switched)
    assert index(seen) < 0.1
    assert index(control) > 1


def test_the_benchmark_counts_every_observation() -> None:
    """One entry for each number of systems; as many observations as mechanisms times steps."""
    found = circuit_time.measure(LIBRARY, (1,))
    wanted = sum(len(mechanisms(p.circuit)) * len(p.steps) for p in ELECTRICAL)
    assert [(entry.systems, entry.observations) for entry in found] == [(1, wanted)]


def test_version_is_twelve_hexadecimal_digits_of_everything_that_matters() -> None:
    """Another parameter makes another fingerprint, the same one the same."""
    assert len(VERSION) == 12
    assert fingerprint(PARAMETERS) == fingerprint(dict(PARAMETERS))
    assert fingerprint(PARAMETERS) != fingerprint(
        {**PARAMETERS, "dwell": replace(PARAMETERS["dwell"], default=1.0)}
    )


def test_traces_of_all_circuits_stay_within_what_the_driver_allows() -> None:
    """The node never exceeds the driver's clamp by more than its resistance makes; a trigger stays below 5 V."""
    for circuit, highest in (("coil-per-plug", 400), ("distributor", 400), ("ground-switched-load", 70)):
        for found in traces(circuit, mechanisms(circuit), T2, TYPICAL):
            assert found.probe_v.max() < highest
            assert found.probe_v.min() > -1.5
            assert found.feed_v.max() < 13
    built_in = trace(
        "built-in-driver-coil", mechanism_named("built-in-driver-coil", "none"), T2, TYPICAL, 0, "logic-probe"
    )
    assert 4 < built_in.probe_v.max() <= 5
    assert built_in.current_a.max() > 6
