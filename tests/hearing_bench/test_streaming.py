"""Hours of made sound, and what counts as the delay of a turn."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from assistant import resources
from assistant.core.values.events import Heard, NoMatch
from assistant.core.values.result import GrammarRequest, Result
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.activity import CHUNK
from assistant.hearing.sound import RATE, Samples, level_db
from assistant.hearing_bench.manifest import NAME, Hours
from assistant.hearing_bench.mixing import Mixture, Signal
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.scoring import Delays
from assistant.hearing_bench.streaming import blocks, listen_for_hours, take_turn

LAMP = GrammarSet.load(resources.directory("grammars")).request(GrammarRequest(outcomes=("lit", "dim")))
LIT = Result(outcome="lit")


def heard(result: Result, confidence: float = 0.8) -> Heard:
    return Heard(0.0, "lit", result, confidence, None, None, None)


def no_match() -> NoMatch:
    return NoMatch(0.0, "", 0.1)


class Ear:
    """Says at given moments of the sound what it was told to, in place of a real ear."""

    def __init__(self, said: dict[float, Heard | NoMatch]) -> None:
        self.said = said
        self.events: list[Heard | NoMatch] = []
        self.clips: list[Samples] = []
        self.heard = 0

    def listen(self, request: GrammarRequest) -> None:
        self.heard = 0

    def feed(self, samples: Samples) -> None:
        before, self.heard = self.heard, self.heard + len(samples)
        for at_s, event in self.said.items():
            if before < at_s * RATE <= self.heard:
                self.events.append(event)
                self.clips.append(samples[:1])


class Talker:
    """Two kinds of noise, and a voice that says a click for a sentence."""

    noises = ("fans", "compressor")

    def voices(self, names: tuple[str, ...]) -> list[str]:
        return list(names)

    def say(self, voice: str, words: str) -> Signal:
        return np.sin(np.arange(RATE // 2) / 3.0)


def plan(**changes: Any) -> Hours:
    manifest = read_manifest(resources.directory("audio_fixtures") / NAME)
    return dataclasses.replace(manifest.hours, block_s=10, **changes)


def made(hours: float, **changes: Any) -> list[Samples]:
    talker: Any = Talker()
    return list(blocks(plan(**changes), talker, ["a remark"], hours, 5))


def test_the_same_seed_gives_the_same_hours_and_more_hours_begin_with_the_same() -> None:
    """A longer measurement is the shorter one and more."""
    short, long = made(20 / 3600), made(30 / 3600)
    assert [len(short), len(long)] == [2, 3]
    assert all(np.array_equal(one, other) for one, other in zip(short, long, strict=False))
    assert not np.array_equal(long[0], long[2])


def test_noise_stays_within_its_levels_and_chatter_is_in_it() -> None:
    """Without a voice only the noise is left, between its quietest and its loudest; half a dB is for the fades."""
    quiet = made(50 / 3600, voices=())
    loud = made(50 / 3600, gap_s=0.5, chatter_db=(-10, -10), voices=("x",))
    for noise, chatter in zip(quiet, loud, strict=True):
        assert -50.6 <= level_db(noise) <= -22
        assert level_db(chatter) > level_db(noise) + 3


def mixture() -> Mixture:
    return Mixture(np.zeros(3 * RATE, np.int16), began_s=0.5, ended_s=1.5)


@pytest.mark.parametrize(
    ("said", "right", "every", "early", "unheard"),
    [
        ({2.0: heard(LIT)}, 1, 1, 0, 0),
        ({2.0: heard(Result(outcome="dim"))}, 0, 1, 0, 0),
        ({2.0: no_match()}, 0, 1, 0, 0),
        ({1.0: heard(LIT), 2.0: heard(LIT)}, 0, 0, 1, 0),
        ({0.3: no_match(), 2.0: heard(LIT)}, 1, 1, 0, 0),  # noise before anyone spoke
        ({}, 0, 0, 0, 1),
    ],
)
def test_a_turn_counts_from_the_end_of_speech(
    said: dict[float, Heard | NoMatch], right: int, every: int, early: int, unheard: int
) -> None:
    """The first decision after the last sample of speech counts; one before it has cut the person off."""
    delays = Delays()
    ear: Any = Ear(said)
    take_turn(ear, LAMP, "lit", mixture(), delays)
    assert (len(delays.right), len(delays.all), delays.early, delays.unheard) == (
        right,
        every,
        early,
        unheard,
    )
    for delay in delays.all:
        assert 0.5 <= delay < 0.5 + CHUNK / RATE + 0.1  # the chunk that brought it, and a little processing


def test_a_phrase_that_nothing_can_follow_is_counted_as_complete() -> None:
    """The target for the delay is for complete phrases; "twelve" may be the beginning of "twelve point four"."""
    grammars = GrammarSet.load(resources.directory("grammars"))
    volts = grammars.request(GrammarRequest(units=("V",)))
    delays = Delays()
    for grammar, words in ((LAMP, "dim"), (volts, "twelve")):
        result = grammar.parse(words)
        assert result is not None
        ear: Any = Ear({2.0: heard(result)})
        take_turn(ear, grammar, words, mixture(), delays)
    assert (len(delays.right), len(delays.complete)) == (2, 1)


def test_false_accepts_are_counted_at_both_limits_and_pieces_are_handed_on() -> None:
    """Each piece that was taken for speech counts once; only what was accepted is a false accept."""
    ear: Any = Ear({1.0: heard(LIT, 0.6), 2.0: no_match(), 3.0: heard(LIT, 0.95)})
    pieces: list[Samples] = []
    sound = iter([np.zeros(2 * RATE, np.int16), np.zeros(2 * RATE, np.int16)])
    done: list[float] = []
    (stream,) = listen_for_hours([ear], sound, GrammarRequest(), 0.9, pieces.append, done.append)
    assert (stream.utterances, stream.accepted, stream.sure, len(pieces)) == (3, 2, 1, 3)
    assert done == pytest.approx([2 / 3600, 4 / 3600])
