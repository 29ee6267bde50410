"""Which cautions are due before a step, in which form, and whether they must be acknowledged.

In full once: in the session, or, if the technician is known, on that day. Then in a short form before each step that
cranks or exposes high voltage; the others are not repeated. They are acknowledged when they bring a new hazard.
A session of rules before `Thresholds.paced` decides as it did: the cautions of the procedure and those of the step in
two groups, in full again after a while, each acknowledged once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.terms import Hazard, SignalWord
from assistant.core.values.entries import FactUndone
from assistant.core.words import remarking

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.values.entries import FactGiven

Due = tuple[tuple[str, str], ...]
"""Names of cautions with their form, ``full`` or ``short``."""

TECHNICIAN = "technician"
"""The fact that says who works."""


def due(talk: Talk) -> tuple[Due, Due]:
    """The cautions to give before the present step, and those to give after they were given."""
    names = dict.fromkeys([*talk.procedure.cautions, *talk.step.cautions])
    if talk.limits.paced:
        forms = [(name, _form(talk, name)) for name in names]
        return tuple((name, form) for name, form in forms if form), ()
    groups: dict[bool, list[tuple[str, str]]] = {False: [], True: []}
    for name in names:
        last = talk.cautions.given.get(name)
        own = name in talk.step.cautions  # those of the whole procedure are given only once
        if last is None or (own and talk.now.at - last > talk.limits.caution_again_s):
            groups[own].append((name, "full"))
        elif own and remarking.never_skipped(talk.library.cautions[name]):
            groups[own].append((name, "short"))
    first, second = (tuple(groups[False]), tuple(groups[True]))
    return (first, second) if first else (second, ())


def _form(talk: Talk, name: str) -> str:
    """The form in which a caution is due now; "" if it is not."""
    caution = talk.library.cautions[name]
    today = talk.cautions.today
    others = caution.instruments and talk.step.measure.instrument not in caution.instruments
    if others and name not in talk.step.cautions:
        return ""  # it comes with the first step that needs it
    if name not in talk.cautions.given:
        if today is None or name not in today.cautions:
            return "full"
        grave = caution.signal in (SignalWord.DANGER, SignalWord.WARNING)
        return "short" if grave else ""
    return "short" if name in talk.step.cautions and remarking.never_skipped(caution) else ""


def needs_acknowledgement(talk: Talk) -> bool:
    """Whether the due cautions must be acknowledged before anything else is done."""
    return any(_new(talk, name) for name, _ in talk.cautions.due)


def _new(talk: Talk, name: str) -> bool:
    """Whether a caution was not acknowledged, nor, if it covers hazards, all of them under other cautions."""
    caution = talk.library.cautions[name]
    known = _acknowledged(talk)
    if not caution.acknowledge or name in known:
        return False
    if not talk.limits.paced or not caution.covers:
        return True
    return not set(caution.covers) <= _hazards(talk, known)


def _acknowledged(talk: Talk) -> set[str]:
    """Cautions that the technician acknowledged, in this session or earlier on the same day."""
    today = talk.cautions.today
    return talk.cautions.acknowledged | set(today.acknowledged if today else ())


def _hazards(talk: Talk, names: set[str]) -> set[Hazard]:
    """All hazards that these cautions cover."""
    cautions = talk.library.cautions
    return {hazard for name in names if name in cautions for hazard in cautions[name].covers}


def signed_in(talk: Talk, given: FactGiven | FactUndone) -> None:
    """A fact is known now, or not any more: what was told to this technician today counts, or does not."""
    if given.fact != TECHNICIAN:
        return
    undone = isinstance(given, FactUndone)
    name = "" if undone else _plain(given.value)
    today = next((one for one in talk.cautions.told if name and _plain(one.technician) == name), None)
    talk.cautions.today = today
    talk.crank.explained = talk.crank.explained or bool(today and today.cranking)


def _plain(name: str) -> str:
    """A name or initials without case, points and spaces."""
    return "".join(sign for sign in name.casefold() if sign.isalnum())
