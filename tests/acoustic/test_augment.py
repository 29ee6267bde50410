"""The simulated way of speech to the recogniser; PyTorch is not part of the test set-up."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is only needed to train")

from assistant.acoustic import wire  # noqa: E402
from assistant.acoustic.augment import Strength, through_the_air  # noqa: E402
from assistant.acoustic.manner import cut_tightly, samples_left  # noqa: E402
from assistant.acoustic.noises import make_noises  # noqa: E402
from assistant.hearing import foreground  # noqa: E402

PLAIN = Strength(
    lowest_db=60, highest_db=60, clean=0, room=0, narrow=0, talk=0, manners=0, coded=0, tight=0, raw=0
)


def _windows(count: int = 6) -> tuple[torch.Tensor, torch.Tensor]:
    torch.manual_seed(3)
    speech = torch.zeros(count, 48000)
    speech[:, 8000:20000] = 1
    speech[:, 30000:40000] = 1
    return torch.randn(count, 48000) * 0.08 * speech, speech


def test_levels_are_those_of_the_recognisers_front() -> None:
    """Training measures levels exactly as `foreground` does, so that both bring speech to the same level."""
    sound = (np.random.default_rng(1).standard_normal(16000) * np.linspace(10, 3000, 16000)).astype(np.int16)
    theirs = foreground.levels(sound)
    ours = wire.levels(torch.from_numpy(sound.astype(np.float32) / 32768)[None])[0].numpy()
    assert np.max(np.abs(ours[1:-1] - theirs[1:-1])) < 0.05
    assert wire.SPEECH_DB == foreground.SPEECH_DB
    assert wire.MOST_GAIN_DB == foreground.MOST_GAIN_DB


def test_any_level_of_a_microphone_arrives_near_the_level_of_speech() -> None:
    """From -70 dB to beyond full scale the recogniser gets speech within 8 dB of its level."""
    sound, speech = _windows(64)
    heard = through_the_air(sound, speech, make_noises(8, 5.0, torch.device("cpu")), PLAIN)
    loud = torch.quantile(wire.levels(heard / 32768), 0.95, dim=1)
    assert (loud - wire.SPEECH_DB).abs().max() < 8
    assert heard.abs().max() <= 32768


def test_others_are_under_the_voice_by_what_was_asked() -> None:
    """With somebody else at 20 dB under, the pauses are filled 20 dB under the speech, not more."""
    sound, speech = _windows(32)
    strength = Strength(
        lowest_db=80, highest_db=80, clean=0, room=0, narrow=0, talk=1, nearest_db=20, farthest_db=20,
        manners=0, coded=0, tight=0, raw=1,
    )  # fmt: skip
    heard = through_the_air(sound, speech, make_noises(8, 5.0, torch.device("cpu")), strength)
    power = heard.square()
    spoken = (power * speech).sum(1) / speech.sum(1)
    pauses = (power * (1 - speech)).sum(1) / (1 - speech).sum(1)
    under = 10 * torch.log10(spoken / pauses)
    # Their own pauses, and the room's echo, move it by some decibels.
    assert 14 < under.median() < 27


def test_every_way_gives_finite_sound_also_without_a_voice() -> None:
    """Nothing divides by silence."""
    sound, speech = _windows(12)
    sound[:3], speech[:3] = 0, 0
    strength = Strength(manners=1, coded=1, tight=1, talk=1)
    assert through_the_air(sound, speech, make_noises(8, 5.0, torch.device("cpu")), strength).isfinite().all()


def test_tight_cuts_leave_nothing_outside_and_count_to_the_end() -> None:
    """The samples left are counted within each utterance, and a tight cut clears everything else."""
    speech = torch.tensor([[0.0, 1, 1, 1, 0, 0, 1, 1]])
    assert samples_left(speech).tolist() == [[0, 3, 2, 1, 0, 0, 2, 1]]
    sound, speech = _windows(4)
    cut = cut_tightly(sound + 0.01, speech, 1.0)
    assert (cut[speech == 0] == 0).all()
    assert (cut[:, 14000] != 0).all()
