"""What is cut off a rendered sentence, and how loud it becomes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.speaking.driver import speak
from assistant.speaking.edges import PEAK, active_level, levelled, trimmed
from assistant.speaking.speech import Samples
from assistant.speaking.synthesiser import SYNTHESISER

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE = 24000


def made(*pieces: tuple[float, float], rate: int = RATE) -> Samples:
    """Noise in pieces of so many seconds at so many decibels under full scale; None of it in a piece at -inf."""
    noise = np.random.default_rng(5)
    parts: list[NDArray[np.float64]] = [
        noise.uniform(-1, 1, round(seconds * rate)) * 10 ** (level / 20) for seconds, level in pieces
    ]
    return np.round(np.concatenate(parts) * 32767).astype(np.int16)


def test_a_soft_fricative_at_either_end_is_kept() -> None:
    """An "f" 40 dB under the vowel is speech: only the silence around it goes, and the sound begins at once."""
    sound = made((0.3, -120), (0.1, -44), (0.5, -4), (0.12, -44), (0.4, -120))
    kept = trimmed(sound, RATE)
    speech = sound[round(0.3 * RATE) : round(1.02 * RATE)]
    spare = len(kept) - round(0.04 * RATE) - len(speech)
    assert abs(spare - round(0.01 * RATE)) < 0.001 * RATE
    start = next(at for at in range(spare + 30) if np.array_equal(speech[99:999], kept[at + 99 : at + 999]))
    assert np.array_equal(speech, kept[start : start + len(speech)])


def test_the_level_of_the_recording_does_not_matter() -> None:
    """What counts as silence goes by the sentence's own peak, so a soft voice loses no more than a loud one."""
    pieces = ((0.2, -90.0), (0.1, -40.0), (0.4, 0.0), (0.1, -40.0), (0.2, -90.0))
    lengths = {
        len(trimmed(made(*((s, level + down) for s, level in pieces)), RATE)) for down in (-1.0, -10.0)
    }
    assert max(lengths) - min(lengths) < 0.002 * RATE


BEGINNINGS_AND_ENDS = (
    *("Feed side.", "Think first.", "Hands clear.", "Fuse out.", "Three volts.", "Not sure.", "No.", "Him."),
    *("Half.", "Fifth.", "Check the cables.", "Both.", "Unplug the coil."),
)
"""Sentences that begin or end softly: with "f", "th", "h", a nasal, or a final "s"."""


@pytest.mark.parametrize("voice", ["heart", "gmw/en-us"])
@pytest.mark.parametrize("sentence", BEGINNINGS_AND_ENDS)
def test_nothing_that_can_be_heard_is_cut_off(voice: str, sentence: str) -> None:
    """In 5 ms nothing louder than 55 dB under the peak is lost at either end, in either voice."""
    rendered = SYNTHESISER.render(sentence, voice, 175, urgent=True)
    samples, rate = rendered.samples, rendered.rate
    kept = trimmed(samples, rate)
    middle = len(kept) // 2
    part = kept[middle : middle + 1000]
    start = next(
        at - middle
        for at in range(middle, len(samples) - len(part) + 1)
        if samples[at] == part[0] and np.array_equal(samples[at : at + len(part)], part)
    )
    peak = float(np.max(np.abs(samples.astype(float))))
    size = round(0.005 * rate)
    for lost in (samples[:start], samples[start + len(kept) :]):
        frames = lost[: len(lost) // size * size].astype(float).reshape(-1, size)
        loudest = float(np.sqrt(np.max(np.mean(frames**2, axis=1), initial=0.0)))
        assert loudest < peak * 10 ** (-55 / 20)


def test_silence_gives_nothing() -> None:
    """A sentence without sound has no edges."""
    assert not len(trimmed(np.zeros(1000, np.int16), RATE))
    assert not len(trimmed(np.zeros(0, np.int16), RATE))
    assert active_level(np.zeros(0, np.int16), RATE) == active_level(np.zeros(99, np.int16), RATE) == 0


@given(
    samples=st.lists(st.integers(-32768, 32767), max_size=900).map(lambda values: np.array(values, np.int16)),
    level=st.none() | st.floats(0.001, 1.0),
)
def test_no_level_is_over_the_peak(samples: Samples, level: float | None) -> None:
    """Whatever the sound and the level that is wanted, no sample is over -1 dBFS, and none wraps around."""
    result = levelled(samples, RATE, level)
    assert len(result) == len(samples)
    assert np.max(np.abs(result.astype(int)), initial=0) <= PEAK * 32767 + 1
    assert np.all(result.astype(int) * samples >= 0)


def test_equal_level_as_far_as_the_peak_allows() -> None:
    """Active speech comes to the level that is wanted, pauses do not count, and the peak has the last word."""
    sound = made((0.5, -20), (0.5, -80), (0.5, -20))
    for wanted in (0.05, 0.2):
        assert active_level(levelled(sound, RATE, wanted), RATE) == pytest.approx(wanted, rel=0.01)
    spiky = sound.copy()
    spiky[300] = 32767
    assert np.max(np.abs(levelled(spiky, RATE, 0.5))) == pytest.approx(PEAK * 32767, abs=1)


def test_a_sine_has_the_level_that_it_has() -> None:
    """The root mean square of a full-scale sine is 1/sqrt(2), whatever silence is around it."""
    sine = np.round(32767 * np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE)).astype(np.int16)
    quiet = np.zeros(RATE, np.int16)
    assert active_level(np.concatenate([quiet, sine, quiet]), RATE) == pytest.approx(2**-0.5, rel=0.02)


def test_the_driver_leaves_trimming_to_the_voice(tmp_path: Path) -> None:
    """Whoever uses the driver alone gets the whole sound, with the silence of the network around it."""
    samples, rate = speak("No.")
    assert len(trimmed(samples, rate)) < len(samples)
