"""Random sessions with what the dialogue did at each event: they tell whether a change of the code changed it.

`walks.jsonl.gz` has a session a line: its procedure, the events with their JSON, and for each event the beginning
of the SHA-256 of the JSON of its actions. After a change that is meant to be seen or heard,

    python tests/core/dialogue/recorded_walks.py

plays the same events again and writes what is done now; `--new SEED` draws other events as well.
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import json
import random
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import resources
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.library.vocabulary import OVER_RANGE
from assistant.core.reasoning.scales import Memo
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import (
    Action,
    Began,
    Clip,
    Closed,
    Event,
    GearBack,
    GearLost,
    Heard,
    KeyPressed,
    NoInput,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    Resumed,
    TypedFact,
)
from assistant.core.values.result import Control, Result
from assistant.core.values.thresholds import Thresholds
from assistant.loading.folder import load_folder
from assistant.rehearsal.player import RunnerPlayer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge

FILE = Path(__file__).with_name("walks.jsonl.gz")
SESSIONS = 300
TURNS = (40, 200)
DIGITS = 12
"""Hexadecimal digits of a hash that are kept: 48 bits, enough to tell 20,000 events apart."""

_KEYS = (*"1234567890", "enter", "enter", "enter", "minus", "plus", "point", "star", "slash", "erase", "w")
_SPELLED = ("47", "1J9R", "P1A36A1644345", "IO", "2718", "RO", "1HGCM82633A004352")
_BRIEF = (State.CRANKING, State.SKIPPING, State.NOTING, State.CONFIRMING, State.RESTING)
"""States that are soon left: more of what is odd happens in them."""

_GEAR = ("microphone", "keys", "loudspeaker", "record", "disk")


@dataclass(frozen=True)
class Walk:
    """A session: what happened, and the hash of what the dialogue did each time."""

    procedure: str
    events: tuple[Event, ...]
    did: tuple[str, ...]


def hashed(actions: tuple[Action, ...]) -> str:
    """The beginning of the SHA-256 of the JSON of an event's actions, as the record writes them."""
    body = json.dumps([to_json(action) for action in actions], ensure_ascii=False)
    return hashlib.sha256(body.encode()).hexdigest()[:DIGITS]


Procedures = tuple["Library", "Knowledge | None"]

THRESHOLDS = Thresholds(0.5, 0.95)
"""Limits of confidence in the walks, fixed so that a new acoustic model does not change what was recorded."""


def library() -> Procedures:
    """The procedures that are walked, those that are shipped, and what they are weighed with."""
    return load_folder(resources.directory("procedures"))


def runner(procedures: Procedures, memo: Memo | None) -> Runner:
    """A dialogue as a session has it."""
    return Runner(*procedures, THRESHOLDS, memo)


def read() -> list[Walk]:
    """The recorded sessions."""
    with gzip.open(FILE, "rt", encoding="utf-8") as lines:
        bodies: list[dict[str, Any]] = [json.loads(line) for line in lines]
    return [
        Walk(one["procedure"], tuple(from_json(event) for event in one["events"]), tuple(one["did"]))
        for one in bodies
    ]


def played(
    walk: Walk, procedures: Procedures, memo: Memo | None = None
) -> Iterator[tuple[Event, Runner, str]]:
    """Play the events again: each with the dialogue after it, and the hash of what it did."""
    dialogue = runner(procedures, memo)
    for event in walk.events:
        yield event, dialogue, hashed(dialogue.receive(event))


class Person(RunnerPlayer):
    """Somebody who does mostly what is asked, and often anything else."""

    def __init__(self, procedures: Procedures, procedure: str, seed: int, memo: Memo) -> None:
        self._library = procedures[0]
        self._chance = random.Random(seed)  # noqa: S311
        self._lost: list[str] = []
        super().__init__(runner(procedures, memo))
        self.events: list[Event] = []
        self.did: list[str] = []
        typed: tuple[TypedFact, ...] = ()
        if self._chance.random() < 0.3:
            typed = (TypedFact("order", "2718"), TypedFact("odometer", "123456", "km"))
        self.send(Began(0.0, procedure, typed))

    def send(self, event: Event) -> tuple[Action, ...]:
        """Give the dialogue an event and take down what it does."""
        actions = super().send(event)
        self.events.append(event)
        self.did.append(hashed(actions))
        return actions

    def live(self, turns: int) -> None:
        """Let so many things happen."""
        for _ in range(turns):
            if self.runner.state is State.FINISHED:
                break
            self._turn()
        self.send(Closed(round(self.now + 1, 3), "the end"))

    def _turn(self) -> None:
        self.now = round(self.now + self._chance.choice((0.4, 1.5, 2.0, 3.0, 7.25, 40.0)), 3)
        draw = self._chance.random()
        if self.speaking is not None and draw < 0.85:
            self.finish_speech(cut=self._chance.random() < 0.05)
        elif self.noting and draw < 0.4:
            self.finish_note()
        elif self._chance.random() < (0.5 if self.runner.state in _BRIEF else 0.78):
            self._answer()
        else:
            self.send(self._anything())

    def _heard(self, result: Result, confidence: float | None = None) -> None:
        words = " ".join(
            str(part)
            for part in (
                result.place,
                result.outcome,
                result.value,
                result.unit,
                result.control,
                result.signs,
            )
            if part is not None
        )
        sure = self._chance.choice((0.99, 0.999, 0.999, 0.8, 0.3)) if confidence is None else confidence
        self.send(Heard(self.now, words, result, sure))

    def _answer(self) -> None:
        state, request = self.runner.state, self.request
        step = self._library.step(*self.runner.position)
        by_key = self._chance.random() < 0.25
        if state is State.ASKING and Control.CRANKING in request.controls and self._chance.random() < 0.5:
            self.send(KeyPressed(self.now, "enter")) if by_key else self._heard(
                Result(control=Control.CRANKING)
            )
        elif state is State.SKIPPING and request.outcomes:
            self._heard(Result(self._chance.choice(request.outcomes)))
        elif state is State.STANDING_BY and self._chance.random() < 0.7:
            self._heard(Result(control=Control.GO_AHEAD))
        elif state is State.ACKNOWLEDGING:
            self.send(KeyPressed(self.now, "enter")) if by_key else self._heard(
                Result(control=Control.READY), 0.999
            )
        elif state in (State.READING_BACK, State.CONFIRMING):
            yes = self._chance.random() < 0.85
            if by_key:
                self.send(KeyPressed(self.now, "enter" if yes else "minus"))
            else:
                self._heard(Result(control=Control.AFFIRM if yes else Control.NEGATIVE))
        elif state is State.INQUIRING:
            self._fact()
        elif state in (State.ASKING, State.CRANKING) and step.reading is None:
            good = step.good if self._chance.random() < 0.55 else None
            names = [answer.outcome for answer in step.answers]
            name = good or self._chance.choice(names)
            if by_key and name in names:
                self.send(KeyPressed(self.now, str(names.index(name) + 1)))
            elif name in request.outcomes:
                self._heard(Result(name))
            else:
                self.send(self._anything())
        elif state in (State.ASKING, State.CRANKING):
            self._reading(by_key=by_key)
        elif state is State.CONCLUDING and self._chance.random() < 0.8:
            self._heard(Result(control=Control.GO_AHEAD))
        else:
            self.send(self._anything())

    def _reading(self, *, by_key: bool) -> None:
        reading = self._library.step(*self.runner.position).reading
        assert reading is not None
        if OVER_RANGE in self.request.outcomes and self._chance.random() < 0.2:
            self._heard(Result(OVER_RANGE))
            return
        low, high = reading.plausible
        value = Decimal(str(round(self._chance.uniform(float(low), float(high) * 1.02), 1)))
        if not by_key:
            unit = self._chance.choice((None, reading.unit, *self.request.units))
            self._heard(Result(value=value, unit=unit))
            return
        signs = {".": "point", "-": "minus"}
        for sign in str(abs(value)):
            self.send(KeyPressed(self.now, signs.get(sign, sign)))
        self.send(KeyPressed(self.now, "enter"))

    def _fact(self) -> None:
        request = self.request
        draw = self._chance.random()
        if draw < 0.35:
            self._heard(Result(control=Control.LEAVE_BLANK))
        elif request.outcomes and draw < 0.9:
            self._heard(Result(self._chance.choice(request.outcomes)))
        elif request.spelling and draw < 0.9:
            self._heard(Result(signs=self._chance.choice(_SPELLED)))
            if self._chance.random() < 0.5:
                self._heard(Result(control=Control.THAT_IS_ALL))
        elif request.units and draw < 0.9:
            value = Decimal(str(self._chance.choice((0.5, 1.5, 3, 6.5, 12.4, 20, 123456))))
            self._heard(Result(value=value, unit=self._chance.choice((None, *request.units))))
        else:
            self.send(self._anything())

    def _anything(self) -> Event:
        now, request, chance = self.now, self.request, self._chance
        draw = chance.random()
        if self.timers and draw < 0.2:
            name = chance.choice(sorted(self.timers))
            self.timers[name] = round(self.timers[name], 3)
            return self.elapsed(name)
        if request.controls and draw < 0.55:
            rare = [one for one in (Control.SKIP, Control.VOICE_NOTE) if one in request.controls]
            control = chance.choice(rare if rare and chance.random() < 0.2 else request.controls)
            return Heard(now, str(control), Result(control=control), chance.choice((0.999, 0.999, 0.4)))
        if draw < 0.7:
            return KeyPressed(now, chance.choice(_KEYS))
        if request.outcomes and draw < 0.8:
            place = chance.choice((None, "feed", "switched", "relay")) if request.places else None
            return Heard(now, "odd", Result(chance.choice(request.outcomes), place=place), chance.random())
        if draw < 0.85:
            return NoMatch(now, "", 0.2)
        if draw < 0.89:
            return NoInput(now)
        if draw < 0.92:
            return NoiseChanged(now, -20.0, hopeless=chance.random() < 0.4)
        if draw < 0.93:
            return Resumed(now)
        if draw < 0.94:
            return Heard(now, "elsewhere", Result(control=chance.choice(list(Control))), 0.999)
        if draw < 0.95:
            return Heard(now, "cylinder", Result(signs="A1"), 0.999)
        if draw < 0.955:
            return NoteRecorded(now, Clip("clips/0002.flac", "1" * 64, 2.0))
        if draw < 0.96:
            return Heard(
                now, "number", Result(value=Decimal(9999), unit=chance.choice(("V", "rpm", None))), 0.999
            )
        if self._lost and draw < 0.98:
            return GearBack(now, self._lost.pop())
        gear = chance.choice(_GEAR)
        self._lost.append(gear)
        return GearLost(now, gear, "unplugged")


def drawn(first: int) -> list[Walk]:
    """New random sessions, every procedure in turn."""
    procedures, memo = library(), Memo()
    names = sorted(procedures[0].procedures)
    found = []
    for number in range(SESSIONS):
        name = names[number % len(names)]
        person = Person(procedures, name, first + number, memo)
        person.live(random.Random(first + number).randint(*TURNS))  # noqa: S311
        found.append(Walk(name, tuple(person.events), tuple(person.did)))
    return found


def again() -> list[Walk]:
    """The recorded events with what is done now."""
    procedures, memo = library(), Memo()
    return [
        Walk(one.procedure, one.events, tuple(did for _, _, did in played(one, procedures, memo)))
        for one in read()
    ]


def write(walks: list[Walk]) -> None:
    """Write the file; the same walks give the same bytes."""
    lines = [
        json.dumps(
            {
                "procedure": one.procedure,
                "events": [to_json(event) for event in one.events],
                "did": list(one.did),
            }
        )
        for one in walks
    ]
    FILE.write_bytes(gzip.compress("\n".join(lines).encode(), mtime=0))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--new", type=int, metavar="SEED", help="draw other events as well")
    seed: int | None = parser.parse_args().new
    write(again() if seed is None else drawn(seed))
