"""The assistant's own voice in the microphone is told from somebody who speaks."""

from __future__ import annotations

import numpy as np
import pytest
from heard_sounds import GRAMMARS, sound
from hypothesis import given, settings, strategies as st
from leaked import CAUTION, LEAD, Leaked

from assistant.core.values.events import Clip, Event, Heard, NoMatch
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.hearing.activity import CHUNK
from assistant.hearing.ear import Ear, Reports
from assistant.hearing.own_voice import LEARNED, OwnVoice
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE, Samples, decibels, power
from assistant.hearing_bench.leaking import LeakPath
from assistant.hearing_bench.mixing import from_samples, trimmed

READ_BACKS = (
    CAUTION,
    "Battery: 12.4 volts. Right?",
    "Feed side: dark. Yes or no?",
    "Driver end: 3 volts. Right?",
)
REQUEST = GrammarRequest(
    outcomes=("dark", "lit"), units=("V",), controls=(Control.AFFIRM, Control.NEGATIVE, Control.STOP)
)
HEADSET = LeakPath(0.06, 0.02)
RADIO = LeakPath(0.31, 0.02, drift_ppm=80, seed=4)


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(find_model())


def judged(own_voice: OwnVoice, leaked: Leaked) -> list[bool]:
    """What is said of each chunk, all of them speech to the voice-activity model but those before it begins."""
    return [own for own, _ in followed(own_voice, leaked)]


def followed(own_voice: OwnVoice, leaked: Leaked) -> list[tuple[bool, Samples]]:
    """The same, each with the cleaned sound."""
    heard, found = leaked.heard, []
    for at in range(0, heard.size - CHUNK + 1, CHUNK):
        chunk = heard[at : at + CHUNK]
        cleaned = own_voice.cleaned(chunk, at)
        found.append((own_voice.is_own(0.9 if at >= LEAD else 0.0), cleaned))
    return found


@settings(max_examples=8, deadline=None)
@given(delay_s=st.floats(0.02, 0.45), drift_ppm=st.floats(-100, 100), leak_db=st.floats(-30, -5))
def test_any_delay_and_clock(delay_s: float, drift_ppm: float, leak_db: float) -> None:
    """Whatever the delay up to 0.45 s, the level and the clocks: the delay is found and the whole of it is own."""
    leaked = Leaked((CAUTION, READ_BACKS[1]), LeakPath(delay_s, 0.02, drift_ppm=drift_ppm), leak_db, 50.0)
    own_voice = OwnVoice(leaked.between)
    judged(own_voice, leaked)
    assert own_voice.delay_s == pytest.approx(delay_s, abs=0.033)
    assert own_voice.was_own(leaked.heard.size - 4 * RATE, leaked.heard.size - 2 * RATE)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), level=st.integers(1, 32767))
def test_nothing_is_own_while_nothing_is_played(seed: int, level: int) -> None:
    """Any sound while the loudspeaker is silent is somebody else's."""
    own_voice = OwnVoice(lambda start, end: np.zeros(end - start, np.int16))
    heard = np.random.default_rng(seed).integers(-level, level + 1, 8 * CHUNK).astype(np.int16)
    for at in range(0, heard.size, CHUNK):
        own_voice.cleaned(heard[at : at + CHUNK], at)
        assert not own_voice.is_own(0.9)
    assert not own_voice.was_own(0, heard.size)


def test_a_headset_that_does_not_leak_takes_nothing_away() -> None:
    """Where the own voice is not heard, nothing is its own once that is known."""
    leaked = Leaked(READ_BACKS, HEADSET, None, 20.0)
    own_voice = OwnVoice(leaked.between)
    found = judged(own_voice, leaked)
    assert own_voice.delay_s is None
    assert sum(found) <= LEARNED + 1


def test_what_was_learnt_is_forgotten_when_the_two_sides_moved() -> None:
    """After a break the comparison begins anew."""
    leaked, breaks = Leaked((CAUTION, *READ_BACKS), HEADSET, -20.0, 50.0), [0]
    own_voice = OwnVoice(leaked.between, lambda: breaks[0])
    judged(own_voice, leaked)
    assert own_voice.delay_s is not None
    breaks[0] = 1
    at = LEAD + 3 * CHUNK
    own_voice.cleaned(leaked.heard[at : at + CHUNK], at)
    assert own_voice.delay_s is None


def test_a_loud_loudspeaker_is_told_once() -> None:
    """As loud as a technician's speech it cannot be a headset: that is told, once; a headset's leakage is not."""
    told: list[str] = []
    room = LeakPath(0.06, 0.8, direct=1.0)
    for path, leak_db in ((HEADSET, -20.0), (room, 0.0)):
        leaked = Leaked((CAUTION, CAUTION), path, leak_db, 50.0)
        judged(OwnVoice(leaked.between, loud=lambda: told.append("loud")), leaked)
        assert told == ([] if leak_db < 0 else ["loud"])


def test_the_own_voice_is_taken_out_and_a_technician_is_left() -> None:
    """Once it is known, the own voice is 10 dB softer at least, and a word in a pause of it as loud as before."""
    leaked = Leaked((CAUTION, CAUTION), HEADSET, -10.0, 50.0)
    own_voice = OwnVoice(leaked.between)
    word = trimmed(from_samples(sound("feed-lit")))
    leaked.speak_over(word, leaked.heard.size / RATE - len(word) / RATE - 0.3)
    cleaned = np.concatenate([piece for _, piece in followed(own_voice, leaked)])
    heard = leaked.heard[: cleaned.size]
    end = len(word) + RATE // 2
    before, after = slice(-end - 3 * RATE, -end - RATE), slice(-end, None)
    assert decibels(power(cleaned[before])) < decibels(power(heard[before])) - 10
    assert decibels(power(cleaned[after])) == pytest.approx(decibels(power(heard[after])), abs=1.0)


def test_a_word_in_the_first_second_is_heard(recogniser: Recogniser) -> None:
    """A technician who speaks at once, before the own voice is known, is heard, and nothing else."""
    leaked = Leaked((CAUTION, CAUTION), HEADSET, -20.0, 30.0)
    leaked.speak_over(trimmed(from_samples(sound("feed-lit"))), 1.2)
    heard = Desk(recogniser, leaked).utterances()
    assert [Result(outcome="lit", place="feed")] == [
        event.result for event in heard if isinstance(event, Heard)
    ]


class Desk:
    """An ear and its events."""

    def __init__(self, recogniser: Recogniser, leaked: Leaked, *, cure: bool = True) -> None:
        self.events: list[Event] = []
        reports = Reports(
            happened=lambda make: self.events.append(make(0.0)),
            keep_clip=lambda samples: Clip("", "", samples.size / RATE),
        )
        own_voice = OwnVoice(leaked.between) if cure else None
        self.ear = Ear(recogniser, GRAMMARS.request, reports, own_voice=own_voice)
        self.ear.listen(REQUEST)
        heard = leaked.heard
        for at in range(0, heard.size, CHUNK):
            self.ear.feed(heard[at : at + CHUNK])

    def utterances(self) -> list[Heard | NoMatch]:
        return [event for event in self.events if isinstance(event, Heard | NoMatch)]


def test_without_it_the_assistant_answers_itself(recogniser: Recogniser) -> None:
    """The trouble is real: 20 dB under speech the ear without an own voice takes a read-back for its answer."""
    desk = Desk(recogniser, Leaked(READ_BACKS, HEADSET, -20.0, 50.0), cure=False)
    assert any(isinstance(event, Heard) for event in desk.utterances())


@pytest.mark.parametrize("path", [HEADSET, RADIO])
@pytest.mark.parametrize("leak_db", [-10.0, -20.0, -30.0])
@pytest.mark.parametrize("noise_db", [50.0, 20.0])
def test_the_assistant_does_not_answer_itself(
    recogniser: Recogniser, path: LeakPath, leak_db: float, noise_db: float
) -> None:
    """Its read-backs, heard by wire or by radio, are neither an answer nor something that was not understood."""
    desk = Desk(recogniser, Leaked(READ_BACKS, path, leak_db, noise_db))
    assert desk.utterances() == []


@pytest.mark.parametrize("leak_db", [-10.0, -20.0, -30.0])
def test_somebody_who_speaks_over_it_is_heard(recogniser: Recogniser, leak_db: float) -> None:
    """A technician's answer counts while the assistant speaks, also over the noise that it has learnt."""
    leaked = Leaked((CAUTION, CAUTION), HEADSET, leak_db, 30.0)
    leaked.speak_over(trimmed(from_samples(sound("feed-lit"))), 8.0)
    heard = Desk(recogniser, leaked).utterances()
    assert [Result(outcome="lit", place="feed")] == [
        event.result for event in heard if isinstance(event, Heard)
    ]
