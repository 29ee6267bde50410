"""The dialogue as a state machine without any input or output: events in, actions out.

The rules
---------
* There is one state at a time (`State`).  Every event is first turned into a `Trigger`: what it means here.
* `TRANSITIONS` says which triggers a state knows and which states may follow.  It is the whole truth: a trigger
  that is not in the table for the present state does nothing but a remark in the record, and a handler that
  wants to go elsewhere than the table allows is a defect and raises `AssertionError`.
* `STOP` is in the table for every state of an open session.
* A step whose measurement cranks, or touches high voltage, passes through `CAUTIONING`, which is left only when
  its caution has been spoken to the end; the first time it must be acknowledged as well.
* Nothing is forgotten: a correction is a new entry in the record, never an erasure.
* Time comes only from the events, so feeding the same events again gives the same actions.

The one conflict: an answer that arrives while a caution is being spoken.  The caution wins; the answer is
remarked and asked for again, because a step that was answered before it was released was not measured then.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from itertools import chain
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking
from assistant.core.dialogue.circles import AFTER_REPAIR, Visits, new_since
from assistant.core.dialogue.doubting import Doubted, Why, drops_of, thin
from assistant.core.dialogue.inquiring import TYPED, Asked, Source, Waiting, blank
from assistant.core.dialogue.memory import Answered, Cautions, Counters
from assistant.core.dialogue.policy import (
    DEFAULT_THRESHOLDS,
    OLD_RULES,
    SHADE,
    Acceptance,
    Thresholds,
    grade,
    lamp_faint,
    lamp_refused,
    tapered,
)
from assistant.core.dialogue.states import (
    CONTROL_TRIGGERS,
    KEY_TRIGGERS,
    LAMP_FACTS,
    REASONS,
    TRANSITIONS,
    State,
    Trigger,
    request_for,
)
from assistant.core.dialogue.talk import CRANK_TIMER, REST_TIMER, STOP_CRANKING, Talk
from assistant.core.dialogue.trail import Paused, Pending, Trail
from assistant.core.library.identity import VIN_LENGTH, where_to_look
from assistant.core.library.procedure import (
    NO_CIRCUIT,
    OVER_RANGE,
    SENSES,
    UNJUDGED,
    Answer,
    Engine,
    FactKind,
    Judged,
    Leads,
    Reading,
    Target,
)
from assistant.core.reasoning import evidence
from assistant.core.reasoning.adding_up import LOADED, unequal
from assistant.core.values.board import Board
from assistant.core.values.entries import (
    KEPT,
    TAKEN_BACK,
    CautionAcknowledged,
    CautionGiven,
    FactGiven,
    FactUndone,
    LedBack,
    ModeChanged,
    ProcedureEntered,
    ProcedurePaused,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
    VoiceNoteTaken,
)
from assistant.core.values.events import (
    Action,
    Began,
    CancelTimer,
    Closed,
    CutSpeech,
    EndNote,
    Event,
    Finish,
    GearBack,
    GearLost,
    Heard,
    KeyPressed,
    Listen,
    NoInput,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    RecordNote,
    Resumed,
    Show,
    Speech,
    SpeechFinished,
    StartTimer,
    StopListening,
    TimerElapsed,
)
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.core.words import wording

if TYPE_CHECKING:
    from assistant.core.library.procedure import Library, Step, Verdict


_UNDISTURBED = (State.CAUTIONING, State.NOTING, State.CRANKING)
"""States in which a notice about noise or gear is not spoken in between."""

_RECORD_MODES = {"record": "record moved", "disk": "disk nearly full"}
_RECORD_NOTICES = {
    "record": "The record goes on in another place. See the screen.",
    "disk": "The disk is nearly full. See the screen.",
}
_GEAR_NOTICES = {
    "microphone": "No microphone. Use the keys.",
    "keys": "No keys. Voice only.",
    **_RECORD_NOTICES,
}
"""What is spoken when gear is lost; a lost loudspeaker speaks of nothing."""


class Ask(StrEnum):
    """How much of a step's instruction is spoken."""

    AGAIN = "all, also what is already connected"
    ALL = "all"
    ACT = "act and question"
    QUESTION = "question"


class Runner:
    """One session's dialogue.

    Args:
        library: The procedures, cautions and terms.
        thresholds: The dialogue's limits.
        memo: What was computed in earlier sessions with the same library; it changes no result.
    """

    def __init__(
        self,
        library: Library,
        thresholds: Thresholds = DEFAULT_THRESHOLDS,
        memo: evidence.Memo | None = None,
    ) -> None:
        self.talk = Talk(library, thresholds, evidence.Memo() if memo is None else memo)

    @property
    def state(self) -> State:
        """What the dialogue waits for."""
        return self.talk.state

    def receive(self, event: Event) -> tuple[Action, ...]:
        """Take one event and give the actions that it causes, in the order in which they are to be done.

        Raises:
            UsageProblem: A `Began` that names a procedure that is not in the library.
        """
        return self._receive(event, silent=False)

    def recall(self, event: Event) -> tuple[Action, ...]:
        """Take an event of which the actions are in the record already, to go on from there.

        The dialogue is then where `receive` would have brought it; what was listened for and shown, which takes
        more than half of the time, is not made again. The other actions are given.

        Raises:
            UsageProblem: As for `receive`.
        """
        return self._receive(event, silent=True)

    def _receive(self, event: Event, *, silent: bool) -> tuple[Action, ...]:
        talk = self.talk
        talk.turn.at = max(talk.turn.at, event.at)
        talk.turn.out = []
        trigger, payload = self._classify(event)
        if trigger is None:
            return ()
        allowed = TRANSITIONS[talk.state].get(trigger)
        if allowed is None:
            if talk.state not in (State.UNOPENED, State.FINISHED):
                talk.remark("not now", f"{trigger} while {talk.state}")
                talk.said.message = "That does not fit now."
                busy = (State.CAUTIONING, State.CRANKING, State.NOTING, State.STANDING_BY)
                if isinstance(event, Heard | KeyPressed) and talk.state not in busy:
                    talk.say("That does not fit now.", Speech.HELP)
                    if not silent:
                        settle(talk)
                elif not silent:
                    talk.do(Show(board(talk)))
            return tuple(talk.turn.out)
        before = talk.state
        after = handle(talk, trigger, payload)
        if after not in allowed:
            raise AssertionError(f"{before} + {trigger} may not lead to {after}")
        talk.state = after
        if not silent:
            settle(talk)
        return tuple(talk.turn.out)

    def _classify(self, event: Event) -> tuple[Trigger | None, object]:
        return classify(self.talk, event)

    def assessment(self) -> evidence.Assessment | None:
        """What the results so far say together; None where nothing is weighed here."""
        return assess(self.talk)

    @property
    def position(self) -> tuple[str, str]:
        """Names of the present procedure and step; empty before the beginning."""
        return self.talk.position

    @property
    def asked(self) -> Asked | None:
        """The fact that is asked for now; None while none is."""
        return self.talk.facts.asked

    @property
    def taken(self) -> int:
        """How many results were taken so far, also those that were taken back since."""
        return self.talk.past.results


# --- events to triggers -----------------------------------------------------------------------


def classify(talk: Talk, event: Event) -> tuple[Trigger | None, object]:
    match event:
        case Began():
            return Trigger.BEGIN, event
        case Resumed():
            return (Trigger.RESUME if talk.work.step else Trigger.UNEXPECTED), None
        case Closed():
            return Trigger.END, event.why
        case SpeechFinished():
            if event.utterance != talk.said.utterance:
                return None, None
            if talk.state is State.CAUTIONING:
                return Trigger.SPOKEN, event.cut
            if talk.state is State.NOTING and not talk.awaited.note_running:
                return Trigger.SPOKEN, event.cut
            return None, None
        case TimerElapsed():
            if event.timer == CRANK_TIMER and talk.state is State.CRANKING:
                return Trigger.CRANK_LIMIT, None
            if event.timer == REST_TIMER and talk.state is State.RESTING:
                return Trigger.RESTED, None
            return None, None
        case NoiseChanged():
            return (Trigger.TOO_LOUD if event.hopeless else Trigger.QUIET_AGAIN), event
        case GearLost():
            return Trigger.GEAR_LOST, event
        case GearBack():
            return Trigger.GEAR_BACK, event
        case NoteRecorded():
            return Trigger.NOTE_ENDED, event
        case NoInput():
            return Trigger.NO_INPUT, None
        case NoMatch():
            return Trigger.NO_MATCH, event
        case Heard():
            return classify_heard(talk, event)
        case KeyPressed():
            return classify_key(talk, event.key)
        case _:
            return Trigger.UNEXPECTED, None


def classify_heard(talk: Talk, event: Heard) -> tuple[Trigger | None, object]:
    talk.said.heard = event.words
    doubtful = event.confidence < talk.limits.reject_below
    result = event.result
    if result.control is Control.STOP:
        # A stop that was perhaps not said costs a second; one that was missed can cost a hand.
        return Trigger.STOP, None
    if doubtful:
        return Trigger.NO_MATCH, NoMatch(event.at, event.words, event.confidence, event.clip, event.snr_db)
    if result.control is not None:
        trigger = CONTROL_TRIGGERS[result.control]
        if talk.state is State.ACKNOWLEDGING and trigger in (Trigger.AFFIRM, Trigger.GO_AHEAD):
            return Trigger.ACKNOWLEDGE, "voice"
        if talk.state is State.CONCLUDING and trigger is Trigger.AFFIRM:
            return Trigger.GO_AHEAD, "voice"
        if talk.state is State.CHOOSING and trigger is Trigger.GO_AHEAD:
            return Trigger.DENY, "voice"
        if talk.state is State.READING_BACK and trigger is Trigger.NOT_SURE:
            return Trigger.DENY, "voice"
        return trigger, "voice"
    if talk.state is State.SKIPPING and result.outcome in REASONS:
        return Trigger.REASON, result.outcome
    if talk.state is State.CHOOSING:
        known = result.outcome in talk.library.procedures
        return (Trigger.CHOSEN, result.outcome) if known else (Trigger.UNEXPECTED, None)
    if talk.state in (State.INQUIRING, State.CONFIRMING):
        clip = event.clip.file if event.clip else None
        return classify_fact(talk, result, Source("voice", event.words, event.confidence, clip))
    if result.signs is not None:
        return Trigger.UNEXPECTED, None
    return classify_result(
        talk,
        result,
        how="voice",
        words=event.words,
        confidence=event.confidence,
        snr_db=event.snr_db,
        clip=event.clip.file if event.clip else None,
    )


def classify_result(
    talk: Talk,
    result: Result,
    *,
    how: str,
    words: str,
    confidence: float = 1.0,
    snr_db: float | None = None,
    clip: str | None = None,
) -> tuple[Trigger | None, object]:
    step = talk.work.step
    if step is None:
        return Trigger.UNEXPECTED, None
    if result.place is not None and not wording.fits(step, result.place):
        return Trigger.WRONG_PLACE, result.place
    value, unit = result.value, result.unit
    answer: Answer | None = None
    judged: Decimal | None = None
    if value is not None and step.reading is not None:
        unit = unit or step.reading.unit
        base = wording.convert(value, unit, step.reading.unit)
        if base is None:
            return Trigger.UNEXPECTED, None
        low, high = step.reading.plausible
        if not low <= base <= high:
            return Trigger.IMPLAUSIBLE, wording.number_words(value, unit)
        answer, judged = judge(talk, step.reading, base)
    elif result.outcome == OVER_RANGE and step.reading is not None and OVER_RANGE in step.heard:
        answer = step.reading.bands[-1]
    elif result.outcome is not None:
        answer = step.answer(result.outcome) if step.reading is None else None
        if answer is None and result.outcome in step.heard:
            return Trigger.NO_ANSWER, talk.library.terms.outcomes[result.outcome].spoken
    if answer is None:
        return Trigger.UNEXPECTED, None
    return Trigger.RESULT, Pending(answer, value, unit, how, words, confidence, snr_db, clip, judged)


def judge(talk: Talk, reading: Reading, base: Decimal) -> tuple[Answer | None, Decimal | None]:
    """The answer that a reading is, and what was judged where that is not the reading itself."""
    found: Judged = reading.judge(base, talk.numbers())
    return found.band or reading.unjudged, None if found.value == base else found.value


def classify_fact(talk: Talk, result: Result, source: Source) -> tuple[Trigger | None, object]:
    """What an answer means to the fact that is asked for."""
    asked = talk.facts.asked
    if asked is None:
        return Trigger.UNEXPECTED, None
    inquiry = asked.inquiry
    if asked.spells:
        if result.signs is None or talk.state is State.CONFIRMING:
            return Trigger.UNEXPECTED, None
        return Trigger.SIGNS, (result.signs, source)
    if inquiry.kind is FactKind.CHOICE:
        known = result.outcome in inquiry.choices
        return (
            (Trigger.FACT, Waiting(str(result.outcome), "", source))
            if known
            else (
                Trigger.UNEXPECTED,
                None,
            )
        )
    value = result.value
    if value is None and result.signs is not None and result.signs.isdigit():
        value = Decimal(result.signs)
    units = asking.units_of(inquiry)
    unit = result.unit or inquiry.unit
    if value is None or (unit not in units if units else bool(unit)):
        return Trigger.UNEXPECTED, None
    problem = asking.problem_with(inquiry, value, unit)
    if problem:
        return Trigger.IMPLAUSIBLE, problem
    return Trigger.FACT, Waiting(wording.plain_number(value), unit, source)


def classify_key(talk: Talk, key: str) -> tuple[Trigger | None, object]:
    state, step = talk.state, talk.work.step
    digit = int(key) if key.isdigit() else None
    if state in (State.INQUIRING, State.CONFIRMING) and talk.facts.asked is not None:
        return classify_fact_key(talk, key, talk.facts.asked)
    if len(key) == 1 and key.isalpha():
        return None, None  # letters count only while something is spelled
    if state is State.CHOOSING:
        return classify_choosing_key(talk, key)
    if key == "plus" and state in (State.CONCLUDING, State.STANDING_BY):
        return Trigger.CLOSE, "keypad"
    if key in KEY_TRIGGERS and not (key == "stop" and state is State.UNOPENED):
        if key == "slash" and state is State.CRANKING:
            return Trigger.STOP, None
        return KEY_TRIGGERS[key], "keypad"
    match state:
        case State.ACKNOWLEDGING | State.CONCLUDING | State.STANDING_BY | State.NOTING:
            return classify_waiting_key(talk, key, state)
        case State.SKIPPING:
            if digit is not None and 1 <= digit <= len(REASONS):
                return Trigger.REASON, list(REASONS)[digit - 1]
            return {"0": Trigger.SAY_AGAIN, "minus": Trigger.DENY}.get(key, Trigger.UNEXPECTED), "keypad"
        case State.READING_BACK:
            if key == "enter":
                return Trigger.AFFIRM, "keypad"
            if key == "minus":
                return Trigger.DENY, "keypad"
            if key == "point":
                return Trigger.DENY, "keypad"
            if step is not None and step.reading is not None and key in "123456789":
                return Trigger.TYPED, key
        case State.RESTING:
            simple = {
                "0": Trigger.SAY_AGAIN,
                "minus": Trigger.CORRECTION,
                "9": Trigger.NOTE,
                "enter": Trigger.CRANK_BEGINS,
                "erase": Trigger.WHY,
            }
            return simple.get(key, Trigger.UNEXPECTED), "keypad"
        case State.ASKING | State.CRANKING:
            if step is not None and step.reading is not None:
                return classify_number_key(talk, key)
            if key == "enter":
                return crank_key(talk)
        case _:
            return Trigger.UNEXPECTED, None
    if step is not None and step.reading is None and digit is not None and 1 <= digit <= len(step.answers):
        outcome = step.answers[digit - 1].outcome
        return classify_result(talk, Result(outcome=outcome), how="keypad", words=key)
    simple = {
        "0": Trigger.SAY_AGAIN,
        "9": Trigger.NOTE,
        "point": Trigger.NOT_SURE,
        "minus": Trigger.CORRECTION,
        "erase": Trigger.WHY,
    }
    return simple.get(key, Trigger.UNEXPECTED), "keypad"


def classify_waiting_key(talk: Talk, key: str, state: State) -> tuple[Trigger | None, object]:
    enter = {
        State.ACKNOWLEDGING: Trigger.ACKNOWLEDGE,
        State.CONCLUDING: Trigger.GO_AHEAD,
        State.STANDING_BY: Trigger.GO_AHEAD,
        State.NOTING: Trigger.END_NOTE,
    }
    if state is State.STANDING_BY and key in ("1", "2"):
        return {"1": Trigger.OTHER_TEST, "2": Trigger.OTHER_LAMP}[key], "keypad"
    if state is State.CONCLUDING and key == "1":
        return Trigger.OTHER_TEST, "keypad"
    simple = {
        "enter": enter[state],
        "0": Trigger.SAY_AGAIN,
        "9": Trigger.NOTE,
        "minus": Trigger.CORRECTION,
        "erase": Trigger.WHY,
    }
    return simple.get(key, Trigger.UNEXPECTED), "keypad"


def classify_fact_key(talk: Talk, key: str, asked: Asked) -> tuple[Trigger | None, object]:
    """A key while a fact is asked for or read back."""
    everywhere = {
        "plus": Trigger.BLANK,
        "slash": Trigger.STAND_BY,
        "star": Trigger.CHOICES,
        "stop": Trigger.STOP,
    }
    if key in everywhere:
        return everywhere[key], "keypad"
    if talk.state is State.CONFIRMING:
        return classify_confirming_key(talk, key, asked)
    letters = {"note": "n", "why": "w", "close": "q"}
    if asked.spells:
        # On a keyboard every letter is a letter now, also those that are commands elsewhere.
        key = letters.get(key, key)
        if key in ("point", "erase", *"0123456789") or (len(key) == 1 and key.isalpha()):
            return Trigger.TYPED, key
        simple = {"enter": Trigger.THAT_IS_ALL, "minus": Trigger.CORRECTION}
        return simple.get(key, Trigger.UNEXPECTED), "keypad"
    if key in letters:
        return KEY_TRIGGERS[key] if key != "why" else None, "keypad"
    if len(key) == 1 and key.isalpha():
        return None, None
    if asked.inquiry.kind is FactKind.NUMBER:
        return classify_fact_number_key(talk, key, asked)
    names = list(asked.inquiry.choices)
    if key.isdigit() and 1 <= int(key) <= len(names):
        return Trigger.FACT, Waiting(names[int(key) - 1], "", Source("keypad", key))
    simple = {
        "0": Trigger.SAY_AGAIN,
        "9": Trigger.NOTE,
        "point": Trigger.NOT_SURE,
        "minus": Trigger.CORRECTION,
    }
    return simple.get(key, Trigger.UNEXPECTED), "keypad"


def classify_fact_number_key(talk: Talk, key: str, asked: Asked) -> tuple[Trigger | None, object]:
    low = asked.inquiry.plausible[0] if asked.inquiry.plausible else Decimal(0)
    if key == "minus" and not asked.typed and low < 0:
        return Trigger.TYPED, key
    if key == "minus":
        return Trigger.CORRECTION, "keypad"
    if key in ("point", "erase", *"0123456789"):
        return Trigger.TYPED, key
    if key != "enter":
        return Trigger.UNEXPECTED, None
    if asked.typed == ".":
        return Trigger.NOT_SURE, "keypad"
    value = asked.number()
    if value is None:
        return Trigger.NO_INPUT, None
    return classify_fact(talk, Result(value=value), Source("keypad", asked.typed))


def classify_confirming_key(talk: Talk, key: str, asked: Asked) -> tuple[Trigger | None, object]:
    simple = {"enter": Trigger.AFFIRM, "minus": Trigger.DENY, "close": Trigger.CLOSE}
    if key in simple:
        return simple[key], "keypad"
    if asked.spells and key == "erase":
        return Trigger.TYPED, key
    if asked.inquiry.kind is FactKind.NUMBER and key in ("point", *"123456789"):
        return Trigger.TYPED, key
    return (Trigger.SAY_AGAIN if key == "0" else Trigger.UNEXPECTED), "keypad"


def classify_choosing_key(talk: Talk, key: str) -> tuple[Trigger | None, object]:
    """A key while a procedure is chosen by its number."""
    if key in ("erase", *"0123456789"):
        return Trigger.TYPED, key
    if key == "enter":
        names = list(talk.library.procedures)
        number = int(talk.said.typed) if talk.said.typed else 0
        return (Trigger.CHOSEN, names[number - 1]) if 1 <= number <= len(names) else (Trigger.NO_INPUT, None)
    simple = {
        "minus": Trigger.DENY,
        "star": Trigger.CHOICES,
        "slash": Trigger.STAND_BY,
        "stop": Trigger.STOP,
        "close": Trigger.CLOSE,
    }
    return simple.get(key, Trigger.UNEXPECTED), "keypad"


def crank_key(talk: Talk) -> tuple[Trigger | None, object]:
    if talk.work.step is not None and talk.work.step.measure.engine is Engine.CRANKING:
        return Trigger.CRANK_BEGINS, "keypad"
    return Trigger.UNEXPECTED, None


def classify_number_key(talk: Talk, key: str) -> tuple[Trigger | None, object]:
    if key == "erase" and not talk.said.typed and talk.state is State.ASKING:
        return Trigger.WHY, "keypad"
    if key in ("point", "erase", *"0123456789"):
        return Trigger.TYPED, key
    if key == "minus":
        return (Trigger.TYPED if talk.said.typed else Trigger.CORRECTION), key
    if key != "enter":
        return Trigger.UNEXPECTED, None
    typed = talk.said.typed
    if not typed:
        return crank_key(talk)
    if typed == ".":
        return Trigger.NOT_SURE, "keypad"
    try:
        value = Decimal(typed)
    except InvalidOperation:
        return Trigger.TYPED, "minus"
    return classify_result(talk, Result(value=value), how="keypad", words=typed)


# --- triggers to actions ----------------------------------------------------------------------


def handle(talk: Talk, trigger: Trigger, payload: object) -> State:
    answers = (Trigger.RESULT, Trigger.TYPED, Trigger.WRONG_PLACE, Trigger.NO_ANSWER, Trigger.IMPLAUSIBLE)
    if talk.awaited.offered and talk.state is State.READING_BACK and trigger in answers:
        # The step itself has not been released: what it shows now was not asked for yet.
        talk.remark("not now", f"{trigger} at an earlier result")
        talk.say("Affirm to keep it, negative to measure again.", Speech.HELP)
        return talk.state
    handler = globals()["on_" + trigger.name.lower()]
    state: State = handler(talk, payload)
    return state


def on_begin(talk: Talk, payload: object) -> State:
    assert isinstance(payload, Began)  # noqa: S101
    name = talk.library.procedure(payload.procedure).name
    for typed in payload.facts:
        if typed.fact in talk.library.terms.facts and typed.value:
            given = FactGiven(typed.fact, typed.value, typed.unit, TYPED, typed.value, 1.0, TYPED, None)
            talk.facts.given[typed.fact] = given
            talk.note(given)
    return enter_procedure(talk, name, came_from=None)


def on_resume(talk: Talk, _payload: object) -> State:
    talk.note(ModeChanged("resumed", "the session was interrupted"))
    talk.cautions = Cautions()
    talk.said.owed = ""
    talk.gear.deaf.clear()  # what is missing now will be reported again
    talk.gear.mute = False
    talk.gear.lost.clear()
    cranking = talk.crank.began is not None
    if cranking:  # nobody knows how long it was
        talk.crank.began = None
        talk.crank.counted = False
        talk.stop_crank(timed=False)
    talk.awaited.note_running = False
    talk.awaited.pending = None
    talk.work.interrupted = True
    talk.said.prefix = f"{STOP_CRANKING} Key off. Session resumed." if cranking else "Session resumed."
    return return_to_work(talk)


def on_end(talk: Talk, payload: object) -> State:
    talk.stop_crank(timed=True)
    if talk.awaited.note_running:
        talk.do(EndNote())
    talk.do(CutSpeech())
    talk.note(ModeChanged("closed", str(payload)))
    talk.do(Finish("verdict" if talk.work.verdict else "unfinished"))
    return State.FINISHED


def on_spoken(talk: Talk, payload: object) -> State:
    if talk.state is State.NOTING:
        talk.awaited.note_running = True
        talk.do(RecordNote(talk.limits.note_s))
        return State.NOTING
    if payload:  # the caution was cut: it has not been given, so it is said again
        return say_cautions(talk)
    return cautions_given(talk, by="spoken")


def on_acknowledge(talk: Talk, payload: object) -> State:
    names = tuple(name for name, _ in talk.cautions.due)
    talk.cautions.acknowledged.update(names)
    procedure, step = talk.position
    talk.note(CautionAcknowledged(names, procedure, step, str(payload)))
    return next_cautions(talk)


def on_result(talk: Talk, payload: object) -> State:
    assert isinstance(payload, Pending)  # noqa: S101
    step = talk.step
    talk.said.typed = ""
    talk.said.message = ""
    stop_first = talk.state is State.CRANKING
    if talk.state in (State.ASKING, State.CRANKING) and step.measure.engine is Engine.CRANKING:
        talk.stop_crank(timed=stop_first)
    talk.said.heard = payload.words if payload.how == "voice" else result_words(talk, payload)
    spoken = wording.read_back(talk.library, step, payload.answer, payload.value, payload.unit)
    if stop_first:
        spoken = f"{STOP_CRANKING} {spoken}"
    acceptance = grade(step, payload.answer, payload.confidence, talk.limits)
    if talk.state is State.READING_BACK or acceptance is Acceptance.AFFIRM:
        talk.awaited.pending = payload
        talk.said.prefix = ""
        return read_back(talk, spoken)
    talk.said.prefix = spoken if acceptance is Acceptance.READ_BACK else (STOP_CRANKING if stop_first else "")
    return commit(talk, payload, acceptance)


def on_wrong_place(talk: Talk, payload: object) -> State:
    said = talk.library.terms.places.get(str(payload))
    words = said.short if said else str(payload).replace("-", " ")
    here = wording.place_words(talk.library, talk.step)
    talk.remark("wrong place", f"{words} was said at the {here}: {talk.said.heard}")
    text = f"You said {words}. This test is on the {here}."
    if here in ("unplugged", "comparison"):
        text = f"You said {words}. This test is the {here} test."
    talk.said.message = text
    talk.say(f"{text} {asked(talk)}", Speech.HELP)
    return talk.state


def on_no_answer(talk: Talk, payload: object) -> State:
    """Something was said that a lamp can show, but that is no answer to this step."""
    talk.remark("no answer here", str(payload))
    text = f"{str(payload).capitalize()} is no answer here."
    talk.said.message = text
    talk.say(f"{text} {asked(talk)}", Speech.HELP)
    return talk.state


def on_implausible(talk: Talk, payload: object) -> State:
    talk.said.typed = ""
    talk.remark("implausible", str(payload))
    if talk.facts.asked is not None:
        talk.facts.asked.typed, talk.facts.asked.waiting = "", None
        talk.said.message = str(payload)
        talk.say(f"{payload} {talk.facts.asked.inquiry.question}", Speech.HELP)
        return State.INQUIRING
    low, high = talk.step.reading.plausible if talk.step.reading else (Decimal(0), Decimal(0))
    unit = talk.step.reading.unit if talk.step.reading else "V"
    text = f"{payload} is outside {wording.span_words(low, high, unit)}. Measure again."
    if talk.must_rest():
        text += f" {talk.rest_words()} before you crank again."
    talk.said.message = text
    talk.say(text, Speech.HELP)
    return talk.state


def on_no_match(talk: Talk, payload: object) -> State:
    words = payload.words if isinstance(payload, NoMatch) else ""
    talk.remark("not understood", words)
    if talk.state in (State.STANDING_BY, State.RESTING) or talk.gear.deaf:
        return talk.state  # talk beside the session is no reason to speak up
    talk.awaited.counters.no_match += 1
    talk.said.message = "Not understood."
    short, keys = helped(talk)
    text = tapered(
        {1: "Say again.", 2: f"Say again: {short}", 3: f"Use the keys. {keys}"},
        talk.awaited.counters.no_match,
    )
    talk.say(text, Speech.HELP)
    return talk.state


def on_no_input(talk: Talk, _payload: object) -> State:
    talk.awaited.counters.no_input += 1
    short, keys = helped(talk)
    if talk.state is State.CRANKING:
        return talk.state
    patience = 1 if talk.state is State.STANDING_BY else 2
    if talk.awaited.counters.no_input > patience:  # someone is busy: stay ready, be quiet
        talk.said.message = "Waiting."
        return talk.state
    text = tapered({1: short, 2: f"{short} Or use the keys. {keys}"}, talk.awaited.counters.no_input)
    talk.say(text, Speech.HELP)
    return talk.state


def on_affirm(talk: Talk, _payload: object) -> State:
    if talk.facts.asked is not None:
        return take_fact(talk, talk.facts.asked.given(Acceptance.AFFIRM.value))
    assert talk.awaited.pending is not None  # noqa: S101
    pending, talk.awaited.pending = talk.awaited.pending, None
    talk.said.prefix = ""
    return commit(talk, pending, Acceptance.AFFIRM)


def on_deny(talk: Talk, _payload: object) -> State:
    if talk.state is State.SKIPPING:
        return return_to_work(talk)
    if talk.state is State.CHOOSING:
        return not_chosen(talk)
    if talk.facts.asked is not None:
        return fact_denied(talk, talk.facts.asked)
    talk.remark("read-back denied", talk.said.heard)
    talk.awaited.pending = None
    if talk.awaited.offered:
        forget_aside(talk)
        return cautions_due(talk, offer=False)
    talk.said.heard = ""
    talk.said.prefix = "Not taken."
    return ask(talk, Ask.QUESTION)


def on_correction(talk: Talk, payload: object) -> State:
    if talk.state in (State.READING_BACK, State.SKIPPING, State.CHOOSING):
        return on_deny(talk, payload)
    if talk.facts.asked is not None and part_taken_back(talk, talk.facts.asked):
        return State.INQUIRING
    last_fact = talk.facts.answered[-1] if talk.facts.answered else None
    if last_fact and last_fact.after is talk.past.trail.last:
        return fact_taken_back(talk, last_fact.fact, str(payload))
    if not talk.past.trail:
        talk.said.message = "Nothing to take back."
        talk.said.prefix = "Nothing to take back."
        return before_step(talk, offer=False) if talk.state is State.RESTING else stay(talk)
    talk.stop_crank(timed=True)
    if talk.work.set_up:  # it was spoken, so it may be connected already and comes off first
        talk.work.connected = talk.step.measure
    last = talk.past.trail.pop()
    talk.work.paused = last.paused
    talk.work.visits = last.visits
    talk.note(ResultUndone(last.number, last.procedure, last.step, str(payload)))
    taken = talk.library.step(last.procedure, last.step)
    words = (
        wording.read_back(talk.library, taken, last.pending.answer, last.pending.value, last.pending.unit)
        if last.pending
        else "Skipped test."
    )
    talk.said.prefix = f"Taken back. {words}"
    talk.work.verdict = talk.work.led_back = None
    talk.said.heard = ""
    if last.procedure != talk.procedure.name:
        talk.work.procedure = talk.library.procedures[last.procedure]
    return enter_step(talk, last.step, offer=False)


def stay(talk: Talk) -> State:
    """Say the prefix and the present question again."""
    if talk.state is State.ASKING:
        return ask(talk, Ask.QUESTION)
    if talk.state is State.INQUIRING and talk.facts.asked is not None:
        return inquire(talk)
    talk.say(talk.said.take_prefix() or talk.said.prompt, Speech.HELP)
    return talk.state


def on_say_again(talk: Talk, _payload: object) -> State:
    match talk.state:
        case State.ASKING:
            return ask(talk, Ask.AGAIN)
        case State.INQUIRING:
            return inquire(talk)
        case State.ACKNOWLEDGING:
            return say_cautions(talk)
        case State.RESTING:
            return rest(talk)
        case _:
            talk.say(talk.said.prompt, Speech.PROMPT)
            return talk.state


def on_choices(talk: Talk, _payload: object) -> State:
    short, keys = helped(talk)
    if talk.state is State.CHOOSING:
        short, keys = "", numbered_procedures(talk)
    if talk.state is State.ASKING and talk.step.reading is not None:
        # On a number every digit is a digit, so this key is also the way to hear the step again.
        setup = wording.setup(talk.library, talk.step, talk.work.connected, whole=True)
        short = " ".join((*setup, *to_do(talk, setup), short))
    why = "Say why for the reasons." if talk.state is State.ASKING else ""
    talk.say(" ".join(filter(None, (short, keys, why))), Speech.HELP)
    return talk.state


def on_why(talk: Talk, _payload: object) -> State:
    talk.say(why(talk), Speech.HELP)
    return talk.state


def on_not_sure(talk: Talk, _payload: object) -> State:
    if talk.facts.asked is not None:
        inquiry = talk.facts.asked.inquiry
        talk.remark("not sure", inquiry.name)
        talk.facts.asked.typed = ""
        help_text = (inquiry.look_for, inquiry.question, "Or leave blank.")
        talk.say(" ".join(filter(None, help_text)), Speech.HELP)
        return State.INQUIRING
    step = talk.step
    talk.awaited.counters.not_sure += 1
    talk.said.typed = ""
    talk.remark("not sure", talk.said.heard)
    cranking = talk.state is State.CRANKING
    talk.stop_crank(timed=cranking)
    parts = [STOP_CRANKING] if cranking else []
    parts.append(step.look_for or "Repeat the test.")
    if talk.awaited.counters.not_sure > 1:
        parts.append(
            "Or skip this test, or stand by and use another tool." if step.if_skipped else "Or stand by."
        )
    talk.crank.counted = False
    if talk.must_rest():
        parts.append(f"{talk.rest_words()} before you crank again.")
    parts.append("Then answer again.")
    parts.append(wording.question(talk.library, step))
    talk.say(" ".join(parts), Speech.HELP)
    return State.ASKING


def on_stand_by(talk: Talk, _payload: object) -> State:
    return pause(talk, "Standing by. Say go ahead, or press Enter.", "stand by", "asked for", Speech.NOTICE)


def on_stop(talk: Talk, _payload: object) -> State:
    return pause(talk, "Stop. Key off.", "stop", "stop was said or keyed", Speech.STOP)


def pause(talk: Talk, text: str, mode: str, why: str, kind: Speech) -> State:
    if talk.state is State.CRANKING and kind is not Speech.STOP:
        text, kind = f"{STOP_CRANKING} Key off. {text}", Speech.STOP
    # Who shouts stop at a step that cranks may well be cranking, also when nobody announced it.
    unannounced = mode == "stop" and talk.state is State.ASKING
    talk.stop_crank(timed=not unannounced)
    talk.do(CancelTimer(REST_TIMER))
    if talk.awaited.note_running:
        talk.do(EndNote())
    talk.do(CutSpeech())
    talk.note(ModeChanged(mode, why))
    talk.awaited.pending = None
    talk.said.typed = ""
    talk.said.message = ""
    talk.awaited.counters = Counters()
    if talk.facts.asked is not None:  # signs that were spelled are kept
        talk.facts.asked.code, talk.facts.asked.typed, talk.facts.asked.waiting = "", "", None
    talk.say(text, kind, can_be_cut=False)
    talk.said.prompt = "Standing by. Say go ahead, or press Enter. To end: close session."
    return State.STANDING_BY


def on_go_ahead(talk: Talk, _payload: object) -> State:
    if talk.state is State.STANDING_BY:
        talk.note(ModeChanged("go ahead", "asked for"))
        talk.work.interrupted = True
        return return_to_work(talk)
    if talk.work.led_back is not None:
        return come_back(talk, talk.work.paused[-1]) if talk.work.paused else conclude(talk)
    verdict = talk.procedure.verdicts[talk.work.verdict or ""]
    if not talk.work.affirmed:
        talk.work.affirmed = True
        talk.note(VerdictReached(talk.procedure.name, verdict.name, affirmed=True))
        return conclude(talk)
    if verdict.continue_with:
        talk.work.verdict = None
        return hand_over(talk, verdict.continue_with)
    if talk.work.paused:
        return come_back(talk, talk.work.paused[-1])
    return conclude(talk)  # nothing to go on with; a session is only ever closed by closing it


def on_close(talk: Talk, payload: object) -> State:
    if talk.state in (State.STANDING_BY, State.CONCLUDING):
        return finish(talk)
    return pause(
        talk,
        "Standing by. To end the session, say close session again. To go on, say go ahead.",
        "stand by",
        f"close was asked for by {payload}",
        Speech.NOTICE,
    )


def finish(talk: Talk) -> State:
    talk.say("Session closed. The write-up is ready.", Speech.NOTICE)
    talk.note(ModeChanged("closed", "asked for"))
    talk.do(Finish("verdict" if talk.work.verdict else "closed"))
    return State.FINISHED


def on_note(talk: Talk, _payload: object) -> State:
    if "microphone" in talk.gear.deaf:
        talk.say("No microphone, so no voice note.", Speech.HELP)
        return talk.state
    talk.awaited.note_from = talk.state
    talk.awaited.note_running = False
    if talk.state is State.RESTING:
        talk.do(CancelTimer(REST_TIMER))
    talk.say("Voice note. Speak now. Enter ends it.", Speech.NOTICE)
    return State.NOTING


def on_end_note(talk: Talk, _payload: object) -> State:
    if talk.awaited.note_running:
        talk.do(EndNote())
    return State.NOTING


def on_note_ended(talk: Talk, payload: object) -> State:
    assert isinstance(payload, NoteRecorded)  # noqa: S101
    procedure, step = talk.position
    talk.note(VoiceNoteTaken(payload.clip.file, payload.clip.duration_s, procedure, step))
    talk.awaited.note_running = False
    if talk.state is not State.NOTING:
        return talk.state
    talk.said.prefix = "Note kept."
    return after_note(talk)


def after_note(talk: Talk) -> State:
    """Back to where the note was asked for."""
    if talk.awaited.note_from is State.STANDING_BY:
        talk.say(f"{talk.said.take_prefix()} Standing by.", Speech.NOTICE)
        return State.STANDING_BY
    if talk.awaited.note_from is State.RESTING:
        return release(talk)
    if talk.awaited.note_from is State.CONCLUDING or talk.facts.asked is not None:
        return return_to_work(talk)
    return ask(talk, Ask.QUESTION)


def on_skip(talk: Talk, _payload: object) -> State:
    if talk.step.if_skipped is None:
        talk.remark("cannot skip", "")
        talk.said.message = "This test cannot be skipped."
        talk.say("This test cannot be skipped. Do it, or stand by.", Speech.HELP)
        return talk.state
    if talk.state is State.RESTING:
        talk.do(CancelTimer(REST_TIMER))
    talk.say(f"Skip this test. Why? {wording.numbered(REASONS.values())}", Speech.PROMPT)
    return State.SKIPPING


def on_reason(talk: Talk, payload: object) -> State:
    step = talk.step
    assert step.if_skipped is not None  # noqa: S101
    reason = REASONS[str(payload)]
    talk.note(StepSkipped(talk.procedure.name, step.name, reason, str(step.if_skipped)))
    talk.past.trail.append(
        Trail(
            talk.procedure.name,
            step.name,
            0,
            None,
            None,
            paused=talk.work.paused,
            visits=talk.work.visits,
        )
    )
    talk.said.prefix = f"Skipped, {reason}."
    return go(talk, step.if_skipped)


def on_crank_begins(talk: Talk, _payload: object) -> State:
    if talk.turn.at < talk.crank.rested_at:
        talk.said.prefix = "Not yet."
        talk.do(CancelTimer(REST_TIMER))
        return rest(talk)
    if talk.state is State.RESTING:
        return on_rested(talk, None)
    talk.crank.began = talk.turn.at
    talk.crank.counted = False
    talk.said.message = ""
    talk.do(CutSpeech())
    talk.do(StartTimer(CRANK_TIMER, talk.limits.crank_s))
    return State.CRANKING


def on_crank_limit(talk: Talk, _payload: object) -> State:
    talk.stop_crank(timed=True)
    talk.crank.counted = True
    talk.say_lines((STOP_CRANKING, put(talk)))
    talk.said.message = STOP_CRANKING
    return State.ASKING


def on_rested(talk: Talk, _payload: object) -> State:
    talk.said.prefix = "Rest is over."
    return ask(talk, Ask.ACT)


def on_typed(talk: Talk, payload: object) -> State:
    key = str(payload)
    if talk.state is State.CHOOSING:
        talk.said.typed = talk.said.typed[:-1] if key == "erase" else (talk.said.typed + key)[-2:]
        talk.said.message = ""
        talk.do(CutSpeech())
        return State.CHOOSING
    if talk.facts.asked is not None:
        return fact_typed(talk, talk.facts.asked, key)
    if talk.state is State.READING_BACK:
        talk.awaited.pending = None
        talk.said.typed = ""
        talk.do(CutSpeech())
        talk.said.prompt = wording.question(talk.library, talk.step)
    if key == "erase":
        talk.said.typed = talk.said.typed[:-1]
    elif key == "minus":
        talk.said.typed = ""
    elif key == "point" and "." in talk.said.typed:
        pass
    elif len(talk.said.typed) < talk.limits.longest_number:
        talk.said.typed += "." if key == "point" else key
    talk.said.message = ""
    if talk.state is State.ASKING:
        talk.do(CutSpeech())
    return State.CRANKING if talk.state is State.CRANKING else State.ASKING


def on_too_loud(talk: Talk, payload: object) -> State:
    if "noise" in talk.gear.deaf:
        return talk.state
    talk.gear.deaf.add("noise")
    level = f"noise {payload.noise_db:.0f} dB" if isinstance(payload, NoiseChanged) else "noise"
    talk.note(ModeChanged("keypad only", f"too loud to hear, {level}"))
    talk.said.message = "Too loud to hear you. Use the keys."
    if talk.state not in _UNDISTURBED:
        talk.say(f"Too loud to hear you. Use the keys. {helped(talk)[1]}", Speech.NOTICE)
    else:
        talk.said.owed = "Too loud to hear you. Use the keys."
    return talk.state


def on_quiet_again(talk: Talk, payload: object) -> State:
    if "noise" not in talk.gear.deaf:
        return talk.state
    talk.gear.deaf.discard("noise")
    talk.said.owed = ""
    level = f"noise {payload.noise_db:.0f} dB" if isinstance(payload, NoiseChanged) else "noise"
    talk.note(ModeChanged("voice again", level))
    talk.said.message = ""
    if talk.state not in (State.CAUTIONING, State.NOTING, State.CRANKING, State.STANDING_BY):
        talk.say("I can hear you again.", Speech.NOTICE)
    return talk.state


def on_gear_lost(talk: Talk, payload: object) -> State:
    assert isinstance(payload, GearLost)  # noqa: S101
    mode = _RECORD_MODES.get(payload.gear, f"{payload.gear} lost")
    talk.note(ModeChanged(mode, payload.why))
    told = payload.gear in _RECORD_NOTICES
    if told:
        talk.said.message = payload.why
    elif talk.limits.rules > OLD_RULES:
        # Not in the message, which the next one replaces: the loss of one thing must not hide that of another.
        talk.gear.lost.pop(payload.gear, None)
        talk.gear.lost[payload.gear] = payload.why
        talk.said.message = ""
    else:
        talk.said.message = f"No {payload.gear}: {payload.why}"
    if payload.gear == "microphone":
        talk.gear.deaf.add("microphone")
    if payload.gear == "speaker":
        talk.gear.mute = True
        if talk.state is State.CAUTIONING:
            return cautions_given(talk, by="shown")
    elif payload.gear == "microphone" and talk.state is State.NOTING:
        talk.awaited.note_running = False
        talk.said.prefix = "No microphone. The note was not kept. Use the keys."
        return after_note(talk)
    else:
        text = _GEAR_NOTICES.get(payload.gear, "No keys. Voice only.")
        if talk.state in _UNDISTURBED:
            talk.said.owed = text
        else:
            more = helped(talk)[1] if payload.gear == "microphone" else ""
            talk.say(f"{text} {more}".strip(), Speech.NOTICE)
            if told:
                talk.said.message = payload.why  # with the place, also where nothing can be spoken
    return talk.state


def on_gear_back(talk: Talk, payload: object) -> State:
    assert isinstance(payload, GearBack)  # noqa: S101
    talk.note(ModeChanged(f"{payload.gear} back", "it works again"))
    talk.said.message = f"The {payload.gear} is back."
    talk.gear.lost.pop(payload.gear, None)
    talk.gear.deaf.discard(payload.gear)
    if payload.gear == "speaker":
        talk.gear.mute = False
    if talk.state not in _UNDISTURBED:
        talk.say(f"The {payload.gear} is back.", Speech.NOTICE)
    return talk.state


# --- moving through procedures ----------------------------------------------------------------


def hand_over(talk: Talk, name: str) -> State:
    """Go on with another procedure; where it was done before, say what is new since then, or stop."""
    came_from = talk.procedure.name
    if came_from == AFTER_REPAIR:
        talk.work.visits = Visits()
    talk.work.again_in = ""
    talk.work.visits = talk.work.visits.leaving(came_from, talk.past.results)
    before = talk.work.visits.of(name)
    if before is not None and name != AFTER_REPAIR and talk.limits.rules > OLD_RULES:
        new = new_since(talk.past.trail.measured(), before[1])
        if not new or (came_from, name) in talk.work.visits.returned:
            return stop_circle(talk, name)
        talk.work.visits = talk.work.visits.returning(came_from, name)
        talk.work.again_in = name
        told = wording.new_since([result_of(talk, past, tuple(new[-2:])) for past in new[-2:]])
        talk.said.add_prefix(told)
    return enter_procedure(talk, name, came_from)


def stop_circle(talk: Talk, back_to: str) -> State:
    """The tests lead back to where they were: stop, name no part, and say what a person does next."""
    assessment = assess(talk)
    best = assessment.best_test() if assessment else None
    done = [
        past for past in reversed(talk.past.trail.measured()) if not past.kept and past.measure is not None
    ]
    last = next((past for past in done if past.measure and past.measure.instrument not in SENSES), done[0])
    repeated = wording.named_test(talk.library, talk.library.step(last.procedure, last.step))
    follows = (
        wording.next_safe_test(wording.named_test(talk.library, best[0]))
        if best
        else wording.repeat_last(repeated)
    )
    talk.work.led_back = LedBack(talk.procedure.name, back_to, wording.LED_BACK, follows)
    talk.note(talk.work.led_back)
    return conclude(talk)


def enter_procedure(talk: Talk, name: str, came_from: str | None) -> State:
    if came_from is None:  # the person asks for it, so nothing of before counts as a round
        talk.work.visits = Visits()
    talk.work.visits = talk.work.visits.entering(name, talk.past.results)
    talk.work.procedure = talk.library.procedures[name]
    talk.note(ProcedureEntered(name, came_from))
    intro = wording.procedure_intro(talk.library.terms, talk.work.procedure, alone=came_from is None)
    talk.said.add_prefix(intro)
    return enter_step(talk, talk.work.procedure.start)


def enter_step(talk: Talk, name: str, *, offer: bool = True) -> State:
    talk.work.step = talk.procedure.steps[name]
    talk.awaited.counters = Counters()
    talk.awaited.pending = None
    talk.said.typed = ""
    talk.crank.counted = False
    talk.work.set_up = False
    talk.facts.asked = None
    return before_step(talk, offer=offer)


def before_step(talk: Talk, *, offer: bool) -> State:
    """Is the lamp in use fit for it, is a fact to be asked for; then what else comes before a step."""
    talk.facts.offer = offer
    if talk.facts.asked is None:
        measure = talk.step.measure
        refused = lamp_refused(measure, talk.facts.value("lamp-kind"), talk.numbers().get("lamp-current"))
        if refused:
            talk.remark("lamp refused", refused)
            talk.said.message = refused
            talk.said.add_prefix(refused)
            forget_lamp(talk, "lamp refused")
        due = next((name for name in due_facts(talk) if name not in talk.facts.given), None)
        if due is not None:
            talk.facts.asked = Asked(talk.library.terms.facts[due])
    if talk.facts.asked is not None:
        if talk.facts.asked.full:
            return complete(talk, talk.facts.asked)
        return inquire(talk)
    return cautions_due(talk, offer=offer)


def due_facts(talk: Talk) -> tuple[str, ...]:
    """Facts that are needed here, in the order in which they are asked for."""
    return (*talk.facts.again, *talk.procedure.asks, *talk.step.asks)


def cautions_due(talk: Talk, *, offer: bool) -> State:
    """What comes before a step: an earlier result of the same measurement, cautions, rest, or nothing."""
    step = talk.step
    if offer:
        earlier = same_measurement(talk, step)
        if earlier:
            talk.awaited.pending = earlier
            talk.awaited.offered = True
            words = wording.read_back(talk.library, step, earlier.answer, earlier.value, earlier.unit)
            return read_back(talk, f"Already measured. {words}")
    talk.awaited.offered = False
    groups: dict[bool, list[tuple[str, str]]] = {False: [], True: []}
    for name in dict.fromkeys([*talk.procedure.cautions, *step.cautions]):
        caution = talk.library.cautions[name]
        last = talk.cautions.given.get(name)
        own = name in step.cautions  # those of the whole procedure are given once
        if last is None or (own and talk.turn.at - last > talk.limits.caution_again_s):
            groups[own].append((name, "full"))
        elif own and wording.never_skipped(caution):
            groups[own].append((name, "short"))
    # Before the work and before the step are two things, so they are said and acknowledged apart.
    first, second = (tuple(groups[False]), tuple(groups[True]))
    talk.cautions.due, talk.cautions.later = (first, second) if first else (second, ())
    if talk.cautions.due:
        return say_cautions(talk)
    return release(talk)


def next_cautions(talk: Talk) -> State:
    """One group is behind: the next one, or the step itself."""
    if talk.cautions.later:
        talk.cautions.due, talk.cautions.later = talk.cautions.later, ()
        return say_cautions(talk)
    return release(talk)


def same_measurement(talk: Talk, step: Step) -> Pending | None:
    """An earlier result of exactly this measurement in another step of the session, if one counts."""
    # What was set aside comes before what counts; it is of the same step when the way is the same again.
    aside = [past for past in reversed(talk.past.aside) if past.measure == step.measure]
    # What counts of this very step does not: it is repeated on purpose.
    counts = talk.past.trail.same_measurement(step.measure, besides=talk.position)
    for past in chain(aside, counts):
        pending = past.pending
        if pending is None or outdated(talk, past):
            continue
        if pending.value is not None and step.reading is not None and pending.unit is not None:
            base = wording.convert(pending.value, pending.unit, step.reading.unit)
            if base is None or not step.reading.plausible[0] <= base <= step.reading.plausible[1]:
                continue
            judged_as, judged = judge(talk, step.reading, base)
            if judged_as is None:
                continue
            return replace(pending, answer=judged_as, judged=judged)
        if pending.value is None and step.reading is not None:  # the meter showed that it was over its range
            return replace(pending, answer=step.reading.bands[-1])
        answer = step.answer(pending.answer.outcome)
        if answer is not None and pending.value is None:
            return replace(pending, answer=answer)
    return None


def outdated(talk: Talk, past: Trail) -> bool:
    """Whether a procedure that is done again measures this anew: it is older, and newer results contradict it."""
    visit = talk.work.visits.of(talk.procedure.name)
    if visit is None or talk.work.again_in != talk.procedure.name or past.number > visit[0]:
        return False
    assessment = assess(talk)
    measured = talk.past.trail.measured()
    return assessment is not None and past in measured and assessment.contradicted(measured.index(past))


def say_cautions(talk: Talk) -> State:
    texts = [wording.caution_text(talk.library.cautions[name], form) for name, form in talk.cautions.due]
    text = " ".join(filter(None, (talk.said.take_prefix(), *texts)))
    if talk.gear.mute or needs_acknowledgement(talk):
        text += " Say ready, or press Enter."
    talk.say(text, Speech.CAUTION, can_be_cut=False)
    if talk.gear.mute:
        return cautions_given(talk, by="shown")
    return State.CAUTIONING


def needs_acknowledgement(talk: Talk) -> bool:
    return any(
        talk.library.cautions[name].acknowledge and name not in talk.cautions.acknowledged
        for name, _ in talk.cautions.due
    )


def cautions_given(talk: Talk, *, by: str) -> State:
    procedure, step = talk.position
    for name, form in talk.cautions.due:
        talk.cautions.given[name] = talk.turn.at
        talk.note(
            CautionGiven(name, form if by == "spoken" else f"{form}, shown on the screen", procedure, step)
        )
    if by == "shown" or needs_acknowledgement(talk):
        return State.ACKNOWLEDGING
    return next_cautions(talk)


def release(talk: Talk) -> State:
    """The cautions are behind: rest the starter if it needs it, else ask."""
    if talk.must_rest():
        return rest(talk)
    return ask(talk, Ask.AGAIN if talk.work.interrupted else Ask.ALL)


def rest(talk: Talk) -> State:
    sentences = wording.setup(talk.library, talk.step, talk.work.connected)
    text = (talk.said.take_prefix(), *sentences, "Do not crank yet.", f"{talk.rest_words()}.")
    talk.say_lines(text)
    talk.do(StartTimer(REST_TIMER, talk.crank.rested_at - talk.turn.at))
    return State.RESTING


def put(talk: Talk) -> str:
    """The question of the step, with the digits when only keys can answer."""
    step = talk.step
    return (
        wording.keyed_choices(talk.library, step) if talk.gear.deaf else wording.question(talk.library, step)
    )


def to_do(talk: Talk, setup: tuple[str, ...]) -> tuple[str, ...]:
    """What to do with key and engine after this setup; never "crank" while the starter rests."""
    if talk.must_rest():
        return (f"{talk.rest_words()} before you crank again.",)
    return wording.act(talk.library, talk.step, setup)


def asked(talk: Talk) -> str:
    """What the person is to answer now: the read-back, or the question of the step."""
    if talk.state is State.READING_BACK:
        return talk.said.prompt
    return wording.question(talk.library, talk.step)


def ask(talk: Talk, part: Ask) -> State:
    """Say a step, or what of it is needed now; the screen always shows what is to be connected as well."""
    step, question = talk.step, put(talk)
    prefix = talk.said.take_prefix()
    setup = wording.setup(talk.library, step, talk.work.connected, whole=part is Ask.AGAIN)
    talk.work.interrupted = False
    if part is Ask.QUESTION:
        talk.say_lines((prefix, question), shown=(prefix, *setup, question))
        return State.ASKING
    act = to_do(talk, setup)
    if lamp_faint(step.measure, talk.numbers().get("lamp-current")):
        act = (*act, SHADE)
    if step.measure.engine is Engine.CRANKING and not talk.crank.explained:
        talk.crank.explained = True
        act = (*act, "Say cranking now, or press Enter, when it turns.")
    spoken = (*act, question) if part is Ask.ACT else (*setup, *act, question)
    talk.say_lines((prefix, *spoken), shown=(prefix, *setup, *act, question))
    return State.ASKING


def read_back(talk: Talk, text: str) -> State:
    """Speak a pending result back, with what it would lead to when that is costly, and wait for a yes."""
    parts = list(filter(None, (talk.said.take_prefix(), text, judged_words(talk))))
    target = talk.awaited.pending.answer.target if talk.awaited.pending else None
    doubt = doubted(talk, talk.awaited.pending) if talk.awaited.pending else None
    if doubt and doubt.why is not Why.MISFIT:
        pass  # what it leads to is said when the result that is asked again first has been measured
    elif doubt and not doubt.rare:
        parts.append("That does not fit the results before.")
    elif target and target.leads is Leads.VERDICT:
        parts.append(wording.would_mean(talk.procedure.verdicts[target.name]))
    elif target and target.leads is Leads.PROCEDURE:
        parts.append(f"Next would be: {talk.library.procedures[target.name].title}.")
    if talk.awaited.offered:
        parts.append("Affirm to keep it, negative to measure again.")
    else:
        parts.append("Affirm or negative?")
    talk.say(" ".join(parts), Speech.READ_BACK)
    return State.READING_BACK


def commit(talk: Talk, pending: Pending, acceptance: Acceptance) -> State:
    step, procedure = talk.step, talk.procedure
    talk.past.results += 1
    kept = KEPT if talk.awaited.offered else ""
    talk.awaited.offered = False
    talk.note(
        ResultTaken(
            number=talk.past.results,
            procedure=procedure.name,
            step=step.name,
            outcome=pending.answer.outcome,
            value=pending.value,
            unit=pending.unit,
            how=pending.how,
            words=pending.words + kept,
            confidence=pending.confidence,
            snr_db=pending.snr_db,
            confirmed=acceptance.value,
            clip=pending.clip,
            next=str(pending.answer.target),
            judged=pending.judged,
        )
    )
    talk.past.trail.append(
        Trail(
            procedure.name,
            step.name,
            talk.past.results,
            step.measure,
            pending,
            acceptance.value,
            kept=bool(kept),
            paused=talk.work.paused,
            visits=talk.work.visits,
        )
    )
    if not kept:
        talk.work.connected = step.measure
    forget_aside(talk)
    doubt = sum_doubt(talk) or doubted(talk)
    if doubt:
        return ask_again(talk, doubt)
    return go(talk, pending.answer.target)


def go(talk: Talk, target: Target) -> State:
    if target.leads is Leads.STEP:
        return enter_step(talk, target.name)
    if target.leads is Leads.PROCEDURE:
        return hand_over(talk, target.name)
    talk.work.verdict = target.name
    # An answer that ends in a verdict was affirmed together with it; a skipped test was not.
    talk.work.affirmed = bool(talk.past.trail.last and talk.past.trail.last.number)
    talk.note(VerdictReached(talk.procedure.name, target.name, talk.work.affirmed))
    return conclude(talk)


def conclude(talk: Talk) -> State:
    if talk.work.led_back is not None:
        talk.awaited.counters = Counters()
        text = f"{talk.work.led_back.says} {talk.work.led_back.next} Say close session, or press plus."
        talk.say(" ".join(filter(None, (talk.said.take_prefix(), text))), Speech.VERDICT)
        return State.CONCLUDING
    verdict = talk.procedure.verdicts[talk.work.verdict or ""]
    following = ""
    if verdict.continue_with:
        following = talk.library.procedures[verdict.continue_with].title
    back = (
        "" if following or not talk.work.paused else wording.procedure_short(talk.work.paused[-1].procedure)
    )
    text = " ".join(filter(None, (wording.verdict_text(verdict, following), left_open(talk, verdict))))
    if not talk.work.affirmed:
        text += " Affirm, or say correction."
    else:
        text += f" Go ahead: back to {back}." if back else ""
        end = " Say go ahead, or close session."
        text += end if following or back else " Say close session, or press plus."
    talk.awaited.counters = Counters()
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), text))), Speech.VERDICT)
    return State.CONCLUDING


def return_to_work(talk: Talk) -> State:
    if talk.work.concluded:
        return conclude(talk)
    return before_step(
        talk, offer=talk.awaited.offered or (talk.facts.asked is not None and talk.facts.offer)
    )


# --- what the results say together ------------------------------------------------------------


def assess(talk: Talk, pending: Pending | None = None) -> evidence.Assessment | None:
    """What the results that count say together, perhaps with one that was not taken yet."""
    circuit = talk.procedure.circuit
    if not evidence.known(talk.library, circuit) or too_many(talk, pending):
        return None
    facts = []
    for past in talk.past.trail.measured():
        assert past.pending is not None  # noqa: S101
        facts.append(fact(talk, past.procedure, past.step, past.pending, past.confirmed, kept=past.kept))
    if pending is not None:
        procedure, step = talk.position
        facts.append(fact(talk, procedure, step, pending, Acceptance.AFFIRM.value, kept=talk.awaited.offered))
    return evidence.assess(talk.library, circuit, facts, talk.limits, talk.past.memo)


def too_many(talk: Talk, pending: Pending | None = None) -> bool:
    """Whether more results count than are weighed together."""
    return talk.past.trail.results + (pending is not None) > talk.limits.weighed_results


def fact(
    talk: Talk, procedure: str, step: str, pending: Pending, confirmed: str, *, kept: bool
) -> evidence.Fact:
    outcome = pending.answer.outcome
    return evidence.Fact(
        procedure,
        step,
        outcome,
        evidence.sureness(pending.how, pending.confidence, confirmed, talk.limits),
        kept=kept,
        times=2 if talk.past.before.get((procedure, step)) == outcome else 1,
    )


def doubted(talk: Talk, pending: Pending | None = None) -> Doubted | None:
    """The result to ask again, and why; None when all fits.

    With a result that was not taken yet only whether there is a doubt counts: that result may be either.
    """
    assessment = assess(talk, pending)
    if assessment is None:
        return None
    asked = frozenset(talk.past.asked_again)
    doubt = assessment.doubt(asked)
    measured = talk.past.trail.measured()
    if pending is not None:
        measured.append(Trail(*talk.position, 0, talk.step.measure, pending))
    known = doubt is not None and doubt.explained and talk.limits.rules > OLD_RULES
    if doubt is not None and not known:
        return Doubted(measured[doubt.doubtful], measured[doubt.against], doubt.explained)
    if doubt is not None and pending is None:
        known_pattern(talk, measured[doubt.doubtful], measured[doubt.against])
    target = measured[-1].pending.answer.target if measured and measured[-1].pending else None
    if target is None or target.leads is not Leads.VERDICT:
        return None
    verdict = talk.library.procedures[measured[-1].procedure].verdicts[target.name]
    again = thin(assessment, verdict, asked, talk.limits.part_from)
    return None if again is None else Doubted(measured[again], None, why=Why.PART)


def sum_doubt(talk: Talk) -> Doubted | None:
    """The drop that is measured again because pieces and whole do not add up; None when they do."""
    last = talk.past.trail.last
    if talk.limits.rules == OLD_RULES or last is None or last.measure is None:
        return None
    if last.measure.instrument not in LOADED or too_many(talk):
        return None
    measured = talk.past.trail.measured()
    for found in unequal(drops_of(measured)):
        suspect = found.suspect
        if evidence.measurement_key(suspect.measure) not in talk.past.asked_again:
            named = wording.named_drop(talk.library, suspect.measure)
            text = wording.not_adding_up(found.total, found.whole.volts, named)
            return Doubted(measured[suspect.place], None, why=Why.SUM, text=text)
    return None


def known_pattern(talk: Talk, one: Trail, other: Trail) -> None:
    """Say, once for each two results, that they seldom come together and that a fault is known that gives them."""
    pair = (min(one.number, other.number), max(one.number, other.number))
    if pair not in talk.past.patterns:
        talk.past.patterns.add(pair)
        in_order = (one, other) if one.number < other.number else (other, one)
        words = " ".join(result_of(talk, past, in_order) for past in in_order)
        talk.remark("known pattern", words)
        talk.said.add_prefix(wording.KNOWN_PATTERN)


def ask_again(talk: Talk, doubt: Doubted) -> State:
    """Go back to the doubtful result, once; what came after it is offered again when its step comes."""
    doubtful, against = doubt.doubtful, doubt.against
    assert doubtful.pending is not None  # noqa: S101
    assert doubtful.measure is not None  # noqa: S101
    step = talk.library.step(doubtful.procedure, doubtful.step)
    again = wording.named_test(talk.library, step)
    text = doubt.text or wording.before_part(again)
    if against is not None and not doubt.text:
        in_order = (doubtful, against) if doubtful.number < against.number else (against, doubtful)
        first, second = (result_of(talk, past, in_order) for past in in_order)
        text = wording.misfit((first, second), again, rare=doubt.rare)
    talk.remark(doubt.why.value, text)
    stop = f"{STOP_CRANKING} " if talk.said.prefix.startswith(STOP_CRANKING) else ""
    talk.said.prefix = stop + text
    left = talk.past.trail.back_to(doubtful)
    for past in left:
        how = TAKEN_BACK[doubt.why][past is not doubtful]
        talk.note(ResultUndone(past.number, past.procedure, past.step, how))
    talk.past.aside += [past for past in reversed(left[:-1]) if past.pending is not None]
    talk.past.asked_again.add(evidence.measurement_key(doubtful.measure))
    talk.past.before[doubtful.procedure, doubtful.step] = doubtful.pending.answer.outcome
    talk.said.heard = ""
    talk.work.procedure = talk.library.procedures[doubtful.procedure]
    talk.work.paused = doubtful.paused
    talk.work.visits = doubtful.visits
    return enter_step(talk, doubtful.step, offer=False)


# --- facts that are asked for -----------------------------------------------------------------


def inquire(talk: Talk) -> State:
    """Ask for the fact, with what was spelled of it so far."""
    assert talk.facts.asked is not None  # noqa: S101
    asked = talk.facts.asked
    asked.waiting = None
    if talk.state not in (State.INQUIRING, State.CONFIRMING):
        talk.awaited.counters = Counters()
    so_far = f"So far {len(asked.signs)}, last: {asking.spelled(asked.signs[-3:])}." if asked.signs else ""
    keys = asking.question_keys(asked.inquiry) if talk.gear.deaf else ""
    choices = ""
    if asked.inquiry.kind is FactKind.CHOICE and not keys:
        choices = asking.listed_choices(asked.inquiry)
    how = ""
    if asked.spells and not talk.facts.spelling_explained and not keys:
        talk.facts.spelling_explained = True
        how = "Spell it, a few signs at a time. At the end: that is all."
    parts = (talk.said.take_prefix(), asked.inquiry.question, choices, so_far, how, keys)
    talk.say(" ".join(filter(None, parts)), Speech.PROMPT)
    return State.INQUIRING


def on_signs(talk: Talk, payload: object) -> State:
    assert isinstance(payload, tuple)  # noqa: S101
    assert talk.facts.asked is not None  # noqa: S101
    signs, source = payload
    asked = talk.facts.asked
    if asked.propose(signs):
        return confirm(talk, asked)
    problem = asked.add(signs, source)
    talk.said.message = problem
    if problem:
        talk.remark("not taken", f"{signs}: {problem}")
        talk.say(f"{problem} Correction takes the last back.", Speech.HELP)
        return State.INQUIRING
    if asked.full:
        return complete(talk, asked)
    talk.awaited.counters = Counters()
    text = f"{asking.spelled(signs)}."
    talk.say(f"{text[:1].upper()}{text[1:]}", Speech.READ_BACK)
    return State.INQUIRING


def fact_typed(talk: Talk, asked: Asked, key: str) -> State:
    """A key of a fact; speech is cut, and the screen shows what there is."""
    talk.said.message = talk.said.heard = ""
    if talk.state is State.CONFIRMING and not asked.spells and key == "point":
        return other_unit(talk, asked)
    asked.waiting = None
    talk.do(CutSpeech())
    talk.said.prompt = asked.inquiry.question
    if key == "erase":
        asked.erase()
    elif not asked.spells:
        asked.type(key, talk.limits.longest_number)
    else:
        if asked.propose(key):
            return confirm(talk, asked)
        problem = asked.press(key)
        if problem:
            talk.said.message = problem
            talk.say(problem, Speech.HELP)
        elif asked.full:
            return complete(talk, asked)
    return State.INQUIRING


def other_unit(talk: Talk, asked: Asked) -> State:
    """The same number in the next unit that the fact may have."""
    units = asking.units_of(asked.inquiry)
    waiting = asked.waiting
    if waiting is not None and len(units) > 1:
        unit = units[(units.index(waiting.unit) + 1) % len(units)]
        problem = asking.problem_with(asked.inquiry, Decimal(waiting.value), unit)
        if problem:
            talk.say(problem, Speech.HELP)
            return State.CONFIRMING
        asked.waiting = replace(waiting, unit=unit)
    return confirm(talk, asked)


def on_that_is_all(talk: Talk, _payload: object) -> State:
    assert talk.facts.asked is not None  # noqa: S101
    if not talk.facts.asked.spells:
        talk.say(helped(talk)[0], Speech.HELP)
        return State.INQUIRING
    return complete(talk, talk.facts.asked)


def complete(talk: Talk, asked: Asked) -> State:
    """All signs are there: read the whole back, or say what is wrong with it."""
    problem = asked.complete()
    if not problem:
        return confirm(talk, asked)
    if asked.full:
        talk.remark("check digit", f"{asked.signs}: {where_to_look(asked.signs)}")
        slips = [asking.spoken_repair(one.position, one.read, one.meant) for one in asked.proposals()]
        numbered = [f"{number}: {slip}" for number, slip in enumerate(slips, start=1)]
        where = f"Perhaps {'. '.join(numbered)}. Say which." if numbered else where_to_look(asked.signs)
        talk.said.message = problem if numbered else f"{problem} {where}"
        talk.say(
            " ".join(filter(None, (talk.said.take_prefix(), problem, where, "Or say correction."))),
            Speech.HELP,
        )
        return State.INQUIRING
    talk.said.message = problem
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), problem))), Speech.HELP)
    return State.INQUIRING


def confirm(talk: Talk, asked: Asked) -> State:
    """Read a whole fact back, and wait for a yes."""
    waiting = asked.waiting
    assert waiting is not None  # noqa: S101
    talk.said.typed = asked.typed = ""
    spoken = asking.spoken_value(asked.inquiry, waiting.value, waiting.unit)
    text = f"{asked.inquiry.label}: {spoken}."
    if waiting.repair is not None:
        talk.remark("check digit", f"{asked.signs}: {waiting.repair}")
        slip = asking.spoken_repair(waiting.repair.position, waiting.repair.read, waiting.repair.meant)
        text = f"The check digit does not fit. Perhaps {slip}. Then it is: {spoken}."
    question = "Affirm or negative?"
    talk.say(" ".join(filter(None, (talk.said.take_prefix(), text, question))), Speech.READ_BACK)
    return State.CONFIRMING


def on_fact(talk: Talk, payload: object) -> State:
    assert isinstance(payload, Waiting)  # noqa: S101
    assert talk.facts.asked is not None  # noqa: S101
    asked = talk.facts.asked
    asked.waiting = payload
    asked.typed = ""
    talk.said.message = ""
    sure = payload.source.confidence >= talk.limits.ask_below
    if asked.inquiry.kind is FactKind.CHOICE and sure and talk.state is State.INQUIRING:
        talk.said.prefix = f"{asked.inquiry.label}: {asking.spoken_value(asked.inquiry, payload.value, '')}."
        return take_fact(talk, asked.given(Acceptance.READ_BACK.value))
    return confirm(talk, asked)


def on_blank(talk: Talk, payload: object) -> State:
    assert talk.facts.asked is not None  # noqa: S101
    talk.said.prefix = f"{talk.facts.asked.inquiry.label}: left blank."
    return take_fact(talk, blank(talk.facts.asked.inquiry.name, str(payload)))


def take_fact(talk: Talk, given: FactGiven) -> State:
    """The fact counts from now on; then the next one, or the step."""
    talk.note(given)
    talk.facts.given[given.fact] = given
    talk.facts.answered.append(Answered(given.fact, talk.past.trail.last))
    talk.facts.again = tuple(name for name in talk.facts.again if name != given.fact)
    talk.facts.asked = None
    talk.said.message = talk.said.heard = ""
    talk.awaited.counters = Counters()
    return before_step(talk, offer=talk.facts.offer)


def fact_denied(talk: Talk, asked: Asked) -> State:
    """What was read back is wrong, or is to be spelled again from the start."""
    talk.remark("read-back denied", asked.inquiry.name)
    proposed = asked.waiting is not None and asked.waiting.repair is not None
    asked.waiting = None
    if proposed:  # it was a guess: what was spelled stays, and can be taken back in parts
        talk.say("Not taken. Correction takes the last signs back. Negative begins again.", Speech.PROMPT)
        return State.INQUIRING
    asked.groups.clear()
    asked.code = asked.typed = ""
    talk.said.message = ""
    talk.said.prefix = "Not taken."
    return inquire(talk)


def part_taken_back(talk: Talk, asked: Asked) -> bool:
    """Take the last group back, or what waits for a yes; False where there is nothing."""
    waiting, asked.waiting = asked.waiting, None
    taken = asked.take_back()
    if not taken and waiting is None:
        return False
    talk.said.message = ""
    talk.said.prefix = f"Taken back: {asking.spelled(taken)}." if taken and asked.spells else "Taken back."
    inquire(talk)
    return True


def fact_taken_back(talk: Talk, name: str, how: str) -> State:
    talk.facts.answered.pop()
    undone = talk.facts.given.pop(name)
    talk.note(FactUndone(name, undone.value, how))
    inquiry = talk.library.terms.facts[name]
    spoken = asking.spoken_value(inquiry, undone.value, undone.unit)
    talk.said.prefix = f"Taken back. {inquiry.label}: {spoken}."
    talk.facts.asked = Asked(inquiry)
    talk.awaited.pending = None
    talk.awaited.offered = False
    talk.work.interrupted = talk.work.interrupted or talk.work.set_up
    talk.said.heard = ""
    if talk.state is State.RESTING:
        talk.do(CancelTimer(REST_TIMER))
    return before_step(talk, offer=True)


def on_other_lamp(talk: Talk, _payload: object) -> State:
    """Another lamp is used: what is known of the lamp is asked for anew, now."""
    if talk.state is State.RESTING:
        talk.do(CancelTimer(REST_TIMER))
    forget_lamp(talk, "other lamp")
    talk.facts.asked = None
    talk.work.interrupted = True
    if talk.work.concluded:
        return conclude(talk)
    return before_step(talk, offer=talk.awaited.offered)


def forget_lamp(talk: Talk, how: str) -> None:
    names = tuple(name for name in LAMP_FACTS if name in talk.library.terms.facts)
    for name in names:
        if name in talk.facts.given:
            undone = talk.facts.given.pop(name)
            talk.note(FactUndone(name, undone.value, how))
    talk.facts.answered = [given for given in talk.facts.answered if given.fact not in names]
    talk.facts.again = names


def judged_words(talk: Talk) -> str:
    """What is judged of the pending reading where it is not the reading itself, and why it cannot be judged."""
    pending, reading = talk.awaited.pending, talk.step.reading
    if pending is None or reading is None or pending.value is None:
        return ""
    parts = []
    if pending.judged is not None:
        facts = talk.numbers()
        less = "Less the leads" if reading.subtract in facts else ""
        warm = "at 20 degrees" if reading.at_20_celsius in facts else ""
        how = ", ".join(filter(None, (less, warm)))
        parts.append(f"{how[:1].upper()}{how[1:]}: {wording.number_words(pending.judged, reading.unit)}.")
    if pending.answer.outcome == UNJUDGED:
        missing = [name for name in reading.specified() if name not in talk.numbers()]
        parts.append(
            "No limit from the maker was given. I cannot judge this."
            if missing
            else "The maker's limits as given contradict each other. I cannot judge this."
        )
    return " ".join(parts)


# --- another test in between ------------------------------------------------------------------


def on_other_test(talk: Talk, _payload: object) -> State:
    talk.awaited.chosen_from = talk.state
    if talk.state is State.RESTING:
        talk.do(CancelTimer(REST_TIMER))
    talk.said.typed = ""
    talk.awaited.counters = Counters()
    number = f" Keys: number, then Enter. {numbered_procedures(talk)}" if talk.gear.deaf else ""
    talk.say(f"Which test? Say its name, or key its number.{number}", Speech.PROMPT)
    return State.CHOOSING


def numbered_procedures(talk: Talk) -> str:
    return wording.numbered(wording.procedure_short(name) for name in talk.library.procedures)


def not_chosen(talk: Talk) -> State:
    talk.said.typed = ""
    if talk.awaited.chosen_from is State.STANDING_BY:
        talk.say("Standing by. Say go ahead, or press Enter.", Speech.NOTICE)
        return State.STANDING_BY
    return return_to_work(talk)


def on_chosen(talk: Talk, payload: object) -> State:
    """Set the present procedure aside, unless it has come to its end, and start or go on with another."""
    name = str(payload)
    talk.said.typed = ""
    talk.said.message = ""
    if name == talk.procedure.name and not talk.work.concluded:
        talk.said.prefix = "That is the present one."
        talk.work.interrupted = True
        return return_to_work(talk)
    aside = set_aside(talk)
    waiting = next((paused for paused in talk.work.paused if paused.procedure == name), None)
    if waiting is not None:
        return come_back(talk, waiting, aside)
    talk.work.paused = (*talk.work.paused, *aside)
    return enter_procedure(talk, name, came_from=None)


def set_aside(talk: Talk) -> tuple[Paused, ...]:
    """Leave the present procedure; what is to be come back to, nothing when it has reached its verdict."""
    if talk.work.set_up:  # it was spoken, so it may be connected already and comes off first
        talk.work.connected = talk.step.measure
    talk.facts.asked = None
    talk.awaited.pending = None
    talk.awaited.offered = False
    talk.facts.again = ()
    talk.work.interrupted = True
    if talk.work.concluded:
        talk.work.verdict = talk.work.led_back = None
        return ()
    procedure, step = talk.position
    talk.note(ProcedurePaused(procedure, step))
    return (Paused(procedure, step),)


def come_back(talk: Talk, paused: Paused, aside: tuple[Paused, ...] = ()) -> State:
    """Go on with a procedure that was set aside; `aside` is what is set aside instead."""
    came_from, talk.work.verdict, talk.work.led_back = talk.procedure.name, None, None
    talk.work.paused = (*(other for other in talk.work.paused if other is not paused), *aside)
    talk.work.procedure = talk.library.procedures[paused.procedure]
    talk.note(ProcedureEntered(paused.procedure, came_from, came_back=True))
    back = f"Back to {wording.procedure_short(paused.procedure)}."
    talk.said.add_prefix(back)
    talk.work.interrupted = True
    return enter_step(talk, paused.step)


def result_of(talk: Talk, past: Trail, beside: tuple[Trail, ...] = ()) -> str:
    """A result in words; with what makes its test another one where a result beside it has the same place."""
    assert past.pending is not None  # noqa: S101
    step = talk.library.step(past.procedure, past.step)
    words = wording.read_back(talk.library, step, past.pending.answer, past.pending.value, past.pending.unit)
    place = wording.place_words(talk.library, step)
    others = [talk.library.step(one.procedure, one.step) for one in beside if one is not past]
    same = [other for other in others if wording.place_words(talk.library, other) == place]
    if not same:
        return words
    told = wording.differing(talk.library, step, same[0])
    if place in told:  # the same test in another procedure: its name would only say the place twice
        return words
    return f"{words[: len(place)]}, {told}{words[len(place) :]}"


def forget_aside(talk: Talk) -> None:
    """The present measurement is made again, or was taken over: it is not offered any more."""
    measure = talk.step.measure
    talk.past.aside = [past for past in talk.past.aside if past.measure != measure]


def why(talk: Talk) -> str:
    """The likeliest fault, the two strongest reasons for it, and what the present test tells apart."""
    assessment = assess(talk)
    if assessment is None and too_many(talk):
        return f"More than {talk.limits.weighed_results} results. I do not weigh so many together."
    if assessment is None:
        return "I have no model of this circuit, so no reasons."
    fault = next(iter(assessment.posterior))
    name = wording.fault_spoken(talk.library, fault)
    measured = talk.past.trail.measured()
    if not assessment.used:
        parts = ["Nothing is measured yet.", f"Likeliest before any test: {name}."]
    else:
        odds = wording.chance(assessment.posterior[fault])
        parts = [f"Likeliest by the model: {name}, {odds}."]
    if assessment.counted:
        parts.append(wording.findings_counted(assessment.counted))
    reasons = assessment.reasons(fault)
    named = tuple(measured[reason.fact] for reason in reasons)
    for reason, past in zip(reasons, named, strict=True):
        against = wording.fault_spoken(talk.library, reason.against)
        parts.append(f"{result_of(talk, past, named)} That speaks against: {against}.")
    if talk.state is State.ASKING:
        pair = assessment.told_apart(talk.step)
        if pair:
            one, other = (wording.fault_spoken(talk.library, fault) for fault in pair)
            parts.append(f"This test tells apart: {one}. Or: {other}.")
    return " ".join(parts)


def left_open(talk: Talk, verdict: Verdict) -> str:
    """What a verdict leaves possible by the model, and what would tell; "" when nothing, or nothing is known."""
    assessment = assess(talk)
    if assessment is None or not assessment.used or not verdict.faults:
        return ""
    parts = []
    if assessment.slip >= talk.limits.doubt_from:
        parts.append(f"One result may be a slip, {wording.chance(assessment.slip)}.")
    left = [
        f"{wording.fault_spoken(talk.library, fault)}, {wording.chance(odds)}"
        for fault, odds in assessment.remaining(talk.limits.mention_from).items()
        if fault not in verdict.faults
    ]
    if left:
        parts.append(f"Still possible by the model: {'. Or: '.join(left[:2])}.")
    best = assessment.best_test() if parts and not tells_more(talk, verdict) else None
    if best:
        parts.append(f"What would tell: {wording.named_test(talk.library, best[0])}.")
    return " ".join(parts)


def tells_more(talk: Talk, verdict: Verdict) -> bool:
    """Whether a verdict goes on with another test of the circuit, and not with the repair."""
    following = verdict.continue_with
    return following is not None and talk.library.procedures[following].circuit != NO_CIRCUIT


# --- small parts ------------------------------------------------------------------------------


def result_words(talk: Talk, pending: Pending) -> str:
    return wording.read_back(talk.library, talk.step, pending.answer, pending.value, pending.unit)


def helped(talk: Talk) -> tuple[str, str]:
    """What can be said now, and what can be keyed, a sentence or two each."""
    match talk.state:
        case State.ACKNOWLEDGING:
            return "Say ready.", "Press Enter."
        case State.RESTING:
            return "The starter rests.", "Slash to stand by."
        case State.READING_BACK:
            return "Affirm or negative?", "Enter for affirm, minus for negative."
        case State.INQUIRING if talk.facts.asked is not None:
            return asking.sayable(talk.facts.asked.inquiry), asking.question_keys(talk.facts.asked.inquiry)
        case State.CONFIRMING:
            return "Affirm or negative?", "Enter for affirm, minus for negative, plus to leave blank."
        case State.CHOOSING:
            return "Say the name of a test, or negative.", "Key its number, then Enter. Minus goes back."
        case State.SKIPPING:
            reasons = wording.listed(list(REASONS.values()), "or")
            return f"Why: {reasons}?", wording.numbered(REASONS.values())
        case State.STANDING_BY:
            return (
                "Say go ahead, other test, voice note, or close session.",
                "Enter to go ahead, 1 for another test, plus to close.",
            )
        case State.CONCLUDING:
            return (
                "Say why, correction, voice note, close session, or go ahead.",
                "Enter to go ahead, minus to take back, plus to close.",
            )
        case State.ASKING | State.CRANKING:
            return wording.question(talk.library, talk.step), wording.keyed_choices(talk.library, talk.step)
        case _:
            return "", ""


def settle(talk: Talk) -> None:
    """After every change: what is listened for and what is shown."""
    if talk.state is State.FINISHED:
        talk.do(StopListening())
    elif talk.state is State.NOTING:
        pass  # the note has the microphone
    elif "microphone" in talk.gear.deaf:
        talk.do(StopListening())
    elif talk.gear.deaf:  # too loud for results; a shouted stop is still worth trying
        talk.do(Listen(GrammarRequest(controls=(Control.STOP,))))
    else:
        silence: float | None = None
        if talk.state in (
            State.ASKING,
            State.CONCLUDING,
            State.STANDING_BY,
            State.INQUIRING,
            State.CHOOSING,
        ):
            silence = talk.limits.no_input_s
        elif talk.state in (State.READING_BACK, State.SKIPPING, State.CONFIRMING):
            silence = talk.limits.confirm_no_input_s
        elif talk.state is State.ACKNOWLEDGING:
            silence = talk.limits.no_input_s
        inquiry = talk.facts.asked.inquiry if talk.facts.asked else None
        request = request_for(talk.state, talk.work.step, inquiry, tuple(talk.library.procedures))
        if talk.awaited.offered and talk.state is State.READING_BACK:
            request = GrammarRequest(controls=request.controls)
        talk.do(Listen(request, silence))
    talk.do(Show(board(talk)))


def board(talk: Talk) -> Board:
    step, procedure = talk.work.step, talk.work.procedure
    if step is None or procedure is None:
        return Board(mode=talk.state.value, message=talk.said.message, lost=tuple(talk.gear.lost.items()))
    choices: tuple[tuple[str, str], ...] = ()
    if talk.state in (State.ASKING, State.CRANKING, State.READING_BACK) and step.reading is None:
        choices = tuple(
            (str(number), talk.library.terms.outcomes[answer.outcome].spoken)
            for number, answer in enumerate(step.answers, start=1)
        )
    elif talk.state is State.SKIPPING:
        choices = tuple((str(number), text) for number, text in enumerate(REASONS.values(), start=1))
    elif talk.state is State.CHOOSING:
        names = [wording.procedure_short(name) for name in talk.library.procedures]
        choices = tuple((f"{number:02}", text) for number, text in enumerate(names, start=1))
    asked = talk.facts.asked
    if asked is not None and asked.inquiry.kind is FactKind.CHOICE and talk.state is State.INQUIRING:
        words = list(asked.inquiry.choices.values())
        choices = tuple((str(number), text) for number, text in enumerate(words, start=1))
    elif asked is not None and talk.state is State.INQUIRING:
        choices = tuple((str(number), str(one)) for number, one in enumerate(asked.proposals(), start=1))
    headline = wording.headline(talk.library, step)
    lines = talk.said.lines
    caution = ""
    if talk.state in (State.CAUTIONING, State.ACKNOWLEDGING):
        order = ["DANGER", "WARNING", "CAUTION", "NOTICE"]
        signals = [talk.library.cautions[name].signal.value for name, _ in talk.cautions.due]
        caution = min(signals, key=order.index, default="")
        lines = tuple(wording.caution_text(talk.library.cautions[n], f) for n, f in talk.cautions.due)
    elif talk.state is State.READING_BACK:
        lines = (talk.said.prompt,)
    elif asked is not None and talk.state in (State.INQUIRING, State.CONFIRMING):
        headline = asked.inquiry.label.upper()
        lines = tuple(filter(None, (asked.inquiry.question, asked.inquiry.look_for)))
        if asked.inquiry.kind is FactKind.VIN:
            lines = (*lines, f"{len(asked.signs)} of {VIN_LENGTH} signs")
        if asked.waiting is not None:  # the value itself in large letters, to be compared at a glance
            waiting = asked.waiting
            headline = asking.written_value(asked.inquiry, waiting.value, waiting.unit).upper()
            repair = f"Proposed: {waiting.repair}." if waiting.repair else ""
            lines = tuple(filter(None, (repair, f"{asked.inquiry.label}. Affirm or negative?")))
    elif talk.state is State.CHOOSING:
        headline, lines = "WHICH TEST", ("Key the number, then Enter.",)
    elif talk.state is State.CONCLUDING and talk.work.led_back is not None:
        headline = "NOT DECIDED"
        lines = (talk.work.led_back.says, talk.work.led_back.next)
    elif talk.state is State.CONCLUDING and talk.work.verdict:
        headline = "VERDICT"
        verdict = procedure.verdicts[talk.work.verdict]
        lines = (verdict.says, verdict.repair)
    elif talk.state in (State.STANDING_BY, State.NOTING, State.FINISHED):
        headline = {"standing by": "STANDING BY", "noting": "NOTE", "finished": "CLOSED"}[talk.state.value]
        lines = (talk.said.prompt,) if talk.state is State.STANDING_BY else ()
    inquiring = talk.state in (State.INQUIRING, State.CONFIRMING)
    countdown = None
    if talk.state is State.CRANKING and talk.crank.began is not None:
        countdown = ("crank", talk.crank.began + talk.limits.crank_s)
    elif talk.state is State.RESTING or (
        step.measure.engine is Engine.CRANKING
        and talk.turn.at < talk.crank.rested_at
        and talk.state is not State.ASKING
    ):
        countdown = ("rest the starter", talk.crank.rested_at)
    return Board(
        title=procedure.title,
        step=0 if inquiring else len(talk.past.trail) + (talk.state is not State.CONCLUDING),
        headline=headline,
        lines=lines,
        choices=choices,
        keys=key_hints(talk),
        mode=talk.state.value,
        heard=talk.said.heard,
        typed=asked.shown if asked is not None and talk.state is State.INQUIRING else talk.said.typed,
        message=talk.said.message,
        keys_only=bool(talk.gear.deaf),
        countdown=countdown,
        caution=caution,
        lost=tuple(talk.gear.lost.items()),
    )


def key_hints(talk: Talk) -> tuple[tuple[str, str], ...]:
    step = talk.work.step
    match talk.state:
        case State.ACKNOWLEDGING:
            return (("Enter", "ready"), ("/", "stand by"))
        case State.READING_BACK:
            return (("Enter", "affirm"), ("-", "negative"))
        case State.CRANKING:
            return (("/", "stop"),) if step and step.reading else ((".", "not sure"), ("/", "stop"))
        case State.RESTING:
            return (("0", "say again"), ("-", "take back"), ("/", "stand by"))
        case State.INQUIRING if talk.facts.asked is not None:
            first = {
                FactKind.CHOICE: (("0", "say again"),),
                FactKind.NUMBER: (("Enter", "done"),),
            }.get(talk.facts.asked.inquiry.kind, ((".21", "letter A"), ("Enter", "that is all")))
            return (*first, ("-", "take back"), ("+", "leave blank"), ("/", "stand by"))
        case State.CONFIRMING if talk.facts.asked is not None:
            units = asking.units_of(talk.facts.asked.inquiry)
            other = ((".", "other unit"),) if len(units) > 1 else ()
            return (("Enter", "affirm"), ("-", "negative"), *other, ("+", "leave blank"))
        case State.CHOOSING:
            return (("Enter", "start it"), ("-", "back"), ("*", "hear all"), ("/", "stand by"))
        case State.ASKING:
            hints = [("0", "say again"), (".", "not sure"), ("-", "take back"), ("/", "stand by")]
            if step is not None and step.reading is not None:
                hints = [("Enter", "done"), ("*", "say again"), ("-", "take back"), ("/", "stand by")]
            elif step is not None and step.measure.engine is Engine.CRANKING:
                hints.insert(0, ("Enter", "cranking now"))
            return tuple(hints)
        case State.STANDING_BY:
            return (("Enter", "go ahead"), ("1", "other test"), ("9", "voice note"), ("+", "close"))
        case State.CONCLUDING:
            return (("Enter", "go ahead"), ("-", "take back"), ("9", "voice note"), ("+", "close"))
        case State.NOTING:
            return (("Enter", "end the note"),)
        case _:
            return (("/", "stand by"),)
