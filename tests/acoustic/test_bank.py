"""A bank of speech keeps sound and words together."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from assistant.acoustic.bank import RATE, fill, pack, parts
from assistant.acoustic.sound import Sound, trimmed
from assistant.acoustic.texts import TrainingText
from assistant.errors import FileProblem


class _Texts:
    def draw(self, rng: random.Random) -> TrainingText:
        word = rng.choice(["lit", "dark"])
        return TrainingText((word,), (word,), (("L", "IH", "T") if word == "lit" else ("D", "AA", "R", "K"),))


class _Voice:
    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        pitch = 440 if said.words == ("lit",) else 220
        time = np.arange(round(rng.uniform(0.3, 0.6) * RATE)) / RATE
        quiet = np.zeros(RATE // 4, np.float32)
        tone = np.sin(2 * np.pi * pitch * time).astype(np.float32)
        return np.concatenate([quiet, tone, quiet]), "test:tone"


def test_each_entry_points_at_the_sound_of_its_own_words(tmp_path: Path) -> None:
    """Training on the wrong words would teach nonsense without a sign of it."""
    made = fill(tmp_path, "tone", _Texts(), _Voice(), seconds=6, seed=1, part_s=2)  # type: ignore[arg-type]
    assert made >= 6
    seen = 0
    for samples, entries in parts(tmp_path):
        for entry in entries:
            sound = samples[entry.start : entry.start + entry.count].astype(float)
            strongest = np.argmax(np.abs(np.fft.rfft(sound))) * RATE / len(sound)
            assert strongest == pytest.approx(440 if entry.words == "lit" else 220, abs=10)
            seen += 1
    assert seen > 8


def test_the_same_seed_makes_the_same_bank(tmp_path: Path) -> None:
    """A bank can be made again, byte for byte."""
    for name in ("a", "b"):
        fill(tmp_path / name, "tone", _Texts(), _Voice(), seconds=2, seed=5)  # type: ignore[arg-type]
    assert [p.read_bytes() for p in sorted((tmp_path / "a").iterdir())] == [
        p.read_bytes() for p in sorted((tmp_path / "b").iterdir())
    ]


def test_silence_around_speech_is_cut_but_for_a_little() -> None:
    """Windows are filled with speech, not with the pauses of the synthesiser."""
    sound = np.concatenate([np.zeros(8000), np.ones(1600), np.zeros(8000)]).astype(np.float32)
    assert trimmed(sound).size == pytest.approx(1600 + 2 * 0.06 * RATE, abs=2)


def test_a_damaged_index_names_its_line(tmp_path: Path) -> None:
    """A finding in a bank names the file and the line to be mended."""
    fill(tmp_path, "tone", _Texts(), _Voice(), seconds=1, seed=1)  # type: ignore[arg-type]
    index = tmp_path / "tone-000.jsonl"
    index.write_text(index.read_text() + "{\n")
    with pytest.raises(FileProblem, match=r"tone-000.jsonl:\d+: is no entry"):
        list(parts(tmp_path))


def test_a_packed_bank_has_the_same_utterances_at_the_same_places(tmp_path: Path) -> None:
    """Opus shifts and changes the sound a little; each utterance must still be where the index says."""
    fill(tmp_path / "plain", "tone", _Texts(), _Voice(), seconds=3, seed=2)  # type: ignore[arg-type]
    assert (
        pack(tmp_path / "plain", tmp_path / "small")
        < (tmp_path / "plain" / "tone-000.s16").stat().st_size / 3
    )
    (plain, entries), (small, same) = next(parts(tmp_path / "plain")), next(parts(tmp_path / "small"))
    assert entries == same
    for entry in entries:
        here = slice(entry.start, entry.start + entry.count)
        assert np.corrcoef(plain[here].astype(float), small[here].astype(float))[0, 1] > 0.95
