"""Gives what was learnt of a technician to a session: an adapted model, a voice to begin with, and own words."""

from __future__ import annotations

import struct
import tempfile
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assistant import files
from assistant.errors import ModelProblem
from assistant.grammar.network import Position
from assistant.hearing.network_file import ModelWalk, matrix_16, network_at
from assistant.hearing.recogniser import Recogniser
from assistant.hearing.voice_so_far import NEW_VOICE, VoiceSoFar
from assistant.learning import keeping
from assistant.learning.advice import about, lapse
from assistant.learning.learnt import Learnt, fingerprint
from assistant.record.header import HeardBy

if TYPE_CHECKING:
    from contextlib import ExitStack

    from assistant.grammar.grammar_set import GrammarSet
    from assistant.hearing.acoustics import Floats

_BEHIND = "prefinal_in"
"""Name of the component behind the last wide layer, as `assistant.acoustic.export` writes it."""


@dataclass(frozen=True)
class Hearer:
    """What a session hears with.

    Attributes:
        learnt: What is known of the technician; None for nobody.
        known: Names of all voices, if there are several and none was chosen.
    """

    learnt: Learnt | None = None
    known: tuple[str, ...] = ()

    def remarks(self, model: Path) -> tuple[str, ...]:
        """What the screen says about the voice first; none for nobody."""
        if self.known:
            names = ", ".join(self.known)
            return (f"The voices of {names} have been learnt; choose one with --technician NAME.",)
        if self.learnt is None:
            return ()
        return (about(self.learnt, fitted=self.fits(model)), *self.lapsed(model))

    def lapsed(self, model: Path) -> tuple[str, ...]:
        """That what was learnt counts no longer, and what to do; none if another model did not hear the lesson."""
        if self.learnt is None or not self.learnt.model or self._same(model):
            return ()
        return (lapse(self.learnt),)

    def heard_by(self, model: Path | None) -> HeardBy:
        """What the record tells of it; `model` is the recogniser's, or None for a session by keys."""
        if self.learnt is None:
            return HeardBy()
        return HeardBy(self.learnt.technician, model is not None and self.fits(model), self.learnt.own)

    def fits(self, model: Path) -> bool:
        """Whether the model was fitted to this voice, and is still the same."""
        return self.learnt is not None and self.learnt.scales.size > 0 and self._same(model)

    def voice(self, model: Path) -> VoiceSoFar:
        """The voice that a session begins with; a new one if another model heard the lesson."""
        return self.learnt.voice if self.learnt is not None and self._same(model) else NEW_VOICE

    def _same(self, model: Path) -> bool:
        return self.learnt is not None and self.learnt.model == model_of(model)

    def recogniser(self, model: Path, closing: ExitStack) -> Recogniser:
        """The recogniser, with the model fitted to the voice if it was; `closing` removes what it needs.

        Raises:
            ModelProblem: The model cannot be used.
        """
        if self.learnt is None or not self.fits(model):
            return Recogniser(model)
        folder = closing.enter_context(tempfile.TemporaryDirectory(prefix="bay-assistant-"))
        return Recogniser(adapted(model, self.learnt.scales, Path(folder)))


def hearer_of(technician: str, initials: str = "") -> Hearer:
    """What is known of a technician, or of the only one that is known if none is named.

    Args:
        technician: The name; "" for nobody.
        initials: Another name of the same technician, which counts if nothing is known of the first.

    Raises:
        UsageProblem: The file of that technician cannot be read.
    """
    if technician:
        learnt = keeping.read(technician) or (keeping.read(initials) if initials else None)
        return Hearer(learnt)
    known = keeping.every()
    if len(known) > 1:
        return Hearer(known=tuple(one.technician for one in known))
    return Hearer(known[0] if known else None)


def hearer_again(before: HeardBy) -> Hearer:
    """The same technician for a session that goes on: the voice as it is known now, the own words of the record.

    Raises:
        UsageProblem: The file of the technician cannot be read.
    """
    if not before.technician:
        return Hearer()
    known = keeping.read(before.technician) or Learnt(before.technician)
    return Hearer(replace(known, own=before.own))


def with_own_words(grammars: GrammarSet, learnt: Learnt) -> GrammarSet:
    """The grammars with this technician's own words.

    Raises:
        UsageProblem: A word means something that these grammars do not have.
    """
    return grammars.taught(learnt.own, Position(f"the own words of {learnt.technician}", 0))


def model_of(path: Path) -> str:
    """The fingerprint of a model directory; "" if it cannot be read."""
    file = path / "am" / "final.mdl"
    try:
        return _fingerprint(file, file.stat().st_mtime_ns)
    except OSError:
        return ""


@lru_cache(maxsize=4)
def _fingerprint(file: Path, _changed_ns: int) -> str:
    return fingerprint(files.read_bytes(file, files.TABLE))


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
    file = source / "am" / "final.mdl"
    try:
        for part in source.iterdir():
            if part.name != "am":
                (folder / part.name).symlink_to(part)
        (folder / "am").mkdir()
        data = scaled(files.read_bytes(file, files.TABLE), scales, file)
        (folder / "am" / "final.mdl").write_bytes(data)
    except (OSError, ValueError) as error:
        raise ModelProblem(
            f"The model {path} cannot be fitted to the learnt voice ({error}). Learn the voice again."
        ) from error
    return folder


def scaled(data: bytes, scales: Floats, path: Path) -> bytes:
    """The acoustic model's file with the columns of the matrix after the last wide layer scaled.

    Args:
        data: The file.
        scales: Logarithms of the scales, shape (units,).
        path: The name of the file, for messages.

    Raises:
        ValueError: It has no such matrix, or one of another width.
        ModelProblem: It is cut short or damaged.
    """
    _, listed = network_at(data)
    if listed < 0:
        raise ValueError("it holds no network")
    walk = ModelWalk(data, listed, path)
    behind = next((one for one in walk.stored() if one.component == _BEHIND and one.form == "CM2"), None)
    if behind is None:
        raise ValueError("it has another layout")
    if behind.columns != scales.size:
        raise ValueError("its layers have other sizes")
    stored = matrix_16(data, behind)
    matrix = (stored.steps * stored.step + stored.low) * np.exp(scales.astype(np.float64))[None]
    smallest = np.float32(matrix.min())
    width = np.float32(max(float(matrix.max()) - float(smallest), 1e-6))
    whole = np.clip(np.rint((matrix - float(smallest)) / (float(width) / 65535)), 0, 65535).astype("<u2")
    header = struct.pack("<ffii", smallest, width, behind.rows, behind.columns)
    return b"".join(
        (data[: behind.at], header, whole.tobytes(), data[behind.at + len(header) + whole.nbytes :])
    )
