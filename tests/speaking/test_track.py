"""Both voices of a session on one time line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from tones import RATE, Clock, Ended, tone

from assistant.errors import GearProblem
from assistant.speaking.output import NullPlayer
from assistant.speaking.track import SoundTrack

if TYPE_CHECKING:
    from pathlib import Path


def test_track_holds_what_was_really_said() -> None:
    """Cut speech is on the track only up to the cut, at the time at which it was said."""
    clock, track = Clock(), SoundTrack(RATE)
    player = NullPlayer(clock, track)
    clock.now = 1.0
    player.play(tone(2.0), Ended())
    clock.now = 1.5
    player.cut()
    loud = np.flatnonzero(np.abs(track.render()[:, 0].astype(int)) > 1000)
    assert abs(1.0 * RATE - loud[0]) < 0.01 * RATE
    assert abs(1.5 * RATE - loud[-1]) < 0.01 * RATE
    assert track.duration_s == 1.5


def test_voices_can_be_told_apart() -> None:
    """The assistant is louder on the left, the technician on the right, both on both, with equal power."""
    track = SoundTrack(RATE)
    track.add_assistant(0.0, tone(0.5).samples, RATE)
    track.add_technician(1.0, tone(0.5).samples, RATE)
    mix = track.render().astype(float)
    assistant, technician = mix[RATE // 4], mix[RATE + RATE // 4]
    assert assistant[0] > 2 * assistant[1] > 0
    assert list(assistant) == pytest.approx(list(technician[::-1]), abs=1)
    assert pytest.approx(float(np.sum(assistant**2)), rel=1e-3) == 10000**2


def test_mix_is_turned_down_rather_than_clipped() -> None:
    """Two loud voices at once keep their shape."""
    track = SoundTrack(RATE)
    loud = np.full(RATE, 32767, np.int16)
    for _ in range(3):
        track.add_assistant(0.0, loud, RATE)
    assert int(np.max(np.abs(track.render()))) == 32767


def test_track_is_written_and_read_back(tmp_path: Path) -> None:
    """WAV and FLAC hold the same samples; another suffix or an unwritable place is a plain sentence."""
    track = SoundTrack()
    track.add_technician(0.1, tone(0.2, 16000).samples, 16000)
    for name in ("both.wav", "both.flac"):
        track.write(tmp_path / name)
        samples, rate = soundfile.read(tmp_path / name, dtype="int16")
        assert rate == 22050
        assert np.array_equal(track.render(), samples)
    with pytest.raises(GearProblem, match=r"must be named \.wav or \.flac"):
        track.write(tmp_path / "both.mp3")
    with pytest.raises(GearProblem, match="cannot be written"):
        track.write(tmp_path / "absent" / "both.wav")
    with pytest.raises(ValueError, match="before the track"):
        track.add_assistant(-1.0, tone(0.1).samples, RATE)


def test_empty_track_is_silent() -> None:
    """Nothing said is a track of nothing, not an error."""
    assert (SoundTrack().duration_s, bool(SoundTrack().render().any())) == (0.0, False)
