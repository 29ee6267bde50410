"""Dialogues that were led into each state by events alone, for the tests of this room."""

from __future__ import annotations

from sample_asking import asking_library
from sample_library import sample_library
from shipped import shipped_folder

from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.board import Board
from assistant.core.values.events import Began, Closed, Heard, Show
from assistant.core.values.result import Control, Result
from assistant.core.words import instructing
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

WEIGHING, KNOWLEDGE = shipped_folder()
"""The shipped procedures with the likelihoods: results are weighed."""
LIBRARY = sample_library()
"""The procedures alone: a scripted way through them is not to be asked again (`test_weighing.py` does that)."""
ASKING_FACTS = asking_library()
"""The same with the likelihoods, and two small procedures that ask for facts of every kind."""
CRANK = instructing.act(LIBRARY, LIBRARY.step("coil-control", "feed-while-cranking"))[0]
"""The order to crank, as it is spoken and shown."""
OPEN_STATES = [state for state in State if state not in (State.UNOPENED, State.FINISHED)]


def state_of(talk: Dialogue) -> State:
    """The state, asked for anew: a checker of types does not take it for the one before."""
    return talk.runner.state


def dialogue(procedure: str = "coil-control", *, ready: bool = True) -> Dialogue:
    """One that began with this procedure, its first caution acknowledged unless told otherwise."""
    talk = Dialogue(LIBRARY)
    talk.begin(procedure)
    if ready:
        talk.ready()
    return talk


def to_switched_side() -> Dialogue:
    """One that asks for the lamp on the switched side, after a lit feed and the rest of the starter."""
    talk = dialogue()
    talk.hear("lit")
    talk.ready()
    talk.rested()
    return talk


def use_up(talk: Dialogue) -> None:
    """Crank as long as it may last in one go, so that the starter has to rest."""
    talk.key("enter")
    talk.wait(DEFAULT_THRESHOLDS.starter.longest_s + 0.1)


def taken(talk: Dialogue) -> list[tuple[str, str]]:
    """Steps and outcomes of all results that were taken."""
    return [(entry.step, entry.outcome) for entry in talk.entries if isinstance(entry, entries.ResultTaken)]


def shown(talk: Dialogue) -> Board:
    """The board that was shown last."""
    return next(
        action.board
        for actions in reversed(talk.actions)
        for action in reversed(actions)
        if isinstance(action, Show)
    )


def in_state(state: State) -> Dialogue:
    """A dialogue that was led into this state by events alone."""
    talk = Dialogue(LIBRARY)
    if state is State.UNOPENED:
        return talk
    if state is State.CAUTIONING:
        talk.send(Began(0.0, "coil-control"))
        return talk
    if state is State.ACKNOWLEDGING:
        talk.begin("coil-control")
        return talk
    if state is State.CONCLUDING:
        talk.begin("battery-and-cranking")
        talk.ready()
        talk.hear(value="11.2")
        talk.hear(control=Control.AFFIRM)
        return talk
    if state in (State.INQUIRING, State.CONFIRMING):
        talk = Dialogue(ASKING_FACTS, knowledge=KNOWLEDGE)
        talk.begin("intake")
        if state is State.CONFIRMING:
            talk.key("4", "7", "enter")
        return talk
    talk = dialogue()
    if state is State.CRANKING:
        talk.key("enter")
    elif state is State.CHOOSING:
        talk.hear(control=Control.OTHER_TEST)
    elif state is State.RESTING:
        use_up(talk)
        talk.key("enter")
    elif state is State.READING_BACK:
        talk.hear("dark", confidence=0.7)
    elif state is State.SKIPPING:
        talk = dialogue("driver-supply-and-inputs")
        talk.hear(control=Control.SKIP)
    elif state is State.NOTING:
        talk.send(Heard(talk.now, "voice note", Result(control=Control.VOICE_NOTE), 1.0))
    elif state is State.STANDING_BY:
        talk.hear(control=Control.STAND_BY)
    elif state is State.FINISHED:
        talk.send(Closed(talk.now, "quit"))
    return talk
