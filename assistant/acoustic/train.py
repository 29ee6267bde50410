"""Training: teaches `net` windows of speech from a bank, degraded by `augment`.

A run has a given time, not a number of steps: it ends when its minutes are over and leaves weights from which the
next run can continue.

**What made it converge** (README.md in this folder has what did not): the first steps are taught frame by frame, each
utterance cut into equal pieces, one a phone; noise and echo grow from nothing over the first part of the run.
"""

from __future__ import annotations

import copy
import json
import time
from typing import TYPE_CHECKING

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from assistant.acoustic.agreed import OUTPUTS
from assistant.acoustic.augment import Strength, through_the_air
from assistant.acoustic.denominator import Denominator
from assistant.acoustic.features import Cepstra, random_masks
from assistant.acoustic.net import Net, Shape
from assistant.acoustic.noises import make_noises, recorded_noises
from assistant.acoustic.phone_errors import phone_errors
from assistant.acoustic.weights import restore, save
from assistant.acoustic.windows import Ahead, Batch, TrainingSpeech, Windows
from assistant.hearing.cepstra import SHIFT, WINDOW

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from assistant.acoustic.plan import Plan


def train(
    speech: TrainingSpeech,
    plan: Plan,
    shape: Shape,
    out: Path,
    *,
    go_on: Path | None = None,
    kept: Sequence[TrainingSpeech] = (),
    recorded: Path | None = None,
    say: Callable[[str], None] = print,
) -> Net:
    """Train for the plan's minutes.

    Args:
        speech: The speech to learn from.
        plan: The run.
        shape: Sizes of the network.
        out: Folder for the weights and the report of the run.
        go_on: Weights of an earlier run to continue from.
        kept: Banks of other voices and people, on each of which the phone error is followed.
        recorded: Sound file of recorded noises, which are mixed in beside the made ones.
        say: Called with progress text.
    """
    begun = time.monotonic()
    device = speech.samples.device
    _set_up(plan, out)
    net = Net(shape, plan.dropout).to(device)
    hearing = _Hearing(plan, device, recorded)
    if go_on is not None:
        restore(net, go_on)
    forward = torch.compile(net) if plan.compiled else net
    hearing.make_noises()
    same_noises = hearing.noises
    windows = Windows(speech, plan)
    ahead = Ahead(windows, plan.frame_steps if go_on is None else 0)
    loss_of = _Loss(plan, speech, device)
    optimiser = torch.optim.AdamW(net.parameters(), lr=plan.rate, weight_decay=0.02, betas=(0.9, 0.98))
    mean = _RunningMean(net, plan)
    account = _Account(
        say, lambda: [phone_errors(mean.net, hearing.cepstra, one, same_noises) for one in kept]
    )
    fresh, step, last = go_on is None, 0, begun
    while (elapsed := time.monotonic() - begun) < 60 * plan.minutes:
        progress = elapsed / (60 * plan.minutes)
        rate = _rate(plan, step, progress)
        strength = plan.strength.at(progress / plan.ramp if plan.ramp > 0 else 1.0)
        with torch.no_grad():
            batch = windows.batch(ahead.take())
            seen = hearing.heard(batch, strength)
            if step == 0 and fresh:
                _standardise(net, seen)
        with torch.autocast("cuda", torch.bfloat16, enabled=device.type == "cuda"):
            logs = forward(seen)
        loss = loss_of.framewise(logs, batch) if fresh and step < plan.frame_steps else loss_of(logs, batch)
        _learn(net, optimiser, loss, rate)
        mean.take_in(step)
        step += 1
        if time.monotonic() - last > _EVERY_S:
            last = time.monotonic()
            figures = {"loss": round(float(loss.detach()), 4), "rate": round(rate, 6)}
            account.tell(step=step, s=round(last - begun), **figures, lowest_db=round(strength.lowest_db, 1))
            hearing.make_noises()
            save(mean.net, out / "weights.pt")  # a run that is ended early keeps its progress
            if step > plan.frame_steps:
                speech.more()
    ahead.close()
    if kept:
        account.tell(step=step)
    save(mean.net, out / "weights.pt")
    about = _about(speech, plan, shape, step, loss_of.prior) | {"account": account.lines}
    (out / "about.json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
    return mean.net


_EVERY_S = 45
"""Time after which a run tells how it goes, keeps its weights, makes new noises and reads new speech, s."""


def _set_up(plan: Plan, out: Path) -> None:
    """Make the folder, seed PyTorch, and let the GPU compute in its quick number format."""
    out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(plan.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True


def _about(speech: TrainingSpeech, plan: Plan, shape: Shape, steps: int, prior: Tensor) -> dict[str, object]:
    """The description of a run, for the file beside its weights."""
    return {
        "shape": shape.to_json(),
        "minutes": plan.minutes,
        "steps": steps,
        "hours": round(speech.hours, 2),
        "plan": {name: str(value) for name, value in vars(plan).items()},
        "prior": prior.tolist(),
    }


def _rate(plan: Plan, step: int, progress: float) -> float:
    """The learning rate: it rises over the first steps, holds, and falls along half a cosine to a hundredth.

    Args:
        plan: The run.
        step: Number of the step.
        progress: Share of the run that is over, from 0 to 1.
    """
    warm = min(1.0, (step + 1) / plan.warm_steps)
    fall = max(0.0, (progress - plan.hold) / (1 - plan.hold))
    return float(plan.rate * warm * (0.5 * (1 + np.cos(np.pi * fall)) * 0.99 + 0.01))


def _standardise(net: Net, seen: Tensor) -> None:
    """Let the network begin with the mean and deviation of the first batch of cepstra."""
    net.mean.copy_(seen.mean((0, 1)))
    net.scale.copy_(1 / seen.std((0, 1)).clamp_min(1e-3))


def _learn(net: Net, optimiser: torch.optim.Optimizer, loss: Tensor, rate: float) -> None:
    """One step down the slope of the loss."""
    for group in optimiser.param_groups:
        group["lr"] = rate
    optimiser.zero_grad(set_to_none=True)
    loss.backward()
    torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
    optimiser.step()


class _Account:
    """Lines about a run: said at once, and kept for the end.

    Attributes:
        lines: They, in order.
    """

    def __init__(self, say: Callable[[str], None], errors: Callable[[], list[dict[str, float]]]) -> None:
        self._say, self._errors = say, errors
        self.lines: list[dict[str, object]] = []

    def tell(self, **line: object) -> None:
        """Add a line, with the phone error where it is followed."""
        errors = self._errors()
        if errors:
            line["phone_error"] = errors
        self.lines.append(line)
        self._say(json.dumps(line))


class _Hearing:
    """Batches as the network gets them: through the air, in noise, as cepstra, partly hidden.

    Attributes:
        cepstra: The features, with warped filters for throats of other lengths.
        noises: Noises to mix in, made anew now and then.
    """

    def __init__(self, plan: Plan, device: torch.device, recorded: Path | None) -> None:
        self._plan, self._device, self._recorded = plan, device, recorded
        self.cepstra = Cepstra((1.0, *np.linspace(0.88, 1.14, 14))).to(device)
        self._make = torch.compile(self.cepstra) if plan.compiled else self.cepstra
        self.noises = torch.zeros(0)

    def make_noises(self) -> None:
        """Make all noises anew."""
        made = make_noises(768 if self._device.type == "cuda" else 128, 10.0, self._device)
        if self._recorded is not None:
            made = torch.cat([made, recorded_noises(self._recorded, 10.0, self._device)])
        self.noises = made

    def heard(self, batch: Batch, strength: Strength) -> Tensor:
        """Cepstra of a batch, shape (batch, frames, coefficients)."""
        sound = through_the_air(batch.sound, batch.speech, self.noises, strength)
        warp = torch.randint(0, len(self.cepstra.filters), (len(sound),), device=self._device)
        frames = 1 + (sound.shape[1] - WINDOW) // SHIFT
        masks = self._plan.masks
        hidden = random_masks(len(sound), frames, masks, self._device) if masks else None
        made: Tensor = self._make(sound, warp, hidden)
        return made


class _Loss:
    """The loss of the network's outputs: connectionist temporal classification with the plan's additions.

    Attributes:
        prior: Running mean of the outputs' probabilities, shape (OUTPUTS,).
    """

    def __init__(self, plan: Plan, speech: TrainingSpeech, device: torch.device) -> None:
        self._plan, self._device = plan, device
        self._denominator = Denominator(speech.phones[:40000]).to(device) if plan.denominator else None
        self.prior = torch.full((OUTPUTS,), 1 / OUTPUTS, device=device)

    def framewise(self, logs: Tensor, batch: Batch) -> Tensor:
        """Against one output for each step, for the first steps of a run; `logs`: (batch, steps, OUTPUTS)."""
        targets = batch.frames[:, : logs.shape[1]].flatten()
        loss: Tensor = functional.nll_loss(logs.flatten(0, 1), targets)
        return loss

    def __call__(self, logs: Tensor, batch: Batch) -> Tensor:
        """Against the phones of each window in their order; `logs`: (batch, steps, OUTPUTS)."""
        given = logs
        if self._plan.prior:
            with torch.no_grad():
                now = logs.detach().exp().mean((0, 1))
                self.prior = 0.98 * self.prior + 0.02 * now
            given = logs - self._plan.prior * self.prior.log()
        steps = torch.full((len(logs),), logs.shape[1], dtype=torch.long, device=self._device)
        parts = functional.ctc_loss(
            given.transpose(0, 1),
            batch.targets,
            steps,
            batch.lengths,
            reduction="none",
            zero_infinity=True,
        )
        loss: Tensor = parts.sum() / batch.lengths.sum()
        if self._denominator is not None:
            against = self._denominator(given)
            loss = loss + self._plan.denominator * against.sum() / batch.lengths.sum()
        return loss


class _RunningMean:
    """The running mean of the weights, which is what a run leaves.

    Attributes:
        net: The network with these weights.
    """

    def __init__(self, net: Net, plan: Plan) -> None:
        self._plan = plan
        self.net = copy.deepcopy(net).eval()
        self._means = [v for v in self.net.state_dict().values() if v.dtype.is_floating_point]
        self._values = [v for v in net.state_dict().values() if v.dtype.is_floating_point]

    @torch.no_grad()
    def take_in(self, step: int) -> None:
        """Move the mean towards the weights of now; quickly in the first steps."""
        decay = min(self._plan.average, (step + 1) / (step + 20))
        torch._foreach_lerp_(self._means, self._values, 1 - decay)
