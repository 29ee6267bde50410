"""Sounds that are kept on the disk and in memory."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assistant.speaking import kept
from assistant.speaking.kept import HeldSounds, KeptSounds

if TYPE_CHECKING:
    import pytest

SOUND = np.arange(500, dtype=np.int16)


def test_the_folder_stays_within_both_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Too many files or bytes: the least recently used ones go; one that was read lately stays."""
    sounds = KeptSounds(tmp_path)
    for number in range(20):
        sounds.put(f"k{number}", SOUND, 24000)
        os.utime(tmp_path / f"k{number}.wav", (number, number))
    assert sounds.get("k0") is not None  # is now the latest
    monkeypatch.setattr(kept, "MOST_FILES", 10)
    sounds.tidy()
    assert {path.stem for path in tmp_path.iterdir()} == {"k0", *(f"k{n}" for n in range(13, 20))}
    monkeypatch.setattr(kept, "MOST_BYTES", 5000)
    sounds.tidy()
    assert {path.stem for path in tmp_path.iterdir()} == {"k0", "k18", "k19"}


def test_the_folder_is_looked_through_before_it_can_grow_much(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the beginning, and again after a small share of the bound was written."""
    looked: list[int] = []
    monkeypatch.setattr(KeptSounds, "tidy", lambda _self: looked.append(1))
    monkeypatch.setattr(kept, "_TIDY_EVERY_BYTES", 10 * SOUND.nbytes)
    sounds = KeptSounds(tmp_path)
    for number in range(25):
        sounds.put(f"k{number}", SOUND, 24000)
    assert 3 <= len(looked) <= 4


def test_a_half_written_sound_of_a_crash_goes_in_its_turn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Parts that were left behind count, and are never read as sounds."""
    monkeypatch.setattr(kept, "MOST_FILES", 1)
    (tmp_path / "k-1-2.part").write_bytes(b"half")
    os.utime(tmp_path / "k-1-2.part", (0, 0))
    sounds = KeptSounds(tmp_path)
    sounds.put("k", SOUND, 24000)
    sounds.tidy()
    assert not (tmp_path / "k-1-2.part").exists()


def test_only_the_owner_reads_the_folder(tmp_path: Path) -> None:
    """A read-back can hold a customer's name."""
    folder = tmp_path / "speech"
    KeptSounds(folder).put("k", SOUND, 24000)
    assert folder.stat().st_mode & 0o077 == 0


def test_memory_holds_the_latest() -> None:
    """The bound is in bytes, the least recently used go, and the newest stays even if it is too large alone."""
    held = HeldSounds(3 * SOUND.nbytes)
    for key in "abc":
        held.put(key, (SOUND, 24000))
    held.get("a")
    held.put("d", (SOUND, 24000))
    assert [key for key in "abcd" if held.get(key) is not None] == ["a", "c", "d"]
    assert held.bytes == 3 * SOUND.nbytes
    held.put("large", (np.zeros(9000, np.int16), 24000))
    assert (held.get("large") is not None, held.bytes) == (True, 18000)
    held.put("large", (SOUND, 24000))
    assert held.bytes == SOUND.nbytes
