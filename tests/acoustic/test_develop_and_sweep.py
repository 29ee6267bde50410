"""The development set, and the price by which settings are compared."""

from __future__ import annotations

import json
import random
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant import resources
from assistant.acoustic import develop
from assistant.acoustic.bank import LEVEL, RATE
from assistant.acoustic.fitting import Stated
from assistant.acoustic.in_noise import HeardInNoise, read_manifest
from assistant.acoustic.prices import Price
from assistant.acoustic.sound import Sound
from assistant.acoustic.sweep import mean_price
from assistant.acoustic.texts import Texts, TrainingText
from assistant.acoustic.voices import KOKORO_ENGLISH, KOKORO_FOREIGN, KOKORO_KEPT, Flite
from assistant.core.values.result import GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.loading.folder import load_library


class _Noise:
    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        samples = np.random.default_rng(rng.randrange(99)).normal(0, 0.1, RATE // 2)
        return samples.astype(np.float32), f"test:{len(said.words)}"


def test_the_development_set_is_what_calibration_reads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Answers come with the request that asks for them, and are in its grammar; other speech has none."""
    monkeypatch.setattr(develop, "ANSWERS", 6)
    monkeypatch.setattr(develop, "OTHERS", 3)
    grammars = GrammarSet.load(resources.directory("grammars"))
    texts = Texts(grammars, load_library(resources.directory("procedures")), {"hat": "hˈæt", "sun": "sˈʌn"})
    assert develop.make_development_set(tmp_path, texts, {"one": _Noise()}) == 9
    spoken = read_manifest(tmp_path / "manifest.jsonl")
    assert [one.said is None for one in spoken] == [False] * 6 + [True] * 3
    for one in spoken[:6]:
        assert isinstance(one.listened, GrammarRequest)
        assert grammars.request(one.listened).parse(one.said or "") is not None
    sound, rate = soundfile.read(tmp_path / "one-0000.flac")
    assert rate == RATE
    assert np.sqrt(np.mean(sound**2)) == pytest.approx(LEVEL, rel=0.1)
    phones = json.loads((tmp_path / "manifest.jsonl").read_text().splitlines()[0])["phones"]
    assert phones.split()


def test_no_voice_that_is_kept_for_development_or_measuring_is_trained_on() -> None:
    """The kept Kokoro speakers are known names; "slt" is in no list of training voices."""
    assert set(KOKORO_KEPT) <= set(KOKORO_ENGLISH)
    assert "slt" not in Flite().speakers
    assert not any("slt" in name for name in KOKORO_ENGLISH + KOKORO_FOREIGN)


def test_the_mean_price_of_four_utterances_by_hand() -> None:
    """Right and sure 0; wrong and sure 6; right but asked 0.5; an answer that is not taken 1: 7.5 of 4."""

    def one(*, right: bool, chance: float) -> Stated:
        return Stated(HeardInNoise("v", "bay 10", "answers", other=False, phrase=True, right=right), chance)

    judged = [
        one(right=True, chance=0.95),
        one(right=False, chance=0.95),
        one(right=True, chance=0.7),
        one(right=True, chance=0.2),
    ]
    assert mean_price(judged, 0.5, 0.9, Price(6.0, 1.0, "", 0.5, 1.8)) == pytest.approx(7.5 / 4)
