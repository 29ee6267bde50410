"""The dialogue's states, what may happen in each, and what can be said or keyed there.

`TRANSITIONS` is the whole truth about the dialogue's shape; the diagram in README.md beside it is made from it.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from assistant.core.dialogue.asking import units_of
from assistant.core.library.procedure import Engine, FactKind
from assistant.core.values.result import Control, GrammarRequest, Spelling
from assistant.core.values.units import units_like

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Inquiry, Step


class State(StrEnum):
    """What the dialogue waits for."""

    UNOPENED = "unopened"
    INQUIRING = "inquiring"
    CONFIRMING = "confirming"
    CAUTIONING = "cautioning"
    ACKNOWLEDGING = "acknowledging"
    RESTING = "resting"
    ASKING = "asking"
    CRANKING = "cranking"
    READING_BACK = "reading back"
    SKIPPING = "skipping"
    NOTING = "noting"
    CHOOSING = "choosing"
    STANDING_BY = "standing by"
    CONCLUDING = "concluding"
    FINISHED = "finished"


class Trigger(StrEnum):
    """What an event means to the dialogue."""

    BEGIN = "begin"
    RESUME = "resume"
    SPOKEN = "spoken"
    ACKNOWLEDGE = "acknowledge"
    RESULT = "result"
    WRONG_PLACE = "wrong place"
    NO_ANSWER = "no answer here"
    IMPLAUSIBLE = "implausible"
    NO_MATCH = "no match"
    NO_INPUT = "no input"
    AFFIRM = "affirm"
    DENY = "deny"
    CORRECTION = "correction"
    SAY_AGAIN = "say again"
    CHOICES = "choices"
    NOT_SURE = "not sure"
    STAND_BY = "stand by"
    GO_AHEAD = "go ahead"
    STOP = "stop"
    NOTE = "voice note"
    NOTE_ENDED = "note ended"
    END_NOTE = "end note"
    SKIP = "skip"
    REASON = "reason"
    CRANK_BEGINS = "crank begins"
    CRANK_LIMIT = "crank limit"
    RESTED = "rested"
    TYPED = "typed"
    TOO_LOUD = "too loud"
    QUIET_AGAIN = "quiet again"
    GEAR_LOST = "gear lost"
    GEAR_BACK = "gear back"
    CLOSE = "close"
    WHY = "why"
    SIGNS = "signs"
    FACT = "fact"
    BLANK = "leave blank"
    THAT_IS_ALL = "that is all"
    OTHER_TEST = "other test"
    OTHER_LAMP = "other lamp"
    CHOSEN = "procedure chosen"
    END = "end"
    UNEXPECTED = "unexpected"


_S = State
_STEP_STARTS = frozenset(
    {_S.INQUIRING, _S.CONFIRMING, _S.CAUTIONING, _S.RESTING, _S.ASKING, _S.READING_BACK, _S.ACKNOWLEDGING}
)
_AFTER_RESULT = _STEP_STARTS | {_S.CONCLUDING, _S.READING_BACK}
_RETURNS = _STEP_STARTS | {_S.CONCLUDING}


def _only(*states: State) -> frozenset[State]:
    return frozenset(states)


def _everywhere(state: State) -> dict[Trigger, frozenset[State]]:
    """What every state of an open session knows."""
    return {
        Trigger.STOP: _only(_S.STANDING_BY),
        Trigger.STAND_BY: _only(_S.STANDING_BY),
        Trigger.NOTE_ENDED: _only(state),
        Trigger.TOO_LOUD: _only(state),
        Trigger.QUIET_AGAIN: _only(state),
        Trigger.GEAR_LOST: _only(state),
        Trigger.GEAR_BACK: _only(state),
        Trigger.RESUME: _RETURNS,
        Trigger.END: _only(_S.FINISHED),
    }


TRANSITIONS: dict[State, dict[Trigger, frozenset[State]]] = {
    _S.UNOPENED: {
        Trigger.BEGIN: _STEP_STARTS,
        Trigger.END: _only(_S.FINISHED),
    },
    _S.INQUIRING: {
        **_everywhere(_S.INQUIRING),
        Trigger.SIGNS: _only(_S.INQUIRING, _S.CONFIRMING),
        Trigger.FACT: _STEP_STARTS,
        Trigger.BLANK: _STEP_STARTS,
        Trigger.THAT_IS_ALL: _only(_S.INQUIRING, _S.CONFIRMING),
        Trigger.TYPED: _only(_S.INQUIRING, _S.CONFIRMING),
        Trigger.IMPLAUSIBLE: _only(_S.INQUIRING),
        Trigger.DENY: _only(_S.INQUIRING),
        Trigger.CORRECTION: _STEP_STARTS,
        Trigger.SAY_AGAIN: _only(_S.INQUIRING),
        Trigger.CHOICES: _only(_S.INQUIRING),
        Trigger.NOT_SURE: _only(_S.INQUIRING),
        Trigger.NO_MATCH: _only(_S.INQUIRING),
        Trigger.NO_INPUT: _only(_S.INQUIRING),
        Trigger.NOTE: _only(_S.NOTING, _S.INQUIRING),
        Trigger.OTHER_TEST: _only(_S.CHOOSING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.CONFIRMING: {
        **_everywhere(_S.CONFIRMING),
        Trigger.AFFIRM: _STEP_STARTS,
        Trigger.DENY: _only(_S.INQUIRING),
        Trigger.CORRECTION: _only(_S.INQUIRING),
        Trigger.FACT: _STEP_STARTS,
        Trigger.BLANK: _STEP_STARTS,
        Trigger.TYPED: _only(_S.INQUIRING, _S.CONFIRMING),
        Trigger.IMPLAUSIBLE: _only(_S.INQUIRING),
        Trigger.SAY_AGAIN: _only(_S.CONFIRMING),
        Trigger.CHOICES: _only(_S.CONFIRMING),
        Trigger.NO_MATCH: _only(_S.CONFIRMING),
        Trigger.NO_INPUT: _only(_S.CONFIRMING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.CAUTIONING: {
        **_everywhere(_S.CAUTIONING),
        Trigger.SPOKEN: _only(_S.CAUTIONING, _S.ACKNOWLEDGING, _S.RESTING, _S.ASKING),
        Trigger.GEAR_LOST: _only(_S.CAUTIONING, _S.ACKNOWLEDGING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.ACKNOWLEDGING: {
        **_everywhere(_S.ACKNOWLEDGING),
        Trigger.ACKNOWLEDGE: _only(_S.CAUTIONING, _S.ACKNOWLEDGING, _S.RESTING, _S.ASKING),
        Trigger.CORRECTION: _STEP_STARTS | _only(_S.ACKNOWLEDGING),
        Trigger.SAY_AGAIN: _only(_S.CAUTIONING, _S.ACKNOWLEDGING),
        Trigger.CHOICES: _only(_S.ACKNOWLEDGING),
        Trigger.WHY: _only(_S.ACKNOWLEDGING),
        Trigger.NO_MATCH: _only(_S.ACKNOWLEDGING),
        Trigger.NO_INPUT: _only(_S.ACKNOWLEDGING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.RESTING: {
        **_everywhere(_S.RESTING),
        Trigger.RESTED: _only(_S.ASKING),
        Trigger.CRANK_BEGINS: _only(_S.RESTING, _S.ASKING),
        Trigger.NO_MATCH: _only(_S.RESTING),
        Trigger.CORRECTION: _STEP_STARTS,
        Trigger.SAY_AGAIN: _only(_S.RESTING),
        Trigger.CHOICES: _only(_S.RESTING),
        Trigger.WHY: _only(_S.RESTING),
        Trigger.NOTE: _only(_S.NOTING, _S.RESTING),
        Trigger.SKIP: _only(_S.SKIPPING, _S.RESTING),
        Trigger.OTHER_TEST: _only(_S.CHOOSING),
        Trigger.OTHER_LAMP: _STEP_STARTS,
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.ASKING: {
        **_everywhere(_S.ASKING),
        Trigger.RESULT: _AFTER_RESULT,
        Trigger.WRONG_PLACE: _only(_S.ASKING),
        Trigger.NO_ANSWER: _only(_S.ASKING),
        Trigger.IMPLAUSIBLE: _only(_S.ASKING),
        Trigger.NO_MATCH: _only(_S.ASKING),
        Trigger.NO_INPUT: _only(_S.ASKING),
        Trigger.CORRECTION: _STEP_STARTS,
        Trigger.SAY_AGAIN: _only(_S.ASKING),
        Trigger.CHOICES: _only(_S.ASKING),
        Trigger.WHY: _only(_S.ASKING),
        Trigger.NOT_SURE: _only(_S.ASKING),
        Trigger.NOTE: _only(_S.NOTING, _S.ASKING),
        Trigger.SKIP: _only(_S.SKIPPING, _S.ASKING),
        Trigger.OTHER_TEST: _only(_S.CHOOSING),
        Trigger.OTHER_LAMP: _STEP_STARTS,
        Trigger.CRANK_BEGINS: _only(_S.CRANKING, _S.RESTING),
        Trigger.TYPED: _only(_S.ASKING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.CRANKING: {
        **_everywhere(_S.CRANKING),
        Trigger.RESULT: _AFTER_RESULT,
        Trigger.WRONG_PLACE: _only(_S.CRANKING),
        Trigger.NO_ANSWER: _only(_S.CRANKING),
        Trigger.IMPLAUSIBLE: _only(_S.CRANKING),
        Trigger.NO_MATCH: _only(_S.CRANKING),
        Trigger.NO_INPUT: _only(_S.CRANKING),
        Trigger.CRANK_LIMIT: _only(_S.ASKING),
        Trigger.NOT_SURE: _only(_S.ASKING),
        Trigger.TYPED: _only(_S.CRANKING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.READING_BACK: {
        **_everywhere(_S.READING_BACK),
        Trigger.AFFIRM: _AFTER_RESULT,
        Trigger.DENY: _RETURNS,
        Trigger.CORRECTION: _RETURNS,
        Trigger.RESULT: _AFTER_RESULT,
        Trigger.WRONG_PLACE: _only(_S.READING_BACK),
        Trigger.NO_ANSWER: _only(_S.READING_BACK),
        Trigger.IMPLAUSIBLE: _only(_S.READING_BACK),
        Trigger.SAY_AGAIN: _only(_S.READING_BACK),
        Trigger.CHOICES: _only(_S.READING_BACK),
        Trigger.WHY: _only(_S.READING_BACK),
        Trigger.NO_MATCH: _only(_S.READING_BACK),
        Trigger.NO_INPUT: _only(_S.READING_BACK),
        Trigger.TYPED: _only(_S.ASKING, _S.READING_BACK),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.SKIPPING: {
        **_everywhere(_S.SKIPPING),
        Trigger.REASON: _AFTER_RESULT,
        Trigger.DENY: _RETURNS,
        Trigger.CORRECTION: _RETURNS,
        Trigger.SAY_AGAIN: _only(_S.SKIPPING),
        Trigger.CHOICES: _only(_S.SKIPPING),
        Trigger.NO_MATCH: _only(_S.SKIPPING),
        Trigger.NO_INPUT: _only(_S.SKIPPING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.NOTING: {
        **_everywhere(_S.NOTING),
        Trigger.SPOKEN: _only(_S.NOTING),
        Trigger.END_NOTE: _only(_S.NOTING),
        Trigger.NOTE_ENDED: _RETURNS | _only(_S.STANDING_BY),
        Trigger.GEAR_LOST: _RETURNS | _only(_S.NOTING, _S.STANDING_BY),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.CHOOSING: {
        **_everywhere(_S.CHOOSING),
        Trigger.CHOSEN: _RETURNS,
        Trigger.TYPED: _only(_S.CHOOSING),
        Trigger.DENY: _RETURNS | _only(_S.STANDING_BY),
        Trigger.CORRECTION: _RETURNS | _only(_S.STANDING_BY),
        Trigger.SAY_AGAIN: _only(_S.CHOOSING),
        Trigger.CHOICES: _only(_S.CHOOSING),
        Trigger.NO_MATCH: _only(_S.CHOOSING),
        Trigger.NO_INPUT: _only(_S.CHOOSING),
        Trigger.CLOSE: _only(_S.STANDING_BY),
    },
    _S.STANDING_BY: {
        **_everywhere(_S.STANDING_BY),
        Trigger.GO_AHEAD: _RETURNS,
        Trigger.OTHER_TEST: _only(_S.CHOOSING),
        Trigger.OTHER_LAMP: _RETURNS,
        Trigger.NOTE: _only(_S.NOTING, _S.STANDING_BY),
        Trigger.SAY_AGAIN: _only(_S.STANDING_BY),
        Trigger.CHOICES: _only(_S.STANDING_BY),
        Trigger.WHY: _only(_S.STANDING_BY),
        Trigger.NO_MATCH: _only(_S.STANDING_BY),
        Trigger.NO_INPUT: _only(_S.STANDING_BY),
        Trigger.CLOSE: _only(_S.FINISHED),
    },
    _S.CONCLUDING: {
        **_everywhere(_S.CONCLUDING),
        Trigger.GO_AHEAD: _STEP_STARTS | _only(_S.CONCLUDING, _S.FINISHED),
        Trigger.OTHER_TEST: _only(_S.CHOOSING),
        Trigger.CORRECTION: _STEP_STARTS,
        Trigger.SAY_AGAIN: _only(_S.CONCLUDING),
        Trigger.CHOICES: _only(_S.CONCLUDING),
        Trigger.WHY: _only(_S.CONCLUDING),
        Trigger.NO_MATCH: _only(_S.CONCLUDING),
        Trigger.NO_INPUT: _only(_S.CONCLUDING),
        Trigger.NOTE: _only(_S.NOTING, _S.CONCLUDING),
        Trigger.CLOSE: _only(_S.FINISHED),
    },
    _S.FINISHED: {
        Trigger.RESUME: _RETURNS
    },  # of a session that was left open; a sealed one is refused before
}
"""For each state the triggers it knows, and for each the states that may follow."""

REASONS = {
    "no-access": "no access",
    "no-tool": "no tool",
    "not-safe": "not safe",
    "other-reason": "another reason",
}
"""Why a test is skipped, in the order of their digits."""

SAYABLE: dict[State, tuple[Control, ...]] = {
    _S.INQUIRING: (
        Control.LEAVE_BLANK,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CORRECTION,
        Control.NEGATIVE,
        Control.CHOICES,
        Control.NOT_SURE,
        Control.VOICE_NOTE,
        Control.OTHER_TEST,
        Control.CLOSE,
    ),
    _S.CONFIRMING: (
        Control.AFFIRM,
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.LEAVE_BLANK,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
    ),
    _S.CAUTIONING: (Control.STOP, Control.STAND_BY),
    _S.ACKNOWLEDGING: (
        Control.READY,
        Control.AFFIRM,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CORRECTION,
        Control.CHOICES,
        Control.WHY,
        Control.CLOSE,
    ),
    _S.RESTING: (
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CORRECTION,
        Control.CHOICES,
        Control.WHY,
        Control.VOICE_NOTE,
        Control.SKIP,
        Control.OTHER_TEST,
        Control.CLOSE,
    ),
    _S.ASKING: (
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CORRECTION,
        Control.CHOICES,
        Control.WHY,
        Control.NOT_SURE,
        Control.VOICE_NOTE,
        Control.SKIP,
        Control.OTHER_TEST,
        Control.CLOSE,
    ),
    _S.CRANKING: (Control.STOP, Control.STAND_BY, Control.NOT_SURE),
    _S.READING_BACK: (
        Control.AFFIRM,
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
        Control.WHY,
        Control.NOT_SURE,
    ),
    _S.SKIPPING: (
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
    ),
    _S.CHOOSING: (
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
        Control.CLOSE,
    ),
    _S.STANDING_BY: (
        Control.GO_AHEAD,
        Control.OTHER_TEST,
        Control.OTHER_LAMP,
        Control.STOP,
        Control.VOICE_NOTE,
        Control.SAY_AGAIN,
        Control.CHOICES,
        Control.WHY,
        Control.CLOSE,
    ),
    _S.CONCLUDING: (
        Control.GO_AHEAD,
        Control.AFFIRM,
        Control.CORRECTION,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
        Control.WHY,
        Control.VOICE_NOTE,
        Control.OTHER_TEST,
        Control.CLOSE,
    ),
}
"""Words of the dialogue that are taken in each state."""

CONTROL_TRIGGERS: dict[Control, Trigger] = {
    Control.AFFIRM: Trigger.AFFIRM,
    Control.NEGATIVE: Trigger.DENY,
    Control.CORRECTION: Trigger.CORRECTION,
    Control.SAY_AGAIN: Trigger.SAY_AGAIN,
    Control.CHOICES: Trigger.CHOICES,
    Control.STAND_BY: Trigger.STAND_BY,
    Control.GO_AHEAD: Trigger.GO_AHEAD,
    Control.NOT_SURE: Trigger.NOT_SURE,
    Control.STOP: Trigger.STOP,
    Control.VOICE_NOTE: Trigger.NOTE,
    Control.SKIP: Trigger.SKIP,
    Control.READY: Trigger.ACKNOWLEDGE,
    Control.CRANKING: Trigger.CRANK_BEGINS,
    Control.CLOSE: Trigger.CLOSE,
    Control.WHY: Trigger.WHY,
    Control.LEAVE_BLANK: Trigger.BLANK,
    Control.THAT_IS_ALL: Trigger.THAT_IS_ALL,
    Control.OTHER_TEST: Trigger.OTHER_TEST,
    Control.OTHER_LAMP: Trigger.OTHER_LAMP,
}

KEY_TRIGGERS: dict[str, Trigger] = {
    "star": Trigger.CHOICES,
    "slash": Trigger.STAND_BY,
    "plus": Trigger.SKIP,
    "stop": Trigger.STOP,
    "note": Trigger.NOTE,
    "close": Trigger.CLOSE,
    "why": Trigger.WHY,
}


LAMP_FACTS = ("lamp-kind", "lamp-current")
"""Facts about the lamp in use; "other lamp" has them asked for anew."""


def request_for(
    state: State, step: Step | None, inquiry: Inquiry | None = None, procedures: tuple[str, ...] = ()
) -> GrammarRequest:
    """What may be said in this state, at this step, while this fact is asked for or one of these procedures."""
    controls = SAYABLE.get(state, ())
    if state in (State.INQUIRING, State.CONFIRMING) and inquiry is not None:
        return _request_for_fact(inquiry, controls, again=state is State.CONFIRMING)
    if state is State.CHOOSING:
        return GrammarRequest(procedures, (), controls, places=False)
    outcomes: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    if state in (State.ASKING, State.CRANKING, State.READING_BACK) and step is not None:
        outcomes = step.heard
        units = units_like(step.reading.unit) if step.reading else ()
    if state in (State.ASKING, State.RESTING) and step is not None:
        if step.measure.engine is Engine.CRANKING:
            controls = (*controls, Control.CRANKING)
        if step.measure.instrument == "test-lamp":
            controls = (*controls, Control.OTHER_LAMP)
    if state is State.SKIPPING:
        outcomes = tuple(REASONS)
    return GrammarRequest(outcomes, units, controls)


def _request_for_fact(inquiry: Inquiry, controls: tuple[Control, ...], *, again: bool) -> GrammarRequest:
    """What may be said for a fact; `again` while it is read back, where signs are taken back before others come."""
    if inquiry.kind in (FactKind.SPELLED, FactKind.VIN):
        if again:
            return GrammarRequest(controls=controls)
        signs = Spelling.VIN if inquiry.kind is FactKind.VIN else Spelling.SIGNS
        return GrammarRequest(controls=(Control.THAT_IS_ALL, *controls), spelling=signs)
    if inquiry.kind is FactKind.CHOICE:
        return GrammarRequest(tuple(inquiry.choices), (), controls, places=False)
    digits = inquiry.plausible is not None and inquiry.plausible[1] > LARGEST_SPOKEN
    spelling = Spelling.DIGITS if digits else Spelling.NONE
    units = units_of(inquiry)
    return GrammarRequest((), units, controls, spelling, places=False, counting=not units and not digits)


LARGEST_SPOKEN = 9999
"""Largest number that the number grammar has; a fact that may be larger is said digit by digit."""


def requests_of(library: Library) -> Iterator[GrammarRequest]:
    """Everything that may be asked for with these procedures, each once."""
    seen = set()
    asked = {name: library.terms.facts[name] for name in LAMP_FACTS if name in library.terms.facts}
    for procedure in library.procedures.values():
        for names in (procedure.asks, *(step.asks for step in procedure.steps.values())):
            asked |= {name: library.terms.facts[name] for name in names}
    requests = [
        request_for(state, step)
        for procedure in library.procedures.values()
        for step in procedure.steps.values()
        for state in State
        if state not in (State.INQUIRING, State.CONFIRMING, State.CHOOSING)
    ]
    requests += [
        request_for(state, None, inquiry)
        for inquiry in asked.values()
        for state in (State.INQUIRING, State.CONFIRMING)
    ]
    requests.append(request_for(State.CHOOSING, None, procedures=tuple(library.procedures)))
    for request in requests:
        if request not in seen and (request.outcomes or request.units or request.controls):
            seen.add(request)
            yield request


def diagram() -> str:
    """The table as a Mermaid state diagram, for README.md beside this module.

    Entering a step can end in any of seven states; they are drawn as one choice, ``step``.
    What every open state knows (stop, stand by, close from outside, resume) is drawn once, from ``any``; what changes
    no state (noise, gear, a note that ends late) is left out.
    """
    common = {*_everywhere(State.ASKING)}
    lines = ["stateDiagram-v2", "    state step <<choice>>"]
    lines += [f"    step --> {state.name}" for state in sorted(_STEP_STARTS)]
    lines += [
        "    any --> STANDING_BY: stop, stand by",
        "    any --> step: resume",
        "    any --> CONCLUDING: resume",
        "    any --> FINISHED: end",
    ]
    for state, row in TRANSITIONS.items():
        arrows: dict[str, list[str]] = {}
        for trigger, targets in row.items():
            if trigger in common and targets <= _everywhere(state)[trigger]:
                continue
            names = {target.name for target in targets}
            if targets >= _STEP_STARTS:
                names = {target.name for target in targets - _STEP_STARTS} | {"step"}
            for name in sorted(names):
                arrows.setdefault(name, []).append(trigger.value)
        lines += [f"    {state.name} --> {name}: {', '.join(triggers)}" for name, triggers in arrows.items()]
    return "\n".join(lines)
