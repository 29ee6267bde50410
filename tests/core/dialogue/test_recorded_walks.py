"""The dialogue does today what it did when the random sessions were recorded."""

from __future__ import annotations

import pytest
from recorded_walks import SESSIONS, Walk, library, played, read, runner

from assistant.core.dialogue.states import State
from assistant.core.reasoning.scales import Memo


@pytest.fixture(scope="module")
def walks() -> list[Walk]:
    """The recorded sessions."""
    return read()


def test_recorded_sessions_cause_the_same_actions_byte_for_byte(walks: list[Walk]) -> None:
    """Each event of each session gives the JSON that it gave when it was recorded.

    A change that is meant to be heard or seen is recorded with `python tests/core/dialogue/recorded_walks.py`.
    """
    procedures, memo = library(), Memo()
    assert len(walks) == SESSIONS
    for number, walk in enumerate(walks):
        turns = zip(played(walk, procedures, memo), walk.did, strict=True)
        for at, ((event, _, did), recorded) in enumerate(turns):
            assert did == recorded, f"session {number}, event {at}: {event}"


def test_recorded_sessions_meet_every_state_and_every_procedure(walks: list[Walk]) -> None:
    """The sessions would show a change anywhere: all procedures begin, and the dialogue is in each of its states."""
    procedures, memo = library(), Memo()
    met = {
        state.value
        for walk in walks
        for _, now, _ in played(walk, procedures, memo)
        for state in (now.state,)
    }
    assert met | {State.UNOPENED.value} == {state.value for state in State}
    assert {walk.procedure for walk in walks} == set(procedures[0].procedures)


def test_recalled_events_lead_to_the_same_state_and_step(walks: list[Walk]) -> None:
    """Resuming, which makes no screen, is where the session was, after every event of a sample."""
    procedures, memo = library(), Memo()
    for walk in walks[::20]:
        recalled = runner(procedures, memo)
        for event, now, _ in played(walk, procedures, memo):
            recalled.recall(event)
            assert (now.state, now.position) == (recalled.state, recalled.position)
