"""Reads the weights of an exported model back, so that training can go on from the bundled one.

`am/final.mdl` is all that a run leaves in the repository. Its matrices are in 16 bits, and the scaling of the input
is part of its first layer; otherwise it holds what `weights.save` writes.
The format is the one that `assistant.acoustic.export` writes, and no other.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.acoustic.agreed import BINS
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from pathlib import Path

Matrix = NDArray[np.float32]


def exported_weights(path: Path) -> dict[str, Matrix]:
    """The weights in ``final.mdl`` by their names in `assistant.acoustic.net.Net`.

    Raises:
        FileProblem: The file is not one that `assistant.acoustic.export` wrote.
    """
    try:
        parts = _components(path.read_bytes())
        return _by_name(parts)
    except (OSError, ValueError, KeyError, struct.error) as error:
        raise FileProblem(
            path, 0, f"holds no weights of ours ({error})", "Name the am/final.mdl of a model made here"
        ) from error


def _components(data: bytes) -> dict[str, dict[str, Matrix]]:
    """The arrays of each component by the tokens before them."""
    at = data.index(b"<NumComponents> ") + len(b"<NumComponents> ")
    count = struct.unpack_from("<i", data, at + 1)[0]
    at += 5
    parts: dict[str, dict[str, Matrix]] = {}
    for _ in range(count):
        name_at = data.index(b"<ComponentName> ", at) + len(b"<ComponentName> ")
        kind_at = data.index(b" ", name_at) + 1
        at = data.index(b" ", kind_at) + 1
        arrays: dict[str, Matrix] = {}
        wanted = _ARRAYS.get(data[kind_at : at - 1], ())
        for token in wanted:
            at = data.index(token, at) + len(token)
            arrays[token.decode().strip(" <>")], at = _array(data, at)
        parts[data[name_at : kind_at - 1].decode()] = arrays
    return parts


_ARRAYS = {
    b"<FixedAffineComponent>": (b"<LinearParams> ", b"<BiasParams> "),
    b"<TdnnComponent>": (b"<LinearParams> ", b"<BiasParams> "),
    b"<BatchNormComponent>": (b"<StatsMean> ", b"<StatsVar> "),
}


def _array(data: bytes, at: int) -> tuple[Matrix, int]:
    """A vector or a matrix in 16 bits, and the place after it."""
    if data[at : at + 3] == b"FV ":
        (size,) = struct.unpack_from("<i", data, at + 4)
        return np.frombuffer(data, "<f4", size, at + 8).astype(np.float32), at + 8 + 4 * size
    if data[at : at + 4] != b"CM2 ":
        raise ValueError("a matrix is not in 16 bits")
    low, span, rows, columns = struct.unpack_from("<ffii", data, at + 4)
    steps = np.frombuffer(data, "<u2", rows * columns, at + 20).reshape(rows, columns)
    return (low + steps * (span / 65535)).astype(np.float32), at + 20 + 2 * rows * columns


def _taps(flat: Matrix, taps: int) -> Matrix:
    """Kaldi's order of a convolution's weights, (out, taps * in), as (out, in, taps)."""
    return np.ascontiguousarray(flat.reshape(flat.shape[0], taps, -1).transpose(0, 2, 1))


def _by_name(parts: dict[str, dict[str, Matrix]]) -> dict[str, Matrix]:
    state = {"mean": np.zeros(BINS, np.float32), "scale": np.ones(BINS, np.float32)}

    def normal(name: str, kaldi: str) -> None:
        state[f"{name}.running_mean"] = parts[kaldi]["StatsMean"]
        state[f"{name}.running_var"] = parts[kaldi]["StatsVar"]
        state[f"{name}.num_batches_tracked"] = np.zeros((), np.float32)

    def affine(name: str, kaldi: str, taps: int) -> None:
        state[f"{name}.weight"] = _taps(parts[kaldi]["LinearParams"], taps)
        if parts[kaldi]["BiasParams"].size:
            state[f"{name}.bias"] = parts[kaldi]["BiasParams"]

    affine("first", "first.affine", 3)
    normal("first_norm", "first.batchnorm")
    width = state["first.bias"].size
    for group in ("early", "late"):
        number = 0
        while f"{group}{number}.linear" in parts:
            name, kaldi = f"{group}.{number}", f"{group}{number}"
            taps = parts[f"{kaldi}.linear"]["LinearParams"].shape[1] // width
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
