"""Weights of the network as files: kept, read, and the mean of several runs."""

from __future__ import annotations

import pickle
from typing import TYPE_CHECKING

import numpy as np
import torch

from assistant.acoustic.bundled import exported_weights
from assistant.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from assistant.acoustic.net import Net


def save(net: Net, path: Path) -> None:
    """Save the weights in half precision: 9 MB."""
    state = {k: v.half() if v.dtype.is_floating_point else v for k, v in net.state_dict().items()}
    torch.save(state, path)


def restore(net: Net, path: Path) -> None:
    """Put the weights of an earlier run into a network.

    Raises:
        FileProblem: The file is not one of ours, or holds weights of another shape.
    """
    try:
        state = {name: torch.from_numpy(value) for name, value in load(path).items()}
        net.load_state_dict(state)
    except RuntimeError as error:
        raise FileProblem(path, 0, "holds weights of another shape", "Give the same --shape") from error


def load(path: Path) -> dict[str, NDArray[np.float32]]:
    """Weights by name, for `assistant.acoustic.export`; from the file of a run, or from an exported ``final.mdl``.

    Raises:
        FileProblem: The file does not come from a run.
    """
    if path.suffix == ".mdl":
        return exported_weights(path)
    try:
        state = torch.load(path, map_location="cpu", weights_only=True)
        return {name: value.float().numpy() for name, value in state.items()}
    except (OSError, RuntimeError, AttributeError, pickle.UnpicklingError) as error:
        raise FileProblem(path, 0, "holds no weights", "Name the weights.pt of a run") from error


def average(paths: Sequence[Path], out: Path, shares: Sequence[float] = ()) -> None:
    """The mean of the weights of runs that started from the same weights; often better than each of them.

    Source: Wortsman et al., "Model soups: averaging weights of multiple fine-tuned models improves accuracy without
    increasing inference time" (ICML 2022). With the weights that the runs started from as one of them: the same,
    "Robust fine-tuning of zero-shot models" (CVPR 2022).

    Args:
        paths: The weights.
        out: The file to write.
        shares: Share of each of them; equal ones if there are none.

    Raises:
        FileProblem: A file holds no weights, or weights of another shape.
        UsageProblem: There are more or fewer shares than files.
    """
    if shares and len(shares) != len(paths):
        raise UsageProblem(f"There are {len(paths)} weights but {len(shares)} shares. Give one for each.")
    parts = [share / sum(shares) for share in shares] if shares else [1 / len(paths)] * len(paths)
    total = {name: value * parts[0] for name, value in load(paths[0]).items()}
    for path, part in zip(paths[1:], parts[1:], strict=True):
        state = load(path)
        if {n: v.shape for n, v in state.items()} != {n: v.shape for n, v in total.items()}:
            raise FileProblem(path, 0, "holds weights of another shape", "Average runs of the same --shape")
        total = {name: value + part * state[name] for name, value in total.items()}
    mean = {name: torch.from_numpy(np.asarray(value, np.float32)) for name, value in total.items()}
    out.parent.mkdir(parents=True, exist_ok=True)
    torch.save({name: value.half() for name, value in mean.items()}, out)
