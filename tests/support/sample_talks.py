"""Dialogues on the sample procedures that several tests go through: what they share is how they get there."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sample_library import sample_library

from assistant.core.dialogue.states import State
from assistant.core.values.result import Control
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.thresholds import Thresholds

LIBRARY = sample_library()
ROUND = {
    ("coil-control", "feed-while-cranking"): "dark",
    ("feed-dead", "feed-key-on"): "lit",
    ("feed-dead", "feed-while-cranking"): "lit",
}
"""The feed is dark in the one procedure and lit in the other, each time: they hand over to each other for ever."""


def settle(talk: Dialogue) -> None:
    """Acknowledge cautions and let the starter rest, until something is asked."""
    while talk.runner.state in (State.ACKNOWLEDGING, State.RESTING):
        talk.ready()
        talk.rested()


def weak_feed(*, again: str) -> Dialogue:
    """Whole 1.0, supply 0.2, wire 1.9 V; then the whole once more."""
    talk = Dialogue(LIBRARY)
    talk.begin("feed-weak")
    settle(talk)
    volts = {"whole-drop": "1.0", "whole-drop-usual": "1.0", "supply-drop": "0.2", "wire-drop": "1.9"}
    lamps = {"feed-under-load": "lit", "reversed-lamp": "dark"}
    for _ in range(40):
        name = talk.runner.position[1]
        if talk.runner.state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        elif talk.runner.state is State.INQUIRING:
            talk.key("plus")
        elif talk.runner.state is State.ASKING and name in lamps:
            talk.hear(lamps[name])
        elif talk.runner.state is State.ASKING:
            talk.hear(value=volts[name])
            if name == "wire-drop":
                volts["whole-drop-usual"] = again
        else:
            break
        settle(talk)
    return talk


OFFERING = replace(DEFAULT_THRESHOLDS, rules=1)
"""Under these rules an earlier result is offered everywhere, so that it can be measured anew with another outcome."""


def going_round(
    limits: Thresholds = OFFERING, most: int = 30, knowledge: Knowledge | None = None
) -> Dialogue:
    """Walk that circle until the dialogue stops, or as many questions as are given."""
    talk = Dialogue(LIBRARY, limits, knowledge=knowledge)
    talk.begin("coil-control")
    for _ in range(most):
        settle(talk)
        if talk.runner.state is State.READING_BACK:
            measured_before = talk.runner.talk.awaited.offered
            talk.hear(control=Control.NEGATIVE if measured_before else Control.AFFIRM)
        elif talk.runner.state is State.ASKING:
            talk.hear(ROUND[talk.runner.position])
        else:
            break
    return talk
