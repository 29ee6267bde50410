"""Gives what was learnt of a technician to a session: an adapted model, a voice to begin with, and own words."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

from assistant import files
from assistant.errors import ModelProblem
from assistant.grammar.network import Position
from assistant.learning.learnt import fingerprint

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.grammar.grammar_set import GrammarSet
    from assistant.hearing.acoustics import Floats
    from assistant.learning.learnt import Learnt

_MATRIX = b"<ComponentName> prefinal_in <FixedAffineComponent> <LinearParams> CM2 "
"""Begins the matrix after the last wide layer, as `assistant.acoustic.export` writes it."""


def with_own_words(grammars: GrammarSet, learnt: Learnt) -> GrammarSet:
    """The grammars with this technician's own words.

    Raises:
        UsageProblem: A word means something that these grammars do not have.
    """
    return grammars.taught(learnt.own, Position(f"the own words of {learnt.technician}", 0))


def model_of(path: Path) -> str:
    """The fingerprint of a model directory; "" if it cannot be read."""
    try:
        return fingerprint(files.read_bytes(path / "am" / "final.mdl", files.TABLE))
    except OSError:
        return ""


def adapted(path: Path, scales: Floats, folder: Path) -> Path:
    """Write a model directory that differs from another only by the scales of its last wide layer.

    Args:
        path: The model directory, which everything else is linked from.
        scales: Logarithms of the scales, shape (units,).
        folder: An empty folder for the new one.

    Raises:
        ModelProblem: The model has another layout, or the files cannot be written.
    """
    source = path.resolve()
    try:
        for part in source.iterdir():
            if part.name != "am":
                (folder / part.name).symlink_to(part)
        (folder / "am").mkdir()
        data = scaled(files.read_bytes(source / "am" / "final.mdl", files.TABLE), scales)
        (folder / "am" / "final.mdl").write_bytes(data)
    except (OSError, ValueError, struct.error) as error:
        raise ModelProblem(
            f"The model {path} cannot be fitted to the learnt voice ({error}). Learn the voice again."
        ) from error
    return folder


def scaled(data: bytes, scales: Floats) -> bytes:
    """The acoustic model's file with the columns of the matrix after the last wide layer scaled.

    Raises:
        ValueError: It has no such matrix, or one of another width.
    """
    at = data.find(_MATRIX)
    if at < 0:
        raise ValueError("it has another layout")
    at += len(_MATRIX)
    low, span, rows, columns = struct.unpack_from("<ffii", data, at)
    begin, end = at + 16, at + 16 + 2 * rows * columns
    if columns != scales.size or end > len(data):
        raise ValueError("its layers have other sizes")
    steps = np.frombuffer(data, "<u2", rows * columns, begin).reshape(rows, columns)
    matrix = (steps * (span / 65535) + low) * np.exp(scales.astype(np.float64))[None]
    smallest = np.float32(matrix.min())
    width = np.float32(max(float(matrix.max()) - float(smallest), 1e-6))
    whole = np.clip(np.rint((matrix - float(smallest)) / (float(width) / 65535)), 0, 65535).astype("<u2")
    header = struct.pack("<ffii", smallest, width, rows, columns)
    return data[:at] + header + whole.tobytes() + data[end:]
