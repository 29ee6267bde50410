"""Very long sessions, made up: a person who never comes to an end, for benchmarks and tests.

The real dialogue, session loop and record are driven on a made clock, so eight hours in the bay pass in seconds.
A seeded generator decides what the person does: the same seed gives the same session.
"""

from __future__ import annotations

import io
import random
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, TextIO, cast

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.sayable import REASONS
from assistant.core.dialogue.states import State
from assistant.core.library.vocabulary import OVER_RANGE, WATCHED
from assistant.core.values.events import GearBack, GearLost, Heard, KeyPressed, NoiseChanged, NoMatch
from assistant.core.values.result import Control, Result
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.player import MadeClock, SessionPlayer
from assistant.screen.terminal import LineScreen
from assistant.session.loop import Session
from assistant.session.silent import NoSpeaker, NoVoice

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.events import Clip
    from assistant.core.values.thresholds import Thresholds
    from assistant.session.loop import Log


class Day(StrEnum):
    """The kind of a long session."""

    WORK = "work"
    """One test after the other, by voice and keys, with corrections, other tests and much else in between."""
    KEYS = "keys"
    """The same by the number pad alone."""
    RADIO = "radio"
    """A radio is on in the bay: one test stays open, and the ear hears no answer."""
    BOUNCE = "bounce"
    """Keys that give several presses for one, at any question."""


_SAID = ("and now the weather", "call holding on line two", "the one with the blue van", "left at the lights")
_BOUNCING = ("0", "1", "2", "3", "minus", "point", "enter", "star", "erase", "slash", "w", "9", "1", "enter")


class _Nowhere(io.TextIOBase):
    """A screen's stream that keeps nothing."""

    def write(self, text: str) -> int:
        """Forget it."""
        return len(text)


class LongSession:
    """A session that a made-up person keeps busy.

    Args:
        library: The procedures.
        knowledge: Weighs the results; None if nothing is weighed.
        log: The record.
        day: The kind of session.
        seed: Seed of the generator.
        thresholds: The dialogue's limits; None for the default.
        keep_clip: Stores the sound of a phrase; None for phrases without sound.

    Attributes:
        session: The loop that is driven.
        runner: Its dialogue.
    """

    def __init__(
        self,
        library: Library,
        knowledge: Knowledge | None,
        log: Log,
        day: Day,
        *,
        seed: int = 1,
        thresholds: Thresholds | None = None,
        keep_clip: Callable[[], Clip] | None = None,
    ) -> None:
        self._library = library
        self._day = day
        self._chance = random.Random(seed)  # noqa: S311  a made-up person, no secret
        self._clock = MadeClock()
        self._keep_clip = keep_clip
        self._loud = False
        self.runner = Runner(library, knowledge, thresholds or DEFAULT_THRESHOLDS)
        self.session = Session(
            runner=self.runner,
            log=log,
            voice=NoVoice(),
            output=NoSpeaker(),
            screen=LineScreen(cast("TextIO", _Nowhere())),
            now=lambda: round(self._clock.now, 3),
        )
        self._playing = SessionPlayer(self.session, self._clock)

    def begin(self, procedure: str = "coil-control") -> None:
        """Start; by keys alone as ``--keys-only --silent`` does."""
        by_keys = self._day in (Day.KEYS, Day.BOUNCE)
        self.session.begin(procedure, left_out=("speaker", "microphone") if by_keys else ())
        self._playing.let_pass(0.1)

    @property
    def answers(self) -> int:
        """Number of results that the dialogue has taken so far."""
        return self.runner.taken

    def act(self) -> None:
        """The person does one thing, and time goes by."""
        state, day = self.runner.state, self._day
        if day is Day.BOUNCE and self._chance.random() < 0.7:
            self._bounce()
        elif day is Day.RADIO and state is State.ASKING:
            self._radio()
        elif state in (State.ASKING, State.CRANKING):
            self._ask()
        else:
            self._wait_or_answer(state)
        self._playing.let_pass(self._chance.uniform(0.5, 12.0))

    # --- the person's turns ---------------------------------------------------------------------

    def _radio(self) -> None:
        draw = self._chance.random()
        if draw < 0.62:
            self._hear_nothing()
        elif draw < 0.80:
            self._playing.let_pass(31)
        elif draw < 0.86:
            self._say(control=Control.SAY_AGAIN)
        elif draw < 0.98:
            self._noise()
        else:
            self._key("0")

    def _bounce(self) -> None:
        key = self._chance.choice(_BOUNCING)
        for _ in range(self._chance.choice((1, 2, 2, 3, 4))):
            self._key(key)
            self._clock.now += 0.03

    def _ask(self) -> None:
        step = self.runner.step
        draw = self._chance.random()
        voice = self._day is not Day.KEYS
        if draw < 0.70:
            self._answer(step)
        elif draw < 0.75:
            self._say(control=Control.CORRECTION) if voice else self._key("minus")
        elif draw < 0.78:
            self._say(control=Control.SAY_AGAIN) if voice else self._key("0")
        elif draw < 0.80:
            self._say(control=Control.WHY) if voice else self._key("why")
        elif draw < 0.82:
            self._say(control=Control.NOT_SURE) if voice else self._key("point")
        elif draw < 0.86:
            self._say(control=Control.OTHER_TEST) if voice else self._key("slash")
        elif draw < 0.88:
            self._key("plus")
        elif draw < 0.93 and voice:
            self._hear_nothing()
        elif draw < 0.95:
            self._key(self._chance.choice("123456789"))
        elif draw < 0.96 and voice:
            self._noise()
        elif draw < 0.965 and voice:
            self._gear()
        elif draw < 0.98:
            self._key("enter")
        else:
            self._playing.let_pass(31)

    def _answer(self, step: Step) -> None:
        by_key = self._day in (Day.KEYS, Day.BOUNCE) or self._chance.random() < 0.4
        if step.reading is not None:
            low, high = step.reading.plausible
            value = Decimal(str(round(self._chance.uniform(float(low), float(high)), 1)))
            if by_key:
                signs = {".": "point", "-": "minus"}
                self._key(*(signs.get(sign, sign) for sign in str(abs(value))), "enter")
            elif OVER_RANGE in step.heard and self._chance.random() < 0.1:
                self._say(OVER_RANGE)
            else:
                self._say(value=value, unit=step.reading.unit)
            return
        if step.watch and self._chance.random() < 0.5:
            self._key("enter") if by_key else self._say(control=Control.THAT_IS_ALL)
            return
        outcomes = list(WATCHED) if step.watch else [answer.outcome for answer in step.answers]
        good = step.good if step.good in outcomes and self._chance.random() < 0.6 else None
        outcome = good or self._chance.choice(outcomes)
        if by_key:
            self._key(str(outcomes.index(outcome) + 1))
        else:
            self._say(outcome)

    def _wait_or_answer(self, state: State) -> None:
        voice = self._day is Day.WORK and self._chance.random() < 0.6
        draw = self._chance.random()
        match state:
            case State.ACKNOWLEDGING:
                self._key("enter")
            case State.NOTING:  # nobody records it here, so it is broken off
                self._key("slash")
            case State.RESTING:
                self._playing.let_pass(75)
            case State.READING_BACK | State.CONFIRMING:
                yes = draw < 0.85
                if voice:
                    self._say(control=Control.AFFIRM if yes else Control.NEGATIVE)
                else:
                    self._key("enter" if yes else "minus")
            case State.INQUIRING:
                self._key(
                    "plus" if draw < 0.7 else self._chance.choice(("1", "2", "enter", "minus", "point"))
                )
            case State.SKIPPING:
                self._key(self._chance.choice("1234")) if not voice else self._say(
                    self._chance.choice(list(REASONS))
                )
            case State.CHOOSING:
                names = list(self._library.procedures)
                if voice:
                    self._say(self._chance.choice(names))
                else:
                    self._key(*f"{self._chance.randint(1, len(names)):02}", "enter")
            case State.STANDING_BY:
                self._key("enter" if draw < 0.5 else "1")
            case State.CONCLUDING:
                self._key("minus" if draw < 0.08 else "1" if draw < 0.5 else "enter")
            case _:
                self._playing.let_pass(5)

    # --- small parts ------------------------------------------------------------------------------

    def _key(self, *keys: str) -> None:
        for key in keys:
            self._clock.now += 0.2
            self.session.take(KeyPressed(round(self._clock.now, 3), key))
            self.session.drain()

    def _say(
        self,
        outcome: str | None = None,
        *,
        value: Decimal | None = None,
        unit: str | None = None,
        control: Control | None = None,
    ) -> None:
        self._clock.now += 1.5
        words = " ".join(str(part) for part in (outcome, value, unit, control) if part is not None)
        self.session.take(
            Heard(
                round(self._clock.now, 3),
                words,
                Result(outcome, value, unit, control),
                round(self._chance.uniform(0.7, 1.0), 4),
                self._keep_clip() if self._keep_clip else None,
                round(self._chance.uniform(3, 30), 2),
                round(self._chance.uniform(-60, -30), 2),
            )
        )

    def _hear_nothing(self) -> None:
        self._clock.now += 1.5
        self.session.take(
            NoMatch(
                round(self._clock.now, 3),
                self._chance.choice(_SAID),
                round(self._chance.uniform(0.0, 0.5), 4),
                self._keep_clip() if self._keep_clip else None,
                round(self._chance.uniform(3, 20), 2),
                round(self._chance.uniform(-60, -30), 2),
            )
        )

    def _noise(self) -> None:
        self._loud = not self._loud
        self.session.take(NoiseChanged(round(self._clock.now, 3), -20.0 if self._loud else -50.0, self._loud))

    def _gear(self) -> None:
        at = round(self._clock.now, 3)
        self.session.take(GearLost(at, "microphone", "it was unplugged"))
        self._playing.let_pass(5)
        self.session.take(GearBack(round(self._clock.now, 3), "microphone"))
