"""Sessions with the shipped procedures, led through by a made-up technician, for the tests of the write-up."""

from __future__ import annotations

import random
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING

from assistant.core.dialogue.states import State
from assistant.core.library.terms import FactKind
from assistant.core.values.events import Began, Resumed
from assistant.core.values.perceived import CrankSound, Perceived, StarterHeard
from assistant.core.values.result import Control, Result
from assistant.core.values.witness import Figure, Witness
from assistant.loading.folder import load_knowledge, load_library
from assistant.record import Facts, Header, Line, LogFile, RecordedSession, Seal, SessionLog
from assistant.rehearsal.dialogue import Dialogue
from assistant.resources import directory

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.core.reasoning.knowledge import Knowledge

ZONE = timezone(timedelta(hours=-5))
START = datetime(2026, 11, 25, 8, 2, 11, tzinfo=ZONE)
FACTS = Facts(
    order="4711",
    vin="1G4AH59H45G118341",
    vehicle="invented coupe, 4 cylinders",
    complaint="Stalled at the bank, cranks, will not start.",
    technician="R. Alvarez",
)
_TO_THE_COIL = ("10.5 V", "same")
OPEN_CONTROL_WIRE = (*_TO_THE_COIL, "dark", "40 ohm", "40 ohm", "blinking")
_CARRIES = ("0.1 V", "0.05 V", "0.1 V", "0.1 ohm", "0.1 V")
_SWITCHED = ("blinking", "0.8 ohm", "0.1 V", "over-range", "no-spark")
BAD_COIL = (*_TO_THE_COIL, *_SWITCHED, *_CARRIES, "strong-spark", "no-spark")


@cache
def library() -> Library:
    """The shipped procedures."""
    return load_library(directory("procedures"))


@cache
def knowledge() -> Knowledge:
    """Return what the shipped procedures are weighed with."""
    found = load_knowledge(directory("procedures"), library().terms)
    assert found is not None
    return found


def scripted(*answers: str, procedure: str = "coil-control") -> Dialogue:
    """A session that gives these answers, an outcome or "9.1 A", affirms what is asked back, and closes.

    A verdict before the last answer is gone on from.
    """
    talk = Dialogue(library())
    talk.begin(procedure)
    left = list(answers)
    for _ in range(200):
        state = talk.runner.state
        if state is State.FINISHED:
            break
        if state is State.ASKING and left:
            value, _, unit = left.pop(0).partition(" ")
            if unit:
                talk.hear(value=value, unit=unit)
            else:
                talk.hear(value)
        elif state is State.ASKING:
            break
        elif state is State.CONCLUDING and left:
            talk.hear(control=Control.GO_AHEAD)
        else:
            _go_on(talk)
    return talk


def perceiving() -> Dialogue:
    """A session of the battery and the first look that a meter and the ear answer, each after a word or a key."""
    talk = Dialogue(library())
    talk.send(Began(talk.now, "battery-and-cranking", witnesses=tuple(Witness)))
    talk.listen()
    talk.ready()
    on_meter(talk, "12.61")
    talk.hear(control=Control.TAKE_IT)
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    heard(talk, CrankSound.BEGINS)
    on_meter(talk, "10.42")
    talk.key("enter")
    heard(talk, CrankSound.ENDS)
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.OTHER_TEST)
    talk.hear("first-look")
    for _ in range(60):
        if talk.runner.position[1] == "crank-and-listen" and talk.runner.state is State.ASKING:
            break
        if talk.runner.state is State.ASKING:
            step = talk.runner.step
            asks = step.name == "crank-speed"
            talk.hear("unknown" if asks else step.good or step.answers[0].outcome)
        else:
            _go_on(talk)
    heard(talk, CrankSound.BEGINS)
    heard(talk, CrankSound.ENDS)
    figures = (Figure("speed", "104"), Figure("compressions", "9"))
    talk.send(Perceived(talk.now, Witness.EAR, Result(outcome="slow"), 0.87, 6.5, figures))
    talk.listen()
    talk.hear(control=Control.AFFIRM)
    return talk


def on_meter(talk: Dialogue, volts: str) -> None:
    """This stands on the meter."""
    talk.now += 2
    figures = (Figure("range", "20 V"), Figure("samples", "8"))
    result = Result(value=Decimal(volts), unit="V")
    talk.send(Perceived(talk.now, Witness.METER, result, 1.0, 0.01, figures, 0.8))


def heard(talk: Dialogue, phase: CrankSound) -> None:
    """The ear hears this of the starter."""
    talk.now += 3
    talk.send(StarterHeard(talk.now, phase, 0.4, 0.95))
    talk.listen()


def wandering(seed: int) -> Dialogue:
    """A session of a technician who answers anything, corrects himself, skips, pauses and comes back."""
    chance = random.Random(seed)  # noqa: S311  a test must be the same each time
    known = library()
    talk = Dialogue(known)
    talk.begin(chance.choice(sorted(known.procedures)))
    for _ in range(chance.randint(5, 60)):
        state = talk.runner.state
        talk.now += chance.choice((0.5, 7, 63, 400))
        if state is State.FINISHED:
            break
        if state is not State.ASKING:
            _go_on(talk, chance)
            continue
        act = chance.random()
        if act < 0.75:
            _answer(talk, known.step(*talk.runner.position), chance)
        elif act < 0.9:
            talk.hear(
                control=chance.choice(
                    (Control.CORRECTION, Control.SKIP, Control.STAND_BY, Control.STOP, Control.VOICE_NOTE)
                )
            )
        elif act < 0.95:
            talk.send(Resumed(talk.now))
            talk.listen()
        else:
            talk.key("enter")
    return talk


def _answer(talk: Dialogue, step: Step, chance: random.Random) -> None:
    if step.watch:
        for _ in range(chance.randint(0, 3)):
            talk.hear(chance.choice(step.heard))
        if chance.random() < 0.2:
            talk.hear(control=Control.CORRECTION)
        talk.hear(control=Control.THAT_IS_ALL)
        return
    if step.reading is None:
        talk.hear(chance.choice(step.answers).outcome)
        return
    low, high = step.reading.plausible
    value = chance.choice((low, high, Decimal("0.1"), Decimal("0.7"), Decimal("6.5"), Decimal("10.20")))
    talk.hear(value=str(value), unit=step.reading.unit)


def _go_on(talk: Dialogue, chance: random.Random | None = None) -> None:
    """The things that the dialogue waits for besides an answer."""
    state = talk.runner.state
    if state is State.ACKNOWLEDGING:
        talk.hear(control=Control.READY)
    elif state is State.RESTING:
        talk.wait(75)
    elif state is State.SKIPPING:
        talk.key("1")
    elif state is State.STANDING_BY:
        talk.hear(control=Control.GO_AHEAD)
    elif state is State.INQUIRING:
        _tell(talk, chance)
    elif state is State.CONFIRMING:
        doubt = chance is not None and chance.random() < 0.2
        talk.hear(control=Control.NEGATIVE if doubt else Control.AFFIRM)
    elif state is State.CONCLUDING:
        choices = (Control.AFFIRM, Control.CORRECTION, Control.GO_AHEAD, Control.CLOSE)
        talk.hear(control=chance.choice(choices) if chance else Control.CLOSE)
    elif state is State.READING_BACK:
        doubt = chance is not None and chance.random() < 0.2
        talk.hear(control=Control.CORRECTION if doubt else Control.AFFIRM)
    else:
        talk.wait(5)
        talk.listen()


def _tell(talk: Dialogue, chance: random.Random | None) -> None:
    """Answer a fact that is asked for, or leave it blank."""
    asked = talk.runner.asked
    assert asked is not None
    inquiry = asked.inquiry
    if chance is None or chance.random() < 0.3:
        talk.key("plus")
    elif inquiry.kind is FactKind.CHOICE:
        talk.hear(chance.choice(list(inquiry.choices)))
    elif inquiry.kind is FactKind.NUMBER:
        assert inquiry.plausible is not None
        value = chance.choice((*inquiry.plausible, Decimal(1), Decimal("0.27"), Decimal(12)))
        talk.hear(value=str(value), unit=inquiry.unit or None)
    elif inquiry.kind is FactKind.SPELLED and not asked.signs:
        talk.hear(signs=chance.choice(("4711", "RA", "B52")))
    elif inquiry.kind is FactKind.VIN and not asked.signs:
        talk.hear(signs="1G4AH5")
    else:
        talk.key("enter")
        if talk.runner.state is State.INQUIRING:
            talk.key("plus")


def session(talk: Dialogue, facts: Facts = FACTS, *, sealed: bool = True) -> RecordedSession:
    """The session that was recorded of it, in memory."""
    lines = tuple(
        Line(number, START + timedelta(seconds=event.at), event, actions)
        for number, (event, actions) in enumerate(zip(talk.events, talk.actions, strict=True), start=1)
    )
    end = lines[-1].time if lines else START
    return RecordedSession(
        Header("2026-11-25-0802-k7f3", START, "0.1.0", facts),
        lines,
        sealed=Seal(end, len(lines), "0" * 64, {}) if sealed else None,
        logs=(LogFile("log.jsonl", "ab" * 32, len(lines)),),
    )


def folder(parent: Path, talk: Dialogue, facts: Facts = FACTS, *, seal: bool = True) -> Path:
    """The same on the disk, with the shipped procedures in it."""
    moment = [START]
    log = SessionLog.create(
        parent, facts, directory("procedures"), now=lambda: moment[0], token=lambda: "k7f3"
    )
    with log:
        for event, actions in zip(talk.events, talk.actions, strict=True):
            moment[0] = START + timedelta(seconds=event.at)
            log.append(event, actions)
        if seal:
            log.seal()
    return log.folder
