"""Facts that are asked for in the dialogue, the lamp in use, and another test in between."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings, strategies as st
from sample_asking import asking_library

from assistant.core.dialogue.asking import keys_of
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.board import Board
from assistant.core.values.entries import (
    FactGiven,
    FactUndone,
    ProcedureEntered,
    ProcedurePaused,
    ResultTaken,
)
from assistant.core.values.events import (
    GearLost,
    Heard,
    Listen,
    NoInput,
    NoiseChanged,
    NoMatch,
    Resumed,
    Show,
    TypedFact,
)
from assistant.core.values.result import Control, GrammarRequest, Result, Spelling
from assistant.core.values.thresholds import ONE_WORD
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

LIBRARY = asking_library()
ORDER, VIN = TypedFact("order", "4711"), TypedFact("vin", "1G4AH59H45G118341")
JOB = (ORDER, VIN, TypedFact("odometer", "98200", "miles"), TypedFact("cylinder", "2"))
GEAR = (
    TypedFact("crank-by", "helper"),
    TypedFact("lamp-kind", "filament"),
    TypedFact("lamp-current", "0.25", "A"),
)


def begun(procedure: str = "intake", *facts: TypedFact) -> Dialogue:
    talk = Dialogue(LIBRARY)
    talk.begin(procedure, facts)
    return talk


def without_order() -> Dialogue:
    """One that asks for the VIN, because the order was left blank."""
    talk = begun()
    talk.key("plus")
    return talk


def asked_for(talk: Dialogue) -> str:
    """The fact that is asked for."""
    assert talk.runner.asked is not None
    return talk.runner.asked.inquiry.name


def given_facts(talk: Dialogue) -> dict[str, str]:
    return {entry.fact: entry.value for entry in talk.entries if isinstance(entry, FactGiven)}


def listened(talk: Dialogue) -> GrammarRequest:
    return next(
        a.request for actions in reversed(talk.actions) for a in reversed(actions) if isinstance(a, Listen)
    )


def board(talk: Dialogue) -> Board:
    return next(
        a.board for actions in reversed(talk.actions) for a in reversed(actions) if isinstance(a, Show)
    )


def pressed(talk: Dialogue, signs: str) -> None:
    for sign in signs:
        talk.key(*("point" if key == "." else key for key in keys_of(sign)))


# --- spelling -------------------------------------------------------------------------------------


def test_a_fact_is_spelled_in_groups_read_back_and_affirmed() -> None:
    """Each group is read back with a question: more signs go on, a yes ends, and nothing counts before it."""
    talk = begun()
    assert "Repair order number?" in talk.last
    assert Spelling.SIGNS is listened(talk).spelling
    talk.hear(signs="R0")
    assert "Romeo, zero. Right?" == talk.last
    assert Spelling.SIGNS is listened(talk).spelling
    talk.hear(signs="47")
    assert "Four, seven. Right?" == talk.last
    assert "R047" == board(talk).headline
    assert {} == given_facts(talk)
    talk.hear(control=Control.AFFIRM)
    assert {"order": "R047"} == given_facts(talk)


def test_that_is_all_reads_back_the_whole_once_more() -> None:
    """It is no yes: what was spelled still waits for one, and takes no more signs."""
    talk = begun()
    talk.hear(signs="R0")
    talk.hear(signs="47")
    talk.hear(control=Control.THAT_IS_ALL)
    assert "Repair order: romeo, zero, four, seven. Yes or no?" == talk.last
    assert Spelling.NONE is listened(talk).spelling
    talk.hear(signs="1")
    assert {} == given_facts(talk)
    talk.hear(control=Control.AFFIRM)
    assert {"order": "R047"} == given_facts(talk)


def test_a_session_of_earlier_rules_ends_what_is_spelled_as_it_did() -> None:
    """Each group is only repeated; "that is all" ends, and then a yes counts."""
    talk = Dialogue(LIBRARY, replace(DEFAULT_THRESHOLDS, rules=ONE_WORD - 1))
    talk.begin("intake")
    assert "Then say: that is all." in talk.last
    talk.hear(signs="R0")
    assert "Romeo, zero." == talk.last
    assert State.INQUIRING is talk.runner.state
    talk.hear(control=Control.AFFIRM)
    assert {} == given_facts(talk)
    talk.hear(control=Control.THAT_IS_ALL)
    talk.hear(control=Control.AFFIRM)
    assert {"order": "R0"} == given_facts(talk)


def test_what_is_spelled_goes_on_by_keys() -> None:
    """Digits after what was heard are digits, zero as well; Enter reads the whole back, and a second one counts."""
    talk = begun()
    talk.hear(signs="47")
    talk.key("1", "0")
    assert State.INQUIRING is talk.runner.state
    talk.key("enter")
    assert "Repair order: four, seven, one, zero. Yes or no?" == talk.last
    talk.key("enter")
    assert {"order": "4710"} == given_facts(talk)


def test_correction_takes_the_last_group_back_and_negative_all() -> None:
    """A group that was misheard goes alone; a negative begins again."""
    talk = begun()
    talk.hear(signs="12")
    talk.hear(signs="34")
    talk.hear(control=Control.CORRECTION)
    assert "Undone: three, four." in talk.last
    talk.hear(signs="5")
    assert "125" == board(talk).headline
    talk.hear(control=Control.NEGATIVE)
    assert "" == board(talk).typed


def test_the_order_names_the_car() -> None:
    """Nobody spells a VIN whose order is known, unless the order is taken back; it is asked where none is known."""
    talk = begun()
    talk.hear(signs="4711")
    talk.hear(control=Control.AFFIRM)
    assert "odometer" == asked_for(talk)
    talk.hear(control=Control.CORRECTION)
    talk.hear(control=Control.LEAVE_BLANK)
    assert "vin" == asked_for(talk)
    old = Dialogue(LIBRARY, replace(DEFAULT_THRESHOLDS, rules=ONE_WORD - 1))
    old.begin("intake", (ORDER,))
    assert "vin" == asked_for(old)


def test_a_vin_ends_by_itself_and_its_check_digit_is_checked() -> None:
    """With the seventeenth sign it is read back; with a wrong check digit it can not be affirmed as it is."""
    talk = without_order()
    for group in ("1G4AH5", "9H45G1", "18341"):
        talk.hear(signs=group)
    assert State.CONFIRMING is talk.runner.state
    talk.hear(control=Control.AFFIRM)
    assert "1G4AH59H45G118341" == given_facts(talk)["vin"]


def test_the_one_sign_that_explains_a_wrong_check_digit_is_proposed() -> None:
    """The odd character is named; it is only a proposal, and a negative keeps what was spelled."""
    talk = without_order()
    for group in ("1G4AH5", "9H45G1", "183A1"):
        talk.hear(signs=group)
    assert "Maybe position 16, four for alfa." in talk.last
    assert State.CONFIRMING is talk.runner.state
    talk.hear(control=Control.NEGATIVE)
    assert "1G4AH5 9H45G1 183A1" == board(talk).typed
    talk.hear(control=Control.CORRECTION)
    talk.hear(signs="18341")
    talk.key("enter")
    assert "1G4AH59H45G118341" == given_facts(talk)["vin"]


def test_of_a_few_possible_slips_one_is_chosen_by_its_number() -> None:
    """When several slips would explain it, they have numbers; the chosen one is read back."""
    talk = without_order()
    pressed(talk, "1G44H59H45G118341")
    assert ("1", "position 4 may be A, not 4") == board(talk).choices[0]
    assert "Maybe 1: position 4, alfa for four. 2: positions 13 and 14 exchanged. Say which." in talk.last
    talk.hear(signs="1")
    assert State.CONFIRMING is talk.runner.state
    talk.hear(control=Control.AFFIRM)
    assert "1G4AH59H45G118341" == given_facts(talk)["vin"]


def test_signs_are_keyed_and_letters_typed_on_a_keyboard() -> None:
    """A letter is point, key, place; on a keyboard every letter is a letter while something is spelled."""
    talk = begun()
    talk.key("4", "point", "7", "3", "n", "note", "why", "close", "enter", "enter")
    assert {"order": "4RNNWQ"} == given_facts(talk)


@settings(max_examples=30)
@given(st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=16), st.booleans())
def test_whatever_is_spelled_is_what_is_kept(signs: str, keyed: bool) -> None:
    """By keys or in groups by voice, the record holds exactly the signs."""
    talk = begun()
    if keyed:
        pressed(talk, signs)
    else:
        for start in range(0, len(signs), 6):
            talk.hear(signs=signs[start : start + 6])
    talk.key("enter", "enter")
    assert {"order": signs} == given_facts(talk)


# --- numbers, choices, blanks ---------------------------------------------------------------------


def test_a_number_is_read_back_in_the_unit_that_was_given() -> None:
    """Miles stay miles; the point key takes kilometers; an implausible number is asked for again."""
    talk = begun("intake", ORDER, VIN)
    talk.hear(signs="982000", unit="miles", confidence=0.9)
    assert "Odometer: niner, eight, two, zero, zero, zero, miles. Yes or no?" == talk.last
    talk.key("minus", *"1300000", "enter", "point")
    assert talk.last.startswith("Odometer: that can't be right.")
    talk.key("minus", *"98200", "enter", "point", "enter")
    entry = next(e for e in talk.entries if isinstance(e, FactGiven) and e.fact == "odometer")
    assert ("98200", "km", "keypad", "affirmed") == (entry.value, entry.unit, entry.how, entry.confirmed)


def test_a_number_that_judges_nothing_counts_at_once_if_it_was_heard_well() -> None:
    """The odometer is read back with the next question, and "correction" takes it back; other numbers wait."""
    talk = begun("intake", ORDER, VIN)
    talk.hear(signs="98200", unit="miles")
    assert talk.last.startswith("Odometer: niner, eight, two, zero, zero, miles. Which cylinder?")
    assert "98200" == given_facts(talk)["odometer"]
    talk.hear(control=Control.CORRECTION)
    assert "odometer" == asked_for(talk)
    talk.hear(signs="98300", unit="miles")
    talk.hear(value="2")
    assert State.CONFIRMING is talk.runner.state


def test_a_doubtful_choice_is_affirmed_a_clear_one_read_back() -> None:
    """A choice that was heard well goes on at once; one that was not waits for a yes."""
    talk = begun("intake", *JOB)
    talk.hear("helper", confidence=0.999)
    assert talk.last.startswith("Cranked by: a helper. Which test light")
    talk.hear("filament", confidence=(DEFAULT_THRESHOLDS.reject_below + DEFAULT_THRESHOLDS.ask_below) / 2)
    assert State.CONFIRMING is talk.runner.state


def test_anything_can_be_left_blank_and_is_not_asked_again() -> None:
    """Plus or the words leave it blank; that stands in the record, and the question does not come back."""
    talk = begun("intake", *JOB)
    talk.key("plus")
    talk.hear(control=Control.LEAVE_BLANK)
    talk.hear(control=Control.LEAVE_BLANK)
    assert {"crank-by": "", "lamp-kind": "", "lamp-current": ""}.items() <= given_facts(talk).items()
    assert State.ASKING is talk.runner.state
    talk.hear(control=Control.STAND_BY)
    talk.hear(control=Control.GO_AHEAD)
    assert State.ASKING is talk.runner.state


def test_what_was_typed_before_is_not_asked_for() -> None:
    """Facts that came with the beginning stand in the record as typed."""
    talk = begun("intake", *JOB, *GEAR)
    assert State.ASKING is talk.runner.state
    assert {"typed"} == {entry.how for entry in talk.entries if isinstance(entry, FactGiven)}


def test_a_correction_goes_back_over_facts_to_the_result_before() -> None:
    """The last fact first, then the result; each stays in the record as taken back."""
    talk = begun("intake", *JOB, *GEAR)
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.GO_AHEAD)
    assert "Coil temperature?" in talk.last
    talk.hear(value="20")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.CORRECTION)
    assert "Undone. Coil temperature: 20 degrees celsius. Coil temperature?" == talk.last
    talk.hear(control=Control.CORRECTION)
    assert ("intake", "feed") == talk.runner.position
    undone = [type(e).__name__ for e in talk.entries if isinstance(e, FactUndone | entries.ResultUndone)]
    assert ["FactUndone", "ResultUndone"] == undone


# --- everything else that can happen meanwhile ----------------------------------------------------


@pytest.mark.parametrize("state", [State.INQUIRING, State.CONFIRMING])
def test_stop_and_stand_by_keep_what_was_spelled(state: State) -> None:
    """After a stop the same fact is asked for with what there was of it."""
    talk = begun()
    talk.hear(signs="R0")
    if state is State.INQUIRING:
        talk.hear(signs="5")
        talk.hear(control=Control.CORRECTION)
    assert state is talk.runner.state
    talk.hear(control=Control.STOP)
    assert State.STANDING_BY is talk.runner.state
    talk.hear(control=Control.GO_AHEAD)
    assert State.INQUIRING is talk.runner.state
    assert "2 so far, last: romeo, zero." in talk.last


def test_a_crash_resumes_at_the_same_fact() -> None:
    """The same events give the same dialogue again, and a resumed session asks for the same fact."""
    talk = without_order()
    talk.hear(signs="1G4")
    talk.key("point", "2")
    again = Runner(LIBRARY, None, DEFAULT_THRESHOLDS)
    assert talk.actions == [again.receive(event) for event in talk.events]
    talk.send(Resumed(talk.now))
    assert "Session resumed. What's the VIN? 3 so far" in talk.last
    assert "1G4 .2" == board(talk).typed


def test_not_understood_silence_and_help_are_those_of_the_fact() -> None:
    """No match tapers to the keys; silence and choices say what may be said; not sure tells where to look."""
    talk = without_order()
    for _ in range(3):
        talk.send(NoMatch(talk.now, "[unk]", 0.2))
    assert "Use the keys. Key it in" in talk.last
    talk.send(NoInput(talk.now))
    assert "Spell it" in talk.last
    talk.hear(control=Control.NOT_SURE)
    assert "windshield" in talk.last
    talk.hear(control=Control.CHOICES)
    assert "leave blank" in talk.last


def test_without_ears_the_keys_are_told() -> None:
    """Hopeless noise and a lost microphone lead to the keys of the very fact."""
    talk = begun("intake", *JOB)
    talk.send(NoiseChanged(talk.now, -10.0, hopeless=True))
    assert "1 for a helper" in talk.last
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    talk.key("1")
    assert "1 for bulb type" in talk.last


def test_a_voice_note_comes_back_to_the_fact() -> None:
    """The complaint can be spoken as a note while the order is asked for."""
    talk = begun()
    talk.key("4")
    talk.hear(control=Control.VOICE_NOTE)
    assert State.INQUIRING is talk.runner.state
    assert "Note saved." in talk.last
    assert "4" == board(talk).typed


# --- readings that are judged by facts ------------------------------------------------------------


def judged(*facts: TypedFact, value: str) -> Dialogue:
    talk = begun("primary", TypedFact("coil-temperature", "20", "celsius"), *facts)
    while talk.runner.state is State.INQUIRING:
        talk.key("plus")
    talk.hear(value=value)
    return talk


def test_a_reading_is_judged_after_the_leads_are_subtracted() -> None:
    """The judged value is said and kept beside the reading as it was given."""
    limits = (
        TypedFact("primary-resistance-lowest", "0.4", "ohm"),
        TypedFact("primary-resistance-highest", "0.6", "ohm"),
    )
    talk = judged(TypedFact("lead-resistance", "0.2", "ohm"), *limits, value="0.7")
    assert (
        "0.7 ohms. Minus the leads, at 20 degrees: 0.5 ohms. That would mean: The primary is sound."
        in talk.last
    )
    talk.hear(control=Control.AFFIRM)
    result = next(entry for entry in talk.entries if isinstance(entry, ResultTaken))
    assert ("normal", Decimal("0.7"), Decimal("0.5")) == (result.outcome, result.value, result.judged)


def test_without_the_makers_limit_the_assistant_does_not_judge() -> None:
    """It says so and why, keeps the reading, and goes where the step says."""
    talk = judged(value="0.7")
    assert "No spec was given. I can't judge this." in talk.last
    talk.hear(control=Control.AFFIRM)
    result = next(entry for entry in talk.entries if isinstance(entry, ResultTaken))
    assert ("unjudged", "verdict:open-question", None) == (result.outcome, result.next, result.judged)


def test_limits_that_contradict_each_other_judge_nothing() -> None:
    """A lowest above the highest is named."""
    limits = (
        TypedFact("primary-resistance-lowest", "0.6", "ohm"),
        TypedFact("primary-resistance-highest", "0.4", "ohm"),
    )
    assert "contradict each other. I can't judge this." in judged(*limits, value="0.5").last


# --- the lamp in use ------------------------------------------------------------------------------


def test_an_led_light_is_refused() -> None:
    """The lamp is asked for anew, and the refusal stands in the record."""
    talk = begun("intake", *JOB, TypedFact("crank-by", "helper"))
    talk.hear("led")
    assert "An LED light fools you here. Use a bulb-type test light. Which test light" in talk.last
    assert ["lamp refused"] == [entry.how for entry in talk.entries if isinstance(entry, FactUndone)]
    talk.hear("filament")
    talk.hear(value="0.25")
    talk.hear(control=Control.AFFIRM)
    assert State.ASKING is talk.runner.state


def test_a_heavy_lamp_is_refused_only_where_it_loads_the_coil() -> None:
    """Above 0.3 A it may probe the feed, but not the switched side while cranking."""
    heavy = (*GEAR[:2], TypedFact("lamp-current", "0.5", "A"))
    talk = begun("intake", *JOB, *heavy)
    assert State.ASKING is talk.runner.state
    talk.hear("lit")
    assert "That lamp loads the coil. Use one under 0.3 amps." in talk.last
    assert State.INQUIRING is talk.runner.state


def test_a_faint_lamp_is_shaded() -> None:
    """Below 0.05 A the instruction says so."""
    talk = begun("intake", *JOB, *GEAR[:2], TypedFact("lamp-current", "0.02", "A"))
    assert "Shade the bulb. It glows faintly." in talk.last
    assert "Shade" not in begun("intake", *JOB, *GEAR).last


def test_another_lamp_is_asked_for_anew() -> None:
    """Said at the step or while standing by, also in a procedure that does not ask for the lamp itself."""
    talk = begun("intake", *JOB, *GEAR)
    talk.hear(control=Control.OTHER_LAMP)
    assert "Which test light do you have?" in talk.last
    talk.hear("filament")
    talk.hear(value="0.1")
    talk.hear(control=Control.AFFIRM)
    assert State.ASKING is talk.runner.state
    talk = begun("coil-control")
    talk.key("slash", "2")
    assert "Which test light do you have?" in talk.last


# --- another test in between ----------------------------------------------------------------------


def numbered(name: str) -> str:
    return f"{list(LIBRARY.procedures).index(name) + 1:02}"


@pytest.mark.parametrize("name", sorted(LIBRARY.procedures))
def test_every_procedure_can_be_reached_by_key(name: str) -> None:
    """Stand by, 1, two digits and Enter."""
    talk = begun("intake", *JOB, *GEAR)
    talk.key("slash", "1", *numbered(name), "enter")
    assert name == talk.runner.position[0]


def test_a_procedure_is_set_aside_and_gone_on_with_at_its_step() -> None:
    """By name; after the verdict of the other, go ahead leads back, and the record says so."""
    talk = begun("intake", *JOB, *GEAR)
    talk.hear("lit")
    talk.ready()
    talk.hear(control=Control.OTHER_TEST)
    assert ("0 1 enter", next(iter(LIBRARY.procedures)).replace("-", " ")) == board(talk).choices[0]
    talk.hear("primary")
    assert "Primary resistance." in talk.last
    for _ in range(4):
        talk.key("plus")
    talk.hear(value="0.7")
    talk.hear(control=Control.AFFIRM)
    assert "Go ahead: back to intake. Say go ahead, or close session." in talk.last
    talk.hear(control=Control.GO_AHEAD)
    assert ("intake", "switched") == talk.runner.position
    moves = [e for e in talk.entries if isinstance(e, ProcedurePaused | ProcedureEntered)][1:]
    assert [
        ProcedurePaused("intake", "switched"),
        ProcedureEntered("primary"),
        ProcedureEntered("intake", "primary", came_back=True),
    ] == moves


def test_procedures_are_set_aside_several_levels_deep() -> None:
    """The last that was set aside comes back first; choosing one goes back to it directly."""
    talk = begun("intake", *JOB, *GEAR)
    talk.key("slash", "1", *numbered("coil-control"), "enter")
    talk.ready()
    talk.key("slash", "1", *numbered("primary"), "enter")
    for _ in range(4):
        talk.key("plus")
    talk.key("slash", "1", *numbered("intake"), "enter")
    assert ("intake", "feed") == talk.runner.position
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.GO_AHEAD)  # the verdict itself leads on to `primary`
    assert "primary" == talk.runner.position[0]
    talk.hear(value="0.7")
    talk.hear(control=Control.AFFIRM)
    assert "back to primary" in talk.last or "back to coil control" in talk.last


def test_other_test_can_be_thought_better_of() -> None:
    """Negative and minus go back to where it was asked for; a wrong number is asked again."""
    talk = begun("intake", *JOB, *GEAR)
    talk.hear(control=Control.OTHER_TEST)
    talk.key("9", "9", "enter")
    assert State.CHOOSING is talk.runner.state
    talk.hear(control=Control.NEGATIVE)
    assert (State.ASKING, ("intake", "feed")) == (talk.runner.state, talk.runner.position)
    talk.key("slash", "1", "minus")
    assert State.STANDING_BY is talk.runner.state


def test_a_correction_in_the_other_test_goes_back_into_the_first() -> None:
    """The first is then no longer set aside: its step is asked again."""
    talk = begun("intake", *JOB, *GEAR)
    talk.hear("lit")
    talk.ready()
    talk.key("slash", "1", *numbered("coil-control"), "enter")
    talk.ready()
    talk.hear(control=Control.CORRECTION)
    assert ("intake", "feed") == talk.runner.position
    talk.hear("dark")
    talk.hear(control=Control.AFFIRM)
    assert "back to" not in talk.last


@settings(max_examples=40)
@given(st.lists(st.sampled_from(["slash1", "enter", "minus", "plus", "1", "2", "affirm"]), max_size=40))
def test_a_replay_of_pauses_is_identical(keys: list[str]) -> None:
    """However procedures are set aside and gone on with, the same events give the same actions."""
    talk = begun("intake", *JOB, *GEAR)
    for number, key in enumerate(keys):
        if key == "slash1":
            talk.key("slash", "1", *f"{number % len(LIBRARY.procedures) + 1:02}", "enter")
        elif key == "affirm":
            talk.send(Heard(talk.now, "affirm", Result(control=Control.AFFIRM), 0.999))
        else:
            talk.key(key)
    again = Runner(LIBRARY, None, DEFAULT_THRESHOLDS)
    assert talk.actions == [again.receive(event) for event in talk.events]
