"""Speech by flite: text-to-speech from recordings of people, US English, as an outside comparison."""

from __future__ import annotations

import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

from assistant.errors import GearProblem
from assistant.speaking.speech import SpokenSound
from assistant.speaking.wave_file import read_wave

_LONGEST_S = 60.0
"""flite takes some 0.1 s for a sentence; after this long it is stuck."""


@lru_cache
def voices() -> frozenset[str]:
    """Names of flite's voices; none if it is not installed. Asked for one that it lacks, it silently uses another."""
    try:
        listed = subprocess.run(["flite", "-lv"], capture_output=True, text=True, check=False)
    except OSError:
        return frozenset()
    return frozenset(listed.stdout.partition(":")[2].split())


def by_flite(voice: str, text: str) -> SpokenSound:
    """A text spoken by a voice of flite.

    Raises:
        GearProblem: flite or its voice is not installed, or it fails.
    """
    if voice not in voices():
        raise GearProblem(f"The voice flite:{voice} is left out: it is not installed (Debian package flite).")
    with tempfile.TemporaryDirectory(prefix="bay-assistant-") as folder:
        path = Path(folder) / "speech.wav"
        command = ["flite", "-voice", voice, "-t", text, "-o", str(path)]
        try:
            done = subprocess.run(command, capture_output=True, check=False, timeout=_LONGEST_S)
            if done.returncode == 0:
                return SpokenSound(*read_wave(path), text)
        except (OSError, EOFError, ValueError, subprocess.TimeoutExpired):
            pass
    raise GearProblem(f"flite could not say '{text}'. Install Debian's package flite again.")
