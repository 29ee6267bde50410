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


@pytest.fixture(scope="module")
def again(walks: list[Walk]) -> list[list[tuple[str, State]]]:
    """For each event of each session, what it does now (the hash of its actions) and the state that it leads to."""
    procedures, memo = library(), Memo()
    return [[(did, now.state) for _, now, did in played(walk, procedures, memo)] for walk in walks]


def test_recorded_sessions_cause_the_same_actions_byte_for_byte(
    walks: list[Walk], again: list[list[tuple[str, State]]]
) -> None:
    """Each event of each session gives the JSON that it gave when it was recorded.

    A change that is meant to be heard or seen is recorded with `python tests/core/dialogue/recorded_walks.py`.
    """
    assert len(walks) == SESSIONS
    for number, (walk, turns) in enumerate(zip(walks, again, strict=True)):
        for at, ((did, _), recorded) in enumerate(zip(turns, walk.did, strict=True)):
            assert did == recorded, f"session {number}, event {at}: {walk.events[at]}"


def test_recorded_sessions_meet_every_state_and_every_procedure(
    walks: list[Walk], again: list[list[tuple[str, State]]]
) -> None:
    """The sessions would show a change anywhere: all procedures begin, and the dialogue is in each of its states."""
    met = {state for turns in again for _, state in turns}
    assert met | {State.UNOPENED} == set(State)
    assert {walk.procedure for walk in walks} == set(library()[0].procedures)


def test_recalled_events_lead_to_the_same_state_and_step(walks: list[Walk]) -> None:
    """Resuming, which makes no screen, is where the session was, after every event of a sample."""
    procedures, memo = library(), Memo()
    for walk in walks[::20]:
        recalled = runner(procedures, memo)
        for event, now, _ in played(walk, procedures, memo):
            recalled.recall(event)
            assert (now.state, now.position) == (recalled.state, recalled.position)
