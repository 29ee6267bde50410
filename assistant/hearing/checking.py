"""Checks a model before the recogniser opens it, because some faults end the whole program.

The behaviour of Vosk 0.3.45 with faulty models was tried, each in a process of its own.
A file that is missing or cut short, an unknown setting, or a network that does not fit its features raises an
exception without a reason ("Failed to create a model", or a recogniser, "Failed to process waveform").
A matrix with a damaged size, a weight that is not a number, or a configuration without
``--endpoint.silence-phones`` aborts the process; a graph that points outside itself ends it with a segmentation
fault.

So there are two guards.
`read_weights` walks through ``am/final.mdl``: every matrix must lie inside the file and hold only numbers. This
takes some ten milliseconds and runs for every model.
`try_model` first opens any model but the bundled one in a process of its own and lets it hear a second of noise;
Kaldi's message on the error output becomes the reason in our sentence.
"""

from __future__ import annotations

import contextlib
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assistant import files
from assistant.errors import ModelProblem
from assistant.hearing.network_file import ModelWalk, network_at, opened

if TYPE_CHECKING:
    import mmap

    from assistant.hearing.network_file import Stored

TRIAL_S = 120.0
"""Longest time, in s, for a model to open in its trial; a large one on a slow disk takes tens of seconds."""

IVECTOR = ("final.dubm", "final.ie", "final.mat", "global_cmvn.stats", "online_cmvn.conf", "splice.conf")
"""The files that Vosk reads from the folder ``ivector`` if the network also takes a description of the speaker."""

_INPUT = re.compile(rb"input-node name=(\S+) dim=(\d+)")


@dataclass(frozen=True)
class Weights:
    """The result of a walk through an acoustic model.

    Attributes:
        inputs: Width of each input of the network by its name: ``input`` are the features of a frame, ``ivector``
            describes the speaker.
        outputs: Number of outputs, from the list of their priors or the last bias; 0 if there is neither.
        whole: Whether the walk reached the end; False for an unknown kind of content.
    """

    inputs: dict[str, int]
    outputs: int
    whole: bool


def read_weights(path: Path) -> Weights:
    """Walk through ``final.mdl`` (Kaldi's binary format of a transition model and an nnet3 network).

    Raises:
        ModelProblem: The file cannot be read, is of another kind, is cut short, or holds values that are not numbers.
    """
    try:
        with opened(path) as data:
            return _weights(data, path)
    except OSError as error:
        raise ModelProblem(f"The model file {path} cannot be read ({error.strerror}).") from error
    except ValueError as error:  # an empty file cannot be mapped
        raise ModelProblem(f"The model file {path} is empty. Copy the model again, whole.") from error


def _weights(data: mmap.mmap, path: Path) -> Weights:
    if data[:2] != b"\0B":
        raise ModelProblem(f"The file {path} is not a Kaldi acoustic model. Copy the model again, whole.")
    begins, listed = network_at(data)
    opens = b"\0B<TransitionModel> "
    if data[: len(opens)] != opens or data.find(b"</TransitionModel> ") < 0:
        raise ModelProblem(
            f"The model file {path} holds no transition model, or is cut short. Copy the model again, whole; "
            "it must be of the kind that Vosk reads (nnet3)."
        )
    if listed < 0:
        raise ModelProblem(
            f"The model file {path} holds no network of the kind nnet3, or is cut short. "
            "Copy the model again, whole."
        )
    inputs = {name.decode("ascii", "replace"): int(dim) for name, dim in _INPUT.findall(data[begins:listed])}
    walk = ModelWalk(data, listed, path)
    priors = bias = 0
    for one in walk.stored():
        if one.form in ("FM", "DM", "FV", "DV"):
            _check_numbers(data, one, path)
        if one.form in ("FV", "DV") and one.token == b"<Priors>":
            priors = one.rows
        elif one.form in ("FV", "DV") and one.token in (b"<BiasParams>", b"<Bias>"):
            bias = one.rows
    return Weights(inputs, priors or bias, walk.whole)


def _check_numbers(data: mmap.mmap, one: Stored, path: Path) -> None:
    """Refuse weights in plain floats that are not numbers."""
    kind = "<f4" if one.form.startswith("F") else "<f8"
    if not np.isfinite(np.frombuffer(data, kind, one.rows * one.columns, one.at)).all():
        raise ModelProblem(
            f"The model file {path} is damaged: some of its weights, after "
            f"{one.token.decode('ascii', 'replace')}, are not numbers. Copy the model again, whole."
        )


def check_fit(model: Path, weights: Weights) -> None:
    """Check that features, speaker description and network of a model fit each other.

    Raises:
        ModelProblem: Parts do not fit each other; says which.
    """
    settings = read_settings(model / "conf" / "mfcc.conf")
    wanted = weights.inputs.get("input", 0)
    given = settings.get("num-ceps", "13")  # Kaldi's own default
    if wanted and given.isdigit() and int(given) != wanted:
        raise ModelProblem(
            f"In the recogniser model {model} the features do not fit the network: conf/mfcc.conf gives {given} "
            f"values a frame (num-ceps), am/final.mdl takes {wanted}. Copy both from the same model."
        )
    speaker, folder = weights.inputs.get("ivector", 0), model / "ivector"
    if speaker and not folder.is_dir():
        raise ModelProblem(
            f"The network of the recogniser model {model} needs a description of the speaker, but the folder "
            "ivector is missing. Copy the model again, whole."
        )
    if folder.is_dir():
        if weights.inputs and not speaker:
            raise ModelProblem(
                f"The recogniser model {model} has a folder ivector, but its network takes no description of the "
                "speaker. Use am and ivector of the same model, or remove the folder ivector."
            )
        for name in IVECTOR:
            if not (folder / name).is_file() or (folder / name).stat().st_size == 0:
                raise ModelProblem(
                    f"In the recogniser model {model} the file ivector/{name} is missing or empty. "
                    "Models with a description of the speaker are supported; copy the model again, whole."
                )


def read_settings(path: Path) -> dict[str, str]:
    """A file of settings, one ``--name=value`` a line.

    Raises:
        ModelProblem: It cannot be read.
    """
    settings = {}
    try:
        text = files.read_text(path, files.SETTINGS)
    except (OSError, UnicodeDecodeError) as error:
        raise ModelProblem(
            f"The model file {path} cannot be read as text. Copy the model again, whole."
        ) from error
    for line in text.splitlines():
        name, _, value = line.partition("#")[0].strip().removeprefix("--").partition("=")
        if name:
            settings[name] = value
    return settings


def try_model(path: Path, limit_s: float = TRIAL_S) -> None:
    """Open a model in a process of its own and let it hear a second of noise.

    Raises:
        ModelProblem: The model raised an exception, ended that process, or took longer than the limit; the
            message has Kaldi's reason.
    """
    command = [sys.executable, "-m", "assistant.hearing.trial", str(path)]
    package = str(Path(__file__).resolve().parents[2])
    found = [package, *filter(None, [os.environ.get("PYTHONPATH")])]
    try:
        ended = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=limit_s,
            check=False,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(found)},
        )
    except subprocess.TimeoutExpired as error:
        raise ModelProblem(
            f"The recogniser model {path} did not open within {limit_s:.0f} s. Use a smaller model."
        ) from error
    if ended.returncode == 0:
        return
    said = ended.stderr.decode("utf-8", "replace")
    if ended.returncode == ModelProblem.exit_code and (
        own := ended.stdout.decode("utf-8", "replace").strip()
    ):
        raise ModelProblem(own.replace(". Copy", f".{_reason(said)} Copy", 1))
    raise ModelProblem(
        f"The recogniser crashes with the model {path}.{_reason(said)} Copy the model again, whole, or use another."
    )


def _reason(said: str) -> str:
    """Kaldi's first complaint as a sentence; "" if there is none."""
    for line in said.splitlines():
        kind, _, rest = line.strip().partition(" (VoskAPI:")
        if kind.startswith(("ERROR", "ASSERTION_FAILED")) and rest:
            with contextlib.suppress(ValueError):
                return f' It says: "{rest[rest.index(") ") + 2 :].strip()[:200]}".'
    return ""
