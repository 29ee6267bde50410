"""The end of a question."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.speaking.neural.network import HeartNetwork
from assistant.speaking.neural.pronouncing import phonemes
from assistant.speaking.neural.rising import MOST, RISE_FRAMES, is_question, risen
from assistant.speaking.neural.signal import BINS, VoiceFrames


def semitones(pitch: float, to: float) -> float:
    """The distance of two pitches (12 semitones double it)."""
    return 12 * float(np.log2(to / pitch))


def frames_of(pitch: list[float] | np.ndarray, loud: list[bool] | None = None) -> VoiceFrames:
    """Frames with this pitch; those that are not loud are 60 dB weaker."""
    level = np.where(loud if loud is not None else np.ones(len(pitch), bool), 0.0, -6.9).astype(np.float32)
    spectrum = np.repeat(level[:, None], BINS, axis=1)
    rows = spectrum.__getitem__
    return VoiceFrames(rows, rows, rows, rows, rows, np.asarray(pitch, np.float32))


def test_a_falling_end_rises_to_the_middle() -> None:
    """From 200 Hz down to 165: the end is lifted to the middle, and what is before stays."""
    pitch = np.concatenate([np.full(80, 200.0), np.linspace(200, 165, 20), np.zeros(10)]).astype(np.float32)
    bent = risen(frames_of(pitch)).pitch
    assert semitones(float(np.median(pitch[:100])), float(bent[99])) == pytest.approx(0, abs=0.5)
    assert (bent[: 99 - RISE_FRAMES] == pitch[: 99 - RISE_FRAMES]).all()
    assert (bent[100:] == 0).all()


def test_the_end_is_where_the_sound_ends() -> None:
    """Frames that nobody hears, behind the last that is heard, do not count as the end."""
    pitch = [200.0] * 60 + [170.0] * 20 + [90.0] * 10
    loud = [True] * 80 + [False] * 10
    bent = risen(frames_of(pitch, loud)).pitch
    assert semitones(200, float(bent[79])) == pytest.approx(0, abs=0.2)


@given(pitch=st.lists(st.floats(0, 400, width=32), max_size=120))
def test_no_frame_is_lowered_or_lifted_too_far(pitch: list[float]) -> None:
    """Any pitch: as many frames, none lower, none lifted more than the most, and silence stays silence."""
    before = frames_of(pitch)
    after = risen(before).pitch
    assert after.shape == before.pitch.shape
    assert (after >= before.pitch * 0.9999).all()
    assert (after <= before.pitch * 2 ** (MOST / 12) * 1.0001).all()


def test_only_a_question_is_one() -> None:
    """The mark may stand before a closing quote; a question mark inside makes none."""
    assert is_question(phonemes("Lit?"))
    assert is_question(phonemes('Say "lit?"'))
    assert not is_question(phonemes("Lit? Dim."))
    assert not is_question("")


def test_what_the_network_says_rises() -> None:
    """The last of what is heard of three real questions is lifted, by less than the most."""
    network = HeartNetwork()
    for question in ("Lit, dim, or dark?", "Did you check spark?", "Done or not yet?"):
        frames = network.predict(phonemes(question))
        assert frames is not None
        before, after = frames.pitch, risen(frames).pitch
        last = np.flatnonzero(before > 100)[-1]
        assert 1 < semitones(float(before[last]), float(after[last])) <= MOST * 1.0001, question
