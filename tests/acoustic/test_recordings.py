"""Recordings of people become pieces with their phones; PyTorch is not part of the test set-up."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is only needed to train")
pytest.importorskip("soxr", reason="it comes with what training needs")

from assistant.acoustic.agreed import OUTPUTS, PHONE_OUTPUTS  # noqa: E402
from assistant.acoustic.recordings import LONGEST_S, cuts, likeliest, moments  # noqa: E402


def _saying(phones: str, every: int = 3) -> np.ndarray:
    """Log-probabilities of a network that hears these phones, one in so many steps."""
    logs = np.full((every * len(phones.split()) + every, OUTPUTS), np.log(0.1 / OUTPUTS), np.float32)
    logs[:, 0] = np.log(0.9)
    for number, phone in enumerate(phones.split()):
        step = every * (number + 1) - 1
        logs[step, 0], logs[step, PHONE_OUTPUTS[phone]] = np.log(0.05), np.log(0.85)
    return logs


def test_phones_are_found_where_they_are_likeliest() -> None:
    """Each phone is placed at its own step, also one that comes twice in a row."""
    phones = "B AE T T ER"
    found = moments(_saying(phones), [PHONE_OUTPUTS[phone] for phone in phones.split()])
    assert found is not None
    assert found.tolist() == [2, 5, 8, 11, 14]
    assert moments(_saying("B"), [1, 2, 3, 4, 5, 6, 7]) is None


def test_the_pronunciation_that_was_spoken_is_kept() -> None:
    """Of "read" the reading in the sound is taken, whichever comes first in the dictionary."""
    known = {"read": [("R", "IY", "D"), ("R", "EH", "D")], "it": [("IH", "T")]}
    for vowel in ("IY", "EH"):
        logs = torch.from_numpy(_saying(f"R {vowel} D IH T"))
        assert likeliest(logs, ["read", "it"], known) == [("R", vowel, "D"), ("IH", "T")]


def test_long_recordings_are_cut_at_their_longest_pauses() -> None:
    """No piece is longer than a window takes, no word is lost, and the pause is where the cut is."""
    first = np.array([0.2, 0.7, 1.2, 2.6, 3.1, 3.6])
    last = first + 0.3
    runs = cuts(first, last)
    assert [run[0] for run in runs[1:]] == [run[1] for run in runs[:-1]]
    assert runs[0] == (0, 3)
    assert runs[-1][1] == 6
    assert all(last[b - 1] - first[a] <= LONGEST_S for a, b in runs)
