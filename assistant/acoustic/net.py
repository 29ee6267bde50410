"""The acoustic model: a factored time-delay network (TDNN-F) that Vosk can run.

Povey et al., "Semi-orthogonal low-rank matrix factorization for deep neural networks" (Interspeech 2018), without
the orthogonality constraint; outputs are trained as connectionist temporal classification (Graves et al. 2006):
output 0 is the blank, 1 to 39 are the phones in alphabetical order.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional

from assistant.acoustic.agreed import BINS, EPSILON, OUTPUTS, SKIP, SUBSAMPLING


@dataclass(frozen=True)
class Shape:
    """Sizes of the network.

    Attributes:
        width: Number of units in each layer.
        early: Bottleneck of the layers before subsampling.
        late: Bottleneck of the layers after it.
        early_layers: Layers with a context of one frame to either side, before subsampling.
        late_layers: Layers with a context of three frames to either side, after it.
        prefinal: Bottlenecks of the last two layers.
    """

    width: int = 1024
    early: int = 80
    late: int = 144
    early_layers: int = 3
    late_layers: int = 10
    prefinal: tuple[int, int] = (256, 192)

    @property
    def context(self) -> int:
        """Number of frames that the network sees on either side."""
        return 1 + self.early_layers + SUBSAMPLING * self.late_layers

    def to_json(self) -> dict[str, object]:
        """The sizes, for a file beside the weights."""
        return asdict(self)


class Layer(nn.Module):
    """One factored layer; `reach` is 1 if it sees one step on either side, else 0; `dropout` is for training."""

    def __init__(self, width: int, bottleneck: int, reach: int, dropout: float) -> None:
        super().__init__()
        self.reach, self.dropout = reach, dropout
        self.linear = nn.Conv1d(width, bottleneck, 1 + reach, bias=False)
        self.affine = nn.Conv1d(bottleneck, width, 1 + reach)
        self.norm = nn.BatchNorm1d(width, eps=EPSILON, affine=False)

    def forward(self, sound: Tensor) -> Tensor:
        """Shape (batch, steps, width); loses `reach` steps at either end."""
        out = normal(self.norm, functional.relu(convolved(convolved(sound, self.linear), self.affine)))
        out = functional.dropout(out, self.dropout, self.training)
        kept = sound[:, self.reach : sound.shape[1] - self.reach] if self.reach else sound
        return out + SKIP * kept


def convolved(sound: Tensor, layer: nn.Conv1d) -> Tensor:
    """A convolution over the steps of (batch, steps, channels), as a matrix product; faster than PyTorch's own."""
    taps = layer.kernel_size[0]
    steps = sound.shape[1] - taps + 1
    wide = torch.cat([sound[:, tap : tap + steps] for tap in range(taps)], 2) if taps > 1 else sound
    return functional.linear(wide, layer.weight.transpose(1, 2).flatten(1), layer.bias)


def normal(norm: nn.BatchNorm1d, sound: Tensor) -> Tensor:
    """Batch normalisation over the channels of (batch, steps, channels)."""
    return norm(sound.flatten(0, 1)).view(sound.shape)


class Net(nn.Module):
    """Turns cepstra, shape (batch, frames, BINS), into log-probabilities, shape (batch, ceil(frames / 3),
    OUTPUTS).
    """

    def __init__(self, shape: Shape, dropout: float = 0.0) -> None:
        super().__init__()
        self.shape = shape
        width = shape.width
        self.first = nn.Conv1d(BINS, width, 3)
        self.first_norm = nn.BatchNorm1d(width, eps=EPSILON, affine=False)
        early = [Layer(width, shape.early, 1, dropout) for _ in range(shape.early_layers)]
        self.early = nn.ModuleList([*early, Layer(width, shape.early, 0, dropout)])
        self.late = nn.ModuleList([Layer(width, shape.late, 1, dropout) for _ in range(shape.late_layers)])
        self.prefinal_in = nn.Conv1d(width, shape.prefinal[0], 1)
        self.prefinal = nn.Conv1d(shape.prefinal[0], width, 1)
        self.prefinal_norm = nn.BatchNorm1d(width, eps=EPSILON, affine=False)
        self.prefinal_out = nn.Conv1d(width, shape.prefinal[1], 1)
        self.prefinal_out_norm = nn.BatchNorm1d(shape.prefinal[1], eps=EPSILON, affine=False)
        self.output = nn.Conv1d(shape.prefinal[1], OUTPUTS, 1)
        self.register_buffer("mean", torch.zeros(BINS))
        self.register_buffer("scale", torch.ones(BINS))

    def forward(self, cepstra: Tensor) -> Tensor:
        """The edges are replicated, as in Kaldi at the ends of an utterance."""
        frames = ((cepstra - self.mean) * self.scale).transpose(1, 2)
        context = self.shape.context
        out = functional.pad(frames, (context, context), mode="replicate").transpose(1, 2)
        out = normal(self.first_norm, functional.relu(convolved(out, self.first)))
        for layer in self.early:
            out = layer(out)
        out = out[:, ::SUBSAMPLING]
        for layer in self.late:
            out = layer(out)
        out = convolved(convolved(out, self.prefinal_in), self.prefinal)
        out = normal(self.prefinal_norm, functional.relu(out))
        out = normal(self.prefinal_out_norm, convolved(out, self.prefinal_out))
        return functional.log_softmax(convolved(out, self.output).float(), 2)
