"""Runs the real ear on synthetic sound: false accepts in hours of noise and chatter, time of a turn, memory."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import numpy as np

from assistant.core.values.events import Clip, Heard, NoMatch
from assistant.errors import ModelProblem
from assistant.hearing.activity import CHUNK, Completeness
from assistant.hearing.baynoise import bay_noise
from assistant.hearing.ear import Ear, Reports
from assistant.hearing.sound import RATE
from assistant.hearing.utterance import completeness
from assistant.hearing_bench.mixing import Signal, at_level, to_samples
from assistant.hearing_bench.scoring import Delays, FalseAccepts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from assistant.core.values.result import GrammarRequest
    from assistant.core.values.thresholds import Thresholds
    from assistant.grammar.grammar_set import GrammarSet
    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.ear import Make
    from assistant.hearing.recogniser import Recogniser
    from assistant.hearing.sound import Samples
    from assistant.hearing_bench.manifest import Hours
    from assistant.hearing_bench.mixing import Mixture
    from assistant.hearing_bench.testset import TestSet

FADE_S = 0.5
"""Time over which noise fades in and out at the ends of a block."""


class Attentive:
    """A real ear that collects its events.

    Args:
        recogniser: Turns speech into words.
        grammars: Grammars of the requests.
        thresholds: The dialogue's limits.
    """

    def __init__(self, recogniser: Recogniser, grammars: GrammarSet, thresholds: Thresholds) -> None:
        self.events: list[Heard | NoMatch] = []
        self.clips: list[Samples] = []
        reports = Reports(happened=self._happened, keep_clip=self._keep)
        self._ear = Ear(recogniser, grammars.request, reports, thresholds=thresholds)

    def listen(self, request: GrammarRequest) -> None:
        """Start again with this request."""
        self._ear.begin_anew()
        self._ear.listen(request)
        self.events.clear()
        self.clips.clear()

    def pause(self) -> None:
        """Hear nothing, as while the assistant speaks."""
        self._ear.pause()

    def go_on(self, request: GrammarRequest) -> None:
        """Listen again after a pause; the sound has gone on."""
        self._ear.listen(request)

    def feed(self, samples: Samples) -> None:
        """Feed it the next sound."""
        self._ear.feed(samples)

    def _happened(self, make: Make) -> None:
        event = make(0.0)
        if isinstance(event, Heard | NoMatch):
            self.events.append(event)

    def _keep(self, samples: Samples) -> Clip:
        self.clips.append(samples)
        return Clip(f"{len(self.clips)}", "", len(samples) / RATE)


# --- hours of noise -------------------------------------------------------------------------------


def blocks(
    plan: Hours,
    test_set: TestSet,
    sentences: Sequence[str],
    hours: float,
    seed: int,
    number_of_slice: int = 0,
    slices: int = 1,
) -> Iterator[Samples]:
    """Hours of sound, block by block: noise at a level, with chatter in it; each block has its own seed.

    Args:
        plan: The plan; kinds of noise take turns, and levels and chatter are drawn.
        test_set: Test set that speaks.
        sentences: Sentences of the chatter.
        hours: Length, rounded up to whole blocks.
        seed: The same seed gives the same sound.
        number_of_slice: Only this share of the blocks (from 0) of so many `slices`.
        slices: Number of shares.
    """
    voices = test_set.voices(plan.voices)
    kinds = test_set.noises
    count = int(np.ceil(hours * 3600 / plan.block_s - 1e-9))
    for number in range(count * number_of_slice // slices, count * (number_of_slice + 1) // slices):
        draw = random.Random(f"{seed} block {number}")  # noqa: S311  a test set
        noise = bay_noise(kinds[number % len(kinds)], plan.block_s, RATE, draw.randrange(2**31))
        noise *= 10 ** (draw.uniform(*plan.noise_db) / 20)
        fade = round(FADE_S * RATE)
        ramp = np.linspace(0.1, 1.0, fade)
        noise[:fade] *= ramp
        noise[-fade:] *= ramp[::-1]
        at_s = draw.expovariate(1 / plan.gap_s)
        while voices:
            said: Signal = test_set.say(draw.choice(voices), draw.choice(sentences))
            start = round(at_s * RATE)
            if start + len(said) > len(noise):
                break
            noise[start : start + len(said)] += at_level(said, draw.uniform(*plan.chatter_db))
            at_s += len(said) / RATE + draw.expovariate(1 / plan.gap_s)
        yield to_samples(noise)


def listen_for_hours(
    ears: Sequence[Attentive],
    sound: Iterator[Samples],
    request: GrammarRequest,
    ask_below: float,
    found: Callable[[Samples], None],
    progress: Callable[[float], None],
) -> list[FalseAccepts]:
    """The results that each ear accepts from sound in which nobody speaks to it.

    Args:
        ears: The ears, which all hear the same sound.
        sound: The sound, block by block.
        request: Request for which they listen.
        ask_below: Confidence from which a result is taken without a question.
        found: Called with each piece of sound that the first ear takes for speech.
        progress: Called with the hours so far.

    Returns:
        One stream for each ear.
    """
    streams = [FalseAccepts() for _ in ears]
    for ear in ears:
        ear.listen(request)
    for block in sound:
        hours = len(block) / RATE / 3600
        for ear, stream in zip(ears, streams, strict=True):
            ear.feed(block)
            stream.hours += hours
            for event in ear.events:
                accepted = isinstance(event, Heard)
                stream.count(event.words, event.confidence, ask_below, accepted=accepted)
            ear.events.clear()
        for clip in ears[0].clips:
            found(clip)
        for ear in ears:
            ear.clips.clear()
        progress(streams[0].hours)
    return streams


# --- a turn ---------------------------------------------------------------------------------------


def take_turn(ear: Attentive, grammar: StepGrammar, words: str, mixture: Mixture, delays: Delays) -> None:
    """One answer through the real ear, chunk by chunk, as from a microphone.

    The delay is the length of sound between the last sample of speech and the decision, plus the time that the
    computer took for the chunk with the decision.
    """
    truth = grammar.parse(words)
    ear.listen(grammar.request)
    for start in range(0, len(mixture.samples), CHUNK):
        chunk = mixture.samples[start : start + CHUNK]
        begun = time.perf_counter()
        ear.feed(chunk)
        took = time.perf_counter() - begun
        now_s = (start + len(chunk)) / RATE
        for event in ear.events:
            if now_s < mixture.began_s:
                continue  # noise mistaken for speech before anyone spoke
            if now_s < mixture.ended_s:
                delays.early += 1
                return
            delay_s = now_s - mixture.ended_s + took
            delays.all.append(delay_s)
            if isinstance(event, Heard) and event.result == truth:
                delays.right.append(delay_s)
                if completeness(words, grammar) is Completeness.COMPLETE:
                    delays.complete.append(delay_s)
            return
        ear.events.clear()
    delays.unheard += 1


# --- memory ---------------------------------------------------------------------------------------


def memory_mb(model: Path) -> float:
    """Highest resident memory of a fresh process that only hears, MB.

    Raises:
        ModelProblem: The process failed.
    """
    command = [sys.executable, "-m", "assistant.hearing_bench.only_hearing", str(model)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    try:
        return float(done.stdout.split()[-1])
    except (IndexError, ValueError) as error:
        why = done.stderr.strip().splitlines()[-1:] or ["it printed nothing"]
        raise ModelProblem(f"Memory could not be measured: {why[0]}.") from error
