"""A second dialogue goes on from where one is, and leaves the first one alone."""

from __future__ import annotations

import random

import pytest
from shipped import shipped_folder

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.values.events import Action, Began, Event
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.exploring import Explorer

LIBRARY, KNOWLEDGE = shipped_folder()


class Wanderer(Explorer):
    """Lets random things happen, and remembers everything that was given and answered."""

    def __init__(self, procedure: str, seed: int) -> None:
        self.chosen = random.Random(seed)  # noqa: S311  the same each time
        self.taken: list[tuple[Event, tuple[Action, ...]]] = []
        super().__init__(LIBRARY, KNOWLEDGE, procedure, {})

    def send(self, event: Event) -> tuple[Action, ...]:
        before = len(self.taken)
        actions = super().send(event)
        self.taken.insert(before, (event, actions))
        return actions

    def wander(self, turns: int) -> None:
        for _ in range(turns):
            if self.runner.state is State.FINISHED:
                return
            self.now += 2
            self.send(self.chosen.choice(self._possible())[1]())


@pytest.mark.parametrize("seed", range(6))
def test_a_twin_answers_as_the_first_would(seed: int) -> None:
    """At any point of a session both give the same actions to the same events from then on."""
    one = Wanderer(list(LIBRARY.procedures)[seed], seed)
    one.wander(25)
    twin = one.runner.twin()
    begun = len(one.taken)
    one.wander(25)
    for event, actions in one.taken[begun:]:
        assert actions == twin.receive(event)
    assert one.runner.state is twin.state


@pytest.mark.parametrize("seed", range(6))
def test_what_happens_to_a_twin_leaves_the_first_alone(seed: int) -> None:
    """A session whose twin has lived through something else goes on as if there had been no twin."""
    one, alone = (Wanderer(list(LIBRARY.procedures)[seed], seed) for _ in range(2))
    for round_ in range(12):
        one.wander(3)
        alone.wander(3)
        stray = Wanderer(next(iter(LIBRARY.procedures)), round_)
        stray.runner, stray.now = one.runner.twin(), one.now
        stray.request, stray.timers = one.request, dict(one.timers)
        for _ in range(4):
            stray.good()  # leaves steps with their results behind it
        stray.wander(4)
    assert alone.taken == one.taken
    assert alone.runner.state is one.runner.state


def test_a_session_that_has_not_begun_has_a_twin() -> None:
    """Looking ahead may start before the session does."""
    first = Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS)
    twin = first.twin()
    twin.receive(Began(0.0, "coil-control"))
    assert (first.state, twin.state is State.UNOPENED) == (State.UNOPENED, False)
