"""Measures what voice notes in words are worth: ``.venv/bin/python tests/dictation/measure_notes.py [--model DIR]``.

Three kinds of sound, none of which anything was tuned on:

- the notes of `spoken_notes`, spoken by the voice "slt" of flite and by eSpeak NG, clean, and in bay noise at 12 dB;
- people who read English aloud, where Debian's package pocketsphinx-testdata is installed: five sentences of LibriVox
  (public domain) and the words of two other small sets of recordings;
- silence, and every kind of bay noise at three levels, in which nobody speaks.

It prints word error rates with 95 % intervals, the words that were wrong most often, false words, speed and memory.
"""

from __future__ import annotations

import argparse
import re
import resource
import time
from collections import Counter
from datetime import UTC, datetime
from difflib import SequenceMatcher
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from spoken_notes import NOTES

from assistant.benchmarks import machine
from assistant.dictation.model import NoteWriter, installed_model, model_in
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import FULL_SCALE, RATE as EAR, Samples, read_sound
from assistant.hearing_bench.listening.flite import by_flite
from assistant.hearing_bench.listening.noise import (
    CLEAN,
    RATE,
    Condition,
    NoiseMaker,
    at_rate,
    length,
    mixed,
    to_ear,
)
from assistant.hearing_bench.listening.scores import rate
from assistant.hearing_bench.listening.words import NUMBER_WORDS, UNIT_NAMES, as_read, canonical, score
from assistant.record.transcripts import NOT_UNDERSTOOD
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.speaking.speech import SpokenSound

BAY = Condition("bay noise, 12 dB", "bay", 12.0)
SEED = 18
PACE = 160
PEOPLE = Path("/usr/share/pocketsphinx/test/data")
LEVELS_DB = (-20.0, -35.0, -50.0)
NOISE_S = 8.0
SEEDS = range(100, 110)


class Tally:
    """What was right and wrong, over the notes of a row."""

    def __init__(self) -> None:
        self.errors: list[tuple[int, int]] = []
        self.numbers: list[tuple[int, int]] = []
        self.others: list[tuple[int, int]] = []
        self.whole = 0
        self.silent = 0
        self.confused: Counter[tuple[str, str]] = Counter()

    def add(self, said: str, heard: str) -> None:
        heard = re.sub(r"(?<=\d)\s*mm\b", " millimeters", heard)  # the only unit that `as_read` leaves short
        words, written = canonical(as_read(said)), canonical(as_read(heard))
        scored = score(words, written)
        self.errors.append((scored.errors, len(words)))
        number = [word in NUMBER_WORDS or word in UNIT_NAMES for word in words]
        wrong = [not right for right in scored.right]
        self.numbers.append((sum(w and n for w, n in zip(wrong, number, strict=True)), sum(number)))
        self.others.append(
            (sum(w and not n for w, n in zip(wrong, number, strict=True)), len(words) - sum(number))
        )
        self.whole += not scored.errors
        self.silent += not written
        for kind, a, b, c, d in SequenceMatcher(None, words, written, autojunk=False).get_opcodes():
            if kind != "equal" and scored.errors:
                self.confused[" ".join(words[a:b]), " ".join(written[c:d])] += 1

    def line(self) -> str:
        return (
            f"words wrong {rate(self.errors).per_cent()} %, of numbers and units {rate(self.numbers).per_cent()} %, "
            f"of others {rate(self.others).per_cent()} %; whole notes right {self.whole} of {len(self.errors)}; "
            f"nothing understood {self.silent}"
        )


class Clocked:
    """A writer whose time is taken."""

    def __init__(self, writer: NoteWriter) -> None:
        self._writer = writer
        self.sound_s = self.work_s = 0.0

    def words(self, samples: Samples) -> str:
        began = time.monotonic()
        segments = self._writer.write(samples)
        self.work_s += time.monotonic() - began
        self.sound_s += len(samples) / EAR
        return " ".join(one.words for one in segments)


def spoken(writer: Clocked) -> None:
    voices: dict[str, Callable[[str], SpokenSound]] = {
        "flite slt": partial(by_flite, "slt"),
        "eSpeak NG": Voice(PACE, "espeak").render,
    }
    maker = NoiseMaker(SEED)
    for name, say in voices.items():
        for condition in (CLEAN, BAY):
            tally = Tally()
            for number, note in enumerate(NOTES):
                speech = at_rate(say(note))
                noise = maker.make(condition.noise, number, length(speech))
                heard = writer.words(to_ear(mixed(speech, noise, condition).whole, EAR))
                tally.add(note, heard)
            print(f"{name}, {condition.name}: {tally.line()}")
            for (said, heard), count in tally.confused.most_common(12):
                print(f"    {count}  {said or '-'} -> {heard or '-'}")


def people(writer: Clocked) -> None:
    if not PEOPLE.is_dir():
        print("People are left out: Debian's package pocketsphinx-testdata is not installed.")
        return
    sets = {
        "LibriVox, read aloud": PEOPLE / "librivox" / "transcription",
        "names of playing cards": PEOPLE / "cards" / "cards.transcription",
    }
    for name, transcription in sets.items():
        tally = Tally()
        for row in transcription.read_text(encoding="utf-8").splitlines():
            text, _, file = row.rpartition(" ")
            said = text.replace("<s>", "").replace("</s>", "").strip()
            path = transcription.parent / f"{file.strip('()')}.wav"
            tally.add(said, writer.words(read_sound(path).samples))
        print(f"People, {name}: {tally.line()}")
        for (said, heard), count in tally.confused.most_common(12):
            print(f"    {count}  {said or '-'} -> {heard or '-'}")


def nobody(writer: Clocked) -> None:
    sounds = {"silence": [hiss(seed) for seed in SEEDS]}
    for kind in KINDS:
        sounds[kind] = [noise(kind, level, seed) for level in LEVELS_DB for seed in SEEDS]
    for name, several in sounds.items():
        false = [words for words in map(writer.words, several) if words]
        marked = f": {false[:5]}" if false else ""
        print(f"Nobody speaks, {name}: words in {len(false)} of {len(several)}{marked}")


def hiss(seed: int) -> Samples:
    return np.asarray(np.random.default_rng(seed).standard_normal(round(NOISE_S * EAR)) * 30, dtype=np.int16)


def noise(kind: str, level_db: float, seed: int) -> Samples:
    signal = bay_noise(kind, NOISE_S, EAR, seed) * 10 ** (level_db / 20) * FULL_SCALE
    return np.asarray(np.clip(signal, -FULL_SCALE, FULL_SCALE - 1), dtype=np.int16)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--model", type=Path)
    given = options.parse_args()
    model = model_in(given.model) if given.model else installed_model()
    began = time.monotonic()
    writer = Clocked(NoteWriter(model))
    print(f"{machine()}, {datetime.now(UTC):%Y-%m-%d}; {model.name}; mixtures at {RATE} Hz")
    print(f"Loaded in {time.monotonic() - began:.1f} s. '{NOT_UNDERSTOOD}' counts as no words.")
    spoken(writer)
    people(writer)
    print(f"Speed: {writer.work_s / writer.sound_s:.2f} s for a second of sound, over {writer.sound_s:.0f} s")
    nobody(writer)
    print(f"Memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
