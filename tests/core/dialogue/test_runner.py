"""The dialogue as a whole: each state is reached, and any events in any order keep its promises."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings, strategies as st
from sample_states import ASKING_FACTS, CRANK, KNOWLEDGE, LIBRARY, OPEN_STATES, WEIGHING, in_state

from assistant.core.dialogue.runner import Runner, answer as answered, refuse
from assistant.core.dialogue.sayable import REASONS
from assistant.core.dialogue.states import State
from assistant.core.dialogue.table import TRANSITIONS
from assistant.core.dialogue.triggers import TRIGGERS, Known
from assistant.core.library.identity import check_vin
from assistant.core.library.procedure import Engine
from assistant.core.library.terms import Hazard
from assistant.core.library.vocabulary import UNJUDGED
from assistant.core.values import entries, events
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import (
    Began,
    Clip,
    GearBack,
    GearLost,
    Heard,
    KeyPressed,
    LevelChanged,
    NoInput,
    NoiseChanged,
    NoMatch,
    Note,
    NoteRecorded,
    Resumed,
    Say,
    Show,
    Speech,
    SpeechFinished,
    TimerElapsed,
    ToldToday,
    TypedFact,
)
from assistant.core.values.perceived import CrankSound, MeterState, MeterTold, Perceived, StarterHeard
from assistant.core.values.result import Control, Result
from assistant.core.values.witness import Figure, Witness
from assistant.keys.pad import KEYS
from assistant.measured import DEFAULT_THRESHOLDS


@pytest.mark.parametrize("state", State)
def test_every_state_can_be_reached_by_events(state: State) -> None:
    """No state of the table is dead."""
    assert state is in_state(state).runner.state


@pytest.mark.parametrize("state", OPEN_STATES)
def test_stop_works_in_every_state(state: State) -> None:
    """Said or keyed, stop cuts speech, says "Stop. Key off." and stands by."""
    for stop in (
        lambda now: Heard(now, "stop", Result(control=Control.STOP), 0.2),
        lambda now: KeyPressed(now, "stop"),
    ):
        talk = in_state(state)
        actions = talk.send(stop(talk.now))
        assert State.STANDING_BY is talk.runner.state
        kinds = [type(action).__name__ for action in actions]
        assert kinds.index("CutSpeech") < kinds.index("Say")
        assert [action.text for action in actions if isinstance(action, Say)] == ["Stop. Key off."]


@pytest.mark.parametrize("state", State)
def test_a_trigger_that_is_not_in_the_table_changes_nothing(state: State) -> None:
    """Walk every pair that is missing from the table: same state, nothing said, at most a remark."""
    for trigger in TRIGGERS:
        if trigger in TRANSITIONS[state]:
            continue
        inner = in_state(state).runner.talk
        inner.now.out = []
        assert not answered(inner, Known(trigger, None))
        refuse(inner, trigger, aloud=False, silent=False)
        assert state is inner.state
        assert {"Note", "Show"} >= {type(action).__name__ for action in inner.now.out}


_CLIP = Clip("clips/0001.flac", "0" * 64, 1.0)
_CHOICES = [choice for fact in LIBRARY.terms.facts.values() for choice in fact.choices]
_OUTCOMES = sorted(LIBRARY.terms.outcomes) + sorted(REASONS) + _CHOICES + sorted(ASKING_FACTS.procedures)
_RESULTS = (
    st.builds(Result, outcome=st.sampled_from(_OUTCOMES), place=st.sampled_from([None, "feed", "unplugged"]))
    | st.builds(
        Result, value=st.decimals(0, 30, places=2), unit=st.sampled_from([None, "V", "mV", "A", "ohm"])
    )
    | st.builds(Result, control=st.sampled_from(Control))
    | st.builds(
        Result,
        signs=st.text("ABCIO0123456789", min_size=1, max_size=6),
        unit=st.sampled_from([None, "miles"]),
    )
)
_KEYS = st.sampled_from(KEYS)
_EVENTS = st.one_of(
    st.builds(Heard, at=st.just(0.0), words=st.just("x"), result=_RESULTS, confidence=st.floats(0, 1)),
    st.builds(KeyPressed, at=st.just(0.0), key=_KEYS),
    st.builds(KeyPressed, at=st.just(0.0), key=st.just("enter")),
    st.builds(SpeechFinished, at=st.just(0.0), utterance=st.just(-1), cut=st.booleans()),
    st.builds(TimerElapsed, at=st.just(0.0), timer=st.sampled_from(["crank", "rest", "other"])),
    st.builds(NoMatch, at=st.just(0.0), words=st.just("[unk]"), confidence=st.floats(0, 1)),
    st.builds(NoInput, at=st.just(0.0)),
    st.builds(NoiseChanged, at=st.just(0.0), noise_db=st.just(-20.0), hopeless=st.booleans()),
    st.builds(
        LevelChanged,
        at=st.just(0.0),
        trouble=st.sampled_from(["quiet", "clipped", "hum", ""]),
        why=st.just("x"),
    ),
    st.builds(
        GearLost, at=st.just(0.0), gear=st.sampled_from(["microphone", "speaker", "keys"]), why=st.just("x")
    ),
    st.builds(GearBack, at=st.just(0.0), gear=st.sampled_from(["microphone", "speaker", "keys"])),
    st.builds(NoteRecorded, at=st.just(0.0), clip=st.just(_CLIP)),
    st.builds(Resumed, at=st.just(0.0)),
    st.builds(
        StarterHeard,
        at=st.just(0.0),
        phase=st.sampled_from(CrankSound),
        ago_s=st.floats(0, 3),
        confidence=st.sampled_from([0.3, 0.99]),
    ),
    st.builds(
        Perceived,
        at=st.just(0.0),
        source=st.sampled_from(Witness),
        result=_RESULTS,
        confidence=st.floats(0, 1),
        spread=st.none() | st.floats(0, 50),
        figures=st.lists(
            st.builds(Figure, name=st.just("speed"), text=st.sampled_from(["180", "-1", "fast"])), max_size=1
        ).map(tuple),
        stood_s=st.sampled_from([0.0, 2.5]),
    ),
    st.builds(MeterTold, at=st.just(0.0), trouble=st.sampled_from(MeterState), why=st.just("It is so.")),
)
_TOLD = ToldToday("JD", tuple(LIBRARY.cautions), tuple(LIBRARY.cautions), cranking=True)
"""Somebody who was told everything in earlier sessions of the day."""
_RELEASED = (State.RESTING, State.ASKING, State.CRANKING)
"""States in which somebody may crank, or is about to."""
_LEAVES_STEP = (entries.ResultTaken, entries.ResultUndone, entries.StepSkipped, entries.ProcedureEntered)
"""Entries after which the next step, be it the same, needs its own caution."""
_STEPS = st.lists(st.tuples(_EVENTS, st.floats(0, 90)), max_size=60)


@settings(max_examples=250)
@given(
    procedure=st.sampled_from([*sorted(LIBRARY.procedures), "intake", "intake", "primary"]),
    steps=_STEPS,
    weighing=st.booleans(),
    told=st.booleans(),
    witnesses=st.sets(st.sampled_from(Witness)),
)
def test_any_events_in_any_order_keep_the_promises(
    procedure: str,
    steps: list[tuple[events.Event, float]],
    weighing: bool,
    told: bool,
    witnesses: set[Witness],
) -> None:
    """No order of events breaks the dialogue, and these hold throughout.

    Nobody is told to crank, or may, before a caution that covers cranking was spoken to its end (or shown and
    acknowledged) for that very step; with earlier sessions of the day, too.
    A verdict is entered only after an affirmed answer, or as not affirmed.
    The same events give the same actions again, and every action survives JSON.
    With and without likelihoods; a measurement is doubted at most once.
    A fact is given only once until it is taken back, a VIN only with a check digit that fits.
    What was perceived becomes a result only by a word, a key or a yes; a reading that stood by itself needs the yes.
    A reading counts as not judged only while the maker's limits are not all known, or contradict each other.
    """
    own = procedure not in LIBRARY.procedures
    library = ASKING_FACTS if own else WEIGHING if weighing else LIBRARY
    weighing = weighing or own
    knowledge = KNOWLEDGE if weighing else None
    held: dict[str, entries.FactGiven] = {}
    runner = Runner(library, knowledge, DEFAULT_THRESHOLDS)
    doubted: set[tuple[str, str]] = set()
    history: list[tuple[events.Event, tuple[events.Action, ...]]] = []
    now, speaking = 0.0, 0
    cautioned_at: tuple[str, str] | None = None
    results: dict[int, str] = {}

    def feed(event: events.Event) -> None:
        nonlocal speaking, cautioned_at
        before = runner.position
        actions = runner.receive(event)
        history.append((event, actions))
        if runner.position != before:
            cautioned_at = None
        for action in actions:
            if isinstance(action, Say):
                speaking = action.utterance
                if CRANK in action.text and runner.state is not State.STANDING_BY:
                    assert runner.position == cautioned_at, "told to crank before the caution was spoken"
                    assert runner.talk.crank.rested_at <= now, "told to crank while the starter rests"
            if isinstance(action, Note):
                entry = action.entry
                if isinstance(entry, _LEAVES_STEP):
                    cautioned_at = None
                if isinstance(entry, entries.CautionGiven):
                    assert isinstance(event, SpeechFinished | GearLost) or "shown" in entry.form
                    assert not (isinstance(event, SpeechFinished) and event.cut), (
                        "a caution that was cut counts"
                    )
                    if Hazard.CRANKING in library.cautions[entry.caution].covers:
                        cautioned_at = (entry.procedure, entry.step)
                if isinstance(entry, entries.FactGiven):
                    assert entry.fact not in held, "asked for twice"
                    held[entry.fact] = entry
                    if entry.fact == "vin" and entry.value:
                        assert entry.value == str(check_vin(entry.value))
                if isinstance(entry, entries.FactUndone):
                    assert held.pop(entry.fact).value == entry.value
                if isinstance(entry, entries.ResultTaken) and entry.outcome == UNJUDGED:
                    limits = [held.get(f"primary-resistance-{end}") for end in ("lowest", "highest")]
                    known = [Decimal(limit.value) for limit in limits if limit is not None and limit.value]
                    assert len(known) < 2 or known[0] > known[1]
                if isinstance(entry, entries.ResultTaken):
                    assert entry.number == len(results) + 1
                    results[entry.number] = entry.confirmed
                if isinstance(entry, entries.ResultPerceived):
                    assert isinstance(event, Heard | KeyPressed), "taken without a person"
                if isinstance(entry, entries.ResultUndone):
                    assert entry.number in {0, *results}
                    if entry.how == entries.DOUBTED:
                        assert weighing
                        assert (entry.procedure, entry.step) not in doubted, "asked again twice"
                        doubted.add((entry.procedure, entry.step))
                if isinstance(entry, entries.VerdictReached) and entry.affirmed:
                    said_yes = isinstance(event, KeyPressed) and event.key == "enter"
                    if isinstance(event, Heard):
                        said_yes = event.result.control in (Control.AFFIRM, Control.GO_AHEAD)
                    assert said_yes, "a verdict counted without a yes"
            assert action == from_json(json.loads(json.dumps(to_json(action))))
        if runner.state in _RELEASED and runner.talk.step.measure.engine is Engine.CRANKING:
            assert runner.position == cautioned_at, "released before the caution of this very step was spoken"

    facts = (TypedFact("technician", "JD"),) if told else ()
    feed(Began(0.0, procedure, facts, (_TOLD,), witnesses=tuple(sorted(witnesses))))
    for event, passes in steps:
        now += passes
        if isinstance(event, SpeechFinished):
            event = replace(event, utterance=speaking)  # noqa: PLW2901
        feed(replace(event, at=now))
    again = Runner(library, knowledge, DEFAULT_THRESHOLDS)
    assert [actions for _, actions in history] == [again.receive(event) for event, _ in history]
    if runner.state is not State.FINISHED:
        actions = runner.receive(KeyPressed(now, "stop"))
        assert State.STANDING_BY is runner.state
        assert any(isinstance(a, Say) and a.kind is Speech.STOP for a in actions)
        assert isinstance(actions[-1], Show)
