"""Make the sounds of these tests again: speech from flite's voice "slt", noise from `assistant.hearing.baynoise`.

Run ``python tests/hearing/sounds/make_sounds.py`` where flite is installed; the tests do not need it.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.hearing.baynoise import bay_noise

HERE = Path(__file__).parent
RATE = 16_000
SPEECH_DB = -20.0
PLAN = {  # file: words, kind of noise, speech over noise in dB, seconds before and after
    "feed-lit": ("feed lit", "fans", 20, 0.7, 0.7),
    "switched-side-blinking": ("switched side blinking", "fans", 20, 0.7, 0.7),
    "dark": ("dark", "pink", 20, 0.7, 0.7),
    "say-again": ("say again", "pink", 20, 0.7, 0.7),
    "eleven-point-nine-volts": ("eleven point nine volts", "fans", 20, 0.7, 0.7),
    "remark": ("somebody left the big door open", "fans", 20, 0.7, 0.7),
    "noise": ("", "pink", 20, 1.5, 1.5),
    "light-on": ("light on", "fans", 20, 0.7, 0.7),
    "it's-out": ("it's out", "fans", 20, 0.7, 0.7),
    "no-blink": ("no blink", "fans", 20, 0.7, 0.7),
    "pulsing": ("pulsing", "fans", 20, 0.7, 0.7),
    "say-that-again": ("say that again", "fans", 20, 0.7, 0.7),
    "twelve-four-volts": ("twelve four volts", "fans", 20, 0.7, 0.7),
}


def speech(words: str) -> np.ndarray:
    """Flite's speech at 16 kHz, without the silence around it; its mean square is 1."""
    if not words:
        return np.zeros(0)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "said.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", words, "-o", str(file)], check=True)
        said, rate = soundfile.read(file)
    said = soxr.resample(said, rate, RATE)
    loud = np.flatnonzero(np.abs(said) > 0.01 * np.abs(said).max())
    said = said[loud[0] : loud[-1]]
    return said / np.sqrt(np.mean(said**2))


def main() -> None:
    """Write every file of the plan."""
    for number, (name, (words, kind, ratio_db, before_s, after_s)) in enumerate(PLAN.items()):
        said = speech(words)
        whole = np.concatenate([np.zeros(round(before_s * RATE)), said, np.zeros(round(after_s * RATE))])
        noise = bay_noise(kind, whole.size / RATE, RATE, seed=number)[: whole.size]
        mixed = 10 ** (SPEECH_DB / 20) * (whole + 10 ** (-ratio_db / 20) * noise)
        samples = np.clip(np.rint(mixed * 32768), -32768, 32767).astype(np.int16)
        soundfile.write(HERE / f"{name}.flac", samples, RATE, subtype="PCM_16")


if __name__ == "__main__":
    main()
