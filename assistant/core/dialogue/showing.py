"""The board, the words to listen for, and the help, with a table line for each state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking
from assistant.core.dialogue.key_hints import (
    KEEP,
    ON_STANDING_BY,
    STOP,
    YES_OR_NO,
    Pairs,
    after_verdict,
    at_rest,
    hints,
)
from assistant.core.dialogue.perceiving import entered, shown_reading
from assistant.core.dialogue.sayable import READS, REASONS, request_for
from assistant.core.dialogue.states import State
from assistant.core.library.identity import VIN_LENGTH
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import WATCHED
from assistant.core.values.board import Board
from assistant.core.values.events import Listen, Show, StopListening
from assistant.core.values.result import Control, GrammarRequest
from assistant.core.words import glancing, instructing, placing, remarking, watching
from assistant.core.words.perceiving import TAKE_IT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assistant.core.dialogue.talk import Talk


# --- after every event ----------------------------------------------------------------------------

_LONG_SILENCE = frozenset(
    {
        State.INQUIRING,
        State.ACKNOWLEDGING,
        State.ASKING,
        State.CHOOSING,
        State.STANDING_BY,
        State.CONCLUDING,
    }
)
"""States in which hands are busy, so an answer may take its time."""

_SHORT_SILENCE = frozenset({State.CONFIRMING, State.READING_BACK, State.SKIPPING})
"""States in which an answer is due at once."""


def settle(talk: Talk) -> None:
    """After every change, update the words to listen for and the board."""
    state, deaf = talk.state, talk.gear.deaf
    if state is State.FINISHED:
        talk.do(StopListening())
    elif state is State.NOTING:
        pass  # the note has the microphone
    elif "microphone" in deaf:
        talk.do(StopListening())
    elif deaf:  # too loud for results, but a shouted stop is still worth trying
        talk.do(Listen(GrammarRequest(controls=(Control.STOP,))))
    else:
        talk.do(_listen(talk))
    show(talk)


def show(talk: Talk) -> None:
    """Show the session's position."""
    talk.do(Show(board(talk)))


def _listen(talk: Talk) -> Listen:
    state = talk.state
    silence: float | None = None
    if state is State.ASKING and talk.step.watch:
        pass  # nothing is to be said until something changes
    elif state in _LONG_SILENCE:
        silence = talk.limits.no_input_s
    elif state in _SHORT_SILENCE:
        silence = talk.limits.confirm_no_input_s
    asked = talk.facts.asked
    inquiry = asked.inquiry if asked else None
    digits = talk.awaited.counters.digits
    request = request_for(
        state,
        talk.work.step,
        inquiry,
        tuple(talk.library.procedures),
        digits=digits,
        more=asked is not None and asked.open,
        witnesses=talk.gear.witnesses,
    )
    if talk.awaited.offered and state is State.READING_BACK:
        request = GrammarRequest(controls=request.controls)
    return Listen(request, silence)


# --- help -----------------------------------------------------------------------------------------


def help_here(talk: Talk) -> tuple[str, str]:
    """The words and the keys that count now, in a sentence or two each."""
    tells = _HELP.get(talk.state)
    words, keys = tells(talk) if tells else _FIXED_HELP.get(talk.state, ("", ""))
    return (keys, keys) if talk.voice_off else (words, keys)


def _help_with_fact(talk: Talk) -> tuple[str, str]:
    inquiry = talk.asked.inquiry
    return asking.sayable(inquiry), asking.question_keys(inquiry)


def _help_with_skipping(_talk: Talk) -> tuple[str, str]:
    reasons = placing.listed(list(REASONS.values()), "or")
    return f"Why: {reasons}?", instructing.numbered(REASONS.values())


def _help_with_step(talk: Talk) -> tuple[str, str]:
    asks, keys = (
        instructing.question(talk.library, talk.step),
        instructing.keyed_choices(talk.library, talk.step),
    )
    reads = talk.step.reading is not None and talk.gear.witnesses & READS
    return (f"{asks} {TAKE_IT}", keys) if reads else (asks, keys)


_HELP: dict[State, Callable[[Talk], tuple[str, str]]] = {
    State.INQUIRING: _help_with_fact,
    State.ASKING: _help_with_step,
    State.CRANKING: _help_with_step,
    State.SKIPPING: _help_with_skipping,
}

_FIXED_HELP = {
    State.ACKNOWLEDGING: ("Say ready.", "Press Enter."),
    State.RESTING: ("The starter rests.", "Slash to stand by."),
    State.READING_BACK: ("Yes or no?", "Enter for yes, minus for no."),
    State.CONFIRMING: (
        "Yes or no?",
        "Enter for yes, minus for no, plus to leave blank.",
    ),
    State.CHOOSING: (
        "Say the name of a test, or no.",
        "Key its number, then Enter. Minus goes back.",
    ),
    State.STANDING_BY: (
        "Say go ahead, other test, voice note, or close session.",
        "Enter to go ahead, 1 for another test, plus to close.",
    ),
    State.CONCLUDING: (
        "Say why, correction, voice note, close session, or go ahead.",
        "Enter to go ahead, minus to take back, plus to close.",
    ),
}


# --- the board ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _View:
    """The part of the board that depends on the state; fields as in `Board`."""

    headline: str
    lines: tuple[str, ...] = ()
    choices: Pairs = ()
    caution: str = ""


def board(talk: Talk) -> Board:
    """The present board."""
    state, said, procedure = talk.state, talk.said, talk.work.procedure
    lost = tuple(talk.gear.lost.items())
    if talk.work.step is None or procedure is None:
        return Board(mode=state.value, message=said.message, lost=lost)
    view = _VIEWS.get(state, _step_view)(talk)
    lines, message = view.lines, said.message
    if talk.voice_off and not view.caution:
        lines = tuple(filter(None, (glancing.keyed(line, view.choices) for line in lines)))
        message = glancing.keyed(message, view.choices)
    typed = said.typed
    number = len(talk.past.trail) + (state is not State.CONCLUDING)
    if talk.facts.asked is not None and state is State.INQUIRING:
        typed = talk.facts.asked.shown
    return Board(
        title=procedure.title,
        step=0 if state in (State.INQUIRING, State.CONFIRMING) else number,
        headline=view.headline,
        lines=lines,
        choices=view.choices,
        keys=hints(talk),
        mode=state.value,
        heard=said.heard,
        typed=typed,
        message=message,
        keys_only=bool(talk.gear.deaf),
        countdown=_countdown(talk),
        caution=view.caution,
        lost=lost,
    )


_WAITS_FOR_STARTER = frozenset({State.CAUTIONING, State.ACKNOWLEDGING, State.READING_BACK})
"""States, besides the rest itself, that come before the next crank."""


def _countdown(talk: Talk) -> tuple[str, float] | None:
    crank, state = talk.crank, talk.state
    if state is State.CRANKING and crank.began is not None:
        return ("crank", crank.began + crank.longest_s)
    if state is State.RESTING or (talk.must_rest() and state in _WAITS_FOR_STARTER):
        return ("rest the starter", talk.now.at + talk.wait_s())
    return None


def _numbered(texts: Iterable[str]) -> Pairs:
    return tuple((str(number), text) for number, text in enumerate(texts, start=1))


def _step_view(talk: Talk) -> _View:
    return _View(placing.headline(talk.library, talk.step), talk.said.lines)


def _answers(talk: Talk) -> Pairs:
    if talk.step.reading is not None:
        return (("enter", "take it"),) if entered(talk) else ()
    outcomes = talk.library.terms.outcomes
    if talk.step.watch:
        return (*_numbered(outcomes[name].spoken for name in WATCHED), ("enter", "that is all"))
    return _numbered(outcomes[answer.outcome].spoken for answer in talk.step.answers)


def _asking_view(talk: Talk) -> _View:
    """The instruction and the answers; these stand there with their digits, so no line repeats them."""
    answers, lines = _answers(talk), talk.said.lines
    if answers:
        lines = tuple(line for line in lines if line != instructing.keyed_choices(talk.library, talk.step))
    lines = tuple(filter(None, (shown_reading(talk), *lines)))
    large = placing.headline(talk.library, talk.step)
    if seen := talk.awaited.changes:
        last = talk.library.terms.outcomes[seen[-1].outcome].spoken
        large = f"{last}: {watching.counted(len(seen))}".upper()
    return _View(large, lines, answers)


def _read_back_view(talk: Talk) -> _View:
    """The result itself in large letters, for comparison at a glance."""
    pending = talk.awaited.pending
    if pending is None:
        return _asking_view(talk)
    found = glancing.result(talk.library, talk.step, pending.answer, pending.value, pending.unit)
    return _View(found.upper(), (talk.said.prompt,), KEEP if talk.awaited.offered else YES_OR_NO)


def _caution_view(talk: Talk) -> _View:
    cautions, due = talk.library.cautions, talk.cautions.due
    order = ["DANGER", "WARNING", "CAUTION", "NOTICE"]
    return _View(
        placing.headline(talk.library, talk.step),
        tuple(remarking.caution_text(cautions[name], form) for name, form in due),
        choices=(("enter", "ready"),) if talk.state is State.ACKNOWLEDGING else (),
        caution=min((cautions[name].signal.value for name, _ in due), key=order.index, default=""),
    )


def _fact_view(talk: Talk) -> _View:
    asked = talk.asked
    inquiry = asked.inquiry
    choice = inquiry.kind is FactKind.CHOICE
    choices = _numbered(inquiry.choices.values() if choice else map(str, asked.proposals()))
    lines = tuple(filter(None, (inquiry.question, inquiry.look_for)))
    if inquiry.kind is FactKind.VIN:
        lines = (*lines, f"{len(asked.signs)} of {VIN_LENGTH} characters")
    return _View(inquiry.label.upper(), lines, choices)


def _confirming_view(talk: Talk) -> _View:
    """The value itself in large letters, for comparison at a glance."""
    inquiry, waiting = talk.asked.inquiry, talk.asked.waiting
    assert waiting is not None  # noqa: S101
    repair = f"Proposed: {waiting.repair}." if waiting.repair else ""
    return _View(
        asking.written_value(inquiry, waiting.value, waiting.unit).upper(),
        tuple(filter(None, (repair, f"{inquiry.label}."))),
        YES_OR_NO,
    )


def _skipping_view(talk: Talk) -> _View:
    return _View(placing.headline(talk.library, talk.step), talk.said.lines, _numbered(REASONS.values()))


def _choosing_view(talk: Talk) -> _View:
    names = map(remarking.procedure_short, talk.library.procedures)
    choices = tuple(
        (f"{number // 10} {number % 10} enter", text) for number, text in enumerate(names, start=1)
    )
    return _View("WHICH TEST", ("Key the number, then Enter.",), choices)


def _cranking_view(talk: Talk) -> _View:
    """Whoever watches needs no connections now: what to watch, the answers, and how to stop."""
    watch = instructing.act(talk.library, talk.step)[1:]
    lines = tuple(filter(None, (shown_reading(talk), *watch, instructing.question(talk.library, talk.step))))
    return _View(placing.headline(talk.library, talk.step), lines, (*_answers(talk), STOP))


def _resting_view(talk: Talk) -> _View:
    return _View(
        placing.headline(talk.library, talk.step), talk.said.lines, (*_answers(talk), *at_rest(talk))
    )


def _standing_by_view(talk: Talk) -> _View:
    return _View("STANDING BY", (glancing.without(talk.said.prompt, "Standing by"),), ON_STANDING_BY)


def _verdict_view(talk: Talk) -> _View:
    """What was found, or the one check to do next, in large letters; below it what was said, and the repair."""
    led_back, verdict = talk.work.led_back, talk.work.verdict
    if led_back is not None:
        return _View("NOT DECIDED", (led_back.says, led_back.next), after_verdict(talk))
    if verdict is None:
        return _step_view(talk)
    reached = talk.procedure.verdicts[verdict]
    large = glancing.found(talk.library, reached)
    says = glancing.without(reached.says, large)
    check = remarking.check_written(talk.library, reached.next_check) if reached.next_check else ""
    return _View(large.upper(), tuple(filter(None, (says, check, reached.repair))), after_verdict(talk))


_VIEWS: dict[State, Callable[[Talk], _View]] = {
    State.INQUIRING: _fact_view,
    State.CONFIRMING: _confirming_view,
    State.CAUTIONING: _caution_view,
    State.ACKNOWLEDGING: _caution_view,
    State.ASKING: _asking_view,
    State.CRANKING: _cranking_view,
    State.RESTING: _resting_view,
    State.READING_BACK: _read_back_view,
    State.SKIPPING: _skipping_view,
    State.CHOOSING: _choosing_view,
    State.NOTING: lambda _: _View("NOTE"),
    State.STANDING_BY: _standing_by_view,
    State.CONCLUDING: _verdict_view,
    State.FINISHED: lambda _: _View("CLOSED"),
}
