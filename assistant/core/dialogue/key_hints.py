"""What the keys do in each state, as the board shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import asking
from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Engine
from assistant.core.library.terms import FactKind
from assistant.core.values.key_names import TWICE
from assistant.core.words import remarking

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.dialogue.talk import Talk

Pairs = tuple[tuple[str, str], ...]
"""Keys, by name, with their effects, or numbers with their choices."""

YES_OR_NO: Pairs = (("enter", "yes"), ("minus", "no"))
KEEP: Pairs = (("enter", "keep it"), ("minus", "measure again"))
ON_STANDING_BY: Pairs = (("enter", "go ahead"), ("plus", "close"))
STOP = ("slash", "stop")
"""Keys that are shown as large as the answers to a test."""


def after_verdict(talk: Talk) -> Pairs:
    """What can be done after a verdict: affirm it, go on to what follows, go back, or close."""
    work = talk.work
    verdict = talk.procedure.verdicts[work.verdict] if work.verdict and not work.led_back else None
    if verdict and not work.affirmed:
        return (("enter", "yes"), ("minus", "take back"))
    if verdict and verdict.continue_with:
        return (("enter", f"next: {remarking.procedure_short(verdict.continue_with)}"), ("plus", "close"))
    if work.paused:
        return (
            ("enter", f"back to {remarking.procedure_short(work.paused[-1].procedure)}"),
            ("plus", "close"),
        )
    return (("plus", "close"),)


def at_rest(talk: Talk) -> Pairs:
    """How to crank before the starter has rested: the first Enter is refused, the second insists."""
    if not talk.limits.paced:
        return ()
    return (("enter" if talk.crank.refused else TWICE, "go anyway"),)


def hints(talk: Talk) -> Pairs:
    """Keys that do something now, besides the choices; without those that need gear that is missing."""
    tells = _HINTS.get(talk.state)
    all_keys = tells(talk) if tells else _FIXED_HINTS.get(talk.state, (("slash", "stand by"),))
    left_out = {"repeat", "hear all"} if talk.gear.mute else set()
    left_out |= {"voice note"} if "microphone" in talk.gear.deaf else set()
    return tuple(pair for pair in all_keys if pair[1] not in left_out)


def _cranking_hints(talk: Talk) -> Pairs:
    return () if talk.step.reading else (("point", "not sure"),)


def _fact_hints(talk: Talk) -> Pairs:
    first = {
        FactKind.CHOICE: (("0", "repeat"),),
        FactKind.NUMBER: (("enter", "done"),),
    }.get(talk.asked.inquiry.kind, (("point 2 1", "letter A"), ("enter", "that is all")))
    return (*first, ("minus", "take back"), ("plus", "leave blank"), ("slash", "stand by"))


def _confirming_hints(talk: Talk) -> Pairs:
    other = (("point", "other unit"),) if len(asking.units_of(talk.asked.inquiry)) > 1 else ()
    return (*other, ("plus", "leave blank"))


def _asking_hints(talk: Talk) -> Pairs:
    last = (("minus", "take back"), ("slash", "stand by"))
    if talk.step.watch:
        return (("0", "repeat"), ("point", "not sure"), *last)
    if talk.step.reading is not None:
        return (("enter", "done"), ("star", "repeat"), *last)
    first = (("enter", "cranking now"),) if talk.step.measure.engine is Engine.CRANKING else ()
    return (*first, ("0", "repeat"), ("point", "not sure"), *last)


_HINTS: dict[State, Callable[[Talk], Pairs]] = {
    State.INQUIRING: _fact_hints,
    State.CONFIRMING: _confirming_hints,
    State.ASKING: _asking_hints,
    State.CRANKING: _cranking_hints,
}

_FIXED_HINTS: dict[State, Pairs] = {
    State.ACKNOWLEDGING: (("slash", "stand by"),),
    State.READING_BACK: (("0", "repeat"), ("slash", "stand by")),
    State.RESTING: (("0", "repeat"), ("minus", "take back"), ("slash", "stand by")),
    State.CHOOSING: (("enter", "start it"), ("minus", "back"), ("star", "hear all"), ("slash", "stand by")),
    State.STANDING_BY: (("1", "other test"), ("9", "voice note")),
    State.CONCLUDING: (("minus", "take back"), ("9", "voice note"), ("slash", "stand by")),
    State.NOTING: (("enter", "end the note"),),
}
