"""Windows of speech for training: utterances of a bank one after the other, made ahead on a thread."""

from __future__ import annotations

import queue
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from assistant.acoustic.agreed import PHONE_OUTPUTS, RATE, SUBSAMPLING
from assistant.acoustic.bank import BankEntry, read_part
from assistant.hearing.cepstra import SHIFT, WINDOW

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.acoustic.plan import Plan

PIECES = 5
"""Largest number of utterances in one window."""


class TrainingSpeech:
    """A bank on the device; the folder may grow during training.

    Args:
        folders: The bank's folders.
        device: Where its sound is kept.
        people: Share of the utterances in windows that people spoke; 0 for as many as there are.
    """

    def __init__(self, folders: Sequence[Path], device: torch.device, people: float = 0.0) -> None:
        self._folders, self._people = folders, people
        self._device = device
        self._read: set[Path] = set()
        self._sounds: list[Tensor] = []
        self._at = 0
        self.start = np.zeros(0, np.int64)
        self.count = np.zeros(0, np.int64)
        self.phones: list[NDArray[np.int64]] = []
        self._person: list[bool] = []
        self._odds = np.zeros(0)
        self.samples = torch.zeros(0, dtype=torch.int16, device=device)
        self.more()

    def more(self) -> bool:
        """Read new files; whether there were any."""
        starts, counts = [self.start], [self.count]
        fresh = [i for folder in self._folders for i in sorted(folder.glob("*.jsonl")) if i not in self._read]
        # Decoding Opus releases Python's lock; an hour of speech takes about 10 s on one core.
        with ThreadPoolExecutor(max_workers=16) as readers:
            for index, (samples, entries) in zip(fresh, readers.map(read_part, fresh), strict=True):
                self._read.add(index)
                self._sounds.append(torch.from_numpy(samples.astype(np.int16)).to(self._device))
                good = [e for e in entries if e.phones and e.start + e.count <= samples.size]
                starts.append(np.array([e.start + self._at for e in good], np.int64))
                counts.append(np.array([e.count for e in good], np.int64))
                self.phones += [_outputs(e) for e in good]
                self._person += [e.voice.startswith("person:") for e in good]
                self._at += samples.size
        if fresh:
            self.start, self.count = np.concatenate(starts), np.concatenate(counts)
            self.samples = torch.cat(self._sounds)
            self._sounds = [self.samples]
            self._odds = np.cumsum(self._chances())
        return bool(fresh)

    def _chances(self) -> NDArray[np.float64]:
        """Chance of each utterance to be picked."""
        person = np.array(self._person)
        if not self._people or not person.any() or person.all():
            return np.full(len(person), 1 / len(person))
        chances = np.where(person, self._people / person.sum(), (1 - self._people) / (~person).sum())
        return np.asarray(chances, np.float64)

    def pick(self, rng: np.random.Generator, shape: tuple[int, int]) -> NDArray[np.int64]:
        """Random numbers of utterances."""
        odds = self._odds
        picked = np.searchsorted(odds, rng.random(shape) * odds[-1])
        return np.asarray(np.minimum(picked, len(odds) - 1), np.int64)

    @property
    def hours(self) -> float:
        """Length of speech, h."""
        return float(self.count.sum()) / RATE / 3600


def _outputs(entry: BankEntry) -> NDArray[np.int64]:
    return np.array([PHONE_OUTPUTS[phone] for phone in entry.phones.split()], np.int64)


@dataclass
class Batch:
    """Windows: `sound` and `speech` of shape (batch, samples), and the phones of each window, one after the other."""

    sound: Tensor
    speech: Tensor
    targets: Tensor
    lengths: Tensor
    frames: Tensor


@dataclass
class Layout:
    """The positions of a batch's utterances in the bank and in their windows; arrays of shape (batch, `PIECES`)."""

    starts: NDArray[np.int64]
    counts: NDArray[np.int64]
    places: NDArray[np.float32]
    speeds: NDArray[np.float32]
    gains: NDArray[np.float32]
    targets: NDArray[np.int64]
    lengths: NDArray[np.int64]
    frames: NDArray[np.int64]


class Ahead:
    """Makes layouts on a thread, a few ahead."""

    def __init__(self, windows: Windows, framewise: int) -> None:
        self._queue: queue.Queue[Layout] = queue.Queue(maxsize=6)
        self._over = False

        def run() -> None:
            made = 0
            while not self._over:
                layout = windows.layout(frame_targets=made < framewise)
                made += 1
                while not self._over:
                    try:
                        self._queue.put(layout, timeout=0.5)
                        break
                    except queue.Full:
                        continue

        self._thread = threading.Thread(target=run, daemon=True)
        self._thread.start()

    def take(self) -> Layout:
        """The next layout."""
        return self._queue.get()

    def close(self) -> None:
        """End the thread."""
        self._over = True
        self._thread.join(timeout=2)


class Windows:
    """Fills windows with utterances and pauses between them, each utterance at its own speed."""

    def __init__(self, speech: TrainingSpeech, plan: Plan) -> None:
        self._speech, self._plan, self._device = speech, plan, speech.samples.device
        self._rng = np.random.default_rng(plan.seed)
        self.samples = round(plan.window_s * RATE)
        self.outputs = -(-(1 + (self.samples - WINDOW) // SHIFT) // SUBSAMPLING)

    def layout(self, *, frame_targets: bool) -> Layout:
        """The positions of the utterances in the next batch; needs no GPU."""
        rng, size, speech = self._rng, self._plan.batch, self._speech
        chosen = np.full((size, PIECES), -1, np.int64)
        places = np.zeros((size, PIECES), np.float32)
        speeds = rng.uniform(0.87, 1.15, (size, PIECES)).astype(np.float32)
        picks = speech.pick(rng, (size, 3 * PIECES))
        lengths = speech.count[picks] / RATE
        empty = rng.random(size) < 0.06
        # Some windows begin within the first sound; some hold one utterance only.
        lead = np.where(rng.random(size) < 0.1, -0.04, rng.uniform(0.05, 0.7, size))
        most = np.where(rng.random(size) < 0.15, 1, PIECES)
        pauses = rng.uniform(0.12, 0.7, (size, 3 * PIECES))
        gains = 10 ** (rng.uniform(-4, 4, (size, PIECES)) / 20)
        targets: list[NDArray[np.int64]] = []
        frames = np.zeros((size, self.outputs) if frame_targets else (1, 1), np.int64)
        for row in range(size):
            at, placed, said = lead[row], 0, [np.zeros(0, np.int64)]
            for trial in range(3 * PIECES):
                if empty[row] or placed == most[row]:
                    break
                long_s = lengths[row, trial] / speeds[row, placed]
                if at + long_s + 0.15 > self._plan.window_s:
                    continue
                which = picks[row, trial]
                chosen[row, placed], places[row, placed] = which, at * RATE
                said.append(speech.phones[which])
                if frame_targets:
                    _spread(frames[row], speech.phones[which], at, long_s)
                at += long_s + pauses[row, trial]
                placed += 1
            targets.append(np.concatenate(said))
        count = np.array([len(one) for one in targets], np.int64)
        starts = np.where(chosen >= 0, speech.start[chosen], 0)
        counts = np.where(chosen >= 0, speech.count[chosen], 0)
        return Layout(
            starts, counts, places, speeds, gains.astype(np.float32), np.concatenate(targets), count, frames
        )

    def batch(self, layout: Layout) -> Batch:
        """The sound of a layout."""
        device = self._device
        sound, mask = self._sound(layout)
        return Batch(
            sound,
            mask,
            torch.from_numpy(layout.targets).to(device),
            torch.from_numpy(layout.lengths).to(device),
            torch.from_numpy(layout.frames).to(device),
        )

    def _sound(self, layout: Layout) -> tuple[Tensor, Tensor]:
        samples, device = self._speech.samples, self._device
        starts, counts, places, speeds, gains = (
            torch.from_numpy(one).to(device)
            for one in (layout.starts, layout.counts, layout.places, layout.speeds, layout.gains)
        )
        sound = torch.zeros(len(starts), self.samples, device=device)
        mask = torch.zeros_like(sound)
        time_ = torch.arange(self.samples, device=device, dtype=torch.float32)
        last = samples.numel() - 2
        for piece in range(PIECES):
            position = (time_ - places[:, piece, None]) * speeds[:, piece, None]
            inside = (position >= 0) & (position < counts[:, piece, None] - 1)
            whole = position.floor()
            rest = position - whole
            index = (starts[:, piece, None] + whole.long()).clamp(0, last)
            first, second = samples[index].float(), samples[index + 1].float()
            made = (first + rest * (second - first)) * (gains[:, piece, None] / 32768)
            sound += torch.where(inside, made, torch.zeros_like(made))
            mask += inside.float()
        return sound, mask


def _spread(frames: NDArray[np.int64], phones: NDArray[np.int64], at_s: float, long_s: float) -> None:
    """Equal pieces of the utterance's time, one for each phone."""
    step = SHIFT * SUBSAMPLING / RATE
    first, last = round((at_s + 0.06) / step), round((at_s + long_s - 0.06) / step)
    if last > first:
        places = np.arange(first, last)
        frames[first:last] = phones[((places - first) * len(phones)) // (last - first)]
