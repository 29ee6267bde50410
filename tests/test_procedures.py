"""The shipped procedures as a whole: every way through them, against the rules of the trade.

The rules are common practice, no source, as far as no source is named.
"""

from __future__ import annotations

import itertools

import pytest

from assistant import resources
from assistant.core import wording
from assistant.core.loading import load_library
from assistant.core.procedure import Answer, Engine, Leads, Procedure, Step, Target, Verdict
from assistant.linting import paths

LIBRARY = load_library(resources.directory("procedures"))
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
    """Whatever is answered or skipped, a procedure comes to a verdict or hands over within two dozen tests.

    Two witnesses for each part make the longest ways longer; the usual way has about half of it.
    """
    assert max(len(way) for way, _ in ways(procedure)) <= 24


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_a_dead_driver_is_condemned_only_when_nothing_else_can_be(procedure: Procedure) -> None:
    """No driver for not switching, unless all that it needs was there and a light in the coil's place stayed dark.

    The light does not depend on the coil, which a shorted primary would; its ohms are measured before a new driver.
    """
    for way, verdict in verdicts(procedure):
        if "driver-dead" not in verdict.faults or not verdict.part:
            continue
        seen = {(step.measure.probe, step.measure.instrument): answer for step, answer in way if answer}
        assert seen["driver-supply", "heavy-lamp"].outcome == "lit", told(way)
        assert seen["driver-ground", "ground-drop-meter"].outcome == "within", told(way)
        assert seen["switched", "led-light"].outcome == "dark", told(way)
        names = {step.name: answer.outcome for step, answer in way if answer}
        assert names["leak-ohms"] == names["live-volts"] == "free", told(way)
        assert "primary-resistance" in names, told(way)


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
    """Between two tests, every part that the first had unplugged and the second needs is asked for."""
    for way, _ in ways(procedure):
        for (before, _), (after, _) in itertools.pairwise(way):
            back = set(before.measure.unplugged) - set(after.measure.unplugged)
            text = " ".join(wording.instruction(LIBRARY, after, before.measure))
            for part in back:
                assert f"{LIBRARY.terms.places[part].spoken}" in text, told(way)
            assert bool(back) == ("in again." in text), text


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.name)
def test_a_lamp_never_goes_to_an_unplugged_coil(procedure: Procedure) -> None:
    """With the coil unplugged a lamp goes into its plug, an ohmmeter onto the coil itself."""
    for step in procedure.steps.values():
        if "coil" not in step.measure.unplugged:
            continue
        text = " ".join(wording.setup(LIBRARY, step))
        assert "side of the coil" not in text
        if step.measure.instrument == "ohmmeter":
            assert "Leads together" in text
            if not {step.measure.clip, step.measure.probe} & {"feed", "switched", "trigger"}:
                continue  # at the module's end of a wire, or at a terminal that stays where it is
            own = {step.measure.clip, step.measure.probe} == {"feed", "switched"}
            assert ("coil's own" if own else "coil's plug") in text.lower()


def test_nobody_is_told_to_crank_with_a_meter_on_the_primary() -> None:
    """Resistance is measured with the key off; at the coil's terminals or a part's, with it unplugged."""
    for procedure in PROCEDURES:
        for step in procedure.steps.values():
            if step.measure.instrument == "ohmmeter":
                assert step.measure.engine is Engine.KEY_OFF
                grounds = {"driver-ground", "coil-ground", "battery-negative", "fuse-load"}
                if not {step.measure.clip, step.measure.probe} <= grounds:
                    assert {"coil", "load"} & set(step.measure.unplugged), step.name


def test_every_cranking_step_warns_of_high_voltage() -> None:
    """With the coil plugged in, a working driver makes tens of kilovolts while cranking."""
    for procedure in PROCEDURES:
        for step in procedure.steps.values():
            if step.measure.engine is Engine.CRANKING and "coil" not in step.measure.unplugged:
                assert "secondary" in step.cautions
