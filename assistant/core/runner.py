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

from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TYPE_CHECKING

from assistant.core import evidence, wording
from assistant.core.board import Board
from assistant.core.entries import (
    DOUBTED,
    KEPT,
    SET_ASIDE,
    CautionAcknowledged,
    CautionGiven,
    Cranked,
    Entry,
    ModeChanged,
    ProcedureEntered,
    Remark,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
    VoiceNoteTaken,
)
from assistant.core.events import (
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
    Note,
    NoteRecorded,
    RecordNote,
    Resumed,
    Say,
    Show,
    Speech,
    SpeechFinished,
    StartTimer,
    StopListening,
    TimerElapsed,
)
from assistant.core.policy import DEFAULT_THRESHOLDS, Acceptance, Thresholds, grade, tapered
from assistant.core.procedure import NO_CIRCUIT, OVER_RANGE, Answer, Engine, Leads, Measurement, Target
from assistant.core.result import Control, GrammarRequest, Result
from assistant.core.states import (
    CONTROL_TRIGGERS,
    KEY_TRIGGERS,
    REASONS,
    TRANSITIONS,
    State,
    Trigger,
    request_for,
)

if TYPE_CHECKING:
    from assistant.core.procedure import Library, Procedure, Step, Verdict


STOP_CRANKING = "Stop cranking."

_UNDISTURBED = (State.CAUTIONING, State.NOTING, State.CRANKING)
"""States in which a notice about noise or gear is not spoken in between."""

CRANK_TIMER = "crank"
REST_TIMER = "rest"


class Ask(StrEnum):
    """How much of a step's instruction is spoken."""

    AGAIN = "all, also what is already connected"
    ALL = "all"
    ACT = "act and question"
    QUESTION = "question"


@dataclass(frozen=True)
class Pending:
    """A result that was understood and waits to be affirmed."""

    answer: Answer
    value: Decimal | None
    unit: str | None
    how: str
    words: str
    confidence: float
    snr_db: float | None
    clip: str | None


@dataclass(frozen=True)
class Trail:
    """A step that was left, so that it can be gone back to; `number` is 0 for a skipped step.

    `confirmed` says how its result was confirmed, `kept` that it was taken over from an earlier step.
    """

    procedure: str
    step: str
    number: int
    measure: Measurement | None
    pending: Pending | None
    confirmed: str = ""
    kept: bool = False


@dataclass(frozen=True)
class _Doubted:
    """A result that is likely a slip, the one that it fits least with, and whether they only seldom come together."""

    doubtful: Trail
    against: Trail
    rare: bool


@dataclass
class _Counters:
    """VoiceXML's event counters: they count from the entry into a step and start again with the next."""

    no_match: int = 0
    no_input: int = 0
    not_sure: int = 0


@dataclass
class _Cautioned:
    """When each caution was last spoken to its end, and which were acknowledged."""

    given: dict[str, float] = field(default_factory=dict)
    acknowledged: set[str] = field(default_factory=set)
    due: tuple[tuple[str, str], ...] = ()
    later: tuple[tuple[str, str], ...] = ()


class Runner:
    """One session's dialogue.

    Args:
        library: The procedures, cautions and terms.
        thresholds: The dialogue's limits.
    """

    def __init__(self, library: Library, thresholds: Thresholds = DEFAULT_THRESHOLDS) -> None:
        self._library = library
        self._limits = thresholds
        self.state = State.UNOPENED
        self._at = 0.0
        self._out: list[Action] = []
        self._utterance = 0
        self._prompt = ""
        self._procedure: Procedure | None = None
        self._step: Step | None = None
        self._verdict: str | None = None
        self._verdict_affirmed = False
        self._trail: list[Trail] = []
        self._results = 0
        self._pending: Pending | None = None
        self._offered = False
        self._prefix = ""
        self._counters = _Counters()
        self._cautions = _Cautioned()
        self._connected: Measurement | None = None
        self._set_up = False
        self._interrupted = False
        self._lines: tuple[str, ...] = ()
        self._owed = ""
        self._typed = ""
        self._heard = ""
        self._message = ""
        self._crank_began: float | None = None
        self._crank_counted = False
        self._crank_explained = False
        self._rested_at = 0.0
        self._deaf: set[str] = set()
        self._mute = False
        self._note_from = State.ASKING
        self._note_running = False
        self._asked_again: set[str] = set()
        self._before: dict[tuple[str, str], str] = {}
        self._aside: list[Trail] = []

    # --- the port ---------------------------------------------------------------------------------

    def receive(self, event: Event) -> tuple[Action, ...]:
        """Take one event and give the actions that it causes, in the order in which they are to be done.

        Raises:
            UsageProblem: A `Began` that names a procedure that is not in the library.
        """
        self._at = max(self._at, event.at)
        self._out = []
        trigger, payload = self._classify(event)
        if trigger is None:
            return ()
        allowed = TRANSITIONS[self.state].get(trigger)
        if allowed is None:
            if self.state not in (State.UNOPENED, State.FINISHED):
                self._note(self._remark("not now", f"{trigger} while {self.state}"))
                self._message = "That does not fit now."
                busy = (State.CAUTIONING, State.CRANKING, State.NOTING, State.STANDING_BY)
                if isinstance(event, Heard | KeyPressed) and self.state not in busy:
                    self._say("That does not fit now.", Speech.HELP)
                    self._settle()
                else:
                    self._out.append(Show(self._board()))
            return tuple(self._out)
        before = self.state
        after = self._handle(trigger, payload)
        if after not in allowed:
            raise AssertionError(f"{before} + {trigger} may not lead to {after}")
        self.state = after
        self._settle()
        return tuple(self._out)

    @property
    def position(self) -> tuple[str, str]:
        """Names of the present procedure and step; empty before the beginning."""
        return (self._procedure.name if self._procedure else "", self._step.name if self._step else "")

    # --- events to triggers -----------------------------------------------------------------------

    def _classify(self, event: Event) -> tuple[Trigger | None, object]:
        match event:
            case Began():
                return Trigger.BEGIN, event.procedure
            case Resumed():
                return (Trigger.RESUME if self._step else Trigger.UNEXPECTED), None
            case Closed():
                return Trigger.END, event.why
            case SpeechFinished():
                if event.utterance != self._utterance:
                    return None, None
                if self.state is State.CAUTIONING:
                    return Trigger.SPOKEN, event.cut
                if self.state is State.NOTING and not self._note_running:
                    return Trigger.SPOKEN, event.cut
                return None, None
            case TimerElapsed():
                if event.timer == CRANK_TIMER and self.state is State.CRANKING:
                    return Trigger.CRANK_LIMIT, None
                if event.timer == REST_TIMER and self.state is State.RESTING:
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
                return self._classify_heard(event)
            case KeyPressed():
                return self._classify_key(event.key)
            case _:
                return Trigger.UNEXPECTED, None

    def _classify_heard(self, event: Heard) -> tuple[Trigger | None, object]:
        self._heard = event.words
        doubtful = event.confidence < self._limits.reject_below
        result = event.result
        if result.control is Control.STOP:
            # A stop that was perhaps not said costs a second; one that was missed can cost a hand.
            return Trigger.STOP, None
        if doubtful:
            return Trigger.NO_MATCH, NoMatch(
                event.at, event.words, event.confidence, event.clip, event.snr_db
            )
        if result.control is not None:
            trigger = CONTROL_TRIGGERS[result.control]
            if self.state is State.ACKNOWLEDGING and trigger in (Trigger.AFFIRM, Trigger.GO_AHEAD):
                return Trigger.ACKNOWLEDGE, "voice"
            if self.state is State.CONCLUDING and trigger is Trigger.AFFIRM:
                return Trigger.GO_AHEAD, "voice"
            if self.state is State.READING_BACK and trigger is Trigger.NOT_SURE:
                return Trigger.DENY, "voice"
            return trigger, "voice"
        if self.state is State.SKIPPING and result.outcome in REASONS:
            return Trigger.REASON, result.outcome
        return self._classify_result(
            result,
            how="voice",
            words=event.words,
            confidence=event.confidence,
            snr_db=event.snr_db,
            clip=event.clip.file if event.clip else None,
        )

    def _classify_result(
        self,
        result: Result,
        *,
        how: str,
        words: str,
        confidence: float = 1.0,
        snr_db: float | None = None,
        clip: str | None = None,
    ) -> tuple[Trigger | None, object]:
        step = self._step
        if step is None:
            return Trigger.UNEXPECTED, None
        if result.place is not None and not wording.fits(step, result.place):
            return Trigger.WRONG_PLACE, result.place
        value, unit = result.value, result.unit
        answer: Answer | None = None
        if value is not None and step.reading is not None:
            unit = unit or step.reading.unit
            base = wording.convert(value, unit, step.reading.unit)
            if base is None:
                return Trigger.UNEXPECTED, None
            low, high = step.reading.plausible
            if not low <= base <= high:
                return Trigger.IMPLAUSIBLE, wording.number_words(value, unit)
            answer = step.reading.band(base)
        elif result.outcome == OVER_RANGE and step.reading is not None and OVER_RANGE in step.heard:
            answer = step.reading.bands[-1]
        elif result.outcome is not None:
            answer = step.answer(result.outcome) if step.reading is None else None
            if answer is None and result.outcome in step.heard:
                return Trigger.NO_ANSWER, self._library.terms.outcomes[result.outcome].spoken
        if answer is None:
            return Trigger.UNEXPECTED, None
        return Trigger.RESULT, Pending(answer, value, unit, how, words, confidence, snr_db, clip)

    def _classify_key(self, key: str) -> tuple[Trigger | None, object]:
        state, step = self.state, self._step
        digit = int(key) if key.isdigit() else None
        if key == "plus" and state in (State.CONCLUDING, State.STANDING_BY):
            return Trigger.CLOSE, "keypad"
        if key in KEY_TRIGGERS and not (key == "stop" and state is State.UNOPENED):
            if key == "slash" and state is State.CRANKING:
                return Trigger.STOP, None
            return KEY_TRIGGERS[key], "keypad"
        match state:
            case State.ACKNOWLEDGING | State.CONCLUDING | State.STANDING_BY | State.NOTING:
                return self._classify_waiting_key(key, state)
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
                    return self._classify_number_key(key)
                if key == "enter":
                    return self._crank_key()
            case _:
                return Trigger.UNEXPECTED, None
        if (
            step is not None
            and step.reading is None
            and digit is not None
            and 1 <= digit <= len(step.answers)
        ):
            outcome = step.answers[digit - 1].outcome
            return self._classify_result(Result(outcome=outcome), how="keypad", words=key)
        simple = {
            "0": Trigger.SAY_AGAIN,
            "9": Trigger.NOTE,
            "point": Trigger.NOT_SURE,
            "minus": Trigger.CORRECTION,
            "erase": Trigger.WHY,
        }
        return simple.get(key, Trigger.UNEXPECTED), "keypad"

    def _classify_waiting_key(self, key: str, state: State) -> tuple[Trigger | None, object]:
        enter = {
            State.ACKNOWLEDGING: Trigger.ACKNOWLEDGE,
            State.CONCLUDING: Trigger.GO_AHEAD,
            State.STANDING_BY: Trigger.GO_AHEAD,
            State.NOTING: Trigger.END_NOTE,
        }
        simple = {
            "enter": enter[state],
            "0": Trigger.SAY_AGAIN,
            "9": Trigger.NOTE,
            "minus": Trigger.CORRECTION,
            "erase": Trigger.WHY,
        }
        return simple.get(key, Trigger.UNEXPECTED), "keypad"

    def _crank_key(self) -> tuple[Trigger | None, object]:
        if self._step is not None and self._step.measure.engine is Engine.CRANKING:
            return Trigger.CRANK_BEGINS, "keypad"
        return Trigger.UNEXPECTED, None

    def _classify_number_key(self, key: str) -> tuple[Trigger | None, object]:
        if key == "erase" and not self._typed and self.state is State.ASKING:
            return Trigger.WHY, "keypad"
        if key in ("point", "erase", *"0123456789"):
            return Trigger.TYPED, key
        if key == "minus":
            return (Trigger.TYPED if self._typed else Trigger.CORRECTION), key
        if key != "enter":
            return Trigger.UNEXPECTED, None
        typed = self._typed
        if not typed:
            return self._crank_key()
        if typed == ".":
            return Trigger.NOT_SURE, "keypad"
        try:
            value = Decimal(typed)
        except InvalidOperation:
            return Trigger.TYPED, "minus"
        return self._classify_result(Result(value=value), how="keypad", words=typed)

    # --- triggers to actions ----------------------------------------------------------------------

    def _handle(self, trigger: Trigger, payload: object) -> State:
        answers = (Trigger.RESULT, Trigger.TYPED, Trigger.WRONG_PLACE, Trigger.NO_ANSWER, Trigger.IMPLAUSIBLE)
        if self._offered and self.state is State.READING_BACK and trigger in answers:
            # The step itself has not been released: what it shows now was not asked for yet.
            self._note(self._remark("not now", f"{trigger} at an earlier result"))
            self._say("Affirm to keep it, negative to measure again.", Speech.HELP)
            return self.state
        handler = getattr(self, "_on_" + trigger.name.lower())
        state: State = handler(payload)
        return state

    def _on_begin(self, payload: object) -> State:
        return self._enter_procedure(self._library.procedure(str(payload)).name, came_from=None)

    def _on_resume(self, _payload: object) -> State:
        self._note(ModeChanged("resumed", "the session was interrupted"))
        self._cautions = _Cautioned()
        self._owed = ""
        self._deaf.clear()  # what is missing now will be reported again
        self._mute = False
        cranking = self._crank_began is not None
        if cranking:  # nobody knows how long it was
            self._crank_began = None
            self._crank_counted = False
            self._stop_crank(timed=False)
        self._note_running = False
        self._pending = None
        self._interrupted = True
        self._prefix = f"{STOP_CRANKING} Key off. Session resumed." if cranking else "Session resumed."
        return self._return_to_work()

    def _on_end(self, payload: object) -> State:
        self._stop_crank(timed=True)
        if self._note_running:
            self._out.append(EndNote())
        self._out.append(CutSpeech())
        self._note(ModeChanged("closed", str(payload)))
        self._out.append(Finish("verdict" if self._verdict else "unfinished"))
        return State.FINISHED

    def _on_spoken(self, payload: object) -> State:
        if self.state is State.NOTING:
            self._note_running = True
            self._out.append(RecordNote(self._limits.note_s))
            return State.NOTING
        if payload:  # the caution was cut: it has not been given, so it is said again
            return self._say_cautions()
        return self._cautions_given(by="spoken")

    def _on_acknowledge(self, payload: object) -> State:
        names = tuple(name for name, _ in self._cautions.due)
        self._cautions.acknowledged.update(names)
        procedure, step = self.position
        self._note(CautionAcknowledged(names, procedure, step, str(payload)))
        return self._next_cautions()

    def _on_result(self, payload: object) -> State:
        assert isinstance(payload, Pending)  # noqa: S101
        step = self._current
        self._typed = ""
        self._message = ""
        stop_first = self.state is State.CRANKING
        if self.state in (State.ASKING, State.CRANKING) and step.measure.engine is Engine.CRANKING:
            self._stop_crank(timed=stop_first)
        self._heard = payload.words if payload.how == "voice" else self._result_words(payload)
        spoken = wording.read_back(self._library, step, payload.answer, payload.value, payload.unit)
        if stop_first:
            spoken = f"{STOP_CRANKING} {spoken}"
        acceptance = grade(step, payload.answer, payload.confidence, self._limits)
        if self.state is State.READING_BACK or acceptance is Acceptance.AFFIRM:
            self._pending = payload
            self._prefix = ""
            return self._read_back(spoken)
        self._prefix = spoken if acceptance is Acceptance.READ_BACK else (STOP_CRANKING if stop_first else "")
        return self._commit(payload, acceptance)

    def _on_wrong_place(self, payload: object) -> State:
        said = self._library.terms.places.get(str(payload))
        words = said.short if said else str(payload).replace("-", " ")
        here = wording.place_words(self._library, self._current)
        self._note(self._remark("wrong place", f"{words} was said at the {here}: {self._heard}"))
        text = f"You said {words}. This test is on the {here}."
        if here in ("unplugged", "comparison"):
            text = f"You said {words}. This test is the {here} test."
        self._message = text
        self._say(f"{text} {self._asked()}", Speech.HELP)
        return self.state

    def _on_no_answer(self, payload: object) -> State:
        """Something was said that a lamp can show, but that is no answer to this step."""
        self._note(self._remark("no answer here", str(payload)))
        text = f"{str(payload).capitalize()} is no answer here."
        self._message = text
        self._say(f"{text} {self._asked()}", Speech.HELP)
        return self.state

    def _on_implausible(self, payload: object) -> State:
        self._typed = ""
        self._note(self._remark("implausible", str(payload)))
        low, high = self._current.reading.plausible if self._current.reading else (Decimal(0), Decimal(0))
        unit = self._current.reading.unit if self._current.reading else "V"
        text = f"{payload} is outside {wording.span_words(low, high, unit)}. Measure again."
        if self._must_rest():
            text += f" {self._rest_words()} before you crank again."
        self._message = text
        self._say(text, Speech.HELP)
        return self.state

    def _on_no_match(self, payload: object) -> State:
        words = payload.words if isinstance(payload, NoMatch) else ""
        self._note(self._remark("not understood", words))
        if self.state in (State.STANDING_BY, State.RESTING) or self._deaf:
            return self.state  # talk beside the session is no reason to speak up
        self._counters.no_match += 1
        self._message = "Not understood."
        short, keys = self._help()
        text = tapered(
            {1: "Say again.", 2: f"Say again: {short}", 3: f"Use the keys. {keys}"}, self._counters.no_match
        )
        self._say(text, Speech.HELP)
        return self.state

    def _on_no_input(self, _payload: object) -> State:
        self._counters.no_input += 1
        short, keys = self._help()
        if self.state is State.CRANKING:
            return self.state
        patience = 1 if self.state is State.STANDING_BY else 2
        if self._counters.no_input > patience:  # someone is busy: stay ready, be quiet
            self._message = "Waiting."
            return self.state
        text = tapered({1: short, 2: f"{short} Or use the keys. {keys}"}, self._counters.no_input)
        self._say(text, Speech.HELP)
        return self.state

    def _on_affirm(self, _payload: object) -> State:
        assert self._pending is not None  # noqa: S101
        pending, self._pending = self._pending, None
        self._prefix = ""
        return self._commit(pending, Acceptance.AFFIRM)

    def _on_deny(self, _payload: object) -> State:
        if self.state is State.SKIPPING:
            return self._return_to_work()
        self._note(self._remark("read-back denied", self._heard))
        self._pending = None
        if self._offered:
            self._forget_aside()
            return self._cautions_due(offer=False)
        self._heard = ""
        self._prefix = "Not taken."
        return self._ask(Ask.QUESTION)

    def _on_correction(self, payload: object) -> State:
        if self.state in (State.READING_BACK, State.SKIPPING):
            return self._on_deny(payload)
        if not self._trail:
            self._message = "Nothing to take back."
            self._prefix = "Nothing to take back."
            return self._cautions_due(offer=False) if self.state is State.RESTING else self._stay()
        self._stop_crank(timed=True)
        if self._set_up:  # it was spoken, so it may be connected already and comes off first
            self._connected = self._current.measure
        last = self._trail.pop()
        self._note(ResultUndone(last.number, last.procedure, last.step, str(payload)))
        taken = self._library.step(last.procedure, last.step)
        words = (
            wording.read_back(
                self._library, taken, last.pending.answer, last.pending.value, last.pending.unit
            )
            if last.pending
            else "Skipped test."
        )
        self._prefix = f"Taken back. {words}"
        self._verdict = None
        self._heard = ""
        if last.procedure != self._current_procedure.name:
            self._procedure = self._library.procedures[last.procedure]
        return self._enter_step(last.step, offer=False)

    def _stay(self) -> State:
        """Say the prefix and the present question again."""
        if self.state is State.ASKING:
            return self._ask(Ask.QUESTION)
        self._say(self._take_prefix() or self._prompt, Speech.HELP)
        return self.state

    def _on_say_again(self, _payload: object) -> State:
        match self.state:
            case State.ASKING:
                return self._ask(Ask.AGAIN)
            case State.ACKNOWLEDGING:
                return self._say_cautions()
            case State.RESTING:
                return self._rest()
            case _:
                self._say(self._prompt, Speech.PROMPT)
                return self.state

    def _on_choices(self, _payload: object) -> State:
        short, keys = self._help()
        if self.state is State.ASKING and self._current.reading is not None:
            # On a number every digit is a digit, so this key is also the way to hear the step again.
            setup = wording.setup(self._library, self._current, self._connected, whole=True)
            short = " ".join((*setup, *self._act(setup), short))
        why = "Say why for the reasons." if self.state is State.ASKING else ""
        self._say(" ".join(filter(None, (short, keys, why))), Speech.HELP)
        return self.state

    def _on_why(self, _payload: object) -> State:
        self._say(self._why(), Speech.HELP)
        return self.state

    def _on_not_sure(self, _payload: object) -> State:
        step = self._current
        self._counters.not_sure += 1
        self._typed = ""
        self._note(self._remark("not sure", self._heard))
        cranking = self.state is State.CRANKING
        self._stop_crank(timed=cranking)
        parts = [STOP_CRANKING] if cranking else []
        parts.append(step.look_for or "Repeat the test.")
        if self._counters.not_sure > 1:
            parts.append(
                "Or skip this test, or stand by and use another tool." if step.if_skipped else "Or stand by."
            )
        self._crank_counted = False
        if self._must_rest():
            parts.append(f"{self._rest_words()} before you crank again.")
        parts.append("Then answer again.")
        parts.append(wording.question(self._library, step))
        self._say(" ".join(parts), Speech.HELP)
        return State.ASKING

    def _on_stand_by(self, _payload: object) -> State:
        return self._pause(
            "Standing by. Say go ahead, or press Enter.", "stand by", "asked for", Speech.NOTICE
        )

    def _on_stop(self, _payload: object) -> State:
        return self._pause("Stop. Key off.", "stop", "stop was said or keyed", Speech.STOP)

    def _pause(self, text: str, mode: str, why: str, kind: Speech) -> State:
        if self.state is State.CRANKING and kind is not Speech.STOP:
            text, kind = f"{STOP_CRANKING} Key off. {text}", Speech.STOP
        # Who shouts stop at a step that cranks may well be cranking, also when nobody announced it.
        unannounced = mode == "stop" and self.state is State.ASKING
        self._stop_crank(timed=not unannounced)
        self._out.append(CancelTimer(REST_TIMER))
        if self._note_running:
            self._out.append(EndNote())
        self._out.append(CutSpeech())
        self._note(ModeChanged(mode, why))
        self._pending = None
        self._typed = ""
        self._message = ""
        self._counters = _Counters()
        self._say(text, kind, can_be_cut=False)
        self._prompt = "Standing by. Say go ahead, or press Enter. To end: close session."
        return State.STANDING_BY

    def _on_go_ahead(self, _payload: object) -> State:
        if self.state is State.STANDING_BY:
            self._note(ModeChanged("go ahead", "asked for"))
            self._interrupted = True
            return self._return_to_work()
        verdict = self._current_procedure.verdicts[self._verdict or ""]
        if not self._verdict_affirmed:
            self._verdict_affirmed = True
            self._note(VerdictReached(self._current_procedure.name, verdict.name, affirmed=True))
            return self._conclude()
        if verdict.continue_with:
            came_from, self._verdict = self._current_procedure.name, None
            return self._enter_procedure(verdict.continue_with, came_from)
        return self._conclude()  # nothing to go on with; a session is only ever closed by closing it

    def _on_close(self, payload: object) -> State:
        if self.state in (State.STANDING_BY, State.CONCLUDING):
            return self._finish()
        return self._pause(
            "Standing by. To end the session, say close session again. To go on, say go ahead.",
            "stand by",
            f"close was asked for by {payload}",
            Speech.NOTICE,
        )

    def _finish(self) -> State:
        self._say("Session closed. The write-up is ready.", Speech.NOTICE)
        self._note(ModeChanged("closed", "asked for"))
        self._out.append(Finish("verdict" if self._verdict else "closed"))
        return State.FINISHED

    def _on_note(self, _payload: object) -> State:
        if "microphone" in self._deaf:
            self._say("No microphone, so no voice note.", Speech.HELP)
            return self.state
        self._note_from = self.state
        self._note_running = False
        if self.state is State.RESTING:
            self._out.append(CancelTimer(REST_TIMER))
        self._say("Voice note. Speak now. Enter ends it.", Speech.NOTICE)
        return State.NOTING

    def _on_end_note(self, _payload: object) -> State:
        if self._note_running:
            self._out.append(EndNote())
        return State.NOTING

    def _on_note_ended(self, payload: object) -> State:
        assert isinstance(payload, NoteRecorded)  # noqa: S101
        procedure, step = self.position
        self._note(VoiceNoteTaken(payload.clip.file, payload.clip.duration_s, procedure, step))
        self._note_running = False
        if self.state is not State.NOTING:
            return self.state
        self._prefix = "Note kept."
        return self._after_note()

    def _after_note(self) -> State:
        """Back to where the note was asked for."""
        if self._note_from is State.STANDING_BY:
            self._say(f"{self._take_prefix()} Standing by.", Speech.NOTICE)
            return State.STANDING_BY
        if self._note_from is State.RESTING:
            return self._release()
        if self._note_from is State.CONCLUDING:
            return self._return_to_work()
        return self._ask(Ask.QUESTION)

    def _on_skip(self, _payload: object) -> State:
        if self._current.if_skipped is None:
            self._note(self._remark("cannot skip", ""))
            self._message = "This test cannot be skipped."
            self._say("This test cannot be skipped. Do it, or stand by.", Speech.HELP)
            return self.state
        if self.state is State.RESTING:
            self._out.append(CancelTimer(REST_TIMER))
        self._say(f"Skip this test. Why? {wording.numbered(REASONS.values())}", Speech.PROMPT)
        return State.SKIPPING

    def _on_reason(self, payload: object) -> State:
        step = self._current
        assert step.if_skipped is not None  # noqa: S101
        reason = REASONS[str(payload)]
        self._note(StepSkipped(self._current_procedure.name, step.name, reason, str(step.if_skipped)))
        self._trail.append(Trail(self._current_procedure.name, step.name, 0, None, None))
        self._prefix = f"Skipped, {reason}."
        return self._go(step.if_skipped)

    def _on_crank_begins(self, _payload: object) -> State:
        if self._at < self._rested_at:
            self._prefix = "Not yet."
            self._out.append(CancelTimer(REST_TIMER))
            return self._rest()
        if self.state is State.RESTING:
            return self._on_rested(None)
        self._crank_began = self._at
        self._crank_counted = False
        self._message = ""
        self._out.append(CutSpeech())
        self._out.append(StartTimer(CRANK_TIMER, self._limits.crank_s))
        return State.CRANKING

    def _on_crank_limit(self, _payload: object) -> State:
        self._stop_crank(timed=True)
        self._crank_counted = True
        self._say_lines((STOP_CRANKING, self._question()))
        self._message = STOP_CRANKING
        return State.ASKING

    def _on_rested(self, _payload: object) -> State:
        self._prefix = "Rest is over."
        return self._ask(Ask.ACT)

    def _on_typed(self, payload: object) -> State:
        key = str(payload)
        if self.state is State.READING_BACK:
            self._pending = None
            self._typed = ""
            self._out.append(CutSpeech())
            self._prompt = wording.question(self._library, self._current)
        if key == "erase":
            self._typed = self._typed[:-1]
        elif key == "minus":
            self._typed = ""
        elif key == "point" and "." in self._typed:
            pass
        elif len(self._typed) < self._limits.longest_number:
            self._typed += "." if key == "point" else key
        self._message = ""
        if self.state is State.ASKING:
            self._out.append(CutSpeech())
        return State.CRANKING if self.state is State.CRANKING else State.ASKING

    def _on_too_loud(self, payload: object) -> State:
        if "noise" in self._deaf:
            return self.state
        self._deaf.add("noise")
        level = f"noise {payload.noise_db:.0f} dB" if isinstance(payload, NoiseChanged) else "noise"
        self._note(ModeChanged("keypad only", f"too loud to hear, {level}"))
        self._message = "Too loud to hear you. Use the keys."
        if self.state not in _UNDISTURBED:
            self._say(f"Too loud to hear you. Use the keys. {self._help()[1]}", Speech.NOTICE)
        else:
            self._owed = "Too loud to hear you. Use the keys."
        return self.state

    def _on_quiet_again(self, payload: object) -> State:
        if "noise" not in self._deaf:
            return self.state
        self._deaf.discard("noise")
        self._owed = ""
        level = f"noise {payload.noise_db:.0f} dB" if isinstance(payload, NoiseChanged) else "noise"
        self._note(ModeChanged("voice again", level))
        self._message = ""
        if self.state not in (State.CAUTIONING, State.NOTING, State.CRANKING, State.STANDING_BY):
            self._say("I can hear you again.", Speech.NOTICE)
        return self.state

    def _on_gear_lost(self, payload: object) -> State:
        assert isinstance(payload, GearLost)  # noqa: S101
        self._note(ModeChanged(f"{payload.gear} lost", payload.why))
        self._message = f"No {payload.gear}: {payload.why}"
        if payload.gear == "microphone":
            self._deaf.add("microphone")
        if payload.gear == "speaker":
            self._mute = True
            if self.state is State.CAUTIONING:
                return self._cautions_given(by="shown")
        elif payload.gear == "microphone" and self.state is State.NOTING:
            self._note_running = False
            self._prefix = "No microphone. The note was not kept. Use the keys."
            return self._after_note()
        else:
            text = "No microphone. Use the keys." if payload.gear == "microphone" else "No keys. Voice only."
            if self.state in _UNDISTURBED:
                self._owed = text
            else:
                more = self._help()[1] if payload.gear == "microphone" else ""
                self._say(f"{text} {more}".strip(), Speech.NOTICE)
        return self.state

    def _on_gear_back(self, payload: object) -> State:
        assert isinstance(payload, GearBack)  # noqa: S101
        self._note(ModeChanged(f"{payload.gear} back", "it works again"))
        self._message = f"The {payload.gear} is back."
        self._deaf.discard(payload.gear)
        if payload.gear == "speaker":
            self._mute = False
        if self.state not in _UNDISTURBED:
            self._say(f"The {payload.gear} is back.", Speech.NOTICE)
        return self.state

    # --- moving through procedures ----------------------------------------------------------------

    def _enter_procedure(self, name: str, came_from: str | None) -> State:
        self._procedure = self._library.procedures[name]
        self._note(ProcedureEntered(name, came_from))
        intro = wording.procedure_intro(self._library.terms, self._procedure, alone=came_from is None)
        self._prefix = " ".join(filter(None, (self._prefix, intro)))
        return self._enter_step(self._procedure.start)

    def _enter_step(self, name: str, *, offer: bool = True) -> State:
        self._step = self._current_procedure.steps[name]
        self._counters = _Counters()
        self._pending = None
        self._typed = ""
        self._crank_counted = False
        self._set_up = False
        return self._cautions_due(offer=offer)

    def _cautions_due(self, *, offer: bool) -> State:
        """What comes before a step: an earlier result of the same measurement, cautions, rest, or nothing."""
        step = self._current
        if offer:
            earlier = self._same_measurement(step)
            if earlier:
                self._pending = earlier
                self._offered = True
                words = wording.read_back(self._library, step, earlier.answer, earlier.value, earlier.unit)
                return self._read_back(f"Already measured. {words}")
        self._offered = False
        groups: dict[bool, list[tuple[str, str]]] = {False: [], True: []}
        for name in dict.fromkeys([*self._current_procedure.cautions, *step.cautions]):
            caution = self._library.cautions[name]
            last = self._cautions.given.get(name)
            own = name in step.cautions  # those of the whole procedure are given once
            if last is None or (own and self._at - last > self._limits.caution_again_s):
                groups[own].append((name, "full"))
            elif own and wording.never_skipped(caution):
                groups[own].append((name, "short"))
        # Before the work and before the step are two things, so they are said and acknowledged apart.
        first, second = (tuple(groups[False]), tuple(groups[True]))
        self._cautions.due, self._cautions.later = (first, second) if first else (second, ())
        if self._cautions.due:
            return self._say_cautions()
        return self._release()

    def _next_cautions(self) -> State:
        """One group is behind: the next one, or the step itself."""
        if self._cautions.later:
            self._cautions.due, self._cautions.later = self._cautions.later, ()
            return self._say_cautions()
        return self._release()

    def _same_measurement(self, step: Step) -> Pending | None:
        """An earlier result of exactly this measurement in another step of the session, if one counts."""
        # What was set aside comes before what counts; it is of the same step when the way is the same again.
        for past in (*reversed(self._aside), *reversed(self._trail)):
            aside = past in self._aside
            here = not aside and (past.procedure, past.step) == self.position  # repeated on purpose
            if past.measure != step.measure or past.pending is None or here:
                continue
            pending = past.pending
            if pending.value is not None and step.reading is not None and pending.unit is not None:
                base = wording.convert(pending.value, pending.unit, step.reading.unit)
                if base is None or not step.reading.plausible[0] <= base <= step.reading.plausible[1]:
                    continue
                return replace(pending, answer=step.reading.band(base))
            if (
                pending.value is None and step.reading is not None
            ):  # the meter showed that it was over its range
                return replace(pending, answer=step.reading.bands[-1])
            answer = step.answer(pending.answer.outcome)
            if answer is not None and pending.value is None:
                return replace(pending, answer=answer)
        return None

    def _say_cautions(self) -> State:
        texts = [
            wording.caution_text(self._library.cautions[name], form) for name, form in self._cautions.due
        ]
        text = " ".join(filter(None, (self._take_prefix(), *texts)))
        if self._mute or self._needs_acknowledgement():
            text += " Say ready, or press Enter."
        self._say(text, Speech.CAUTION, can_be_cut=False)
        if self._mute:
            return self._cautions_given(by="shown")
        return State.CAUTIONING

    def _needs_acknowledgement(self) -> bool:
        return any(
            self._library.cautions[name].acknowledge and name not in self._cautions.acknowledged
            for name, _ in self._cautions.due
        )

    def _cautions_given(self, *, by: str) -> State:
        procedure, step = self.position
        for name, form in self._cautions.due:
            self._cautions.given[name] = self._at
            self._note(
                CautionGiven(
                    name, form if by == "spoken" else f"{form}, shown on the screen", procedure, step
                )
            )
        if by == "shown" or self._needs_acknowledgement():
            return State.ACKNOWLEDGING
        return self._next_cautions()

    def _release(self) -> State:
        """The cautions are behind: rest the starter if it needs it, else ask."""
        if self._must_rest():
            return self._rest()
        return self._ask(Ask.AGAIN if self._interrupted else Ask.ALL)

    def _rest(self) -> State:
        sentences = wording.setup(self._library, self._current, self._connected)
        text = (self._take_prefix(), *sentences, "Do not crank yet.", f"{self._rest_words()}.")
        self._say_lines(text)
        self._out.append(StartTimer(REST_TIMER, self._rested_at - self._at))
        return State.RESTING

    def _question(self) -> str:
        """The question of the step, with the digits when only keys can answer."""
        step = self._current
        return (
            wording.keyed_choices(self._library, step)
            if self._deaf
            else wording.question(self._library, step)
        )

    def _act(self, setup: tuple[str, ...]) -> tuple[str, ...]:
        """What to do with key and engine after this setup; never "crank" while the starter rests."""
        if self._must_rest():
            return (f"{self._rest_words()} before you crank again.",)
        return wording.act(self._library, self._current, setup)

    def _asked(self) -> str:
        """What the person is to answer now: the read-back, or the question of the step."""
        if self.state is State.READING_BACK:
            return self._prompt
        return wording.question(self._library, self._current)

    def _must_rest(self) -> bool:
        return self._current.measure.engine is Engine.CRANKING and self._at < self._rested_at

    def _rest_words(self) -> str:
        return f"The starter rests {max(1, round(self._rested_at - self._at))} more seconds"

    def _ask(self, part: Ask) -> State:
        """Say a step, or what of it is needed now; the screen always shows what is to be connected as well."""
        step, question = self._current, self._question()
        prefix = self._take_prefix()
        setup = wording.setup(self._library, step, self._connected, whole=part is Ask.AGAIN)
        self._interrupted = False
        if part is Ask.QUESTION:
            self._say_lines((prefix, question), shown=(prefix, *setup, question))
            return State.ASKING
        act = self._act(setup)
        if step.measure.engine is Engine.CRANKING and not self._crank_explained:
            self._crank_explained = True
            act = (*act, "Say cranking now, or press Enter, when it turns.")
        spoken = (*act, question) if part is Ask.ACT else (*setup, *act, question)
        self._say_lines((prefix, *spoken), shown=(prefix, *setup, *act, question))
        return State.ASKING

    def _say_lines(self, sentences: tuple[str, ...], shown: tuple[str, ...] | None = None) -> None:
        """Say a prompt, and keep what the screen shows for it."""
        self._set_up = True
        self._say(" ".join(filter(None, sentences)), Speech.PROMPT)
        self._lines = tuple(filter(None, sentences if shown is None else shown))

    def _read_back(self, text: str) -> State:
        """Speak a pending result back, with what it would lead to when that is costly, and wait for a yes."""
        parts = list(filter(None, (self._take_prefix(), text)))
        target = self._pending.answer.target if self._pending else None
        doubt = self._doubt(self._pending) if self._pending else None
        if doubt and not doubt.rare:
            parts.append("That does not fit the results before.")
        elif target and target.leads is Leads.VERDICT:
            parts.append(wording.would_mean(self._current_procedure.verdicts[target.name]))
        elif target and target.leads is Leads.PROCEDURE:
            parts.append(f"Next would be: {self._library.procedures[target.name].title}.")
        if self._offered:
            parts.append("Affirm to keep it, negative to measure again.")
        else:
            parts.append("Affirm or negative?")
        self._say(" ".join(parts), Speech.READ_BACK)
        return State.READING_BACK

    def _commit(self, pending: Pending, acceptance: Acceptance) -> State:
        step, procedure = self._current, self._current_procedure
        self._results += 1
        kept = KEPT if self._offered else ""
        self._offered = False
        self._note(
            ResultTaken(
                number=self._results,
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
            )
        )
        self._trail.append(
            Trail(
                procedure.name,
                step.name,
                self._results,
                step.measure,
                pending,
                acceptance.value,
                kept=bool(kept),
            )
        )
        if not kept:
            self._connected = step.measure
        self._forget_aside()
        doubt = self._doubt()
        if doubt:
            return self._ask_again(doubt)
        return self._go(pending.answer.target)

    def _go(self, target: Target) -> State:
        if target.leads is Leads.STEP:
            return self._enter_step(target.name)
        if target.leads is Leads.PROCEDURE:
            return self._enter_procedure(target.name, self._current_procedure.name)
        self._verdict = target.name
        # An answer that ends in a verdict was affirmed together with it; a skipped test was not.
        self._verdict_affirmed = bool(self._trail and self._trail[-1].number)
        self._note(VerdictReached(self._current_procedure.name, target.name, self._verdict_affirmed))
        return self._conclude()

    def _conclude(self) -> State:
        verdict = self._current_procedure.verdicts[self._verdict or ""]
        following = ""
        if verdict.continue_with:
            following = self._library.procedures[verdict.continue_with].title
        text = " ".join(filter(None, (wording.verdict_text(verdict, following), self._open(verdict))))
        if not self._verdict_affirmed:
            text += " Affirm, or say correction."
        else:
            text += " Say go ahead, or close session." if following else " Say close session, or press plus."
        self._counters = _Counters()
        self._say(" ".join(filter(None, (self._take_prefix(), text))), Speech.VERDICT)
        return State.CONCLUDING

    def _return_to_work(self) -> State:
        if self._verdict is not None:
            return self._conclude()
        return self._cautions_due(offer=self._offered)

    # --- what the results say together ------------------------------------------------------------

    def _measured(self) -> list[Trail]:
        return [past for past in self._trail if past.pending is not None]

    def _assess(self, pending: Pending | None = None) -> evidence.Assessment | None:
        """What the results that count say together, perhaps with one that was not taken yet."""
        facts = []
        for past in self._measured():
            assert past.pending is not None  # noqa: S101
            facts.append(self._fact(past.procedure, past.step, past.pending, past.confirmed, kept=past.kept))
        if pending is not None:
            procedure, step = self.position
            facts.append(self._fact(procedure, step, pending, Acceptance.AFFIRM.value, kept=self._offered))
        return evidence.assess(self._library, self._current_procedure.circuit, facts, self._limits)

    def _fact(
        self, procedure: str, step: str, pending: Pending, confirmed: str, *, kept: bool
    ) -> evidence.Fact:
        outcome = pending.answer.outcome
        return evidence.Fact(
            procedure,
            step,
            outcome,
            evidence.sureness(pending.how, pending.confidence, confirmed, self._limits),
            kept=kept,
            times=2 if self._before.get((procedure, step)) == outcome else 1,
        )

    def _doubt(self, pending: Pending | None = None) -> _Doubted | None:
        """The doubtful result and the one that it fits least with; None when all fits.

        With a result that was not taken yet only whether there is a doubt counts: that result may be either.
        """
        assessment = self._assess(pending)
        doubt = assessment.doubt(frozenset(self._asked_again)) if assessment else None
        if doubt is None:
            return None
        measured = self._measured()
        if pending is not None:
            measured.append(Trail(*self.position, 0, self._current.measure, pending))
        return _Doubted(measured[doubt.doubtful], measured[doubt.against], doubt.explained)

    def _ask_again(self, doubt: _Doubted) -> State:
        """Go back to the doubtful result, once; what came after it is offered again when its step comes."""
        doubtful, against = doubt.doubtful, doubt.against
        assert doubtful.pending is not None  # noqa: S101
        assert doubtful.measure is not None  # noqa: S101
        step = self._library.step(doubtful.procedure, doubtful.step)
        in_order = (doubtful, against) if doubtful.number < against.number else (against, doubtful)
        first, second = (self._result_of(past, in_order) for past in in_order)
        text = wording.misfit((first, second), wording.named_test(self._library, step), rare=doubt.rare)
        self._note(self._remark("does not fit", text))
        stop = f"{STOP_CRANKING} " if self._prefix.startswith(STOP_CRANKING) else ""
        self._prefix = stop + text
        place = self._trail.index(doubtful)
        for past in reversed(self._trail[place:]):
            how = DOUBTED if past is doubtful else SET_ASIDE
            self._note(ResultUndone(past.number, past.procedure, past.step, how))
        self._aside += [past for past in self._trail[place + 1 :] if past.pending is not None]
        del self._trail[place:]
        self._asked_again.add(evidence.measurement_key(doubtful.measure))
        self._before[doubtful.procedure, doubtful.step] = doubtful.pending.answer.outcome
        self._heard = ""
        self._procedure = self._library.procedures[doubtful.procedure]
        return self._enter_step(doubtful.step, offer=False)

    def _result_of(self, past: Trail, beside: tuple[Trail, ...] = ()) -> str:
        """A result in words; with what makes its test another one where a result beside it has the same place."""
        assert past.pending is not None  # noqa: S101
        step = self._library.step(past.procedure, past.step)
        words = wording.read_back(
            self._library, step, past.pending.answer, past.pending.value, past.pending.unit
        )
        place = wording.place_words(self._library, step)
        others = [self._library.step(one.procedure, one.step) for one in beside if one is not past]
        same = [other for other in others if wording.place_words(self._library, other) == place]
        if not same:
            return words
        told = wording.differing(self._library, step, same[0])
        return f"{words[: len(place)]}, {told}{words[len(place) :]}"

    def _forget_aside(self) -> None:
        """The present measurement is made again, or was taken over: it is not offered any more."""
        measure = self._current.measure
        self._aside = [past for past in self._aside if past.measure != measure]

    def _why(self) -> str:
        """The likeliest fault, the two strongest reasons for it, and what the present test tells apart."""
        assessment = self._assess()
        if assessment is None:
            return "I have no model of this circuit, so no reasons."
        fault = next(iter(assessment.posterior))
        name = wording.fault_spoken(self._library, fault)
        measured = self._measured()
        if not assessment.used:
            parts = ["Nothing is measured yet.", f"Likeliest before any test: {name}."]
        else:
            odds = wording.chance(assessment.posterior[fault])
            parts = [f"Likeliest by the model: {name}, {odds}."]
        reasons = assessment.reasons(fault)
        named = tuple(measured[reason.fact] for reason in reasons)
        for reason, past in zip(reasons, named, strict=True):
            against = wording.fault_spoken(self._library, reason.against)
            parts.append(f"{self._result_of(past, named)} That speaks against: {against}.")
        if self.state is State.ASKING:
            pair = assessment.told_apart(self._current)
            if pair:
                one, other = (wording.fault_spoken(self._library, fault) for fault in pair)
                parts.append(f"This test tells apart: {one}. Or: {other}.")
        return " ".join(parts)

    def _open(self, verdict: Verdict) -> str:
        """What a verdict leaves possible by the model, and what would tell; "" when nothing, or nothing is known."""
        assessment = self._assess()
        if assessment is None or not assessment.used or not verdict.faults:
            return ""
        parts = []
        if assessment.slip >= self._limits.doubt_from:
            parts.append(f"One result may be a slip, {wording.chance(assessment.slip)}.")
        left = [
            f"{wording.fault_spoken(self._library, fault)}, {wording.chance(odds)}"
            for fault, odds in assessment.remaining(self._limits.mention_from).items()
            if fault not in verdict.faults
        ]
        if left:
            parts.append(f"Still possible by the model: {'. Or: '.join(left[:2])}.")
        best = assessment.best_test() if parts and not self._tells_more(verdict) else None
        if best:
            parts.append(f"What would tell: {wording.named_test(self._library, best[0])}.")
        return " ".join(parts)

    def _tells_more(self, verdict: Verdict) -> bool:
        """Whether a verdict goes on with another test of the circuit, and not with the repair."""
        following = verdict.continue_with
        return following is not None and self._library.procedures[following].circuit != NO_CIRCUIT

    # --- small parts ------------------------------------------------------------------------------

    @property
    def _current(self) -> Step:
        assert self._step is not None  # noqa: S101
        return self._step

    @property
    def _current_procedure(self) -> Procedure:
        assert self._procedure is not None  # noqa: S101
        return self._procedure

    def _take_prefix(self) -> str:
        prefix, self._prefix = self._prefix, ""
        return prefix

    def _owing(self) -> tuple[str, ...]:
        """A notice that could not be given when it was due."""
        owed, self._owed = self._owed, ""
        return (owed,) if owed else ()

    def _say(self, text: str, kind: Speech, *, can_be_cut: bool = True) -> None:
        if kind in (Speech.PROMPT, Speech.READ_BACK, Speech.HELP):
            first = STOP_CRANKING if text.startswith(STOP_CRANKING) else ""
            rest = text.removeprefix(first).strip()
            text = " ".join(filter(None, (first, *self._owing(), rest)))
        self._utterance += 1
        if kind not in (Speech.HELP, Speech.NOTICE):
            self._prompt = text
        elif self._mute:
            self._message = text  # an answer to "why" or "not sure" that nobody can hear is shown
        self._out.append(Say(self._utterance, text, kind, can_be_cut))

    def _note(self, entry: Entry) -> None:
        self._out.append(Note(entry))

    def _remark(self, kind: str, text: str) -> Remark:
        procedure, step = self.position
        return Remark(kind, text, procedure, step)

    def _stop_crank(self, *, timed: bool) -> None:
        """Enter a cranking into the record and start the starter's rest.

        When nobody said that it began, the longest allowed time is assumed for the rest, once a step.
        """
        procedure, step = self.position
        if self._crank_began is not None:
            seconds = self._at - self._crank_began
            self._crank_began = None
            self._out.append(CancelTimer(CRANK_TIMER))
            self._note(Cranked(round(float(seconds), 1), timed=True, procedure=procedure, step=step))
        elif (
            not timed
            and not self._crank_counted
            and self._step
            and self._step.measure.engine is Engine.CRANKING
        ):
            self._note(Cranked(self._limits.crank_s, timed=False, procedure=procedure, step=step))
        else:
            return
        self._crank_counted = True
        self._rested_at = self._at + self._limits.rest_s

    def _result_words(self, pending: Pending) -> str:
        return wording.read_back(self._library, self._current, pending.answer, pending.value, pending.unit)

    def _help(self) -> tuple[str, str]:
        """What can be said now, and what can be keyed, a sentence or two each."""
        match self.state:
            case State.ACKNOWLEDGING:
                return "Say ready.", "Press Enter."
            case State.RESTING:
                return "The starter rests.", "Slash to stand by."
            case State.READING_BACK:
                return "Affirm or negative?", "Enter for affirm, minus for negative."
            case State.SKIPPING:
                reasons = wording.listed(list(REASONS.values()), "or")
                return f"Why: {reasons}?", wording.numbered(REASONS.values())
            case State.STANDING_BY:
                return "Say go ahead, voice note, or close session.", "Enter to go ahead, plus to close."
            case State.CONCLUDING:
                return (
                    "Say why, correction, voice note, close session, or go ahead.",
                    "Enter to go ahead, minus to take back, plus to close.",
                )
            case State.ASKING | State.CRANKING:
                return wording.question(self._library, self._current), wording.keyed_choices(
                    self._library, self._current
                )
            case _:
                return "", ""

    def _settle(self) -> None:
        """After every change: what is listened for and what is shown."""
        if self.state is State.FINISHED:
            self._out.append(StopListening())
        elif self.state is State.NOTING:
            pass  # the note has the microphone
        elif "microphone" in self._deaf:
            self._out.append(StopListening())
        elif self._deaf:  # too loud for results; a shouted stop is still worth trying
            self._out.append(Listen(GrammarRequest(controls=(Control.STOP,))))
        else:
            silence: float | None = None
            if self.state in (State.ASKING, State.CONCLUDING, State.STANDING_BY):
                silence = self._limits.no_input_s
            elif self.state in (State.READING_BACK, State.SKIPPING):
                silence = self._limits.confirm_no_input_s
            elif self.state is State.ACKNOWLEDGING:
                silence = self._limits.no_input_s
            request = request_for(self.state, self._step)
            if self._offered and self.state is State.READING_BACK:
                request = GrammarRequest(controls=request.controls)
            self._out.append(Listen(request, silence))
        self._out.append(Show(self._board()))

    def _board(self) -> Board:
        step, procedure = self._step, self._procedure
        if step is None or procedure is None:
            return Board(mode=self.state.value, message=self._message)
        choices: tuple[tuple[str, str], ...] = ()
        if self.state in (State.ASKING, State.CRANKING, State.READING_BACK) and step.reading is None:
            choices = tuple(
                (str(number), self._library.terms.outcomes[answer.outcome].spoken)
                for number, answer in enumerate(step.answers, start=1)
            )
        elif self.state is State.SKIPPING:
            choices = tuple((str(number), text) for number, text in enumerate(REASONS.values(), start=1))
        headline = wording.headline(self._library, step)
        lines = self._lines
        caution = ""
        if self.state in (State.CAUTIONING, State.ACKNOWLEDGING):
            order = ["DANGER", "WARNING", "CAUTION", "NOTICE"]
            words = [self._library.cautions[name].signal.value for name, _ in self._cautions.due]
            caution = min(words, key=order.index, default="")
            lines = tuple(wording.caution_text(self._library.cautions[n], f) for n, f in self._cautions.due)
        elif self.state is State.READING_BACK:
            lines = (self._prompt,)
        elif self.state is State.CONCLUDING and self._verdict:
            headline = "VERDICT"
            verdict = procedure.verdicts[self._verdict]
            lines = (verdict.says, verdict.repair)
        elif self.state in (State.STANDING_BY, State.NOTING, State.FINISHED):
            headline = {"standing by": "STANDING BY", "noting": "NOTE", "finished": "CLOSED"}[
                self.state.value
            ]
            lines = (self._prompt,) if self.state is State.STANDING_BY else ()
        countdown = None
        if self.state is State.CRANKING and self._crank_began is not None:
            countdown = ("crank", self._crank_began + self._limits.crank_s)
        elif self.state is State.RESTING or (
            step.measure.engine is Engine.CRANKING
            and self._at < self._rested_at
            and self.state is not State.ASKING
        ):
            countdown = ("rest the starter", self._rested_at)
        return Board(
            title=procedure.title,
            step=len(self._trail) + (self.state is not State.CONCLUDING),
            headline=headline,
            lines=lines,
            choices=choices,
            keys=self._key_hints(),
            mode=self.state.value,
            heard=self._heard,
            typed=self._typed,
            message=self._message,
            keys_only=bool(self._deaf),
            countdown=countdown,
            caution=caution,
        )

    def _key_hints(self) -> tuple[tuple[str, str], ...]:
        step = self._step
        match self.state:
            case State.ACKNOWLEDGING:
                return (("Enter", "ready"), ("/", "stand by"))
            case State.READING_BACK:
                return (("Enter", "affirm"), ("-", "negative"))
            case State.CRANKING:
                return (("/", "stop"),) if step and step.reading else ((".", "not sure"), ("/", "stop"))
            case State.RESTING:
                return (("0", "say again"), ("-", "take back"), ("/", "stand by"))
            case State.ASKING:
                hints = [("0", "say again"), (".", "not sure"), ("-", "take back"), ("/", "stand by")]
                if step is not None and step.reading is not None:
                    hints = [("Enter", "done"), ("*", "say again"), ("-", "take back"), ("/", "stand by")]
                elif step is not None and step.measure.engine is Engine.CRANKING:
                    hints.insert(0, ("Enter", "cranking now"))
                return tuple(hints)
            case State.STANDING_BY:
                return (("Enter", "go ahead"), ("9", "voice note"), ("+", "close"))
            case State.CONCLUDING:
                return (("Enter", "go ahead"), ("-", "take back"), ("9", "voice note"), ("+", "close"))
            case State.NOTING:
                return (("Enter", "end the note"),)
            case _:
                return (("/", "stand by"),)
