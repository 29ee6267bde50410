"""Reads the weights of an exported model back, so that training can go on from the bundled one.

`am/final.mdl` is all that a run leaves in the repository. Its matrices are in 16 bits, and the scaling of the input
is part of its first layer; otherwise it holds what `weights.save` writes.
The format is the one that `assistant.acoustic.export` writes, and no other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.agreed import BINS
from assistant.errors import FileProblem, ModelProblem
from assistant.hearing.network_file import components, opened

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from assistant.hearing.acoustics import Floats
    from assistant.hearing.network_file import Component, Matrix16


def exported_weights(path: Path) -> dict[str, Floats]:
    """The weights in ``final.mdl`` by their names in `assistant.acoustic.net.Net`.

    Raises:
        FileProblem: The file is not one that `assistant.acoustic.export` wrote.
    """
    try:
        with opened(path) as data:
            return _by_name(components(data, path))
    except (OSError, ValueError, KeyError, ModelProblem) as error:
        raise FileProblem(
            path, 0, f"holds no weights of ours ({error})", "Name the am/final.mdl of a model made here"
        ) from error


def _weights(component: Component) -> Matrix16:
    if component.matrix is None:
        raise ValueError("a layer has no matrix")
    return component.matrix


def _taps(flat: Floats, taps: int) -> Floats:
    """Kaldi's order of a convolution's weights, (out, taps * in), as (out, in, taps)."""
    return np.ascontiguousarray(flat.reshape(flat.shape[0], taps, -1).transpose(0, 2, 1))


def _by_name(parts: Mapping[str, Component]) -> dict[str, Floats]:
    state = {"mean": np.zeros(BINS, np.float32), "scale": np.ones(BINS, np.float32)}

    def normal(name: str, kaldi: str) -> None:
        state[f"{name}.running_mean"] = parts[kaldi].vectors["<StatsMean>"]
        state[f"{name}.running_var"] = parts[kaldi].vectors["<StatsVar>"]
        state[f"{name}.num_batches_tracked"] = np.zeros((), np.float32)

    def affine(name: str, kaldi: str, taps: int) -> None:
        bias = parts[kaldi].vectors["<BiasParams>"]
        state[f"{name}.weight"] = _taps(_weights(parts[kaldi]).exact(), taps)
        if bias.size:
            state[f"{name}.bias"] = bias

    affine("first", "first.affine", 3)
    normal("first_norm", "first.batchnorm")
    width = state["first.bias"].size
    for group in ("early", "late"):
        number = 0
        while f"{group}{number}.linear" in parts:
            name, kaldi = f"{group}.{number}", f"{group}{number}"
            taps = _weights(parts[f"{kaldi}.linear"]).steps.shape[1] // width
            affine(f"{name}.linear", f"{kaldi}.linear", taps)
            affine(f"{name}.affine", f"{kaldi}.affine", taps)
            normal(f"{name}.norm", f"{kaldi}.batchnorm")
            number += 1
    for name, kaldi in (("prefinal_in", "prefinal_in"), ("prefinal", "prefinal"),
                        ("prefinal_out", "prefinal_out"), ("output", "output.affine")):  # fmt: skip
        affine(name, kaldi, 1)
    normal("prefinal_norm", "prefinal.batchnorm")
    normal("prefinal_out_norm", "prefinal_out.batchnorm")
    return state
