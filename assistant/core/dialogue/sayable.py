"""The sayable words of each state: words of the dialogue, outcomes, numbers and signs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue.asking import units_of
from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Engine
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import PLACED
from assistant.core.values.result import Control, GrammarRequest, Spelling
from assistant.core.values.units import units_like
from assistant.core.values.witness import Witness

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.core.library.terms import Inquiry

REASONS = {
    "no-access": "no access",
    "no-tool": "no tool",
    "not-safe": "not safe",
    "other-reason": "another reason",
}
"""Reasons for skipping a test, in the order of their digits."""

_SAYABLE: dict[State, tuple[Control, ...]] = {
    State.INQUIRING: (
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
    State.CONFIRMING: (
        Control.AFFIRM,
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.LEAVE_BLANK,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
    ),
    State.CAUTIONING: (Control.STOP, Control.STAND_BY),
    State.ACKNOWLEDGING: (
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
    State.RESTING: (
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CORRECTION,
        Control.CHOICES,
        Control.WHY,
        Control.VOICE_NOTE,
        Control.SKIP,
        Control.OTHER_TEST,
        Control.GO_ANYWAY,
        Control.CLOSE,
    ),
    State.ASKING: (
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
    State.CRANKING: (Control.STOP, Control.STAND_BY, Control.NOT_SURE),
    State.READING_BACK: (
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
    State.SKIPPING: (
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
    ),
    State.CHOOSING: (
        Control.NEGATIVE,
        Control.CORRECTION,
        Control.STOP,
        Control.STAND_BY,
        Control.SAY_AGAIN,
        Control.CHOICES,
        Control.CLOSE,
    ),
    State.STANDING_BY: (
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
    State.CONCLUDING: (
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
"""Words of the dialogue that count in each state, besides those that count anywhere."""

_ANYWHERE = tuple(word for word in Control if word.anywhere)

SAYABLE = {state: (*words, *_ANYWHERE) for state, words in _SAYABLE.items()}
"""Words of the dialogue that count in each state."""

READS = frozenset({Witness.METER})
"""Witnesses whose readings the technician can take. A clamp on a scope proposes a shape and no reading."""

LAMP_FACTS = ("lamp-kind", "lamp-current")
"""Facts about the lamp in use; "other lamp" asks for them again."""


def request_for(
    state: State,
    step: Step | None,
    inquiry: Inquiry | None = None,
    procedures: tuple[str, ...] = (),
    *,
    digits: bool = False,
    more: bool = False,
    witnesses: Collection[Witness] = (),
) -> GrammarRequest:
    """The grammar request for a state, with its step, its fact or the procedures to choose from.

    Args:
        state: The dialogue's state.
        step: The present step; None if there is none.
        inquiry: The fact that is asked for; None if none is.
        procedures: Names of the procedures to choose from.
        digits: Whether the digits of the step's reading were asked for.
        more: Whether more signs of the fact may follow what is read back.
        witnesses: What perceives in place of the technician.
    """
    controls = SAYABLE.get(state, ())
    if state in (State.INQUIRING, State.CONFIRMING) and inquiry is not None:
        return _request_for_fact(inquiry, controls, again=state is State.CONFIRMING and not more)
    if state is State.CHOOSING:
        return GrammarRequest(procedures, (), controls, places=False)
    outcomes: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    asks = state in (State.RESTING, State.ASKING, State.CRANKING, State.READING_BACK)
    if step is not None and asks and (state is State.ASKING or not step.watch):
        outcomes = _listened_for(step)
        units = units_like(step.reading.unit) if step.reading else ()
    if state in (State.ASKING, State.RESTING) and step is not None:
        if step.measure.engine is Engine.CRANKING:
            controls = (*controls, Control.CRANKING)
        if step.measure.instrument == "test-lamp":
            controls = (*controls, Control.OTHER_LAMP)
        if step.watch:
            controls = (*controls, Control.THAT_IS_ALL)
    if state is State.CRANKING and Witness.EAR in witnesses:
        controls = (*controls, Control.CRANKING)
    reads = step is not None and step.reading is not None and state in (State.ASKING, State.CRANKING)
    if reads and READS & set(witnesses):
        controls = (*controls, Control.TAKE_IT)
    if state is State.SKIPPING:
        outcomes = tuple(REASONS)
    return GrammarRequest(
        outcomes, units, controls, places=not set(PLACED) & set(outcomes), digits=digits and bool(units)
    )


def _listened_for(step: Step) -> tuple[str, ...]:
    """The outcomes that a step listens for; a steady lamp is simply lit where no answer tells steady from blinking."""
    answers = [answer.outcome for answer in step.answers]
    lit_is_all = "lit" in answers and "steady" not in answers
    return tuple(name for name in step.heard if not (lit_is_all and name == "steady"))


def _request_for_fact(inquiry: Inquiry, controls: tuple[Control, ...], *, again: bool) -> GrammarRequest:
    """The grammar request for a fact; `again` while it is read back, when signs must be taken back before new
    ones.
    """
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
"""Largest number of the number grammar; a fact that may be larger is spoken digit by digit."""


def requests_of(
    library: Library, *, digits: bool = False, witnesses: Collection[Witness] = ()
) -> Iterator[GrammarRequest]:
    """Every possible request of these procedures, each once.

    Args:
        library: The procedures.
        digits: Also those for a reading digit by digit.
        witnesses: What perceives in place of the technician.
    """
    seen = set()
    asked = {name: library.terms.facts[name] for name in LAMP_FACTS if name in library.terms.facts}
    for procedure in library.procedures.values():
        for names in (procedure.asks, *(step.asks for step in procedure.steps.values())):
            asked |= {name: library.terms.facts[name] for name in names}
    requests = [
        request_for(state, step, digits=one_by_one, witnesses=witnesses)
        for procedure in library.procedures.values()
        for step in procedure.steps.values()
        for state in State
        if state not in (State.INQUIRING, State.CONFIRMING, State.CHOOSING)
        for one_by_one in (False, True)[: 1 + digits]
    ]
    requests += [
        request_for(state, None, inquiry)
        for inquiry in asked.values()
        for state in (State.INQUIRING, State.CONFIRMING)
    ]
    spelled = (inquiry for inquiry in asked.values() if inquiry.kind is FactKind.SPELLED)
    requests += [request_for(State.CONFIRMING, None, inquiry, more=True) for inquiry in spelled]
    requests.append(request_for(State.CHOOSING, None, procedures=tuple(library.procedures)))
    for request in requests:
        if request not in seen and (request.outcomes or request.units or request.controls):
            seen.add(request)
            yield request
