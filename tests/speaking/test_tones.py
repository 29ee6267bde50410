"""The tones before signal words."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.core.library.terms import SignalWord
from assistant.core.words import remarking
from assistant.loading.folder import load_library
from assistant.resources import directory
from assistant.speaking.edges import PEAK
from assistant.speaking.tones import AFTER_S, TONES, Tone, sounded, tone_before

RATE = 24000


@pytest.mark.parametrize("tone", TONES.values(), ids=list(TONES))
def test_a_tone_is_in_the_band_of_danger_signals(tone: Tone) -> None:
    """ISO 7731 (from memory): components between 300 and 3000 Hz; most of the energy below 1500 Hz; short."""
    sound = sounded(tone, RATE, 0.1).astype(float)
    power = np.abs(np.fft.rfft(sound)) ** 2
    frequency = np.fft.rfftfreq(len(sound), 1 / RATE)
    inside = power[(frequency >= 300) & (frequency <= 3000)].sum() / power.sum()
    assert inside > 0.99
    assert power[frequency < 1500].sum() / power.sum() > 0.5
    assert 0.2 <= len(sound) / RATE - AFTER_S <= 0.3


def test_the_tones_differ_in_rhythm_and_pitch() -> None:
    """Either difference alone tells DANGER from WARNING."""
    danger, warning = TONES["danger"], TONES["warning"]
    assert danger.pulses > warning.pulses
    assert danger.components[0] > 1.5 * warning.components[0]


@pytest.mark.parametrize("tone", TONES.values(), ids=list(TONES))
def test_a_tone_does_not_click(tone: Tone) -> None:
    """It begins and ends with silence, and no step between samples is larger than the tone's own slope."""
    sound = sounded(tone, RATE, 0.15).astype(float)
    assert sound[0] == sound[-1] == 0
    slope = sum(2 * np.pi * f / RATE / 2**n for n, f in enumerate(tone.components))
    height = np.max(np.abs(sound)) / sum(0.5**n for n in range(len(tone.components)))
    assert np.max(np.abs(np.diff(sound))) <= 2 * slope * height


def test_a_tone_is_as_loud_as_asked_and_never_over_the_peak() -> None:
    """The steady part has the level that is wanted; what cannot be had stops at -1 dBFS."""
    sound = sounded(TONES["warning"], RATE, 0.1).astype(float) / 32767
    steady = sound[round(0.02 * RATE) : round(0.22 * RATE)]
    assert np.sqrt(np.mean(steady**2)) == pytest.approx(0.1, rel=0.03)
    assert np.max(np.abs(sounded(TONES["danger"], RATE, 1.0))) <= PEAK * 32767 + 1


@pytest.mark.parametrize(
    ("sentence", "word"),
    [
        ("Danger: coil output can kill.", "danger"),
        ("Danger.", "danger"),
        ("WARNING: it cranks.", "warning"),
        ("Warning. It cranks.", "warning"),
        ("The danger: sparks.", None),
        ("Dangerous work.", None),
        ("Warning lamp: lit, or dark?", None),
        ("Caution: hot.", None),
        ("Keep clear. Danger: sparks.", None),
    ],
)
def test_only_a_signal_word_at_the_beginning_has_a_tone(sentence: str, word: str | None) -> None:
    """A sentence that merely has the word in it has no tone."""
    assert tone_before(sentence) == (TONES[word] if word else None)


def test_every_caution_of_danger_and_warning_has_its_tone() -> None:
    """The sentences that the dialogue makes of cautions are those that the tones look for."""
    for caution in load_library(directory("procedures")).cautions.values():
        text = remarking.cautions_text([(caution, "full")])
        grave = caution.signal in (SignalWord.DANGER, SignalWord.WARNING)
        assert tone_before(text) == (TONES[caution.signal.lower()] if grave else None)
