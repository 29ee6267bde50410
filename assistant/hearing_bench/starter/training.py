"""Trains the network of `assistant.hearing.starter` on made-up scenes.

First ``python -m assistant.hearing_bench.starter.training --make 5000 0 --speech FILE --out DATA`` makes scenes, then
``... DATA`` trains. ``... --mix 40 --batch 32 --speech FILE --begin WEIGHTS`` goes on from weights, with mixtures of
`mixing`. They last up to `LONGEST` pieces: a session lasts minutes, and a network that has heard scenes of 16 s only
grows deaf after them. It needs jax, which nothing else here does. Only `ranges.DEVELOPING` is drawn from; recordings of
starts, the voice "slt" and the set for measuring stay out. `certain` follows each training.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.hearing.sound import RATE
from assistant.hearing.starter.features import BANDS, FRAME_S, HOP, WINDOW, FrameMaker, SlowMean
from assistant.hearing.starter.network import DELAY, SCALE, WEIGHTS
from assistant.hearing_bench.starter import mixing
from assistant.hearing_bench.starter.bystanders import MACHINES
from assistant.hearing_bench.starter.ranges import DEVELOPING
from assistant.hearing_bench.starter.scenes import WantedScene, made_scene, truth_frames

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SCENE_S = 16.0
FRAMES = round(SCENE_S * RATE - WINDOW) // HOP
BATCH = 64
"""Scenes at a time."""

OF_MEAN = 0.01
"""Share of the newest weights in the running mean that is kept: a mean over about a hundred steps."""

SOON = 40
"""Frames after a beginning that count twice in training."""

LONGEST = 10
"""Pieces of the longest mixture: 160 s. The network goes on from where it was in the piece before; slopes do not."""

_SPEECH: list[Floats] = []


def speech(rng: np.random.Generator) -> Floats:
    """One of the sentences that were opened."""
    return _SPEECH[int(rng.integers(len(_SPEECH)))]


def open_speech(path: str) -> None:
    """Take the sentences out of a file."""
    kept = np.load(path)
    _SPEECH.extend(kept[name].astype(np.float64) / 32768 for name in kept.files)


def drawn_scene(rng: np.random.Generator) -> WantedScene:
    """What one scene of training holds."""
    kinds = tuple(
        str(one) for one in rng.choice(list(MACHINES), int(rng.choice([0, 1, 1, 1, 2])), replace=False)
    )
    starts = int(rng.choice([0, 1, 1, 2], p=[0.4, 0.2, 0.2, 0.2]))
    return WantedScene(
        seconds=SCENE_S,
        starts=starts,
        snr_db=float(rng.uniform(-5, 28)),
        kinds=kinds,
        talking=bool(rng.uniform() < 0.45),
        crank_s=(0.6, 11.0 if starts < 2 else 5.0),
        pump=bool(rng.uniform() < 0.25),
    )


def one_scene(seed: int) -> dict[str, Any]:
    """Features and truth of one scene."""
    rng = np.random.default_rng([DEVELOPING.seed, seed])
    scene = made_scene(drawn_scene(rng), DEVELOPING, rng, speech)
    mean = SlowMean()
    made = [mean.relative(one) for one in FrameMaker().frames(scene.samples) if one is not None][:FRAMES]
    times: Floats = (np.arange(FRAMES, dtype=np.float64) - DELAY) * FRAME_S + WINDOW / 2 / RATE
    return {"bands": np.asarray(made, np.float16), **truth_frames(scene, times)}


def make_data(count: int, first: int, speech: str, out: Path, workers: int) -> None:
    """Make scenes and keep their features in a file."""
    with ProcessPoolExecutor(workers, initializer=open_speech, initargs=(speech,)) as pool:
        made = list(pool.map(one_scene, range(first, first + count), chunksize=8))
    out.parent.mkdir(parents=True, exist_ok=True)
    kept: dict[str, Any] = {
        name: np.stack([one[name] for one in made]).astype(np.float16) for name in made[0]
    }
    np.savez(out, **kept)


Weights = dict[str, Any]


def first_weights(units: int, bands: int, rng: np.random.Generator) -> Weights:
    """Random weights to begin with."""
    inner = 48

    def drawn(rows: int, columns: int) -> NDArray[np.float32]:
        return np.asarray(rng.standard_normal((rows, columns)) / np.sqrt(rows), np.float32)

    nothing = {"first_bias": inner, "fed_bias": 3 * units, "state_bias": 3 * units, "out_bias": 8}
    return {
        "first": drawn(bands, inner),
        "fed": drawn(inner, 3 * units),
        "state": drawn(units, 3 * units),
        "out": drawn(units, 8) * 0.1,
        **{name: np.zeros(size, np.float32) for name, size in nothing.items()},
    }


def outputs(weights: Weights, bands: Any, begin: Any) -> tuple[Any, Any]:
    """What the network says for a batch of shape (scenes, frames, bands): (scenes, frames, 8), before any logistic.

    Args:
        weights: Of the network.
        bands: Relative to their means.
        begin: The network's state before, of shape (scenes, units).

    Returns:
        What it says, and its state at the end.
    """
    import jax  # noqa: PLC0415
    from jax import numpy as jnp  # noqa: PLC0415

    fed = jax.nn.relu(jnp.clip(bands / SCALE, -4, 4) @ weights["first"] + weights["first_bias"])
    fed = fed @ weights["fed"] + weights["fed_bias"]
    size = weights["state"].shape[0]

    def step(state: Any, now: Any) -> tuple[Any, Any]:
        back = state @ weights["state"] + weights["state_bias"]
        gates = jax.nn.sigmoid(now[:, : 2 * size] + back[:, : 2 * size])
        new = jnp.tanh(now[:, 2 * size :] + gates[:, size:] * back[:, 2 * size :])
        state = new + gates[:, :size] * (state - new)
        return state, state

    last, states = jax.lax.scan(step, begin, jnp.swapaxes(fed, 0, 1))
    return jnp.swapaxes(states, 0, 1) @ weights["out"] + weights["out_bias"], last


def kept_weights(path: Path) -> Weights:
    """Weights out of a file."""
    with np.load(path) as before:
        return {name: before[name].astype(np.float32) for name in before.files}


def _keep(weights: Weights, out: Path) -> None:
    kept: dict[str, Any] = {name: np.asarray(value, np.float16) for name, value in weights.items()}
    np.savez(out, **kept)


def losses(weights: Weights, batch: Weights, begin: Any) -> tuple[Any, Any]:
    """Mean loss of a batch: what happens, the pulses, the pump and the evenness; and the state at its end."""
    import jax  # noqa: PLC0415
    from jax import numpy as jnp  # noqa: PLC0415

    out, last = outputs(weights, batch["bands"], begin)

    def crossed(logits: Any, truth: Any) -> Any:
        return jnp.maximum(logits, 0) - logits * truth + jnp.log1p(jnp.exp(-jnp.abs(logits)))

    happens = jax.nn.log_softmax(out[..., :3])
    state = -jnp.take_along_axis(happens, batch["state"].astype(int)[..., None], -1)[..., 0]
    cranking = batch["state"] == 1
    pulse = crossed(out[..., 3], batch["pulse"]) * cranking
    pump = crossed(out[..., 4], batch["pump"])
    known = batch["kind"] >= 0
    kinds = jax.nn.log_softmax(out[..., 5:8])
    kind = -jnp.take_along_axis(kinds, jnp.maximum(batch["kind"], 0).astype(int)[..., None], -1)[..., 0]
    weight = 1.0 + _soon(batch["state"])
    loss = (
        (state * weight).mean()
        + 0.3 * pulse.sum() / (cranking.sum() + 1)
        + 0.5 * pump.mean()
        + 0.15 * (kind * known).sum() / (known.sum() + 1)
    )
    return loss, last


def _soon(state: Any) -> Any:
    """Frames of shape (scenes, frames) up to `SOON` after a beginning: what is said there decides the delay."""
    from jax import numpy as jnp  # noqa: PLC0415

    before = jnp.pad(state, ((0, 0), (SOON, 0)))[:, : state.shape[1]]
    return (state > 0) & (before != state)


Draw = Callable[[np.random.Generator], Weights]
"""Gives one batch: ``bands``, their truth, and whether a scene ``begins`` or goes on from the batch before."""


def from_files(paths: list[Path], size: int) -> Draw:
    """Batches of so many scenes out of files of `make_data`."""
    kept = [np.load(path) for path in paths]
    data = {name: np.concatenate([one[name] for one in kept]) for name in kept[0].files}

    def draw(rng: np.random.Generator) -> Weights:
        rows = rng.choice(len(data["bands"]), size, replace=False)
        return {name: value[rows].astype(np.float32) for name, value in data.items()} | {
            "begins": np.ones(size, bool)
        }

    return draw


def from_pool(pool: mixing.Pool, size: int) -> Draw:
    """Batches of the next pieces of so many mixtures."""
    going: list[Iterator[Weights]] = []

    def draw(rng: np.random.Generator) -> Weights:
        going.extend(mixing.stretches(pool, rng, LONGEST) for _ in range(size - len(going)))
        pieces = [next(one) for one in going]
        return {name: np.stack([one[name] for one in pieces]) for name in pieces[0]}

    return draw


def heard_all(weights: Weights, bands: Any) -> NDArray[np.float32]:
    """All that the network says, of shape (scenes, frames, 8), for relative bands; as probabilities."""
    size = weights["state"].shape[0]
    fed = np.maximum(np.clip(bands / SCALE, -4, 4) @ weights["first"] + weights["first_bias"], 0)
    fed = fed @ weights["fed"] + weights["fed_bias"]
    state = np.zeros((len(bands), size), np.float32)
    said = np.empty((*bands.shape[:2], 8), np.float32)
    for frame in range(bands.shape[1]):
        now, back = fed[:, frame], state @ weights["state"] + weights["state_bias"]
        gates = 0.5 + 0.5 * np.tanh(0.5 * (now[:, : 2 * size] + back[:, : 2 * size]))
        new = np.tanh(now[:, 2 * size :] + gates[:, size:] * back[:, 2 * size :])
        state = new + gates[:, :size] * (state - new)
        said[:, frame] = state @ weights["out"] + weights["out_bias"]
    said[..., 3:5] = 0.5 + 0.5 * np.tanh(0.5 * said[..., 3:5])
    for some in (slice(0, 3), slice(5, 8)):
        odds = np.exp(said[..., some] - said[..., some].max(axis=-1, keepdims=True))
        said[..., some] = odds / odds.sum(axis=-1, keepdims=True)
    return said


def train(
    draw: Draw,
    steps: int,
    out: Path,
    *,
    units: int = 96,
    begin: Weights | None = None,
    rate: float = 3e-3,
    tell: Any = print,
) -> None:
    """Fit the weights with Adam and a cosine of the rate, and write their running mean in 16 bits.

    Args:
        draw: Gives the batches.
        steps: Their number.
        out: Where the weights go.
        units: Recurrent units.
        begin: Weights to go on from; random ones when None.
        rate: Highest step of Adam.
        tell: Takes a line now and then.
    """
    import jax  # noqa: PLC0415

    rng = np.random.default_rng(5)
    weights = first_weights(units, BANDS, rng) if begin is None else begin
    mean = dict(weights)
    quick = jax.jit(_update)
    first = {name: np.zeros_like(value) for name, value in weights.items()}
    second = dict(first)
    begun, held = time.monotonic(), 0.0
    last: Any = np.zeros((1, weights["state"].shape[0]), np.float32)
    for step in range(steps):
        batch = draw(rng)
        last = np.where(batch.pop("begins")[:, None], np.float32(0), last)
        # Another microphone each time: a little colour and a little noise on the features.
        colour = rng.normal(0, 0.15, (len(batch["bands"]), 1, BANDS))
        noise = rng.normal(0, 0.1, batch["bands"].shape)
        batch["bands"] = (batch["bands"] + colour + noise).astype(np.float32)
        pace = rate * (0.02 + 0.98 * 0.5 * (1 + np.cos(np.pi * step / steps))) * min(1.0, (step + 1) / 30)
        size = (float(pace), float(step + 1))
        (weights, first, second), loss, last = quick((weights, first, second), batch, last, size)
        share = max(OF_MEAN, 1 / (step + 1))
        mean = {name: value + share * (weights[name] - value) for name, value in mean.items()}
        held += float(loss)
        if step % 50 == 49:
            tell(f"{step + 1} {held / 50:.4f} {time.monotonic() - begun:.0f} s")
            held = 0.0
            _keep(mean, out)
    _keep(mean, out)


def _update(now: tuple[Weights, Weights, Weights], batch: Weights, begin: Any, pace: Any) -> Any:
    """One step of Adam, its slope no longer than 1; `pace` holds its size and its number.

    Returns:
        The weights and both means, the loss, and the network's state after the batch.
    """
    import jax  # noqa: PLC0415
    from jax import numpy as jnp  # noqa: PLC0415

    (weights, first, second), (size, number) = now, pace
    (loss, last), slope = jax.value_and_grad(losses, has_aux=True)(weights, batch, begin)
    long = jnp.sqrt(sum(jnp.sum(one**2) for one in slope.values()))
    slope = {name: one * jnp.minimum(1.0, 1.0 / long) for name, one in slope.items()}
    first = {name: 0.9 * first[name] + 0.1 * one for name, one in slope.items()}
    second = {name: 0.99 * second[name] + 0.01 * one**2 for name, one in slope.items()}
    moved = {
        name: one
        - size * (first[name] / (1 - 0.9**number)) / (jnp.sqrt(second[name] / (1 - 0.99**number)) + 1e-8)
        for name, one in weights.items()
    }
    return (moved, first, second), loss, last


def main(words: list[str]) -> int:
    """Make data or train."""
    parser = argparse.ArgumentParser(prog="training", description=__doc__)
    parser.add_argument("--make", nargs=2, type=int, metavar=("COUNT", "FIRST"), help="make scenes")
    parser.add_argument("--speech", help="an .npz of spoken sentences, int16 at 16 kHz")
    parser.add_argument("--workers", type=int, default=2, help="processes that make scenes")
    parser.add_argument("--steps", type=int, default=1200)
    parser.add_argument("--units", type=int, default=96)
    parser.add_argument("--begin", type=Path, help="weights to go on from")
    parser.add_argument(
        "--mix", type=int, metavar="PIECES", help="mix scenes from so many pieces of each kind"
    )
    parser.add_argument("--batch", type=int, default=BATCH, help="scenes at a time")
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    parser.add_argument("data", nargs="*", type=Path)
    options = parser.parse_args(words)
    if options.make:
        make_data(options.make[0], options.make[1], options.speech, options.out, options.workers)
        return 0
    begin = None if options.begin is None else kept_weights(options.begin)
    if options.mix:
        open_speech(options.speech)
        rng = np.random.default_rng([DEVELOPING.seed, 3])
        pool = mixing.made_pool(rng, speech, options.mix)
        draw = from_pool(pool, options.batch)
    else:
        draw = from_files(options.data, options.batch)
    train(
        draw,
        options.steps,
        options.out,
        units=options.units,
        begin=begin,
        rate=options.rate,
        tell=lambda text: print(text, flush=True),
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
