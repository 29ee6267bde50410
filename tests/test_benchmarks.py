"""What the benchmarks share tells the machine as it is, and says so where it cannot."""

from __future__ import annotations

import math
import resource
from pathlib import Path

import pytest

from assistant.benchmarks import machine, percentile, resident_mb


def test_memory_agrees_with_the_systems_own_account() -> None:
    """Now is at most the highest so far, and that at most what getrusage(2) counts (within 1 MB, its rounding)."""
    if not Path("/proc/self/status").exists():
        pytest.skip("only Linux tells it in proc(5)")
    now, highest = resident_mb(), resident_mb(highest=True)
    assert 0 < now <= highest + 1
    assert highest <= resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 + 1


def test_without_linuxs_files_the_figures_are_missing_and_nothing_fails(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """On macOS there is no /proc: memory is NaN, and the machine is named by what Python knows of it."""

    def absent(path: Path, *_: object, **__: object) -> str:
        raise FileNotFoundError(2, "No such file or directory", str(path))

    monkeypatch.setattr(Path, "read_text", absent)
    assert math.isnan(resident_mb())
    assert "Python 3." in machine()


def test_a_percentile_is_a_value_of_the_list() -> None:
    """The nearest rank: the smallest value that so many percent of the list do not exceed."""
    assert (1.0, 2.0, 4.0) == tuple(percentile([4.0, 1.0, 3.0, 2.0], percent) for percent in (0, 50, 100))
    assert math.isnan(percentile([], 50))
