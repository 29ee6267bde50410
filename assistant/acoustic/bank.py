"""A bank of speech: sound, with the words and phones of each utterance.

A bank is a folder of pairs: ``name.opus`` (or ``name.s16``: bare 16-bit samples), all utterances one after the
other at 16 kHz, and ``name.jsonl``, a line for each with its first sample, number of samples, words, phones, voice.
"""

from __future__ import annotations

import json
import random
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.agreed import RATE
from assistant.acoustic.sound import Sound, trimmed
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from assistant.acoustic.texts import Texts, TrainingText
    from assistant.acoustic.voices import TextToSpeech

PART_S = 600.0
"""Seconds of speech in one pair of files."""

SHORTEST_S, LONGEST_S = 0.15, 8.0
"""Shortest and longest speech, s; anything else is a synthesiser's mistake or too long for a batch."""


@dataclass(frozen=True)
class BankEntry:
    """One utterance of a bank: the place of its sound, and its words."""

    start: int
    count: int
    words: str
    phones: str
    voice: str


LEVEL = 0.08
"""Root mean square of each utterance, of 1."""


def spoken(synthesiser: TextToSpeech, said: TrainingText, rng: random.Random) -> tuple[Sound, str] | None:
    """An utterance, trimmed and at `LEVEL`, and the name of its voice; None if its length is unlikely."""
    made, voice = synthesiser.speak(said, rng)
    sound = trimmed(made)
    if not SHORTEST_S * RATE <= sound.size <= LONGEST_S * RATE:
        return None
    return levelled(sound), voice


def levelled(sound: Sound) -> Sound:
    """The same sound at `LEVEL`."""
    return sound * (LEVEL / max(1e-6, float(np.sqrt(np.mean(sound**2)))))


def fill(
    folder: Path,
    name: str,
    texts: Texts,
    synthesiser: TextToSpeech,
    *,
    seconds: float,
    seed: int,
    part_s: float = PART_S,
    readings: bool = False,
    told: Callable[[float], None] = lambda _: None,
) -> float:
    """Make the synthesiser speak until there is enough, and store it.

    Args:
        folder: The bank.
        name: Files are called ``<name>-<number>``.
        texts: Source of the sentences.
        synthesiser: The synthesiser.
        seconds: Length of speech to make, s.
        seed: The same seed gives the same words in the same voices; "joe" draws its own noise, so only its words
            repeat.
        part_s: Speech in one pair of files, s.
        readings: Whether to speak only readings.
        told: Called now and then with the length of speech so far, s.

    Returns:
        Length of speech made, s.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rng = random.Random(f"{name} {seed}")  # noqa: S311  no secret
    made, part = 0.0, 0
    while made < seconds:
        at, entries, sounds = 0, [], []
        while at < min(part_s, seconds - made) * RATE:
            said = texts.reading(rng) if readings else texts.draw(rng)
            good = spoken(synthesiser, said, rng)
            if good is None:
                continue
            sound, voice = good
            sounds.append(np.clip(sound * 32767, -32768, 32767).astype("<i2"))
            entries.append(BankEntry(at, sound.size, voice=voice, **said.entry()))
            at += sound.size
            told(made + at / RATE)
        write_part(folder, f"{name}-{part:03d}", sounds, entries)
        made += at / RATE
        part += 1
    return made


def write_part(
    folder: Path, stem: str, sounds: Sequence[NDArray[np.int16]], entries: Sequence[BankEntry]
) -> None:
    """Write one pair of files; the index comes last, and whole, because a training run may be waiting for it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{stem}.s16").write_bytes(np.concatenate(sounds).astype("<i2").tobytes())
    lines = [json.dumps(vars(entry), ensure_ascii=False) for entry in entries]
    unfinished = folder / f"{stem}.new"
    unfinished.write_text("\n".join(lines) + "\n", encoding="utf-8")
    unfinished.rename(folder / f"{stem}.jsonl")


def parts(folder: Path) -> Iterator[tuple[NDArray[np.int16], list[BankEntry]]]:
    """Every pair of files of a bank: samples and entries.

    Raises:
        FileProblem: A file is damaged.
    """
    for index in sorted(folder.glob("*.jsonl")):
        yield read_part(index)


def read_part(index: Path) -> tuple[NDArray[np.int16], list[BankEntry]]:
    """One pair of files.

    Raises:
        FileProblem: A file is damaged.
    """
    entries = []
    for number, line in enumerate(index.read_text(encoding="utf-8").splitlines(), 1):
        try:
            entries.append(BankEntry(**json.loads(line)))
        except (ValueError, TypeError) as error:
            raise FileProblem(
                index, number, f"is no entry of a bank ({error})", "Make the bank again"
            ) from error
    bare = index.with_suffix(".s16")
    if bare.exists():
        samples = np.fromfile(bare, "<i2")
    else:
        import soundfile  # noqa: PLC0415  a bank of bare samples does not need it

        samples, rate = soundfile.read(index.with_suffix(".opus"), dtype="int16")
        if rate != RATE:
            # An Opus file may decode at 48 kHz; after its own low-pass the samples between are dropped.
            samples = samples[:: rate // RATE]
    if entries and entries[-1].start + entries[-1].count > samples.size + RATE:
        raise FileProblem(index, len(entries), "lies behind the end of the sound", "Make the bank again")
    return samples, entries


def pack(folder: Path, out: Path) -> int:
    """Write a copy of a bank with its sound as Opus, a tenth of the size, to take to another machine.

    Returns:
        Size of the packed bank, bytes.

    Raises:
        FileProblem: A file is damaged.
    """
    import soundfile  # noqa: PLC0415  a bank of bare samples does not need it

    out.mkdir(parents=True, exist_ok=True)
    size = 0
    for index in sorted(folder.glob("*.jsonl")):
        samples, _ = read_part(index)
        sound = out / f"{index.stem}.opus"
        soundfile.write(sound, samples, RATE, format="OGG", subtype="OPUS")
        (out / index.name).write_bytes(index.read_bytes())
        size += sound.stat().st_size + index.stat().st_size
    return size


class Clock:
    """Reports the progress of a bank now and then."""

    def __init__(self, say: Callable[[str], None], every_s: float = 30.0) -> None:
        self._say, self._every_s, self._last, self._begun = say, every_s, time.monotonic(), time.monotonic()

    def __call__(self, made_s: float) -> None:
        """Report the length of speech so far, s."""
        now = time.monotonic()
        if now - self._last >= self._every_s:
            self._last = now
            self._say(f"{made_s / 60:.0f} min of speech in {(now - self._begun) / 60:.0f} min")
