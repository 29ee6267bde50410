"""Recordings of real starts, which others made and gave away, in the ear for the starter.

They are in Debian's package openttd-opensfx (recordings CC0 and CC BY; the collection CC BY-SA 3.0) and not in this
project. The test is skipped where that package is not installed.
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from assistant.hearing.starter.certainty import SURE_FROM
from assistant.hearing.starter.ear import StarterEar
from assistant.hearing.starter.values import CrankPhase

CATALOGUE = Path("/usr/share/games/openttd/baseset/opensfx/opensfx.cat")

TRUCK = 25
"""'Truck/old bus start, pull away': original "file0375.mp3" by "saphix", edited by "Wuzzy", CC0."""


def recording(number: int) -> np.ndarray:
    """A sound of the catalogue: a table of places and lengths, then for each its name and a WAV file."""
    data = CATALOGUE.read_bytes()
    place, length = struct.unpack_from("<II", data, 8 * number)
    place &= 0x7FFFFFFF
    sound, rate = soundfile.read(io.BytesIO(data[place + 1 + data[place] :][:length]), always_2d=True)
    return np.asarray(soxr.resample(sound.mean(axis=1), rate, 16000))


@pytest.mark.skipif(not CATALOGUE.exists(), reason="Debian's openttd-opensfx is not installed")
def test_a_recorded_start_is_heard() -> None:
    """A real lorry's start in quiet noise is heard and believed, once, within the first second of its sound."""
    sound = recording(TRUCK)
    noise = np.random.default_rng(1).normal(0, 1, sound.size + 96_000)
    noise[48_000 : 48_000 + sound.size] += 10 * sound / np.sqrt(np.mean(sound**2))
    said = StarterEar().feed(np.rint(noise * 300).astype(np.int16))
    begins = [
        one.at_s
        for one in said
        if isinstance(one, CrankPhase) and one.phase == "begins" and one.confidence >= SURE_FROM
    ]
    assert len(begins) == 1
    assert 2.8 < begins[0] < 4.0
