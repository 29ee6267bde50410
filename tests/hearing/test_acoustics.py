"""The acoustic model in numpy."""

from __future__ import annotations

from difflib import SequenceMatcher
from typing import TYPE_CHECKING

import numpy as np
import pytest
from heard_sounds import sound
from kaldi_cepstra import noise_and_cepstra

from assistant import resources
from assistant.grammar.automaton import Automaton
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS, Acoustics
from assistant.hearing.cepstra import cepstra
from assistant.hearing.recogniser import Recogniser

if TYPE_CHECKING:
    from pathlib import Path

BUNDLED = Acoustics.read(resources.bundled_model())
NAMES = sorted(PHONE_NUMBERS, key=lambda phone: PHONE_NUMBERS[phone])


def test_the_outputs_of_each_step_are_probabilities() -> None:
    """One row for each 30 ms, whose probabilities sum to 1."""
    assert BUNDLED is not None
    found = BUNDLED.log_probabilities(sound("feed-lit"))
    frames = (len(sound("feed-lit")) - 400) // 160 + 1
    assert found.shape == (-(-frames // 3), OUTPUTS)
    assert np.allclose(np.exp(found).sum(axis=1), 1, atol=1e-4)


def test_no_sound_and_long_sound_are_taken() -> None:
    """Less than a window gives no step, and sound beyond one pass gives the same as in one."""
    assert BUNDLED is not None
    assert BUNDLED.log_probabilities(np.zeros(10, np.int16)).shape == (0, OUTPUTS)
    noise = np.random.default_rng(3).normal(0, 300, 33 * 16000).astype(np.int16)
    whole = BUNDLED.log_probabilities(noise)
    assert len(whole) == 1100
    # From 27 s on: a whole number of steps, and of the dither's seconds. The first steps still lack their past.
    part = BUNDLED.log_probabilities(noise[27 * 16000 :])
    assert np.allclose(whole[915:], part[15:], atol=0.01)


@pytest.mark.parametrize("name", ["feed-lit", "eleven-point-nine-volts", "it's-out"])
def test_vosk_finds_the_same_phones_with_the_same_file(name: str) -> None:
    """Outside check: Vosk (Kaldi) on a graph in which any phone may follow any other."""
    assert BUNDLED is not None
    recogniser = Recogniser(resources.bundled_model())
    words = {phone.lower(): 0 for phone in NAMES}
    loop = recogniser._write(Automaton([words], 0, {0}), {phone.lower(): ((phone,),) for phone in NAMES})
    stream = recogniser._stream(loop)
    stream.accept(sound(name))
    theirs = [word.upper() for word in stream.finish().words.split()]
    logs = BUNDLED.log_probabilities(sound(name)).copy()
    logs[:, 0] -= 2.5  # the blank's prior, as it stands in the file
    best = logs.argmax(axis=1)
    ours = [NAMES[b - 1] for at, b in enumerate(best) if b and (at == 0 or best[at - 1] != b)]
    alike = SequenceMatcher(None, ours, theirs, autojunk=False).ratio()
    # Not all: Vosk takes the best path, a phone may not lie beside itself there, and it charges for a blank.
    assert alike > 0.85, (ours, theirs)


def test_a_file_of_another_layout_is_no_acoustic_model(tmp_path: Path) -> None:
    """A foreign, damaged or missing file gives None, and never an error or nonsense."""
    assert Acoustics.read(tmp_path) is None
    (tmp_path / "am").mkdir()
    whole = (resources.bundled_model() / "am" / "final.mdl").read_bytes()
    for data in (
        b"",
        b"\0B nothing",
        whole[: len(whole) // 2],
        whole.replace(b"late3.linear", b"late3.lineal"),
    ):
        (tmp_path / "am" / "final.mdl").write_bytes(data)
        assert Acoustics.read(tmp_path) is None
    (tmp_path / "am" / "final.mdl").write_bytes(whole)
    assert Acoustics.read(tmp_path) is not None


def test_cepstra_are_those_of_kaldi() -> None:
    """Outside check by kaldi-native-fbank (k2-fsa's port of Kaldi's features, Apache-2.0), where it is installed."""
    noise, theirs = noise_and_cepstra()
    assert np.max(np.abs(cepstra(noise) - theirs)) < 0.001
