"""Training: teaches `net` windows of speech from a bank, degraded by `augment`.

A run has a given time, not a number of steps: it ends when its minutes are over and leaves weights from which the
next run can continue.

**What made it converge** (README.md in this folder has what did not): the first steps are taught frame by frame, each
utterance cut into equal pieces, one a phone; noise and echo grow from nothing over the first part of the run.
"""

from __future__ import annotations

import copy
import json
import pickle
import queue
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from assistant.acoustic.agreed import OUTPUTS, PHONE_OUTPUTS, RATE, SUBSAMPLING
from assistant.acoustic.augment import Strength, make_noises, through_the_air
from assistant.acoustic.bank import BankEntry, read_part
from assistant.acoustic.features import SHIFT, WINDOW, Cepstra, random_masks
from assistant.acoustic.net import Net, Shape
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

PIECES = 5
"""Largest number of utterances in one window."""


@dataclass(frozen=True)
class Plan:
    """The plan of one run.

    Attributes:
        minutes: Length of the run.
        batch: Number of windows in a step.
        window_s: Length of a window, s.
        rate: Highest learning rate.
        ramp: Share of the run after which noise is at its full strength; 0 to begin with full noise.
        frame_steps: Number of steps at the beginning that teach frame by frame.
        warm_steps: Steps over which the learning rate rises.
        hold: Share of the run before the learning rate falls.
        prior: Weight of the outputs' mean probabilities, subtracted inside the loss so that the outputs spread over
            the whole of a sound instead of one frame (Huang et al., "Less peaky and more accurate CTC forced
            alignment by label priors", ICASSP 2024); 0 is plain connectionist temporal classification.
        denominator: Weight of the loss against all phone sequences of a bigram (Xiang and Ou, "CRF-based
            single-stage acoustic modeling with CTC topology", ICASSP 2019); 0 leaves it out.
        average: Decay of the running mean of the weights that is kept.
        dropout: Share of each layer's values that are dropped.
        masks: Share of windows with hidden bands and moments (`random_masks`).
        compiled: 1 lets PyTorch compile the network and the cepstra, which takes about a minute at the beginning
            and makes steps quicker; needs a C compiler beside the GPU.
        strength: Strength of noise and rooms.
    """

    minutes: float
    batch: int = 256
    window_s: float = 4.0
    rate: float = 2e-3
    ramp: float = 0.35
    frame_steps: int = 400
    warm_steps: int = 400
    hold: float = 0.3
    prior: float = 0.0
    denominator: float = 0.0
    average: float = 0.999
    dropout: float = 0.0
    masks: float = 0.0
    compiled: int = 0
    strength: Strength = field(default_factory=Strength)
    seed: int = 1


class TrainingSpeech:
    """A bank on the device; the folder may grow during training."""

    def __init__(self, folders: Sequence[Path], device: torch.device) -> None:
        self._folders = folders
        self._device = device
        self._read: set[Path] = set()
        self._sounds: list[Tensor] = []
        self._at = 0
        self.start = np.zeros(0, np.int64)
        self.count = np.zeros(0, np.int64)
        self.phones: list[NDArray[np.int64]] = []
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
                self._at += samples.size
        if fresh:
            self.start, self.count = np.concatenate(starts), np.concatenate(counts)
            self.samples = torch.cat(self._sounds)
            self._sounds = [self.samples]
        return bool(fresh)

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
        picks = rng.integers(0, len(speech.count), (size, 3 * PIECES))
        lengths = speech.count[picks] / RATE
        empty = rng.random(size) < 0.03
        lead = rng.uniform(0.05, 0.7, size)
        pauses = rng.uniform(0.12, 0.7, (size, 3 * PIECES))
        gains = 10 ** (rng.uniform(-4, 4, (size, PIECES)) / 20)
        targets: list[NDArray[np.int64]] = []
        frames = np.zeros((size, self.outputs) if frame_targets else (1, 1), np.int64)
        for row in range(size):
            at, placed, said = lead[row], 0, [np.zeros(0, np.int64)]
            for trial in range(3 * PIECES):
                if empty[row] or placed == PIECES:
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


class Denominator(torch.nn.Module):
    """Log-probability of all phone sequences under a bigram, by the forward algorithm over dense matrices.

    States: 0 is the blank at the beginning; for each phone one state that emits it and one for the blank after it.
    """

    def __init__(self, sequences: Sequence[NDArray[np.int64]], discount: float = 0.5) -> None:
        super().__init__()
        phones = OUTPUTS - 1
        pairs = np.full((OUTPUTS, OUTPUTS), discount)
        for said in sequences:
            before = np.concatenate([[0], said])
            np.add.at(pairs, (before[:-1], before[1:]), 1)
        follow = pairs[:, 1:] / pairs[:, 1:].sum(1, keepdims=True)
        states = 1 + 2 * phones
        arcs = np.zeros((states, states))
        arcs[0, 0] = 1
        arcs[0, 1 : 1 + phones] = follow[0]
        for phone in range(phones):
            emit, blank = 1 + phone, 1 + phones + phone
            arcs[emit, emit] = arcs[emit, blank] = arcs[blank, blank] = 1
            arcs[emit, 1 : 1 + phones] += follow[1 + phone] * (np.arange(phones) != phone)
            arcs[blank, 1 : 1 + phones] = follow[1 + phone]
        outputs = np.concatenate([[0], np.arange(1, 1 + phones), np.zeros(phones, np.int64)])
        self.register_buffer("arcs", torch.from_numpy(arcs).float())
        self.register_buffer("outputs", torch.from_numpy(outputs.astype(np.int64)))

    def forward(self, logs: Tensor) -> Tensor:
        """The log-probability of each of the batch; `logs` has the shape (batch, steps, OUTPUTS)."""
        total: Tensor = _AllPaths.apply(logs, self.arcs, self.outputs)
        return total


class _AllPaths(torch.autograd.Function):
    """The sum over all paths; its derivative is the probability of each state at each step."""

    @staticmethod
    def forward(context: Any, logs: Tensor, arcs: Tensor, outputs: Tensor) -> Tensor:
        emitted = logs[:, :, outputs]
        top = emitted.amax(2, keepdim=True)
        likely = (emitted - top).exp().transpose(0, 1).contiguous()
        alphas = torch.empty_like(likely)
        scales = torch.empty(likely.shape[0], likely.shape[1], 1, device=logs.device)
        alpha = likely[0] * arcs[0]
        for step in range(len(likely)):
            if step:
                alpha = torch.matmul(alpha, arcs) * likely[step]
            scales[step] = alpha.sum(1, keepdim=True)
            alpha = alpha / scales[step]
            alphas[step] = alpha
        back = arcs.T.contiguous()
        beta = torch.ones_like(alpha)
        occupied = torch.empty_like(likely)
        occupied[-1] = alphas[-1]
        for step in range(len(likely) - 2, -1, -1):
            beta = torch.matmul(beta * likely[step + 1], back) / scales[step + 1]
            occupied[step] = alphas[step] * beta
        slope = torch.zeros_like(logs).index_add_(2, outputs, occupied.transpose(0, 1))
        context.save_for_backward(slope)
        return top.sum((1, 2)) + scales.log().sum((0, 2))

    @staticmethod
    def backward(context: Any, *above: Tensor) -> tuple[Tensor, None, None]:
        (slope,) = context.saved_tensors
        return above[0][:, None, None] * slope, None, None


def train(
    speech: TrainingSpeech,
    plan: Plan,
    shape: Shape,
    out: Path,
    *,
    go_on: Path | None = None,
    kept: TrainingSpeech | None = None,
    say: Callable[[str], None] = print,
) -> Net:
    """Train for the plan's minutes.

    Args:
        speech: The speech to learn from.
        plan: The plan of the run.
        shape: Sizes of the network.
        out: Folder for the weights and the report of the run.
        go_on: Weights of an earlier run to continue from.
        kept: Speech of other voices, on which the phone error is followed.
        say: Called with progress text.
    """
    begun = time.monotonic()
    out.mkdir(parents=True, exist_ok=True)
    device = speech.samples.device
    torch.manual_seed(plan.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    net = Net(shape, plan.dropout).to(device)
    cepstra = Cepstra((1.0, *np.linspace(0.88, 1.14, 14))).to(device)
    if go_on is not None:
        _restore(net, go_on)
    forward, make_cepstra = (torch.compile(net), torch.compile(cepstra)) if plan.compiled else (net, cepstra)
    noises = make_noises(768 if device.type == "cuda" else 128, 10.0, device)
    same_noises = noises
    windows = Windows(speech, plan)
    ahead = Ahead(windows, plan.frame_steps if go_on is None else 0)
    denominator = Denominator(speech.phones[:40000]).to(device) if plan.denominator else None
    optimiser = torch.optim.AdamW(net.parameters(), lr=plan.rate, weight_decay=0.02, betas=(0.9, 0.98))
    mean_net = copy.deepcopy(net).eval()
    means = [v for v in mean_net.state_dict().values() if v.dtype.is_floating_point]
    values = [v for v in net.state_dict().values() if v.dtype.is_floating_point]
    prior = torch.full((OUTPUTS,), 1 / OUTPUTS, device=device)
    account: list[dict[str, object]] = []
    fresh = go_on is None
    step, last = 0, begun
    seconds = 60 * plan.minutes
    while (elapsed := time.monotonic() - begun) < seconds:
        progress = elapsed / seconds
        warm = min(1.0, (step + 1) / plan.warm_steps)
        fall = max(0.0, (progress - plan.hold) / (1 - plan.hold))
        rate = plan.rate * warm * (0.5 * (1 + np.cos(np.pi * fall)) * 0.99 + 0.01)
        for group in optimiser.param_groups:
            group["lr"] = rate
        strength = plan.strength.at(progress / plan.ramp if plan.ramp > 0 else 1.0)
        framewise = fresh and step < plan.frame_steps
        with torch.no_grad():
            batch = windows.batch(ahead.take())
            sound = through_the_air(batch.sound, batch.speech, noises, strength)
            warp = torch.randint(0, len(cepstra.filters), (len(sound),), device=device)
            frames = 1 + (sound.shape[1] - WINDOW) // SHIFT
            hidden = random_masks(len(sound), frames, plan.masks, device) if plan.masks else None
            seen = make_cepstra(sound, warp, hidden)
            if step == 0 and fresh:
                net.mean.copy_(seen.mean((0, 1)))
                net.scale.copy_(1 / seen.std((0, 1)).clamp_min(1e-3))
        with torch.autocast("cuda", torch.bfloat16, enabled=device.type == "cuda"):
            logs = forward(seen)
        if framewise:
            loss = functional.nll_loss(logs.flatten(0, 1), batch.frames[:, : logs.shape[1]].flatten())
        else:
            given = logs
            if plan.prior:
                with torch.no_grad():
                    now = logs.detach().exp().mean((0, 1))
                    prior = 0.98 * prior + 0.02 * now
                given = logs - plan.prior * prior.log()
            steps = torch.full((len(logs),), logs.shape[1], dtype=torch.long, device=device)
            parts = functional.ctc_loss(
                given.transpose(0, 1),
                batch.targets,
                steps,
                batch.lengths,
                reduction="none",
                zero_infinity=True,
            )
            loss = parts.sum() / batch.lengths.sum()
            if denominator is not None:
                against = denominator(given)
                loss = loss + plan.denominator * against.sum() / batch.lengths.sum()
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        with torch.no_grad():
            decay = min(plan.average, (step + 1) / (step + 20))
            torch._foreach_lerp_(means, values, 1 - decay)
        step += 1
        if time.monotonic() - last > 45:
            last = time.monotonic()
            line: dict[str, object] = {"step": step, "s": round(last - begun)}
            line["loss"] = round(float(loss.detach()), 4)
            line["rate"], line["lowest_db"] = round(float(rate), 6), round(strength.lowest_db, 1)
            if kept is not None:
                line["phone_error"] = phone_errors(mean_net, cepstra, kept, same_noises)
            account.append(line)
            say(json.dumps(line))
            noises = make_noises(len(noises), 10.0, device)
            save(mean_net, out / "weights.pt")  # a run that is ended early keeps its progress
            if step > plan.frame_steps:
                speech.more()
    ahead.close()
    if kept is not None:
        account.append({"step": step, "phone_error": phone_errors(mean_net, cepstra, kept, same_noises)})
        say(json.dumps(account[-1]))
    save(mean_net, out / "weights.pt")
    about = {
        "shape": shape.to_json(),
        "minutes": plan.minutes,
        "steps": step,
        "hours": round(speech.hours, 2),
    }
    about |= {"plan": {k: str(v) for k, v in vars(plan).items()}, "prior": prior.tolist(), "account": account}
    (out / "about.json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
    return mean_net


def save(net: Net, path: Path) -> None:
    """Save the weights in half precision: 9 MB."""
    state = {k: v.half() if v.dtype.is_floating_point else v for k, v in net.state_dict().items()}
    torch.save(state, path)


def _restore(net: Net, path: Path) -> None:
    try:
        state = {name: torch.from_numpy(value) for name, value in load(path).items()}
        net.load_state_dict(state)
    except RuntimeError as error:
        raise FileProblem(path, 0, "holds weights of another shape", "Give the same --shape") from error


def load(path: Path) -> dict[str, NDArray[np.float32]]:
    """Weights by name, for `assistant.acoustic.export`.

    Raises:
        FileProblem: The file does not come from a run.
    """
    try:
        state = torch.load(path, map_location="cpu", weights_only=True)
        return {name: value.float().numpy() for name, value in state.items()}
    except (OSError, RuntimeError, AttributeError, pickle.UnpicklingError) as error:
        raise FileProblem(path, 0, "holds no weights", "Name the weights.pt of a run") from error


def average(paths: Sequence[Path], out: Path) -> None:
    """The mean of the weights of runs that started from the same weights; often better than each of them.

    Source: Wortsman et al., "Model soups: averaging weights of multiple fine-tuned models improves accuracy without
    increasing inference time" (ICML 2022).

    Raises:
        FileProblem: A file holds no weights, or weights of another shape.
    """
    total = load(paths[0])
    for path in paths[1:]:
        state = load(path)
        if {n: v.shape for n, v in state.items()} != {n: v.shape for n, v in total.items()}:
            raise FileProblem(path, 0, "holds weights of another shape", "Average runs of the same --shape")
        total = {name: value + state[name] for name, value in total.items()}
    mean = {
        name: torch.from_numpy(np.asarray(value / len(paths), np.float32)) for name, value in total.items()
    }
    out.parent.mkdir(parents=True, exist_ok=True)
    torch.save({name: value.half() for name, value in mean.items()}, out)


@torch.no_grad()
def phone_errors(net: Net, cepstra: Cepstra, kept: TrainingSpeech, noises: Tensor) -> list[float]:
    """Share of wrong phones at clean, 10 and 3 dB, by the likeliest output of each step."""
    net.eval()
    found = []
    for ratio in (60.0, 10.0, 3.0):
        torch.manual_seed(7)
        plan = Plan(1, batch=128, seed=7)
        windows = Windows(kept, plan)
        strength = replace(Strength(), lowest_db=ratio, highest_db=ratio, clean=0, room=0.3, narrow=0.1)
        wrong = total = 0
        for _ in range(2):
            batch = windows.batch(windows.layout(frame_targets=False))
            logs = net(cepstra(through_the_air(batch.sound, batch.speech, noises, strength)))
            best = logs.argmax(2).cpu().numpy()
            ends = np.cumsum(batch.lengths.cpu().numpy())
            targets = batch.targets.cpu().numpy()
            for row, end in enumerate(ends):
                said = targets[(ends[row - 1] if row else 0) : end]
                heard = best[row][np.concatenate([[True], best[row][1:] != best[row][:-1]])]
                wrong += distance(heard[heard > 0], said)
                total += len(said)
        found.append(round(wrong / max(1, total), 4))
    torch.manual_seed(int(time.monotonic() * 1000) % 2**31)
    return found


def distance(first: NDArray[np.int64], second: NDArray[np.int64]) -> int:
    """Fewest insertions, deletions and replacements between two sequences."""
    row = np.arange(len(second) + 1)
    for number, one in enumerate(first, 1):
        before = row
        row = np.empty_like(before)
        row[0] = number
        change = np.minimum(before[:-1] + (second != one), before[1:] + 1)
        for place in range(len(second)):
            row[place + 1] = min(change[place], row[place] + 1)
    return int(row[-1])
