"""Recordings of people as a bank of speech: their phones are found, and long ones are cut between words.

A set of recordings is an ``index.jsonl``, a line for each file: ``file`` (beside the index), ``words``, ``speaker``,
``set``, ``licence``. Its words are held against the sound by a model that is there already: of a word's several
pronunciations the likeliest is kept, and a recording whose words do not fit is left out.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import soundfile
import soxr
import torch
from torch.nn import functional

from assistant.acoustic.agreed import PHONE_OUTPUTS, RATE, SUBSAMPLING
from assistant.acoustic.bank import BankEntry, levelled, write_part
from assistant.acoustic.features import Cepstra
from assistant.grammar.lexicon import Pronunciation
from assistant.hearing.cepstra import SHIFT

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from assistant.acoustic.net import Net
    from assistant.acoustic.sound import Sound

STEP_S = SHIFT * SUBSAMPLING / RATE
"""Time of one output of the network, s."""

LONGEST_S = 3.2
"""Longest piece, which fits into every window."""

WORST = 3.5
"""Largest loss for each phone; above it the words are not those of the sound, or it is not understandable."""

AROUND_S = 0.2
"""Sound kept before the first and after the last phone, s."""


@dataclass(frozen=True)
class Stretch:
    """A part of a recording: from and to, s; its words and their phones."""

    start_s: float
    end_s: float
    words: tuple[str, ...]
    phones: tuple[Pronunciation, ...]


class Aligner:
    """Finds the phones of known words in sound."""

    def __init__(self, net: Net, device: torch.device) -> None:
        self._net, self._device = net.to(device).eval(), device
        self._cepstra = Cepstra().to(device)

    def logs(self, sound: Sound) -> torch.Tensor:
        """Log-probabilities of sound, shape (steps, OUTPUTS)."""
        level = 0.12 / max(1e-6, float(np.percentile(np.abs(sound), 98)))
        samples = torch.from_numpy(np.asarray(sound * level * 32767, np.float32))[None].to(self._device)
        with torch.no_grad():
            logs: torch.Tensor = self._net(self._cepstra(samples))[0].float().cpu()
        return logs

    def pieces(
        self, sound: Sound, words: Sequence[str], known: Mapping[str, Sequence[Pronunciation]]
    ) -> list[Stretch]:
        """The recording in pieces of at most `LONGEST_S`; none if its words do not fit its sound."""
        logs = self.logs(sound)
        said = likeliest(logs, words, known)
        targets = [PHONE_OUTPUTS[phone] for word in said for phone in word]
        if not targets or len(targets) > len(logs) or loss(logs, [targets])[0] > WORST * len(targets):
            return []
        times = moments(logs.numpy(), targets)
        if times is None:
            return []
        ends = np.cumsum([len(word) for word in said])
        first = np.asarray(times[[0, *ends[:-1]]] * STEP_S, np.float64)
        last = np.asarray(times[ends - 1] * STEP_S, np.float64)
        return [self._piece(a, b, words, said, first, last, sound.size / RATE) for a, b in cuts(first, last)]

    @staticmethod
    def _piece(
        a: int,
        b: int,
        words: Sequence[str],
        said: Sequence[Pronunciation],
        first: NDArray[np.float64],
        last: NDArray[np.float64],
        long_s: float,
    ) -> Stretch:
        start = 0.0 if a == 0 else (last[a - 1] + 0.55 * (first[a] - last[a - 1]))
        end = long_s if b == len(said) else (last[b - 1] + 0.55 * (first[b] - last[b - 1]))
        start, end = max(start, first[a] - AROUND_S), min(end, last[b - 1] + AROUND_S + 0.1)
        return Stretch(float(start), float(end), tuple(words[a:b]), tuple(said[a:b]))


def loss(logs: torch.Tensor, candidates: Sequence[Sequence[int]]) -> list[float]:
    """Loss of connectionist temporal classification of each candidate sequence of outputs."""
    count = len(candidates)
    lengths = torch.tensor([len(one) for one in candidates])
    targets = torch.tensor([output for one in candidates for output in one])
    steps = torch.full((count,), len(logs))
    wide = logs[:, None].expand(-1, count, -1)
    values = functional.ctc_loss(wide, targets, steps, lengths, reduction="none")
    return [float(value) for value in values]


def likeliest(
    logs: torch.Tensor, words: Sequence[str], known: Mapping[str, Sequence[Pronunciation]]
) -> list[Pronunciation]:
    """The pronunciation of each word that fits the sound best, each tried with the usual ones of the others."""
    usual = [tuple(known[word][0]) for word in words]
    tries = [(place, tuple(other)) for place, word in enumerate(words) for other in list(known[word])[1:5]]
    if not tries:
        return usual

    def outputs(place: int, other: Pronunciation) -> list[int]:
        said = [*usual[:place], other, *usual[place + 1 :]]
        return [PHONE_OUTPUTS[phone] for word in said for phone in word]

    best = dict.fromkeys(range(len(words)), 0.0)
    chosen = list(usual)
    base = [PHONE_OUTPUTS[phone] for word in usual for phone in word]
    values = loss(logs, [base, *(outputs(*one) for one in tries)])
    for (place, other), value in zip(tries, values[1:], strict=True):
        if np.isfinite(value) and value - values[0] < best[place] - 0.5:
            best[place], chosen[place] = value - values[0], other
    return chosen


def moments(logs: NDArray[np.float32], targets: Sequence[int]) -> NDArray[np.int64] | None:
    """The step of each output on the likeliest path (Viterbi's); None if there are too few steps."""
    states = np.zeros(2 * len(targets) + 1, np.int64)
    states[1::2] = targets
    skip = np.zeros(states.size, bool)
    skip[3::2] = states[3::2] != states[1:-2:2]
    score = np.full(states.size, -np.inf)
    score[:2] = logs[0, states[:2]]
    back = np.zeros((len(logs), states.size), np.int8)
    for step in range(1, len(logs)):
        one = np.concatenate([[-np.inf], score[:-1]])
        two = np.where(skip, np.concatenate([[-np.inf, -np.inf], score[:-2]]), -np.inf)
        choices = np.stack([score, one, two])
        back[step] = choices.argmax(0)
        score = choices.max(0) + logs[step, states]
    state = int(states.size - 1 if score[-1] > score[-2] else states.size - 2)
    if not np.isfinite(score[state]):
        return None
    found: dict[int, list[int]] = {}
    for step in range(len(logs) - 1, -1, -1):
        if state % 2:
            found.setdefault(state // 2, []).append(step)
        state -= int(back[step, state])
    return np.array([round(float(np.mean(found[number]))) for number in range(len(targets))])


def cuts(first: NDArray[np.float64], last: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Runs of words, each at most `LONGEST_S` long, so that the pauses between them are the longest.

    Args:
        first: Time of the first phone of each word, s.
        last: Time of the last phone of each word, s.
    """
    count = len(first)
    cost = [0.0, *[np.inf] * count]
    before = [0] * (count + 1)
    for end in range(1, count + 1):
        gap = first[end] - last[end - 1] if end < count else 1.0
        price = 0.02 + max(0.0, 0.4 - gap) ** 2 * 20
        for start in range(end - 1, -1, -1):
            if last[end - 1] - first[start] + 2 * AROUND_S > LONGEST_S and start < end - 1:
                break
            if cost[start] + price < cost[end]:
                cost[end], before[end] = cost[start] + price, start
    runs, end = [], count
    while end:
        runs.append((before[end], end))
        end = before[end]
    return runs[::-1]


def read_recording(path: Path) -> Sound:
    """A recording at the model's rate.

    Raises:
        OSError: The file cannot be read.
    """
    try:
        sound, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise OSError(f"{path} cannot be read ({error})") from error
    mono = sound.mean(axis=1)
    if rate != RATE:
        mono = soxr.resample(mono, rate, RATE)
    return np.asarray(mono, np.float32)


def fill_from_recordings(
    index: Path,
    folder: Path,
    aligner: Aligner,
    look_up: Callable[[Collection[str]], Mapping[str, Sequence[Pronunciation]]],
    *,
    without: Collection[str] = (),
    only: Collection[str] = (),
    told: Callable[[str], None] = lambda _: None,
) -> float:
    """Put a set of recordings into a bank.

    Args:
        index: The set's ``index.jsonl``.
        folder: The bank.
        aligner: Finds the phones.
        look_up: Pronunciations of words.
        without: Speakers to leave out.
        only: Speakers to take; empty for all.
        told: Called with progress text.

    Returns:
        Length of the speech, s.
    """
    lines = [json.loads(line) for line in index.read_text(encoding="utf-8").splitlines() if line.strip()]
    wanted = [
        one
        for one in lines
        if one.get("words") and one["speaker"] not in without and (not only or one["speaker"] in only)
    ]
    said = [re.findall(r"[a-z']+", one["words"].lower()) for one in wanted]
    known = look_up({word for words in said for word in words})
    at, entries, sounds, lost = 0, [], [], 0
    for one, words in zip(wanted, said, strict=True):
        found = []
        if words and all(word in known for word in words):
            sound = read_recording(index.parent / one["file"])
            found = aligner.pieces(sound, words, known)
        lost += not found
        for piece in found:
            part = levelled(sound[round(piece.start_s * RATE) : round(piece.end_s * RATE)])
            phones = " ".join(phone for word in piece.phones for phone in word)
            voice = f"person:{one['set']}:{one['speaker']}"
            entries.append(BankEntry(at, part.size, " ".join(piece.words), phones, voice))
            sounds.append(np.clip(part * 32767, -32768, 32767).astype("<i2"))
            at += part.size
    if entries:
        write_part(folder, f"person-{index.parent.name}", sounds, entries)
    told(f"{index.parent.name}: {len(wanted)} recordings, {lost} left out, {at / RATE / 60:.1f} min")
    return at / RATE
