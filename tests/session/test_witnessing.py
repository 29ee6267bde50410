"""Meter and ear at the edge of a session: their values become events, and nothing waits for them."""

from __future__ import annotations

import threading
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
from shipped import shipped_folder

from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Began, Event
from assistant.core.values.perceived import (
    CrankSound,
    MeterState,
    MeterTold,
    Perceived,
    StarterHeard,
    WantedReading,
)
from assistant.core.values.result import Result
from assistant.core.values.witness import Figure, Witness
from assistant.hearing.starter.values import CrankPhase, CrankSpeed, PumpHum
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.meter.readings import MeterReading, MeterTrouble, Sample
from assistant.session.settings import Gear, Perceiving
from assistant.session.watching import open_meter
from assistant.session.witnessing import (
    LEFT_S,
    MeterWatch,
    NoWatch,
    StarterWatch,
    Witnesses,
    event_of_ear,
    event_of_meter,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.hearing.sound import Samples
    from assistant.hearing.starter.values import Perceived as Heard

VOLTS = Sample(10.0, Decimal("12.61"), "V", "voltage", Decimal("0.01"), dc=True)
LOWER = replace(VOLTS, value=Decimal("12.59"))
READING = MeterReading(Decimal("12.61"), "V", False, Decimal("0.02"), 0.9, (LOWER, VOLTS))


class Bench:
    """A stand-in for a meter: it delivers what a test hands it, and remembers what was wanted."""

    def __init__(self) -> None:
        self.wanted: list[tuple[object, bool, tuple[Decimal, ...]]] = []
        self.standing: MeterReading | None = None
        self.deliver: Callable[[MeterReading | MeterTrouble], None] = lambda _: None

    def start(self, deliver: Callable[[MeterReading | MeterTrouble], None]) -> None:
        """Keep where to deliver."""
        self.deliver = deliver

    def expect(
        self, quantity_units: tuple[str, ...] | None, ac: bool, *, limits: tuple[Decimal, ...] = ()
    ) -> None:
        """Remember what is wanted."""
        self.wanted.append((quantity_units, ac, limits))

    def latest(self) -> MeterReading | None:
        """The reading that stands."""
        return self.standing


class Posted:
    """Takes events, and gives them the time 100 s."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.came = threading.Event()

    def __call__(self, make: Callable[[float], Event]) -> None:
        self.events.append(make(100.0))
        self.came.set()


def test_a_reading_becomes_an_event_with_its_figures() -> None:
    """Value, unit, spread, how long it stood, and how many samples it rests on."""
    event = event_of_meter(READING, 100.0)
    figures = (Figure("samples", "2 in 0.9 s, 12.59 to 12.61 V"), Figure("last digit", "0.01 V"))
    result = Result(value=Decimal("12.61"), unit="V")
    assert Perceived(100.0, Witness.METER, result, 1.0, 0.02, figures, 0.9) == event
    over = MeterReading(None, "ohm", True, Decimal(0), 1.0, ())
    assert Result(outcome="over-range") == getattr(event_of_meter(over, 1.0), "result", None)


@pytest.mark.parametrize(
    ("trouble", "state", "why"),
    [
        (MeterTrouble("silent", "", "x"), MeterState.SILENT, "no value comes"),
        (MeterTrouble("gone", "", "x"), MeterState.GONE, "check its cable and switch"),
        (MeterTrouble("back", "", "x"), MeterState.GOOD, ""),
        (
            MeterTrouble("wrong function", "ohms", "The meter is on ohms. This test needs volts."),
            MeterState.WRONG_FUNCTION,
            "The meter is on ohms. This test needs volts.",
        ),
    ],
)
def test_trouble_of_a_meter_becomes_its_state(trouble: MeterTrouble, state: MeterState, why: str) -> None:
    """The sentence to speak comes from the meter where only it knows what is wrong."""
    assert MeterTold(100.0, state, why) == event_of_meter(trouble, 100.0)


def test_the_meter_is_asked_anew_only_when_something_else_is_wanted() -> None:
    """Each question once; no question at all is told as well."""
    bench = Bench()
    meter = MeterWatch(bench, Posted())
    wanted = WantedReading(("V", "mV"), False, (Decimal("11.9"),), 1)
    for one in (None, wanted, wanted, None):
        meter.want(one)
    assert [(("V", "mV"), False, (Decimal("11.9"),)), (None, False, ())] == bench.wanted


def test_a_reading_that_left_is_told_once_and_only_after_a_while() -> None:
    """A "take it" is recognised a second after it was said; a probe lifted meanwhile takes nothing away."""
    now = [0.0]
    bench, posted = Bench(), Posted()
    meter = MeterWatch(bench, posted, lambda: now[0])
    assert not meter.left()
    bench.standing = READING
    bench.deliver(READING)
    assert 1 == len(posted.events)
    now[0] = 5.0
    assert not meter.left()
    bench.standing = None
    now[0] = 5.0 + LEFT_S - 0.1
    assert not meter.left()
    now[0] = 5.0 + LEFT_S + 0.1
    assert [True, False] == [meter.left(), meter.left()]


def made(one: Heard, now_s: float = 12.0) -> Event | None:
    """The event of what was heard, at 100 s."""
    make = event_of_ear(one, now_s)
    return None if make is None else make(100.0)


def test_what_the_ear_says_is_dated_back_by_the_sound_that_came_since() -> None:
    """A begin 0.4 s ago in the sound was 0.4 s before the event."""
    assert StarterHeard(100.0, CrankSound.BEGINS, 0.4, 0.93) == made(CrankPhase("begins", 11.6, 0.93))


def test_a_speed_is_the_answer_that_it_sounds_like_with_its_figures() -> None:
    """The manner with its probability; without one the bare speed; without both nothing."""
    slow = CrankSpeed(104.4, 6.51, "even", 0.9, 12.0, 3.48, 0.2, "slow", 0.87)
    figures = (Figure("speed", "104"), Figure("compressions", "3.5 a second"), Figure("rhythm", "even"))
    assert Perceived(100.0, Witness.EAR, Result(outcome="slow"), 0.87, 6.5, figures) == made(slow)
    bare = made(CrankSpeed(200.0, 9.0, "unknown", 0.7, 12.0))
    assert isinstance(bare, Perceived)
    assert Result(value=Decimal(200), unit="rpm") == bare.result
    assert made(CrankSpeed(None, None, "unknown", 0.2, 12.0)) is None
    assert Perceived(100.0, Witness.EAR, Result(outcome="hums"), 0.7) == made(PumpHum(10.0, 0.7))


class SlowEar:
    """A stand-in for the ear that needs its time for each piece of sound, and hears a begin in the first."""

    def __init__(self) -> None:
        self.cylinders: int | None = None
        self.let = threading.Event()
        self.pieces = 0

    def feed(self, samples: Samples) -> list[Heard]:
        """Wait until the test lets it go on."""
        self.let.wait(10)
        self.pieces += 1
        return [CrankPhase("begins", len(samples) / 16000, 0.9)] if self.pieces == 1 else []


def test_sound_is_handed_over_at_once_however_slow_the_ear_is() -> None:
    """More pieces than can wait are dropped; the thread that brings the sound never waits."""
    ear, posted = SlowEar(), Posted()
    starter = StarterWatch(ear, posted, 16000)
    piece = np.zeros(1600, np.int16)
    for _ in range(1000):
        starter.hear(piece)
    assert [] == posted.events
    ear.let.set()
    assert posted.came.wait(10)
    starter.close()
    starter.close()
    assert isinstance(posted.events[0], StarterHeard)


def test_the_witnesses_follow_the_dialogue() -> None:
    """The meter is told what a reading step wants, the ear how many cylinders somebody told."""
    library, knowledge = shipped_folder()
    runner = Runner(library, knowledge, DEFAULT_THRESHOLDS)
    bench, ear = Bench(), SlowEar()
    ear.let.set()
    starter = StarterWatch(ear, Posted(), 16000)
    watch = Witnesses(MeterWatch(bench, Posted()), starter)
    runner.receive(Began(0.0, "battery-and-cranking", witnesses=tuple(Witness)))
    watch.look(runner)
    assert [] == bench.wanted
    assert ear.cylinders is None
    starter.close()
    assert not NoWatch().left()


def test_a_session_has_the_witnesses_that_its_gear_gives() -> None:
    """The ear comes with the microphone unless it is left out; the meter if it is named."""
    assert (Witness.EAR,) == Gear().witnesses()
    assert () == Gear(keys_only=True).witnesses()
    assert (Witness.METER,) == Gear(perceiving=Perceiving(hear_starter=False, meter="demo")).witnesses()
    assert open_meter(None) is None
