"""Sound with gaps."""

from __future__ import annotations

import json

import numpy as np

from assistant import resources
from assistant.hearing_bench.starter.losing import plain_fixtures, played, with_gaps


def test_gaps_are_as_they_are_called() -> None:
    """Zeros keep the length, late ones and what comes twice add to it, and nothing stands for what is skipped."""
    samples = np.arange(1, 32_001).astype(np.int16)
    made = {
        way: with_gaps(samples, np.random.default_rng(2), way)
        for way in ("zeros", "late", "skipped", "twice")
    }
    assert abs(made["zeros"].size - samples.size) < 1600
    assert (made["zeros"] == 0).sum() > 1000
    kept = made["zeros"] != 0
    assert np.array_equal(
        made["zeros"][: samples.size][kept[: samples.size]],
        samples[: made["zeros"].size][kept[: samples.size]],
    )
    assert np.array_equal(made["late"][made["late"] != 0], samples)
    assert made["skipped"].size < samples.size
    assert (made["skipped"] != 0).all()
    assert made["twice"].size > samples.size
    assert set(made["twice"].tolist()) == set(samples.tolist())


def test_nothing_cranks_in_what_is_played() -> None:
    """Clips over made-up cranking are left out, so each beginning that is heard in the others is a false one."""
    clips = json.loads((resources.directory("audio_fixtures") / "manifest.json").read_text(encoding="utf-8"))[
        "clips"
    ]
    cranking = {one["file"] for one in clips if one["noise"] == "cranking"}
    assert cranking
    assert not cranking & set(plain_fixtures())
    assert len(cranking) + len(plain_fixtures()) == len(clips)
    assert played(10.0, np.random.default_rng(1)).std() > 30
