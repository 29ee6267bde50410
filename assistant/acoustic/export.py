"""Writes a trained network as a model directory that Vosk opens, in Kaldi's binary formats, with NumPy and struct.

The transitions have the layout for which `assistant.hearing.graph` writes graphs.
Weights of matrices are stored in 16 bits (Kaldi's CompressedMatrix, format "CM2": the smallest value of the matrix
and a step, then integers), which Kaldi accepts in place of any matrix; this halves the file.
Source of the formats: Kaldi's source (nnet-simple-component.cc, nnet-tdnn-component.cc, nnet-normalize-component.cc,
hmm-topology.cc, transition-model.cc, compressed-matrix.cc), from memory, and checked by Vosk opening the result.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from assistant.acoustic.agreed import BINS, EPSILON, HIGH_HZ, LOW_HZ, PHONE_OUTPUTS, SKIP, SUBSAMPLING
from assistant.grammar.automaton import Automaton
from assistant.grammar.lexicon import PHONES
from assistant.hearing.graph import table_for, write_sounds, write_words
from assistant.hearing.phone_sums import BLANK, SCALE
from assistant.hearing.phones import PhoneLayout

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assistant.grammar.grammar_set import GrammarSet

Matrix = NDArray[np.float32]

SILENCE_PHONES = ("SIL", "SPN")


@dataclass(frozen=True)
class Decoding:
    """The decoder's settings for the weights.

    Attributes:
        acoustic_scale: Weight of the network's log-probabilities.
        blank_prior: Natural logarithm of the blank's prior, against 0 for each phone; it holds the blank down.
        beam: Width of the search.
    """

    acoustic_scale: float = SCALE
    blank_prior: float = BLANK
    beam: float = 10.0


# --- items of Kaldi's binary files ---


def _token(name: str) -> bytes:
    return name.encode() + b" "


def _integer(value: int) -> bytes:
    return b"\4" + struct.pack("<i", value)


def _float(value: float) -> bytes:
    return b"\4" + struct.pack("<f", value)


def _double(value: float) -> bytes:
    return b"\10" + struct.pack("<d", value)


def _integers(values: Sequence[int]) -> bytes:
    return b"\4" + struct.pack("<i", len(values)) + struct.pack(f"<{len(values)}i", *values)


def _vector(values: NDArray[Any]) -> bytes:
    data = np.asarray(values, "<f4")
    return b"FV " + _integer(data.size) + data.tobytes()


def _matrix(values: NDArray[Any]) -> bytes:
    """16 bits for each value: ``CM2``, smallest value, range, rows, columns, then unsigned integers."""
    data = np.asarray(values, np.float64)
    low, high = float(data.min()), float(data.max())
    if high <= low:
        high = low + 1.0
    low32, range32 = np.float32(low), np.float32(high - low)
    steps = np.clip(np.rint((data - float(low32)) / (float(range32) / 65535)), 0, 65535).astype("<u2")
    return b"CM2 " + struct.pack("<ffii", low32, range32, *data.shape) + steps.tobytes()


# --- the transition model ---


def phone_names() -> list[str]:
    """Names of the phones in the order of their numbers, which start at 1."""
    return [*SILENCE_PHONES, *(f"{phone}_{position}" for phone in sorted(PHONES) for position in "BEIS")]


def _transition_model() -> bytes:
    names = phone_names()
    numbers = list(range(1, len(names) + 1))
    silent = len(SILENCE_PHONES)
    topology = _integers(numbers) + _integers([-1, *[0] * silent, *[1] * (len(names) - silent)])

    def state(pdf: int, arcs: Sequence[tuple[int, float]]) -> bytes:
        parts = _integer(pdf) + _integer(len(arcs))
        return parts + b"".join(_integer(target) + _float(share) for target, share in arcs)

    topology += _integer(2)
    topology += _integer(2) + state(0, [(0, 0.5), (1, 0.5)]) + state(-1, [])
    topology += _integer(3) + state(0, [(0, 0.5), (1, 0.25), (2, 0.25)]) + state(1, [(1, 0.5), (2, 0.5)])
    topology += state(-1, [])
    triples: list[tuple[int, int, int]] = []
    for number, name in enumerate(names, 1):
        if number <= silent:
            triples.append((number, 0, 0))
        else:
            triples += [(number, 0, PHONE_OUTPUTS[name.split("_")[0]]), (number, 1, 0)]
    logs = [0.0]
    for number, place, _ in triples:
        shares = [0.5, 0.5] if number <= silent or place else [0.5, 0.25, 0.25]
        logs += [float(np.log(share)) for share in shares]
    body = _token("<TransitionModel>") + _token("<Topology>") + topology + _token("</Topology>")
    body += _token("<Triples>") + _integer(len(triples))
    body += b"".join(_integer(a) + _integer(b) + _integer(c) for a, b, c in triples) + _token("</Triples>")
    body += _token("<LogProbs>") + _vector(np.array(logs)) + _token("</LogProbs>")
    return body + _token("</TransitionModel>")


# --- the network ---


class _Network:
    """Collects the nodes and components of an nnet3 file."""

    def __init__(self) -> None:
        self.nodes: list[str] = []
        self.components: list[bytes] = []

    def add(self, name: str, source: str, component: bytes) -> str:
        self.nodes.append(f"component-node name={name} component={name} input={source}")
        self.components.append(_token("<ComponentName>") + _token(name) + component)
        return name

    def affine(self, name: str, source: str, weights: Matrix, bias: Matrix) -> str:
        body = _token("<FixedAffineComponent>") + _token("<LinearParams>") + _matrix(weights)
        body += _token("<BiasParams>") + _vector(bias) + _token("</FixedAffineComponent>")
        return self.add(name, source, body)

    def convolution(
        self, name: str, source: str, weights: Matrix, bias: Matrix, offsets: Sequence[int]
    ) -> str:
        body = _token("<TdnnComponent>") + _token("<MaxChange>") + _float(0.75)
        body += _token("<LearningRate>") + _float(1e-4)
        body += _token("<TimeOffsets>") + _integers(offsets)
        body += _token("<LinearParams>") + _matrix(weights) + _token("<BiasParams>") + _vector(bias)
        body += _token("<OrthonormalConstraint>") + _float(0.0) + _token("<UseNaturalGradient>") + b"T"
        body += _token("<NumSamplesHistory>") + _float(2000.0)
        body += _token("<AlphaInOut>") + _float(4.0) + _float(4.0)
        body += _token("<RankInOut>") + _integer(20) + _integer(80) + _token("</TdnnComponent>")
        return self.add(name, source, body)

    def _nonlinear(self, kind: str, width: int) -> bytes:
        nothing = _vector(np.zeros(0))
        body = _token(f"<{kind}>") + _token("<Dim>") + _integer(width)
        body += _token("<ValueAvg>") + nothing + _token("<DerivAvg>") + nothing
        body += _token("<Count>") + _double(0) + _token("<OderivRms>") + nothing
        body += _token("<OderivCount>") + _double(0)
        body += _token("<NumDimsSelfRepaired>") + _double(0) + _token("<NumDimsProcessed>") + _double(0)
        return body + _token("<SelfRepairScale>") + _float(1e-5) + _token(f"</{kind}>")

    def rectified(self, name: str, source: str, width: int) -> str:
        return self.add(name, source, self._nonlinear("RectifiedLinearComponent", width))

    def softmax(self, name: str, source: str, width: int) -> str:
        return self.add(name, source, self._nonlinear("LogSoftmaxComponent", width))

    def normal(self, name: str, source: str, state: Mapping[str, Matrix], key: str) -> str:
        mean, variance = state[f"{key}.running_mean"], state[f"{key}.running_var"]
        width = mean.size
        body = _token("<BatchNormComponent>") + _token("<Dim>") + _integer(width)
        body += _token("<BlockDim>") + _integer(width) + _token("<Epsilon>") + _float(EPSILON)
        body += _token("<TargetRms>") + _float(1.0) + _token("<TestMode>") + b"T"
        body += _token("<Count>") + _double(100000.0)
        body += _token("<StatsMean>") + _vector(mean) + _token("<StatsVar>") + _vector(variance)
        return self.add(name, source, body + _token("</BatchNormComponent>"))

    def sum(self, name: str, kept: str, added: str, width: int) -> str:
        body = _token("<NoOpComponent>") + _token("<Dim>") + _integer(width)
        body += _token("<BackpropScale>") + _float(1.0) + _token("</NoOpComponent>")
        return self.add(name, f"Sum(Scale({SKIP}, {kept}), {added})", body)

    def written(self, context: int, log_prior: Matrix) -> bytes:
        nodes = [f"input-node name=input dim={BINS}", *self.nodes]
        nodes.append("output-node name=output input=output.log-softmax objective=linear")
        body = _token("<Nnet3>") + b"\n" + "\n".join(nodes).encode() + b"\n\n"
        body += _token("<NumComponents>") + _integer(len(self.components)) + b"".join(self.components)
        body += _token("</Nnet3>") + _token("<LeftContext>") + _integer(context)
        body += _token("<RightContext>") + _integer(context)
        return body + _token("<Priors>") + _vector(np.exp(log_prior))


def _flat(weights: Matrix) -> Matrix:
    """A convolution's weights (out, in, taps) in Kaldi's order: (out, taps * in)."""
    return np.ascontiguousarray(weights.transpose(0, 2, 1)).reshape(weights.shape[0], -1)


def network(state: Mapping[str, Matrix], decoding: Decoding) -> bytes:
    """The nnet3 part of ``final.mdl``.

    Args:
        state: Weights by their names in `assistant.acoustic.net.Net`.
        decoding: Has the prior of the blank.
    """
    made = _Network()
    mean, scale = state["mean"], state["scale"]
    first = state["first.weight"]
    width = first.shape[0]
    # The scaling of the input becomes part of the first layer, whose edges are replicated, so no bias is lost.
    bias = state["first.bias"] - np.einsum("oit,i->o", first, mean * scale)
    weights = _flat(first * scale[None, :, None])
    last = made.affine("first.affine", "Append(Offset(input, -1), input, Offset(input, 1))", weights, bias)
    last = made.rectified("first.relu", last, width)
    last = made.normal("first.batchnorm", last, state, "first_norm")
    context = 1
    for group in ("early", "late"):
        number = 0
        while f"{group}.{number}.linear.weight" in state:
            key, name = f"{group}.{number}", f"{group}{number}"
            linear, affine = state[f"{key}.linear.weight"], state[f"{key}.affine.weight"]
            step = (1 if group == "early" else SUBSAMPLING) * (linear.shape[2] - 1)
            context += step
            before, after = ([-step, 0], [0, step]) if step else ([0], [0])
            inner = made.convolution(f"{name}.linear", last, _flat(linear), np.zeros(0, np.float32), before)
            inner = made.convolution(
                f"{name}.affine", inner, _flat(affine), state[f"{key}.affine.bias"], after
            )
            inner = made.rectified(f"{name}.relu", inner, width)
            inner = made.normal(f"{name}.batchnorm", inner, state, f"{key}.norm")
            last = made.sum(f"{name}.noop", last, inner, width)
            number += 1
    for name in ("prefinal_in", "prefinal"):
        last = made.affine(name, last, state[f"{name}.weight"][:, :, 0], state[f"{name}.bias"])
    last = made.rectified("prefinal.relu", last, width)
    last = made.normal("prefinal.batchnorm", last, state, "prefinal_norm")
    last = made.affine(
        "prefinal_out", last, state["prefinal_out.weight"][:, :, 0], state["prefinal_out.bias"]
    )
    last = made.normal("prefinal_out.batchnorm", last, state, "prefinal_out_norm")
    outputs = state["output.weight"].shape[0]
    last = made.affine("output.affine", last, state["output.weight"][:, :, 0], state["output.bias"])
    made.softmax("output.log-softmax", last, outputs)
    prior = np.zeros(outputs, np.float32)
    prior[0] = decoding.blank_prior
    return made.written(context, prior)


def write_model(
    folder: Path, state: Mapping[str, Matrix], decoding: Decoding, grammars: GrammarSet | None = None
) -> None:
    """Write a whole model directory.

    Args:
        folder: The folder, which is made if it does not exist.
        state: Weights by name.
        decoding: The decoder's settings.
        grammars: Their words, in any order, make the directory's own graph, so that Vosk can open it unchanged.
    """
    for part in ("am", "conf", "graph/phones"):
        (folder / part).mkdir(parents=True, exist_ok=True)
    (folder / "am" / "final.mdl").write_bytes(b"\0B" + _transition_model() + network(state, decoding))
    names = phone_names()
    lines = ["<eps> 0", *(f"{name} {number}" for number, name in enumerate(names, 1))]
    (folder / "phones.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    kinds = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
    edges = [
        f"{number} {'nonword' if name in SILENCE_PHONES else kinds[name[-1]]}"
        for number, name in enumerate(names, 1)
    ]
    (folder / "graph" / "phones" / "word_boundary.int").write_text("\n".join(edges) + "\n", encoding="utf-8")
    features: dict[str, object] = {
        "use-energy": "false",
        "num-mel-bins": BINS,
        "num-ceps": BINS,
        "low-freq": LOW_HZ,
        "high-freq": HIGH_HZ,
    }
    features |= {"dither": 3, "allow-upsample": "true", "allow-downsample": "true"}
    search: dict[str, object] = {
        "min-active": 200,
        "max-active": 3000,
        "beam": decoding.beam,
        "lattice-beam": 4.0,
    }
    search |= {"acoustic-scale": decoding.acoustic_scale, "frame-subsampling-factor": SUBSAMPLING}
    search |= {"endpoint.silence-phones": "1:2", "endpoint.rule2.min-trailing-silence": 0.5}
    search |= {"endpoint.rule3.min-trailing-silence": 0.75, "endpoint.rule4.min-trailing-silence": 1.0}
    for file, settings in (("mfcc.conf", features), ("model.conf", search)):
        text = "".join(f"--{name}={value}\n" for name, value in settings.items())
        (folder / "conf" / file).write_text(text, encoding="utf-8")
    (folder / "graph" / "disambig_tid.int").touch()
    if grammars is not None:
        layout = PhoneLayout.read(folder)
        assert layout is not None  # noqa: S101  it was written so just now
        words = sorted(grammars.words())
        labels = table_for(words)
        sounds = {word: grammars.lexicon.pronunciations(word) for word in words}
        write_sounds(folder / "graph" / "HCLr.fst", labels, sounds, layout)
        write_words(folder / "graph" / "Gr.fst", Automaton([dict.fromkeys(words, 0)], 0, {0}), labels)
