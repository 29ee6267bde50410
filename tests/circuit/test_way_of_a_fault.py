"""The verdicts for each way of a fault, one by one: finer than the proof, which knows only the fault.

The circuit model has no bench measurement behind it.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from shipped import shipped_library

from assistant.circuit.answers import answer_shares
from assistant.circuit.catalogue import Change, circuit_named, mechanism_named
from assistant.circuit.instruments.eyes import Sight
from assistant.circuit.observing import check, observe
from assistant.circuit.parameters import Systems
from assistant.circuit.problems import CircuitProblem
from assistant.core.library.procedure import Engine, Leads, Measurement

LIBRARY = shipped_library()
TYPICAL = Systems.typical()
COIL = "coil-with-external-driver"


def verdict_of(
    procedure: str, circuit: str, fault: str, mechanism: str, *, worst: bool = False, commanded: bool = False
) -> str:
    """The verdict, or the next procedure, that the likeliest answers of a typical car lead to.

    How bad the fault is, is drawn for the typical car, too; `worst` makes it as bad as it can be.
    Whether a computer sends the driver a command, the diagram tells: cars of both kinds are `commanded` or not.
    """
    wrong = mechanism_named(circuit, fault, mechanism)
    if worst:
        changes = tuple(
            Change(change.name, "set", change.high) if change.how == "draw" else change
            for change in wrong.changes
        )
        wrong = replace(wrong, changes=changes)
    step = LIBRARY.procedures[procedure].steps[LIBRARY.procedures[procedure].start]
    while True:
        shares = answer_shares(observe(circuit, wrong, step.measure, TYPICAL), step)[0]
        number = int(shares.argmax())
        if step.measure.probe == "driver-command" and not commanded:
            number = [answer.outcome for answer in step.answers].index("absent")
        target = step.choices()[number].target
        if target.leads is not Leads.STEP:
            return target.name
        step = LIBRARY.step(procedure, target.name)


@pytest.mark.parametrize(
    ("mechanism", "verdict"),
    [
        ("relay-does-not-close", "relay-does-not-close"),
        ("relay-coil-not-fed", "relay-coil-not-fed"),
        ("relay-not-controlled", "relay-not-controlled"),
        ("relay-supply-open", "relay-supply-open"),
        ("feed-wire-open", "feed-wire-open"),
        ("feed-wire-shorted", "feed-wire-shorted"),
        ("fuse-blown", "fuse-blown"),
        ("drops-out-while-cranking", "relay-lets-go"),
        ("ignition-switch-drops-out", "ignition-switch-drops-out"),
        ("control-drops-out", "relay-control-lets-go"),
    ],
)
def test_each_way_in_which_a_feed_is_dead_is_named(mechanism: str, verdict: str) -> None:
    """Relay, its winding's supply, its control, the ignition switch, fuse and wire are told apart."""
    assert verdict == verdict_of("feed-dead", COIL, "open-feed", mechanism, worst=True)


def test_a_wire_that_still_carries_something_is_no_dead_feed() -> None:
    """Some hundred ohms light no lamp and show a meter most of the voltage: that goes on as a weak feed."""
    assert mechanism_named(COIL, "open-feed", "feed-wire-open").changes[0].how == "draw"
    assert verdict_of("feed-dead", COIL, "open-feed", "feed-wire-open") == "feed-weak"


def test_a_relay_that_drops_out_for_want_of_a_crank_signal_is_not_condemned() -> None:
    """The control computer lets the relay go when it sees no crank signal: the signal is named, not the relay."""
    assert "crank-signal-missing" == verdict_of(
        "feed-dead", COIL, "no-inputs", "crank-signal-missing-relay-drops-out"
    )


@pytest.mark.parametrize(
    ("fault", "mechanism", "verdict"),
    [
        ("no-inputs", "crank-signal-missing", "input-missing"),
        ("no-inputs", "sensor-not-supplied", "sensor-not-supplied"),
        ("no-inputs", "cam-signal-missing", "input-missing"),
        ("no-inputs", "immobilizer", "immobilizer-active"),
        ("no-driver-supply", "open", "driver-supply-poor"),
        ("no-driver-supply", "high-resistance", "driver-supply-poor"),
        ("driver-dead", "never-switches", "driver-does-not-switch"),
    ],
)
def test_a_driver_that_does_not_switch_is_the_last_to_be_named(
    fault: str, mechanism: str, verdict: str
) -> None:
    """Immobilizer, supply, signal and the sensor's own supply each have their word before the driver has."""
    assert verdict == verdict_of("driver-supply-and-inputs", COIL, fault, mechanism)


@pytest.mark.parametrize(
    ("fault", "mechanism", "verdict"),
    [
        ("no-inputs", "command-missing", "command-missing"),
        ("no-inputs", "cam-signal-missing", "command-missing"),
        ("driver-dead", "never-switches", "driver-does-not-switch"),
    ],
)
def test_an_igniter_without_its_command_is_not_condemned(fault: str, mechanism: str, verdict: str) -> None:
    """When a computer commands the driver, its command is asked for, and a missing one names no part."""
    assert verdict == verdict_of("driver-supply-and-inputs", COIL, fault, mechanism, commanded=True)
    named = LIBRARY.procedures["driver-supply-and-inputs"].verdicts[verdict].part
    assert bool(named) is (fault == "driver-dead")


@pytest.mark.parametrize(
    ("mechanism", "verdict"),
    [
        ("worn-out", "battery-weak"),
        ("starter-drags", "starter-drags"),
        ("starter-cable-poor", "starter-cable-poor"),
        ("engine-ground-poor", "engine-ground-poor"),
    ],
)
def test_battery_starter_and_cables_are_told_apart(mechanism: str, verdict: str) -> None:
    """Low voltage at a usual current is the battery, at a high one the starter; a drop is named by its side."""
    assert verdict == verdict_of("battery-and-cranking", "battery-and-starter", "weak-battery", mechanism)


@pytest.mark.parametrize(
    ("measure", "says"),
    [
        (Measurement("test-lamp", "battery-negative", "sensor-supply", Engine.KEY_ON), "would load it"),
        (Measurement("voltmeter", "battery-negative", "starter-cable", Engine.CRANKING), "is a cable"),
    ],
)
def test_what_would_load_a_sensor_or_measures_nothing_is_refused(measure: Measurement, says: str) -> None:
    """The model refuses a lamp on a sensor's supply, and a meter's tip on a cable's outside."""
    with pytest.raises(CircuitProblem, match=says):
        check(circuit_named(COIL), measure)


def test_what_is_seen_in_the_live_data_is_the_crank_signal() -> None:
    """Engine speed is there while cranking with a crank signal, and never with the key on only."""
    speed = Measurement("eyes", None, "engine-speed", Engine.CRANKING)
    still = Measurement("eyes", None, "engine-speed", Engine.KEY_ON)
    sound = mechanism_named(COIL, "none")
    missing = mechanism_named(COIL, "no-inputs", "crank-signal-missing")
    seen = [
        observe(COIL, wrong, look, TYPICAL).shows(Sight)
        for wrong, look in ((sound, speed), (missing, speed), (sound, still))
    ]
    assert [True, False, False] == [bool(shown.there[0]) for shown in seen]


def test_the_starters_drop_is_ohms_law() -> None:
    """1.2 milliohm of cable at 160 A drop 0.19 V between post and starter; the clamp around it reads the 160 A."""
    battery = "battery-and-starter"
    sound = mechanism_named(battery, "none")
    drop = observe(
        battery,
        sound,
        Measurement("voltmeter", "starter-terminal", "battery-positive", Engine.CRANKING),
        TYPICAL,
    ).value
    ampere = observe(
        battery, sound, Measurement("current-clamp", None, "starter-cable", Engine.CRANKING), TYPICAL
    ).value
    assert drop is not None
    assert ampere is not None
    assert 160 == pytest.approx(float(ampere[0]))
    assert 1.2e-3 * 160 == pytest.approx(float(drop[0]), rel=0.02)
