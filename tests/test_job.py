"""The job around the measurements: the entry, the safe start, the kind of ignition, the feed, what comes after.

Every way through the procedures that ask is walked, and held against what a technician would not forgive.
The rules are common practice, no source, as far as no source is named.
"""

from __future__ import annotations

import pytest
from shipped import shipped_folder

from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Answer, Engine, Leads, Step, Target
from assistant.core.library.terms import Hazard, SignalWord
from assistant.core.library.vocabulary import NO_CIRCUIT, SENSES
from assistant.core.values.entries import CautionGiven
from assistant.core.values.events import Began, Say, ToldToday, TypedFact
from assistant.core.values.result import Control
from assistant.core.words import instructing, placing, remarking
from assistant.linting import paths
from assistant.proof.walk import followed
from assistant.rehearsal.dialogue import Dialogue

LIBRARY, KNOWLEDGE = shipped_folder()
ASKING = ("no-start", "safe-start", "first-look", "ignition-kind", "after-repair")
"""Procedures about nothing electrical."""

LONGEST_CAUTIONS_S = 20.0
"""All cautions before the first cranking; chosen: what is longer is not listened to."""
WORDS_A_MINUTE = 150.0
"""An ordinary pace of speech, from memory."""

Way = tuple[tuple[Step, Answer | None], ...]


def ways(name: str) -> list[tuple[Way, Target]]:
    """Every way through a procedure."""
    return list(paths(LIBRARY.procedures[name]))


def answers(way: Way) -> list[str]:
    """The answers on a way."""
    return [answer.outcome for _, answer in way if answer]


def test_every_procedure_is_reached_from_the_entry() -> None:
    """A session that begins with no-start can come to every procedure that there is."""
    assert set(LIBRARY.procedures) == set(followed(LIBRARY, "no-start"))


@pytest.mark.parametrize("name", ASKING)
def test_every_way_ends_in_a_procedure_or_a_plain_word(name: str) -> None:
    """Nothing runs out: each way hands over, or ends in a verdict that says what to do next."""
    for way, target in ways(name):
        assert target.leads is not Leads.STEP
        if target.leads is Leads.VERDICT:
            verdict = LIBRARY.procedures[name].verdicts[target.name]
            assert verdict.says, answers(way)
            assert verdict.repair, answers(way)
            assert not verdict.part, answers(way)


def test_the_entry_asks_little() -> None:
    """One question of no-start and at most eight of the first look come before the first crank; none needs a tool."""
    assert [len(way) for way, _ in ways("no-start")] == [1, 1, 1]
    for way, _ in ways("first-look"):
        cranks = [step.measure.engine is Engine.CRANKING for step, _ in way]
        assert (cranks.index(True) if True in cranks else len(way)) <= 8, answers(way)
        assert all(step.measure.instrument in SENSES for step, _ in way)


def test_what_stops_the_first_look_names_its_next_check() -> None:
    """A dark check engine light, a security light and the like lead on, and say the one check that comes first."""
    verdicts = LIBRARY.procedures["first-look"].verdicts
    for name in (
        "computer-unpowered",
        "immobilizer-first",
        "runs-now",
        "compression-first",
        "does-not-crank",
    ):
        assert verdicts[name].next_check is not None, name
    assert "driver-supply-and-inputs" == verdicts["computer-unpowered"].continue_with
    assert "crank-sensor" == verdicts["engine-speed-missing"].continue_with


def test_every_look_before_the_first_crank_can_be_left_out() -> None:
    """Nobody is held up by a scan tool that is not there: only what it does now and how it cranks must be known."""
    steps = LIBRARY.procedures["first-look"].steps.values()
    assert {"right-now", "crank-speed", "spark-so-far"} == {
        one.name for one in steps if one.if_skipped is None
    }


@pytest.mark.parametrize("stops", ["hybrid", "capacitive", "power-side", "contact-points"])
def test_what_these_tests_do_not_fit_stops_on_every_way(stops: str) -> None:
    """A hybrid, a capacitive discharge and the like end the job, with nothing to go on with and nothing condemned."""
    found = 0
    for name in ASKING:
        for way, target in ways(name):
            if stops in answers(way):
                found += 1
                assert target.leads is Leads.VERDICT
                verdict = LIBRARY.procedures[name].verdicts[target.name]
                assert verdict.continue_with is None
                assert not verdict.faults
                assert answers(way)[-1] == stops
    assert found


def test_an_ignition_box_or_contact_points_stop_also_without_a_diagram() -> None:
    """A technician without a diagram is asked for a box and for contact points before a lamp goes on a coil with
    two wires.
    """
    for way, target in ways("ignition-kind"):
        if "unknown" in answers(way)[:1] and target == Target(Leads.PROCEDURE, "coil-control"):
            assert ["absent", "absent"] == answers(way)[-2:]
        if "found" in answers(way):
            assert target.leads is Leads.VERDICT


def test_no_lamp_goes_on_a_coil_that_may_have_its_driver_inside() -> None:
    """The control test follows only a separate driver by the diagram, or two wires; several wires never do."""
    for way, target in ways("ignition-kind"):
        if target == Target(Leads.PROCEDURE, "coil-control"):
            assert {"separate", "two-wires"} & set(answers(way))
            assert not {"built-in", "three-wires", "four-wires"} & set(answers(way))


def test_nothing_of_the_safe_start_is_skipped() -> None:
    """Each question of safe-start is answered; only good answers lead on, by a helper or by a remote switch."""
    procedure = LIBRARY.procedures["safe-start"]
    assert all(step.if_skipped is None for step in procedure.steps.values())
    through = [way for way, target in ways("safe-start") if target.leads is Leads.PROCEDURE]
    helper, remote = through
    assert [step.good for step, _ in helper] == answers(helper)
    assert [*answers(helper)[:-1], "remote-switch", "done"] == answers(remote)


def test_a_remote_switch_has_its_own_caution_and_a_helper_does_not_hear_it() -> None:
    """That a remote switch cranks in any gear is said to whoever uses one, before it is confirmed."""
    steps = LIBRARY.procedures["safe-start"].steps
    assert ["remote-clear"] == [name for name, step in steps.items() if "remote-starter" in step.cautions]


def test_a_no_at_the_safe_start_says_what_to_do_and_begins_again() -> None:
    """After what is missing was put right, all is asked again; only a hybrid ends the job."""
    for way, target in ways("safe-start"):
        if target.leads is Leads.VERDICT:
            verdict = LIBRARY.procedures["safe-start"].verdicts[target.name]
            assert verdict.continue_with == (None if "hybrid" in answers(way) else "safe-start")


def test_an_engine_that_cranks_slowly_is_led_to_the_battery() -> None:
    """What is known to crank slowly, and what is heard to, is measured at the battery; who does not know listens."""
    for name in ("crank-speed", "crank-and-listen"):
        answer = LIBRARY.step("first-look", name).answer("slow")
        assert answer is not None
        assert Target(Leads.PROCEDURE, "battery-and-cranking") == answer.target
    unknown = LIBRARY.step("first-look", "crank-speed").answer("unknown")
    assert unknown is not None
    assert Target(Leads.STEP, "crank-and-listen") == unknown.target


# --- what is spoken -------------------------------------------------------------------------------


def cautions_before_cranking(talk: Dialogue) -> list[str]:
    """The cautions that were spoken so far, with the words that ask for an acknowledgement."""
    return [
        action.text
        for actions in talk.actions
        for action in actions
        if isinstance(action, Say) and action.kind == "caution"
    ]


def seconds(texts: list[str]) -> float:
    """How long these texts take to say."""
    return sum(len(text.split()) for text in texts) / WORDS_A_MINUTE * 60


def test_the_cautions_before_the_first_cranking_are_short() -> None:
    """Started alone, the control test cranks after 20 s of cautions at most, and none is left out.

    What concerns the lamp and the wires that are probed with it is said before the first step with the lamp.
    """
    talk = Dialogue(LIBRARY, knowledge=KNOWLEDGE)
    talk.begin("coil-control")
    talk.ready()
    assert State.ASKING is talk.runner.state
    spoken = cautions_before_cranking(talk)
    assert seconds(spoken) <= LONGEST_CAUTIONS_S
    for hazard in (
        "orange",
        "pacemaker",
        "can kill",
        "will turn",
        "fans",
        "vapor",
        "short it",
    ):
        assert hazard in " ".join(spoken).lower()
    assert "airbag" not in " ".join(spoken)
    for _ in range(20):
        if talk.runner.talk.step.measure.instrument == "test-lamp":
            break
        good = talk.runner.talk.step.good
        talk.hear(value="11.2") if talk.runner.talk.step.reading else talk.hear(good)
        talk.hear(control=Control.AFFIRM)
        talk.ready()
    assert "airbag" in " ".join(cautions_before_cranking(talk))


@pytest.mark.parametrize("name", sorted(LIBRARY.procedures))
def test_the_short_forms_before_a_step_take_some_four_seconds(name: str) -> None:
    """All short forms that are spoken together before any step are ten words at most, DANGER included."""
    procedure = LIBRARY.procedures[name]
    for step in procedure.steps.values():
        due = [LIBRARY.cautions[one] for one in step.cautions]
        text = remarking.short_forms([one for one in due if remarking.never_skipped(one)])
        assert len(text.split()) <= 10, f"{step.name}: {text}"


def test_who_signs_in_again_cranks_after_a_few_words() -> None:
    """Before the first crank of the control test a known technician hears thirty words at most, twelve seconds."""
    first = Dialogue(LIBRARY, knowledge=KNOWLEDGE)
    first.begin("coil-control", (TypedFact("technician", "JD"),))
    first.ready()
    entries = [one for one in first.entries if isinstance(one, CautionGiven)]
    names = tuple(one.caution for one in entries)
    talk = Dialogue(LIBRARY, knowledge=KNOWLEDGE)
    told = ToldToday("JD", names, names, cranking=True)
    talk.send(Began(0.0, "coil-control", (TypedFact("technician", "JD"),), (told,)))
    talk.listen()
    assert State.ASKING is talk.runner.state
    assert sum(len(text.split()) for text in talk.said) <= 30


def test_every_caution_has_a_signal_word_and_a_source() -> None:
    """ANSI Z535.4: what will kill is DANGER, what could WARNING or CAUTION; what only harms a part is a NOTICE."""
    for caution in LIBRARY.cautions.values():
        assert caution.source
        if Hazard.SECONDARY_VOLTAGE in caution.covers:
            assert SignalWord.DANGER is caution.signal
        if caution.signal is SignalWord.NOTICE:
            assert not caution.covers


def test_a_caution_that_nobody_gives_is_none() -> None:
    """Every caution is given by a procedure or a step."""
    given = {
        name
        for procedure in LIBRARY.procedures.values()
        for name in (*procedure.cautions, *(n for step in procedure.steps.values() for n in step.cautions))
    }
    assert set(LIBRARY.cautions) == given


def test_a_question_with_the_key_off_says_nothing_of_the_key() -> None:
    """A deed that is confirmed needs no key; where it is looked at with the key on, that is said."""
    parking = LIBRARY.step("safe-start", "parking")
    assert "Key off." not in instructing.instruction(LIBRARY, parking)
    assert "Key on. Don't crank." in instructing.instruction(
        LIBRARY, LIBRARY.step("first-look", "security-lamp")
    )


def test_what_was_confirmed_or_told_is_reported_as_such() -> None:
    """A deed is reported as checked, hearsay as told, so that nobody takes it for a measurement."""
    checked = placing.connection(LIBRARY.terms, LIBRARY.step("safe-start", "parking").measure)
    assert "checked: park or neutral, brake and chocks" == checked
    told = placing.connection(LIBRARY.terms, LIBRARY.step("first-look", "crank-speed").measure)
    assert told.startswith("as told: ")


def test_procedures_about_nothing_electrical_touch_the_circuit_only_with_a_meter_at_the_battery() -> None:
    """A procedure that the circuit model does not prove connects no lamp, and no meter but at the battery's posts."""
    for name in ASKING:
        procedure = LIBRARY.procedures[name]
        assert NO_CIRCUIT == procedure.circuit
        for step in procedure.steps.values():
            if step.measure.instrument not in SENSES:
                assert {"battery-negative", "battery-positive"} == {step.measure.clip, step.measure.probe}


# --- what is condemned, and what comes after ------------------------------------------------------


def test_a_relay_is_condemned_only_with_its_supply_and_its_control_good() -> None:
    """No relay before its winding was seen to be supplied, and its control to pull, in the same state of the key.

    And none by one dark lamp alone: a meter reads no voltage at what the relay should feed.
    """
    found = set()
    for way, target in ways("feed-dead"):
        verdict = LIBRARY.procedures["feed-dead"].verdicts.get(target.name)
        if target.leads is not Leads.VERDICT or verdict is None or "relay" not in verdict.part.split():
            continue
        if verdict.part == "supply wire of the ignition relay":
            continue
        found.add(verdict.name)
        last = way[-1][0].measure.engine
        seen = {
            (step.measure.instrument, step.measure.probe, step.measure.engine): answer.outcome
            for step, answer in way
            if answer
        }
        assert seen["test-lamp", "relay-coil-supply", last] == "lit"
        assert seen["test-lamp", "relay-control", last] == "lit"
        assert seen["voltmeter", "fuse-supply", last] == "none"
    assert found == {"relay-does-not-close", "relay-lets-go"}


def test_a_driver_is_condemned_only_with_supply_and_ground_under_load() -> None:
    """A meter reads full voltage through a wire that carries nothing: both are loaded with the heavy lamp before.

    Its wire is free, the light in the coil's place stays dark, and the primary was measured.
    """
    found = 0
    for way, target in ways("driver-supply-and-inputs"):
        verdict = LIBRARY.procedures["driver-supply-and-inputs"].verdicts.get(target.name)
        if target.leads is Leads.VERDICT and verdict and verdict.part == "driver module":
            found += 1
            loaded = {
                step.measure.probe: answer.outcome
                for step, answer in way
                if answer and step.measure.instrument in ("heavy-lamp", "ground-drop-meter")
            }
            assert {"driver-supply": "lit", "driver-ground": "within"} == loaded
            seen = {step.name: answer.outcome for step, answer in way if answer}
            assert {
                "leak-ohms": "free",
                "live-volts": "free",
                "led-in-coils-place": "dark",
            }.items() <= seen.items()
            assert seen["primary-resistance"] != "open"
    assert found


def test_a_coil_is_condemned_only_by_two_readings_or_by_a_sound_one_in_its_place() -> None:
    """Open twice in ohms; or no leak by a meter, the way of the current carries, and a sound coil sparks there.

    Of a primary that reads low the sound coil's spark itself shows that the way of the current carries.
    """
    found = set()
    for way, target in ways("coil-and-driver"):
        verdict = LIBRARY.procedures["coil-and-driver"].verdicts.get(target.name)
        if target.leads is not Leads.VERDICT or verdict is None or verdict.part != "ignition coil":
            continue
        found.add(verdict.name)
        seen = {step.name: answer.outcome for step, answer in way if answer}
        if verdict.name == "primary-open":
            light = {"led-in-coils-place": "blinking"}
            assert {**light, "primary-ohms": "open", "primary-ohms-again": "open"} == seen
            continue
        if "sound-coil-while-low" in seen and "sound-coil" not in seen:  # the primary reads low
            assert seen["primary-ohms"] == "bridged"
            assert seen["sound-coil-while-low"] == "strong-spark"
            assert seen["towers-while-low"] in ("no-spark", "weak-spark", "one-tower")
            assert "free" in (seen.get("leak-while-low"), seen.get("leak-ohms-again"))
            continue
        measured = {
            "wire-drop": "sound",
            "control-drop": "within",
            "ground-drop": "within",
            "sound-coil": "strong-spark",
        }
        assert measured.items() <= seen.items()
        assert seen["old-coil"] in ("no-spark", "weak-spark")
        assert "free" in {seen.get(name) for name in ("leak-ohms", "leak-ohms-again", "leak-while-low")}
        assert "free" in {seen.get(name) for name in ("live-volts", "live-while-low")}
    assert found == {"primary-open", "coil-bad"}


def test_no_sensor_is_condemned() -> None:
    """A missing signal is sensor, wire, supply or tone wheel: no verdict of these procedures buys a sensor."""
    for procedure in LIBRARY.procedures.values():
        for verdict in procedure.verdicts.values():
            assert "sensor" not in verdict.part


def test_the_lamp_never_touches_a_sensor() -> None:
    """Sensor signals and their supply are measured with a meter of high impedance only, and the step says so."""
    for procedure in LIBRARY.procedures.values():
        for step in procedure.steps.values():
            if step.measure.probe in ("crank-signal", "cam-signal", "sensor-supply", "command"):
                assert step.measure.instrument in ("signal-meter", "voltmeter")
                assert "no-lamp-on-sensors" in step.cautions
            if step.measure.instrument == "heavy-lamp" and step.measure.probe.startswith("driver-"):
                assert "lamp-on-powers-only" in step.cautions


def test_every_verdict_that_repairs_leads_to_the_proof_of_the_repair() -> None:
    """A verdict that names a fault goes on: with another test, or with after-repair."""
    for procedure in LIBRARY.procedures.values():
        for verdict in procedure.verdicts.values():
            if verdict.faults:
                assert verdict.continue_with, f"{procedure.name}: {verdict.name}"


def test_a_repair_is_verified_only_with_everything_done() -> None:
    """Verified means: all restored, the failed measurement repeated, started, no leak, driven."""
    for way, target in ways("after-repair"):
        if target == Target(Leads.VERDICT, "repair-verified"):
            seen = {step.name: answer.outcome for step, answer in way if answer}
            needed = {
                "putting-back": "done",
                "failed-test": "good",
                "restart": "runs",
                "leaks": "dry",
                "road": "good",
            }
            assert needed.items() <= seen.items()


def test_a_skipped_road_test_is_said() -> None:
    """A technician who may not drive the car gets a verdict that says that it was not driven."""
    skipped = LIBRARY.step("after-repair", "road").if_skipped
    assert Target(Leads.VERDICT, "started-no-road-test") == skipped
    assert "not done" in LIBRARY.procedures["after-repair"].verdicts["started-no-road-test"].says
