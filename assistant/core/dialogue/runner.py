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
from itertools import chain
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking
from assistant.core.dialogue.circles import AFTER_REPAIR, Visits
from assistant.core.dialogue.doubting import Doubted, Why, drops_of, thin
from assistant.core.dialogue.inquiring import TYPED, Asked, Source, Waiting, blank
from assistant.core.dialogue.policy import SHADE, Acceptance, grade, lamp_faint, lamp_refused, tapered
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
from assistant.core.dialogue.trail import Paused, Pending, Trail, Trails, new_since
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
    Measurement,
    Reading,
    Target,
)
from assistant.core.reasoning import evidence
from assistant.core.reasoning.adding_up import LOADED, unequal
from assistant.core.reasoning.knowledge import measurement_key
from assistant.core.values.board import Board
from assistant.core.values.entries import (
    KEPT,
    TAKEN_BACK,
    CautionAcknowledged,
    CautionGiven,
    Cranked,
    Entry,
    FactGiven,
    FactUndone,
    LedBack,
    ModeChanged,
    ProcedureEntered,
    ProcedurePaused,
    Remark,
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
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.core.values.thresholds import OLD_RULES, Thresholds
from assistant.core.values.units import convert, number_words, plain_number, span_words
from assistant.core.words import wording

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step, Verdict
    from assistant.core.reasoning.knowledge import Knowledge


STOP_CRANKING = "Stop cranking."

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

CRANK_TIMER = "crank"
REST_TIMER = "rest"


class Ask(StrEnum):
    """How much of a step's instruction is spoken."""

    AGAIN = "all, also what is already connected"
    ALL = "all"
    ACT = "act and question"
    QUESTION = "question"


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """A fact that was given in this session, and the result after which it was; None before the first."""

    fact: str
    after: Trail | None


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
        knowledge: What results are weighed with; None if they are not weighed.
        thresholds: The dialogue's limits.
        memo: What was computed in earlier sessions with the same library; it changes no result.
    """

    def __init__(
        self,
        library: Library,
        knowledge: Knowledge | None,
        thresholds: Thresholds,
        memo: evidence.Memo | None = None,
    ) -> None:
        self._library = library
        self._knowledge = knowledge
        self._limits = thresholds
        self.state = State.UNOPENED
        self._at = 0.0
        self._out: list[Action] = []
        self._silent = False
        self._utterance = 0
        self._prompt = ""
        self._procedure: Procedure | None = None
        self._step: Step | None = None
        self._verdict: str | None = None
        self._verdict_affirmed = False
        self._led_back: LedBack | None = None
        self._visits = Visits()
        self._again_in = ""
        self._trail = Trails()
        self._memo = evidence.Memo() if memo is None else memo
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
        self._lost: dict[str, str] = {}
        self._note_from = State.ASKING
        self._note_running = False
        self._asked_again: set[str] = set()
        self._patterns: set[tuple[int, int]] = set()
        self._before: dict[tuple[str, str], str] = {}
        self._aside: list[Trail] = []
        self._facts: dict[str, FactGiven] = {}
        self._answered: list[Answered] = []
        self._again: tuple[str, ...] = ()
        self._asked_fact: Asked | None = None
        self._offer = True
        self._spelling_explained = False
        self._paused: tuple[Paused, ...] = ()
        self._chosen_from = State.ASKING

    # --- the port ---------------------------------------------------------------------------------

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
        self._at = max(self._at, event.at)
        self._out = []
        self._silent = silent
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
                elif not silent:
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

    @property
    def taken(self) -> int:
        """How many results were taken so far, also those that were taken back since."""
        return self._results

    # --- events to triggers -----------------------------------------------------------------------

    def _classify(self, event: Event) -> tuple[Trigger | None, object]:
        match event:
            case Began():
                return Trigger.BEGIN, event
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
            if self.state is State.CHOOSING and trigger is Trigger.GO_AHEAD:
                return Trigger.DENY, "voice"
            if self.state is State.READING_BACK and trigger is Trigger.NOT_SURE:
                return Trigger.DENY, "voice"
            return trigger, "voice"
        if self.state is State.SKIPPING and result.outcome in REASONS:
            return Trigger.REASON, result.outcome
        if self.state is State.CHOOSING:
            known = result.outcome in self._library.procedures
            return (Trigger.CHOSEN, result.outcome) if known else (Trigger.UNEXPECTED, None)
        if self.state in (State.INQUIRING, State.CONFIRMING):
            clip = event.clip.file if event.clip else None
            return self._classify_fact(result, Source("voice", event.words, event.confidence, clip))
        if result.signs is not None:
            return Trigger.UNEXPECTED, None
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
        judged: Decimal | None = None
        if value is not None and step.reading is not None:
            unit = unit or step.reading.unit
            base = convert(value, unit, step.reading.unit)
            if base is None:
                return Trigger.UNEXPECTED, None
            low, high = step.reading.plausible
            if not low <= base <= high:
                return Trigger.IMPLAUSIBLE, number_words(value, unit)
            answer, judged = self._judge(step.reading, base)
        elif result.outcome == OVER_RANGE and step.reading is not None and OVER_RANGE in step.heard:
            answer = step.reading.bands[-1]
        elif result.outcome is not None:
            answer = step.answer(result.outcome) if step.reading is None else None
            if answer is None and result.outcome in step.heard:
                return Trigger.NO_ANSWER, self._library.terms.outcomes[result.outcome].spoken
        if answer is None:
            return Trigger.UNEXPECTED, None
        return Trigger.RESULT, Pending(answer, value, unit, how, words, confidence, snr_db, clip, judged)

    def _judge(self, reading: Reading, base: Decimal) -> tuple[Answer | None, Decimal | None]:
        """The answer that a reading is, and what was judged where that is not the reading itself."""
        found: Judged = reading.judge(base, self._numbers())
        return found.band or reading.unjudged, None if found.value == base else found.value

    def _classify_fact(self, result: Result, source: Source) -> tuple[Trigger | None, object]:
        """What an answer means to the fact that is asked for."""
        asked = self._asked_fact
        if asked is None:
            return Trigger.UNEXPECTED, None
        inquiry = asked.inquiry
        if asked.spells:
            if result.signs is None or self.state is State.CONFIRMING:
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
        return Trigger.FACT, Waiting(plain_number(value), unit, source)

    def _classify_key(self, key: str) -> tuple[Trigger | None, object]:
        state, step = self.state, self._step
        digit = int(key) if key.isdigit() else None
        if state in (State.INQUIRING, State.CONFIRMING) and self._asked_fact is not None:
            return self._classify_fact_key(key, self._asked_fact)
        if len(key) == 1 and key.isalpha():
            return None, None  # letters count only while something is spelled
        if state is State.CHOOSING:
            return self._classify_choosing_key(key)
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

    def _classify_fact_key(self, key: str, asked: Asked) -> tuple[Trigger | None, object]:
        """A key while a fact is asked for or read back."""
        everywhere = {
            "plus": Trigger.BLANK,
            "slash": Trigger.STAND_BY,
            "star": Trigger.CHOICES,
            "stop": Trigger.STOP,
        }
        if key in everywhere:
            return everywhere[key], "keypad"
        if self.state is State.CONFIRMING:
            return self._classify_confirming_key(key, asked)
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
            return self._classify_fact_number_key(key, asked)
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

    def _classify_fact_number_key(self, key: str, asked: Asked) -> tuple[Trigger | None, object]:
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
        return self._classify_fact(Result(value=value), Source("keypad", asked.typed))

    def _classify_confirming_key(self, key: str, asked: Asked) -> tuple[Trigger | None, object]:
        simple = {"enter": Trigger.AFFIRM, "minus": Trigger.DENY, "close": Trigger.CLOSE}
        if key in simple:
            return simple[key], "keypad"
        if asked.spells and key == "erase":
            return Trigger.TYPED, key
        if asked.inquiry.kind is FactKind.NUMBER and key in ("point", *"123456789"):
            return Trigger.TYPED, key
        return (Trigger.SAY_AGAIN if key == "0" else Trigger.UNEXPECTED), "keypad"

    def _classify_choosing_key(self, key: str) -> tuple[Trigger | None, object]:
        """A key while a procedure is chosen by its number."""
        if key in ("erase", *"0123456789"):
            return Trigger.TYPED, key
        if key == "enter":
            names = list(self._library.procedures)
            number = int(self._typed) if self._typed else 0
            return (
                (Trigger.CHOSEN, names[number - 1]) if 1 <= number <= len(names) else (Trigger.NO_INPUT, None)
            )
        simple = {
            "minus": Trigger.DENY,
            "star": Trigger.CHOICES,
            "slash": Trigger.STAND_BY,
            "stop": Trigger.STOP,
            "close": Trigger.CLOSE,
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
        assert isinstance(payload, Began)  # noqa: S101
        name = self._library.procedure(payload.procedure).name
        for typed in payload.facts:
            if typed.fact in self._library.terms.facts and typed.value:
                given = FactGiven(typed.fact, typed.value, typed.unit, TYPED, typed.value, 1.0, TYPED, None)
                self._facts[typed.fact] = given
                self._note(given)
        return self._enter_procedure(name, came_from=None)

    def _on_resume(self, _payload: object) -> State:
        self._note(ModeChanged("resumed", "the session was interrupted"))
        self._cautions = _Cautioned()
        self._owed = ""
        self._deaf.clear()  # what is missing now will be reported again
        self._mute = False
        self._lost.clear()
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
        if self._asked_fact is not None:
            self._asked_fact.typed, self._asked_fact.waiting = "", None
            self._message = str(payload)
            self._say(f"{payload} {self._asked_fact.inquiry.question}", Speech.HELP)
            return State.INQUIRING
        low, high = self._current.reading.plausible if self._current.reading else (Decimal(0), Decimal(0))
        unit = self._current.reading.unit if self._current.reading else "V"
        text = f"{payload} is outside {span_words(low, high, unit)}. Measure again."
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
        if self._asked_fact is not None:
            return self._take_fact(self._asked_fact.given(Acceptance.AFFIRM.value))
        assert self._pending is not None  # noqa: S101
        pending, self._pending = self._pending, None
        self._prefix = ""
        return self._commit(pending, Acceptance.AFFIRM)

    def _on_deny(self, _payload: object) -> State:
        if self.state is State.SKIPPING:
            return self._return_to_work()
        if self.state is State.CHOOSING:
            return self._not_chosen()
        if self._asked_fact is not None:
            return self._fact_denied(self._asked_fact)
        self._note(self._remark("read-back denied", self._heard))
        self._pending = None
        if self._offered:
            self._forget_aside()
            return self._cautions_due(offer=False)
        self._heard = ""
        self._prefix = "Not taken."
        return self._ask(Ask.QUESTION)

    def _on_correction(self, payload: object) -> State:
        if self.state in (State.READING_BACK, State.SKIPPING, State.CHOOSING):
            return self._on_deny(payload)
        if self._asked_fact is not None and self._part_taken_back(self._asked_fact):
            return State.INQUIRING
        last_fact = self._answered[-1] if self._answered else None
        if last_fact and last_fact.after is self._trail.last:
            return self._fact_taken_back(last_fact.fact, str(payload))
        if not self._trail:
            self._message = "Nothing to take back."
            self._prefix = "Nothing to take back."
            return self._before_step(offer=False) if self.state is State.RESTING else self._stay()
        self._stop_crank(timed=True)
        if self._set_up:  # it was spoken, so it may be connected already and comes off first
            self._connected = self._current.measure
        last = self._trail.pop()
        self._paused = last.paused
        self._visits = last.visits
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
        self._verdict = self._led_back = None
        self._heard = ""
        if last.procedure != self._current_procedure.name:
            self._procedure = self._library.procedures[last.procedure]
        return self._enter_step(last.step, offer=False)

    def _stay(self) -> State:
        """Say the prefix and the present question again."""
        if self.state is State.ASKING:
            return self._ask(Ask.QUESTION)
        if self.state is State.INQUIRING and self._asked_fact is not None:
            return self._inquire()
        self._say(self._take_prefix() or self._prompt, Speech.HELP)
        return self.state

    def _on_say_again(self, _payload: object) -> State:
        match self.state:
            case State.ASKING:
                return self._ask(Ask.AGAIN)
            case State.INQUIRING:
                return self._inquire()
            case State.ACKNOWLEDGING:
                return self._say_cautions()
            case State.RESTING:
                return self._rest()
            case _:
                self._say(self._prompt, Speech.PROMPT)
                return self.state

    def _on_choices(self, _payload: object) -> State:
        short, keys = self._help()
        if self.state is State.CHOOSING:
            short, keys = "", self._numbered_procedures()
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
        if self._asked_fact is not None:
            inquiry = self._asked_fact.inquiry
            self._note(self._remark("not sure", inquiry.name))
            self._asked_fact.typed = ""
            help_text = (inquiry.look_for, inquiry.question, "Or leave blank.")
            self._say(" ".join(filter(None, help_text)), Speech.HELP)
            return State.INQUIRING
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
        if self._asked_fact is not None:  # signs that were spelled are kept
            self._asked_fact.code, self._asked_fact.typed, self._asked_fact.waiting = "", "", None
        self._say(text, kind, can_be_cut=False)
        self._prompt = "Standing by. Say go ahead, or press Enter. To end: close session."
        return State.STANDING_BY

    def _on_go_ahead(self, _payload: object) -> State:
        if self.state is State.STANDING_BY:
            self._note(ModeChanged("go ahead", "asked for"))
            self._interrupted = True
            return self._return_to_work()
        if self._led_back is not None:
            return self._come_back(self._paused[-1]) if self._paused else self._conclude()
        verdict = self._current_procedure.verdicts[self._verdict or ""]
        if not self._verdict_affirmed:
            self._verdict_affirmed = True
            self._note(VerdictReached(self._current_procedure.name, verdict.name, affirmed=True))
            return self._conclude()
        if verdict.continue_with:
            self._verdict = None
            return self._hand_over(verdict.continue_with)
        if self._paused:
            return self._come_back(self._paused[-1])
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
        if self._note_from is State.CONCLUDING or self._asked_fact is not None:
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
        self._trail.append(
            Trail(
                self._current_procedure.name,
                step.name,
                0,
                None,
                None,
                paused=self._paused,
                visits=self._visits,
            )
        )
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
        if self.state is State.CHOOSING:
            self._typed = self._typed[:-1] if key == "erase" else (self._typed + key)[-2:]
            self._message = ""
            self._out.append(CutSpeech())
            return State.CHOOSING
        if self._asked_fact is not None:
            return self._fact_typed(self._asked_fact, key)
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
        mode = _RECORD_MODES.get(payload.gear, f"{payload.gear} lost")
        self._note(ModeChanged(mode, payload.why))
        told = payload.gear in _RECORD_NOTICES
        if told:
            self._message = payload.why
        elif self._limits.rules > OLD_RULES:
            # Not in the message, which the next one replaces: the loss of one thing must not hide that of another.
            self._lost.pop(payload.gear, None)
            self._lost[payload.gear] = payload.why
            self._message = ""
        else:
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
            text = _GEAR_NOTICES.get(payload.gear, "No keys. Voice only.")
            if self.state in _UNDISTURBED:
                self._owed = text
            else:
                more = self._help()[1] if payload.gear == "microphone" else ""
                self._say(f"{text} {more}".strip(), Speech.NOTICE)
                if told:
                    self._message = payload.why  # with the place, also where nothing can be spoken
        return self.state

    def _on_gear_back(self, payload: object) -> State:
        assert isinstance(payload, GearBack)  # noqa: S101
        self._note(ModeChanged(f"{payload.gear} back", "it works again"))
        self._message = f"The {payload.gear} is back."
        self._lost.pop(payload.gear, None)
        self._deaf.discard(payload.gear)
        if payload.gear == "speaker":
            self._mute = False
        if self.state not in _UNDISTURBED:
            self._say(f"The {payload.gear} is back.", Speech.NOTICE)
        return self.state

    # --- moving through procedures ----------------------------------------------------------------

    def _hand_over(self, name: str) -> State:
        """Go on with another procedure; where it was done before, say what is new since then, or stop."""
        came_from = self._current_procedure.name
        if came_from == AFTER_REPAIR:
            self._visits = Visits()
        self._again_in = ""
        self._visits = self._visits.leaving(came_from, self._results)
        before = self._visits.of(name)
        if before is not None and name != AFTER_REPAIR and self._limits.rules > OLD_RULES:
            new = new_since(self._measured(), before[1])
            if not new or (came_from, name) in self._visits.returned:
                return self._stop_circle(name)
            self._visits = self._visits.returning(came_from, name)
            self._again_in = name
            told = wording.new_since([self._result_of(past, tuple(new[-2:])) for past in new[-2:]])
            self._prefix = " ".join(filter(None, (self._prefix, told)))
        return self._enter_procedure(name, came_from)

    def _stop_circle(self, back_to: str) -> State:
        """The tests lead back to where they were: stop, name no part, and say what a person does next."""
        assessment = self._assess()
        best = assessment.best_test() if assessment else None
        done = [past for past in reversed(self._measured()) if not past.kept and past.measure is not None]
        last = next(
            (past for past in done if past.measure and past.measure.instrument not in SENSES), done[0]
        )
        repeated = wording.named_test(self._library, self._library.step(last.procedure, last.step))
        follows = (
            wording.next_safe_test(wording.named_test(self._library, best[0]))
            if best
            else wording.repeat_last(repeated)
        )
        self._led_back = LedBack(self._current_procedure.name, back_to, wording.LED_BACK, follows)
        self._note(self._led_back)
        return self._conclude()

    def _enter_procedure(self, name: str, came_from: str | None) -> State:
        if came_from is None:  # the person asks for it, so nothing of before counts as a round
            self._visits = Visits()
        self._visits = self._visits.entering(name, self._results)
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
        self._asked_fact = None
        return self._before_step(offer=offer)

    def _before_step(self, *, offer: bool) -> State:
        """Is the lamp in use fit for it, is a fact to be asked for; then what else comes before a step."""
        self._offer = offer
        if self._asked_fact is None:
            measure = self._current.measure
            refused = lamp_refused(
                measure, self._fact_value("lamp-kind"), self._numbers().get("lamp-current")
            )
            if refused:
                self._note(self._remark("lamp refused", refused))
                self._message = refused
                self._prefix = " ".join(filter(None, (self._prefix, refused)))
                self._forget_lamp("lamp refused")
            due = next((name for name in self._due() if name not in self._facts), None)
            if due is not None:
                self._asked_fact = Asked(self._library.terms.facts[due])
        if self._asked_fact is not None:
            if self._asked_fact.full:
                return self._complete(self._asked_fact)
            return self._inquire()
        return self._cautions_due(offer=offer)

    def _due(self) -> tuple[str, ...]:
        """Facts that are needed here, in the order in which they are asked for."""
        return (*self._again, *self._current_procedure.asks, *self._current.asks)

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
        aside = [past for past in reversed(self._aside) if past.measure == step.measure]
        # What counts of this very step does not: it is repeated on purpose.
        counts = self._trail.same_measurement(step.measure, besides=self.position)
        for past in chain(aside, counts):
            pending = past.pending
            if pending is None or self._outdated(past):
                continue
            if pending.value is not None and step.reading is not None and pending.unit is not None:
                base = convert(pending.value, pending.unit, step.reading.unit)
                if base is None or not step.reading.plausible[0] <= base <= step.reading.plausible[1]:
                    continue
                judged_as, judged = self._judge(step.reading, base)
                if judged_as is None:
                    continue
                return replace(pending, answer=judged_as, judged=judged)
            if (
                pending.value is None and step.reading is not None
            ):  # the meter showed that it was over its range
                return replace(pending, answer=step.reading.bands[-1])
            answer = step.answer(pending.answer.outcome)
            if answer is not None and pending.value is None:
                return replace(pending, answer=answer)
        return None

    def _outdated(self, past: Trail) -> bool:
        """Whether a procedure that is done again measures this anew: it is older, and newer results contradict it."""
        visit = self._visits.of(self._current_procedure.name)
        if visit is None or self._again_in != self._current_procedure.name or past.number > visit[0]:
            return False
        assessment = self._assess()
        measured = self._measured()
        return assessment is not None and past in measured and assessment.contradicted(measured.index(past))

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
        if lamp_faint(step.measure, self._numbers().get("lamp-current")):
            act = (*act, SHADE)
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
        parts = list(filter(None, (self._take_prefix(), text, self._judged_words())))
        target = self._pending.answer.target if self._pending else None
        doubt = self._doubt(self._pending) if self._pending else None
        if doubt and doubt.why is not Why.MISFIT:
            pass  # what it leads to is said when the result that is asked again first has been measured
        elif doubt and not doubt.rare:
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
                judged=pending.judged,
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
                paused=self._paused,
                visits=self._visits,
            )
        )
        if not kept:
            self._connected = step.measure
        self._forget_aside()
        doubt = self._sum_doubt() or self._doubt()
        if doubt:
            return self._ask_again(doubt)
        return self._go(pending.answer.target)

    def _go(self, target: Target) -> State:
        if target.leads is Leads.STEP:
            return self._enter_step(target.name)
        if target.leads is Leads.PROCEDURE:
            return self._hand_over(target.name)
        self._verdict = target.name
        # An answer that ends in a verdict was affirmed together with it; a skipped test was not.
        self._verdict_affirmed = bool(self._trail.last and self._trail.last.number)
        self._note(VerdictReached(self._current_procedure.name, target.name, self._verdict_affirmed))
        return self._conclude()

    def _conclude(self) -> State:
        if self._led_back is not None:
            self._counters = _Counters()
            text = f"{self._led_back.says} {self._led_back.next} Say close session, or press plus."
            self._say(" ".join(filter(None, (self._take_prefix(), text))), Speech.VERDICT)
            return State.CONCLUDING
        verdict = self._current_procedure.verdicts[self._verdict or ""]
        following = ""
        if verdict.continue_with:
            following = self._library.procedures[verdict.continue_with].title
        back = "" if following or not self._paused else wording.procedure_short(self._paused[-1].procedure)
        text = " ".join(filter(None, (wording.verdict_text(verdict, following), self._open(verdict))))
        if not self._verdict_affirmed:
            text += " Affirm, or say correction."
        else:
            text += f" Go ahead: back to {back}." if back else ""
            end = " Say go ahead, or close session."
            text += end if following or back else " Say close session, or press plus."
        self._counters = _Counters()
        self._say(" ".join(filter(None, (self._take_prefix(), text))), Speech.VERDICT)
        return State.CONCLUDING

    def _return_to_work(self) -> State:
        if self._concluded:
            return self._conclude()
        return self._before_step(offer=self._offered or (self._asked_fact is not None and self._offer))

    # --- what the results say together ------------------------------------------------------------

    def _measured(self) -> list[Trail]:
        return self._trail.measured()

    def assessment(self) -> evidence.Assessment | None:
        """What the results so far say together; None where nothing is weighed here."""
        return self._assess()

    def _assess(self, pending: Pending | None = None) -> evidence.Assessment | None:
        """What the results that count say together, perhaps with one that was not taken yet."""
        circuit = self._current_procedure.circuit
        if not evidence.known(self._knowledge, circuit) or self._too_many(pending):
            return None
        facts = []
        for past in self._measured():
            assert past.pending is not None  # noqa: S101
            facts.append(self._fact(past.procedure, past.step, past.pending, past.confirmed, kept=past.kept))
        if pending is not None:
            procedure, step = self.position
            facts.append(self._fact(procedure, step, pending, Acceptance.AFFIRM.value, kept=self._offered))
        return evidence.assess(self._library, self._knowledge, circuit, facts, self._limits, self._memo)

    def _too_many(self, pending: Pending | None = None) -> bool:
        """Whether more results count than are weighed together."""
        return self._trail.results + (pending is not None) > self._limits.weighed_results

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

    def _doubt(self, pending: Pending | None = None) -> Doubted | None:
        """The result to ask again, and why; None when all fits.

        With a result that was not taken yet only whether there is a doubt counts: that result may be either.
        """
        assessment = self._assess(pending)
        if assessment is None:
            return None
        asked = frozenset(self._asked_again)
        doubt = assessment.doubt(asked)
        measured = self._measured()
        if pending is not None:
            measured.append(Trail(*self.position, 0, self._current.measure, pending))
        known = doubt is not None and doubt.explained and self._limits.rules > OLD_RULES
        if doubt is not None and not known:
            return Doubted(measured[doubt.doubtful], measured[doubt.against], doubt.explained)
        if doubt is not None and pending is None:
            self._known_pattern(measured[doubt.doubtful], measured[doubt.against])
        target = measured[-1].pending.answer.target if measured and measured[-1].pending else None
        if target is None or target.leads is not Leads.VERDICT:
            return None
        verdict = self._library.procedures[measured[-1].procedure].verdicts[target.name]
        again = thin(assessment, verdict, asked, self._limits.part_from)
        return None if again is None else Doubted(measured[again], None, why=Why.PART)

    def _sum_doubt(self) -> Doubted | None:
        """The drop that is measured again because pieces and whole do not add up; None when they do."""
        last = self._trail.last
        if self._limits.rules == OLD_RULES or last is None or last.measure is None:
            return None
        if last.measure.instrument not in LOADED or self._too_many():
            return None
        measured = self._measured()
        for found in unequal(drops_of(measured)):
            suspect = found.suspect
            if measurement_key(suspect.measure) not in self._asked_again:
                named = wording.named_drop(self._library, suspect.measure)
                text = wording.not_adding_up(found.total, found.whole.volts, named)
                return Doubted(measured[suspect.place], None, why=Why.SUM, text=text)
        return None

    def _known_pattern(self, one: Trail, other: Trail) -> None:
        """Say, once for each two results, that they seldom come together and that a fault is known that gives them."""
        pair = (min(one.number, other.number), max(one.number, other.number))
        if pair not in self._patterns:
            self._patterns.add(pair)
            in_order = (one, other) if one.number < other.number else (other, one)
            words = " ".join(self._result_of(past, in_order) for past in in_order)
            self._note(self._remark("known pattern", words))
            self._prefix = " ".join(filter(None, (self._prefix, wording.KNOWN_PATTERN)))

    def _ask_again(self, doubt: Doubted) -> State:
        """Go back to the doubtful result, once; what came after it is offered again when its step comes."""
        doubtful, against = doubt.doubtful, doubt.against
        assert doubtful.pending is not None  # noqa: S101
        assert doubtful.measure is not None  # noqa: S101
        step = self._library.step(doubtful.procedure, doubtful.step)
        again = wording.named_test(self._library, step)
        text = doubt.text or wording.before_part(again)
        if against is not None and not doubt.text:
            in_order = (doubtful, against) if doubtful.number < against.number else (against, doubtful)
            first, second = (self._result_of(past, in_order) for past in in_order)
            text = wording.misfit((first, second), again, rare=doubt.rare)
        self._note(self._remark(doubt.why.value, text))
        stop = f"{STOP_CRANKING} " if self._prefix.startswith(STOP_CRANKING) else ""
        self._prefix = stop + text
        left = self._trail.back_to(doubtful)
        for past in left:
            how = TAKEN_BACK[doubt.why][past is not doubtful]
            self._note(ResultUndone(past.number, past.procedure, past.step, how))
        self._aside += [past for past in reversed(left[:-1]) if past.pending is not None]
        self._asked_again.add(measurement_key(doubtful.measure))
        self._before[doubtful.procedure, doubtful.step] = doubtful.pending.answer.outcome
        self._heard = ""
        self._procedure = self._library.procedures[doubtful.procedure]
        self._paused = doubtful.paused
        self._visits = doubtful.visits
        return self._enter_step(doubtful.step, offer=False)

    # --- facts that are asked for -----------------------------------------------------------------

    def _fact_value(self, name: str) -> str:
        """The value of a fact; "" where it is not known."""
        return self._facts[name].value if name in self._facts else ""

    def _numbers(self) -> dict[str, Decimal]:
        """All facts that are numbers, each in its own unit."""
        given = {name: (fact.value, fact.unit) for name, fact in self._facts.items()}
        return asking.numbers(self._library.terms.facts, given)

    def _inquire(self) -> State:
        """Ask for the fact, with what was spelled of it so far."""
        assert self._asked_fact is not None  # noqa: S101
        asked = self._asked_fact
        asked.waiting = None
        if self.state not in (State.INQUIRING, State.CONFIRMING):
            self._counters = _Counters()
        so_far = (
            f"So far {len(asked.signs)}, last: {asking.spelled(asked.signs[-3:])}." if asked.signs else ""
        )
        keys = asking.question_keys(asked.inquiry) if self._deaf else ""
        choices = ""
        if asked.inquiry.kind is FactKind.CHOICE and not keys:
            choices = asking.listed_choices(asked.inquiry)
        how = ""
        if asked.spells and not self._spelling_explained and not keys:
            self._spelling_explained = True
            how = "Spell it, a few signs at a time. At the end: that is all."
        parts = (self._take_prefix(), asked.inquiry.question, choices, so_far, how, keys)
        self._say(" ".join(filter(None, parts)), Speech.PROMPT)
        return State.INQUIRING

    def _on_signs(self, payload: object) -> State:
        assert isinstance(payload, tuple)  # noqa: S101
        assert self._asked_fact is not None  # noqa: S101
        signs, source = payload
        asked = self._asked_fact
        if asked.propose(signs):
            return self._confirm(asked)
        problem = asked.add(signs, source)
        self._message = problem
        if problem:
            self._note(self._remark("not taken", f"{signs}: {problem}"))
            self._say(f"{problem} Correction takes the last back.", Speech.HELP)
            return State.INQUIRING
        if asked.full:
            return self._complete(asked)
        self._counters = _Counters()
        text = f"{asking.spelled(signs)}."
        self._say(f"{text[:1].upper()}{text[1:]}", Speech.READ_BACK)
        return State.INQUIRING

    def _fact_typed(self, asked: Asked, key: str) -> State:
        """A key of a fact; speech is cut, and the screen shows what there is."""
        self._message = self._heard = ""
        if self.state is State.CONFIRMING and not asked.spells and key == "point":
            return self._other_unit(asked)
        asked.waiting = None
        self._out.append(CutSpeech())
        self._prompt = asked.inquiry.question
        if key == "erase":
            asked.erase()
        elif not asked.spells:
            asked.type(key, self._limits.longest_number)
        else:
            if asked.propose(key):
                return self._confirm(asked)
            problem = asked.press(key)
            if problem:
                self._message = problem
                self._say(problem, Speech.HELP)
            elif asked.full:
                return self._complete(asked)
        return State.INQUIRING

    def _other_unit(self, asked: Asked) -> State:
        """The same number in the next unit that the fact may have."""
        units = asking.units_of(asked.inquiry)
        waiting = asked.waiting
        if waiting is not None and len(units) > 1:
            unit = units[(units.index(waiting.unit) + 1) % len(units)]
            problem = asking.problem_with(asked.inquiry, Decimal(waiting.value), unit)
            if problem:
                self._say(problem, Speech.HELP)
                return State.CONFIRMING
            asked.waiting = replace(waiting, unit=unit)
        return self._confirm(asked)

    def _on_that_is_all(self, _payload: object) -> State:
        assert self._asked_fact is not None  # noqa: S101
        if not self._asked_fact.spells:
            self._say(self._help()[0], Speech.HELP)
            return State.INQUIRING
        return self._complete(self._asked_fact)

    def _complete(self, asked: Asked) -> State:
        """All signs are there: read the whole back, or say what is wrong with it."""
        problem = asked.complete()
        if not problem:
            return self._confirm(asked)
        if asked.full:
            self._note(self._remark("check digit", f"{asked.signs}: {where_to_look(asked.signs)}"))
            slips = [asking.spoken_repair(one.position, one.read, one.meant) for one in asked.proposals()]
            numbered = [f"{number}: {slip}" for number, slip in enumerate(slips, start=1)]
            where = f"Perhaps {'. '.join(numbered)}. Say which." if numbered else where_to_look(asked.signs)
            self._message = problem if numbered else f"{problem} {where}"
            self._say(
                " ".join(filter(None, (self._take_prefix(), problem, where, "Or say correction."))),
                Speech.HELP,
            )
            return State.INQUIRING
        self._message = problem
        self._say(" ".join(filter(None, (self._take_prefix(), problem))), Speech.HELP)
        return State.INQUIRING

    def _confirm(self, asked: Asked) -> State:
        """Read a whole fact back, and wait for a yes."""
        waiting = asked.waiting
        assert waiting is not None  # noqa: S101
        self._typed = asked.typed = ""
        spoken = asking.spoken_value(asked.inquiry, waiting.value, waiting.unit)
        text = f"{asked.inquiry.label}: {spoken}."
        if waiting.repair is not None:
            self._note(self._remark("check digit", f"{asked.signs}: {waiting.repair}"))
            slip = asking.spoken_repair(waiting.repair.position, waiting.repair.read, waiting.repair.meant)
            text = f"The check digit does not fit. Perhaps {slip}. Then it is: {spoken}."
        question = "Affirm or negative?"
        self._say(" ".join(filter(None, (self._take_prefix(), text, question))), Speech.READ_BACK)
        return State.CONFIRMING

    def _on_fact(self, payload: object) -> State:
        assert isinstance(payload, Waiting)  # noqa: S101
        assert self._asked_fact is not None  # noqa: S101
        asked = self._asked_fact
        asked.waiting = payload
        asked.typed = ""
        self._message = ""
        sure = payload.source.confidence >= self._limits.ask_below
        if asked.inquiry.kind is FactKind.CHOICE and sure and self.state is State.INQUIRING:
            self._prefix = f"{asked.inquiry.label}: {asking.spoken_value(asked.inquiry, payload.value, '')}."
            return self._take_fact(asked.given(Acceptance.READ_BACK.value))
        return self._confirm(asked)

    def _on_blank(self, payload: object) -> State:
        assert self._asked_fact is not None  # noqa: S101
        self._prefix = f"{self._asked_fact.inquiry.label}: left blank."
        return self._take_fact(blank(self._asked_fact.inquiry.name, str(payload)))

    def _take_fact(self, given: FactGiven) -> State:
        """The fact counts from now on; then the next one, or the step."""
        self._note(given)
        self._facts[given.fact] = given
        self._answered.append(Answered(given.fact, self._trail.last))
        self._again = tuple(name for name in self._again if name != given.fact)
        self._asked_fact = None
        self._message = self._heard = ""
        self._counters = _Counters()
        return self._before_step(offer=self._offer)

    def _fact_denied(self, asked: Asked) -> State:
        """What was read back is wrong, or is to be spelled again from the start."""
        self._note(self._remark("read-back denied", asked.inquiry.name))
        proposed = asked.waiting is not None and asked.waiting.repair is not None
        asked.waiting = None
        if proposed:  # it was a guess: what was spelled stays, and can be taken back in parts
            self._say(
                "Not taken. Correction takes the last signs back. Negative begins again.", Speech.PROMPT
            )
            return State.INQUIRING
        asked.groups.clear()
        asked.code = asked.typed = ""
        self._message = ""
        self._prefix = "Not taken."
        return self._inquire()

    def _part_taken_back(self, asked: Asked) -> bool:
        """Take the last group back, or what waits for a yes; False where there is nothing."""
        waiting, asked.waiting = asked.waiting, None
        taken = asked.take_back()
        if not taken and waiting is None:
            return False
        self._message = ""
        self._prefix = f"Taken back: {asking.spelled(taken)}." if taken and asked.spells else "Taken back."
        self._inquire()
        return True

    def _fact_taken_back(self, name: str, how: str) -> State:
        self._answered.pop()
        undone = self._facts.pop(name)
        self._note(FactUndone(name, undone.value, how))
        inquiry = self._library.terms.facts[name]
        spoken = asking.spoken_value(inquiry, undone.value, undone.unit)
        self._prefix = f"Taken back. {inquiry.label}: {spoken}."
        self._asked_fact = Asked(inquiry)
        self._pending = None
        self._offered = False
        self._interrupted = self._interrupted or self._set_up
        self._heard = ""
        if self.state is State.RESTING:
            self._out.append(CancelTimer(REST_TIMER))
        return self._before_step(offer=True)

    def _on_other_lamp(self, _payload: object) -> State:
        """Another lamp is used: what is known of the lamp is asked for anew, now."""
        if self.state is State.RESTING:
            self._out.append(CancelTimer(REST_TIMER))
        self._forget_lamp("other lamp")
        self._asked_fact = None
        self._interrupted = True
        if self._concluded:
            return self._conclude()
        return self._before_step(offer=self._offered)

    def _forget_lamp(self, how: str) -> None:
        names = tuple(name for name in LAMP_FACTS if name in self._library.terms.facts)
        for name in names:
            if name in self._facts:
                undone = self._facts.pop(name)
                self._note(FactUndone(name, undone.value, how))
        self._answered = [given for given in self._answered if given.fact not in names]
        self._again = names

    def _judged_words(self) -> str:
        """What is judged of the pending reading where it is not the reading itself, and why it cannot be judged."""
        pending, reading = self._pending, self._current.reading
        if pending is None or reading is None or pending.value is None:
            return ""
        parts = []
        if pending.judged is not None:
            facts = self._numbers()
            less = "Less the leads" if reading.subtract in facts else ""
            warm = "at 20 degrees" if reading.at_20_celsius in facts else ""
            how = ", ".join(filter(None, (less, warm)))
            parts.append(f"{how[:1].upper()}{how[1:]}: {number_words(pending.judged, reading.unit)}.")
        if pending.answer.outcome == UNJUDGED:
            missing = [name for name in reading.specified() if name not in self._numbers()]
            parts.append(
                "No limit from the maker was given. I cannot judge this."
                if missing
                else "The maker's limits as given contradict each other. I cannot judge this."
            )
        return " ".join(parts)

    # --- another test in between ------------------------------------------------------------------

    def _on_other_test(self, _payload: object) -> State:
        self._chosen_from = self.state
        if self.state is State.RESTING:
            self._out.append(CancelTimer(REST_TIMER))
        self._typed = ""
        self._counters = _Counters()
        number = f" Keys: number, then Enter. {self._numbered_procedures()}" if self._deaf else ""
        self._say(f"Which test? Say its name, or key its number.{number}", Speech.PROMPT)
        return State.CHOOSING

    def _numbered_procedures(self) -> str:
        return wording.numbered(wording.procedure_short(name) for name in self._library.procedures)

    def _not_chosen(self) -> State:
        self._typed = ""
        if self._chosen_from is State.STANDING_BY:
            self._say("Standing by. Say go ahead, or press Enter.", Speech.NOTICE)
            return State.STANDING_BY
        return self._return_to_work()

    def _on_chosen(self, payload: object) -> State:
        """Set the present procedure aside, unless it has come to its end, and start or go on with another."""
        name = str(payload)
        self._typed = ""
        self._message = ""
        if name == self._current_procedure.name and not self._concluded:
            self._prefix = "That is the present one."
            self._interrupted = True
            return self._return_to_work()
        aside = self._set_aside()
        waiting = next((paused for paused in self._paused if paused.procedure == name), None)
        if waiting is not None:
            return self._come_back(waiting, aside)
        self._paused = (*self._paused, *aside)
        return self._enter_procedure(name, came_from=None)

    def _set_aside(self) -> tuple[Paused, ...]:
        """Leave the present procedure; what is to be come back to, nothing when it has reached its verdict."""
        if self._set_up:  # it was spoken, so it may be connected already and comes off first
            self._connected = self._current.measure
        self._asked_fact = None
        self._pending = None
        self._offered = False
        self._again = ()
        self._interrupted = True
        if self._concluded:
            self._verdict = self._led_back = None
            return ()
        procedure, step = self.position
        self._note(ProcedurePaused(procedure, step))
        return (Paused(procedure, step),)

    def _come_back(self, paused: Paused, aside: tuple[Paused, ...] = ()) -> State:
        """Go on with a procedure that was set aside; `aside` is what is set aside instead."""
        came_from, self._verdict, self._led_back = self._current_procedure.name, None, None
        self._paused = (*(other for other in self._paused if other is not paused), *aside)
        self._procedure = self._library.procedures[paused.procedure]
        self._note(ProcedureEntered(paused.procedure, came_from, came_back=True))
        back = f"Back to {wording.procedure_short(paused.procedure)}."
        self._prefix = " ".join(filter(None, (self._prefix, back)))
        self._interrupted = True
        return self._enter_step(paused.step)

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
        if place in told:  # the same test in another procedure: its name would only say the place twice
            return words
        return f"{words[: len(place)]}, {told}{words[len(place) :]}"

    def _forget_aside(self) -> None:
        """The present measurement is made again, or was taken over: it is not offered any more."""
        measure = self._current.measure
        self._aside = [past for past in self._aside if past.measure != measure]

    def _why(self) -> str:
        """The likeliest fault, the two strongest reasons for it, and what the present test tells apart."""
        assessment = self._assess()
        if assessment is None and self._too_many():
            return f"More than {self._limits.weighed_results} results. I do not weigh so many together."
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
        if assessment.counted:
            parts.append(wording.findings_counted(assessment.counted))
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
    def _concluded(self) -> bool:
        """Whether the present procedure has come to its end."""
        return self._verdict is not None or self._led_back is not None

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
            case State.INQUIRING if self._asked_fact is not None:
                return asking.sayable(self._asked_fact.inquiry), asking.question_keys(
                    self._asked_fact.inquiry
                )
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
                return wording.question(self._library, self._current), wording.keyed_choices(
                    self._library, self._current
                )
            case _:
                return "", ""

    def _settle(self) -> None:
        """After every change: what is listened for and what is shown."""
        if self._silent:
            return
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
            if self.state in (
                State.ASKING,
                State.CONCLUDING,
                State.STANDING_BY,
                State.INQUIRING,
                State.CHOOSING,
            ):
                silence = self._limits.no_input_s
            elif self.state in (State.READING_BACK, State.SKIPPING, State.CONFIRMING):
                silence = self._limits.confirm_no_input_s
            elif self.state is State.ACKNOWLEDGING:
                silence = self._limits.no_input_s
            inquiry = self._asked_fact.inquiry if self._asked_fact else None
            request = request_for(self.state, self._step, inquiry, tuple(self._library.procedures))
            if self._offered and self.state is State.READING_BACK:
                request = GrammarRequest(controls=request.controls)
            self._out.append(Listen(request, silence))
        self._out.append(Show(self._board()))

    def _board(self) -> Board:
        step, procedure = self._step, self._procedure
        if step is None or procedure is None:
            return Board(mode=self.state.value, message=self._message, lost=tuple(self._lost.items()))
        choices: tuple[tuple[str, str], ...] = ()
        if self.state in (State.ASKING, State.CRANKING, State.READING_BACK) and step.reading is None:
            choices = tuple(
                (str(number), self._library.terms.outcomes[answer.outcome].spoken)
                for number, answer in enumerate(step.answers, start=1)
            )
        elif self.state is State.SKIPPING:
            choices = tuple((str(number), text) for number, text in enumerate(REASONS.values(), start=1))
        elif self.state is State.CHOOSING:
            names = [wording.procedure_short(name) for name in self._library.procedures]
            choices = tuple((f"{number:02}", text) for number, text in enumerate(names, start=1))
        asked = self._asked_fact
        if asked is not None and asked.inquiry.kind is FactKind.CHOICE and self.state is State.INQUIRING:
            words = list(asked.inquiry.choices.values())
            choices = tuple((str(number), text) for number, text in enumerate(words, start=1))
        elif asked is not None and self.state is State.INQUIRING:
            choices = tuple((str(number), str(one)) for number, one in enumerate(asked.proposals(), start=1))
        headline = wording.headline(self._library, step)
        lines = self._lines
        caution = ""
        if self.state in (State.CAUTIONING, State.ACKNOWLEDGING):
            order = ["DANGER", "WARNING", "CAUTION", "NOTICE"]
            signals = [self._library.cautions[name].signal.value for name, _ in self._cautions.due]
            caution = min(signals, key=order.index, default="")
            lines = tuple(wording.caution_text(self._library.cautions[n], f) for n, f in self._cautions.due)
        elif self.state is State.READING_BACK:
            lines = (self._prompt,)
        elif asked is not None and self.state in (State.INQUIRING, State.CONFIRMING):
            headline = asked.inquiry.label.upper()
            lines = tuple(filter(None, (asked.inquiry.question, asked.inquiry.look_for)))
            if asked.inquiry.kind is FactKind.VIN:
                lines = (*lines, f"{len(asked.signs)} of {VIN_LENGTH} signs")
            if asked.waiting is not None:  # the value itself in large letters, to be compared at a glance
                waiting = asked.waiting
                headline = asking.written_value(asked.inquiry, waiting.value, waiting.unit).upper()
                repair = f"Proposed: {waiting.repair}." if waiting.repair else ""
                lines = tuple(filter(None, (repair, f"{asked.inquiry.label}. Affirm or negative?")))
        elif self.state is State.CHOOSING:
            headline, lines = "WHICH TEST", ("Key the number, then Enter.",)
        elif self.state is State.CONCLUDING and self._led_back is not None:
            headline = "NOT DECIDED"
            lines = (self._led_back.says, self._led_back.next)
        elif self.state is State.CONCLUDING and self._verdict:
            headline = "VERDICT"
            verdict = procedure.verdicts[self._verdict]
            lines = (verdict.says, verdict.repair)
        elif self.state in (State.STANDING_BY, State.NOTING, State.FINISHED):
            headline = {"standing by": "STANDING BY", "noting": "NOTE", "finished": "CLOSED"}[
                self.state.value
            ]
            lines = (self._prompt,) if self.state is State.STANDING_BY else ()
        inquiring = self.state in (State.INQUIRING, State.CONFIRMING)
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
            step=0 if inquiring else len(self._trail) + (self.state is not State.CONCLUDING),
            headline=headline,
            lines=lines,
            choices=choices,
            keys=self._key_hints(),
            mode=self.state.value,
            heard=self._heard,
            typed=asked.shown if asked is not None and self.state is State.INQUIRING else self._typed,
            message=self._message,
            keys_only=bool(self._deaf),
            countdown=countdown,
            caution=caution,
            lost=tuple(self._lost.items()),
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
            case State.INQUIRING if self._asked_fact is not None:
                first = {
                    FactKind.CHOICE: (("0", "say again"),),
                    FactKind.NUMBER: (("Enter", "done"),),
                }.get(self._asked_fact.inquiry.kind, ((".21", "letter A"), ("Enter", "that is all")))
                return (*first, ("-", "take back"), ("+", "leave blank"), ("/", "stand by"))
            case State.CONFIRMING if self._asked_fact is not None:
                units = asking.units_of(self._asked_fact.inquiry)
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
