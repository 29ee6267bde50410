"""The shipped procedures as a whole: every way through them, against the rules of the trade.

The rules are common practice, no source, as far as no source is named.
"""

from __future__ import annotations

import pytest
from shipped import shipped_library

from assistant.core.library.procedure import Answer, Engine, Leads, Procedure, Step, Target, Verdict
from assistant.core.library.vocabulary import SENSES
from assistant.core.words import instructing
from assistant.linting import paths

LIBRARY = shipped_library()
PROCEDURES = sorted(LIBRARY.procedures.values(), key=lambda procedure: procedure.name)
Way = tuple[tuple[Step, Answer | None], ...]


def ways(procedure: Procedure) -> list[tuple[Way, Target]]:
    return list(paths(procedure))


def verdicts(procedure: Procedure) -> list[tuple[Way, Verdict]]:
    return [(way, procedure.verdicts[to.name]) for way, to in paths(procedure) if to.leads is Leads.VERDICT]


def told(way: Way) -> str:
    return ", ".join(f"{step.name}: {answer.outcome if answer else 'skipped'}" for step, answer in way)


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_every_way_ends(procedure: Procedure) -> None:
    """With anything answered or skipped, a procedure comes to a verdict or hands over within two dozen tests.

    Two witnesses for each part make the longest ways longer; the usual way has about half of it.
    """
    assert max(len(way) for way, _ in ways(procedure)) <= 24


def seen_on(way: Way) -> dict[tuple[str, str | None, str], str]:
    """The answers of a way, by instrument, clip and probe; of two with the same three the later one."""
    return {
        (step.measure.instrument, step.measure.clip, step.measure.probe): answer.outcome
        for step, answer in way
        if answer
    }


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_a_dead_driver_is_condemned_only_when_nothing_else_can_be(procedure: Procedure) -> None:
    """No driver for not switching, unless all that it needs was measured, and nothing else keeps the light dark.

    Feed, battery, supply and ground under load, its ground while cranking, an input or its command, a wire that
    neither leaks nor touches anything, the light dark at both ends, the wire's ohms, and the primary's ohms: a
    shorted primary makes the driver limit its current, and kills the next one.
    """
    for way, verdict in verdicts(procedure):
        if "driver-dead" not in verdict.faults or not verdict.part:
            continue
        seen = seen_on(way)
        negative = "battery-negative"
        assert seen["voltmeter", negative, "battery-positive"] == "holds", told(way)
        both = seen[("test-lamp", negative, "switched")]  # feed and switched side, in one crank
        assert both in ("same", "sharper", "switched-dark"), told(way)
        assert seen["heavy-lamp", negative, "driver-supply"] == "lit", told(way)
        assert seen["ground-drop-meter", negative, "driver-ground"] == "within", told(way)
        assert seen["voltmeter", negative, "driver-ground"] == "within", told(way)
        signals = [seen.get(("signal-meter", negative, name)) for name in ("command", "crank-signal")]
        assert "present" in signals, told(way)
        assert "missing" not in (*signals, seen.get(("signal-meter", negative, "cam-signal"))), told(way)
        assert seen["ohmmeter", negative, "switched"] == "free", told(way)
        assert seen["voltmeter", negative, "switched"] == "free", told(way)
        assert seen["led-light", "feed", "driver-end"] in ("dark", "steady"), told(way)
        assert seen["led-light", "feed", "switched"] == "dark", told(way)
        assert seen["ohmmeter", "switched", "driver-end"] == "sound", told(way)
        assert seen["ohmmeter", "feed", "switched"] in ("usual", "bridged"), told(way)
        assert seen.get(("current-clamp", None, "feed-wire"), "none") == "none", told(way)


LIGHT = ("led-in-coils-place", "led-at-module")
"""Tests with the light that shows whether the driver switches."""


def test_a_coil_is_condemned_only_when_a_sound_one_sparks_in_its_place() -> None:
    """A new coil does not bring back what a leak, a weak feed or a lifted ground takes from the spark.

    The only other ground for a coil is an open primary, read twice with the leads changed over.  Of a primary that
    reads low the old coil is not refitted, and a sound coil's spark shows that the way of the current carries.
    """
    procedure = LIBRARY.procedures["coil-and-driver"]
    found = set()
    for way, verdict in verdicts(procedure):
        if "ignition coil" not in verdict.part:
            continue
        found.add(verdict.name)
        steps = [(step.name, answer.outcome) for step, answer in way if answer]
        seen = dict(steps)
        if verdict.name == "primary-open":
            assert steps[-2:] == [("primary-ohms", "open"), ("primary-ohms-again", "open")], told(way)
            continue
        assert "blinking" in [seen.get(name) for name in LIGHT], told(way)
        if seen["primary-ohms"] == "bridged" and "sound-coil" not in seen:
            assert steps[-1] == ("sound-coil-while-low", "strong-spark"), told(way)
            assert seen.get("leak-ohms-again", seen.get("leak-while-low", "free")) == "free", told(way)
            assert seen["towers-while-low"] != "strong-spark", told(way)
            continue
        assert steps[-2][0] == "sound-coil", told(way)
        assert steps[-2][1] == "strong-spark", told(way)
        assert steps[-1][1] in ("weak-spark", "no-spark"), told(way)
        assert seen["primary-ohms"] == "bridged" or "continuous" in (
            seen["primary-ohms"],
            seen.get("primary-ohms-again"),
        ), told(way)
        leaks = ("leak-ohms-again", "leak-ohms", "leak-while-low")
        assert next(seen[name] for name in leaks if name in seen) == "free", told(way)
        assert "free" in (seen.get("live-end"), seen.get("live-volts"), seen.get("live-while-low")), told(way)
        assert seen["battery-while-cranking"] == "holds", told(way)
        assert seen["feed-drop"] == "within" or seen["ballast"] == "found", told(way)
        assert seen["ground-drop"] == seen["ground-while-cranking"] == "within", told(way)
        assert (seen["wire-drop"], seen["control-drop"]) == ("sound", "within"), told(way)
        assert "strong-spark" not in (seen.get("towers"), seen.get("towers-while-low")), told(way)
    assert found == {"primary-open", "coil-bad"}


NOT_BY_ONE_LOOK = ("coil-control", "coil-and-driver", "feed-weak", "feed-dead", "driver-supply-and-inputs")
"""Procedures of a coil with an external driver."""


def pins_of(step: Step) -> set[str | None]:
    """Return what a test touches besides the battery; the two ends of the control wire are one thing."""
    touched = {step.measure.clip, step.measure.probe} - {"battery-negative", "battery-positive"}
    return {"switched" if pin == "driver-end" else pin for pin in touched}


SEEN_BEFORE_AND_BEHIND = (("feed-dead", "relay-lets-go"),)
"""Verdicts whose second witness is at another pin: the feed behind the contact went dark by lamp and meter, and
supply and control of the relay's winding light."""


@pytest.mark.parametrize("name", NOT_BY_ONE_LOOK)
def test_no_part_is_named_on_one_dark_lamp_or_one_open_reading(name: str) -> None:
    """A missed pin looks the same: before a part is named, a second test of the same thing agrees.

    Of the tests on the way that came out otherwise than on a sound car, the last one has another one before it that
    touches the same pin, or the other end of the same wire.
    """
    for way, verdict in verdicts(LIBRARY.procedures[name]):
        if not verdict.part or (name, verdict.name) in SEEN_BEFORE_AND_BEHIND:
            continue
        bad = [step for step, given in way if given and given.outcome != step.good and pins_of(step)]
        assert any(pins_of(bad[-1]) & pins_of(step) for step in bad[:-1]), f"{verdict.name} after {told(way)}"


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_a_shorted_driver_is_condemned_only_after_the_primary_was_measured(procedure: Procedure) -> None:
    """A shorted coil kills the next driver: its resistance is measured before a new one is named."""
    for way, verdict in verdicts(procedure):
        if "driver-shorted" in verdict.faults and "driver" in verdict.part:
            assert any(step.measure.instrument == "ohmmeter" for step, answer in way if answer), told(way)


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_what_a_verdict_does_not_tell_apart_is_said(procedure: Procedure) -> None:
    """A verdict that covers several faults of different parts condemns none, or says what remains possible."""
    for verdict in procedure.verdicts.values():
        parts = {LIBRARY.terms.faults[fault].part for fault in verdict.faults}
        if len(parts) > 1:
            assert not verdict.part or verdict.still_possible or " and " in verdict.part, verdict.name


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_what_was_unplugged_is_plugged_in_again(procedure: Procedure) -> None:
    """Between two tests, every part that was unplugged and that the next one needs is asked for.

    A question between them, with nobody cranking, leaves what is connected as it is: then the test after it asks.
    """
    for way, _ in ways(procedure):
        connected = None
        for step, _ in way:
            measure = step.measure
            back = set(connected.unplugged if connected else ()) - set(measure.unplugged)
            if measure.instrument in SENSES and measure.engine in (Engine.KEY_OFF, Engine.KEY_ON):
                back = set()
            said = [
                one
                for one in instructing.setup(LIBRARY, step, connected)
                if one.startswith("Plug ") and one.endswith(" back in.")
            ]
            assert len(said) == bool(back), f"{said} in {told(way)}"
            for part in back:
                assert LIBRARY.terms.places[part].spoken in said[0], told(way)
            connected = instructing.connected_after(connected, measure)


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_a_lamp_never_goes_to_an_unplugged_coil(procedure: Procedure) -> None:
    """With the coil unplugged a lamp goes into its connector, an ohmmeter there or onto the coil itself."""
    for step in procedure.steps.values():
        if "coil" not in step.measure.unplugged:
            continue
        text = " ".join(instructing.setup(LIBRARY, step))
        assert "side of the coil" not in text
        if step.measure.instrument == "ohmmeter":
            if not {step.measure.clip, step.measure.probe} & {"feed", "switched", "trigger"}:
                continue  # at the module's end of a wire, or at a terminal that stays where it is
            own = {step.measure.clip, step.measure.probe} == {"feed", "switched"}
            there = ("coil's own",) if own else ("coil connector", "connector's")
            assert any(words in text for words in there), text
        elif {step.measure.clip, step.measure.probe} & {"feed", "switched", "trigger"}:
            assert "connector" in text, text


def test_nobody_is_told_to_crank_with_a_meter_on_the_primary() -> None:
    """Resistance is measured with the key off, and with the coil unplugged unless both leads are on grounds."""
    for procedure in PROCEDURES:
        for step in procedure.steps.values():
            if step.measure.instrument == "ohmmeter":
                assert step.measure.engine is Engine.KEY_OFF
                if {step.measure.clip, step.measure.probe} == {"sensor-pin", "sensor-other-pin"}:
                    assert "crank-sensor" in step.measure.unplugged, step.name
                    continue
                grounds = {"driver-ground", "coil-ground", "battery-negative", "fuse-load"}
                if not {step.measure.clip, step.measure.probe} <= grounds:
                    assert {"coil", "load"} & set(step.measure.unplugged), step.name


def test_every_cranking_step_warns_of_high_voltage() -> None:
    """With the coil plugged in, a working driver makes tens of kilovolts while cranking."""
    for procedure in PROCEDURES:
        for step in procedure.steps.values():
            if step.measure.engine is Engine.CRANKING and "coil" not in step.measure.unplugged:
                assert "secondary" in step.cautions
