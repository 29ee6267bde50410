"""The loss against all phone sequences: the forward algorithm over a bigram, with its derivative."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import torch
from torch import Tensor

from assistant.acoustic.agreed import OUTPUTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


class Denominator(torch.nn.Module):
    """Log-probability of all phone sequences under a bigram, by the forward algorithm over dense matrices.

    States: 0 is the blank at the beginning; for each phone one state that emits it and one for the blank after it.
    """

    def __init__(self, sequences: Sequence[NDArray[np.int64]], discount: float = 0.5) -> None:
        super().__init__()
        phones = OUTPUTS - 1
        pairs = np.full((OUTPUTS, OUTPUTS), discount)
        for said in sequences:
            before = np.concatenate([[0], said])
            np.add.at(pairs, (before[:-1], before[1:]), 1)
        follow = pairs[:, 1:] / pairs[:, 1:].sum(1, keepdims=True)
        states = 1 + 2 * phones
        arcs = np.zeros((states, states))
        arcs[0, 0] = 1
        arcs[0, 1 : 1 + phones] = follow[0]
        for phone in range(phones):
            emit, blank = 1 + phone, 1 + phones + phone
            arcs[emit, emit] = arcs[emit, blank] = arcs[blank, blank] = 1
            arcs[emit, 1 : 1 + phones] += follow[1 + phone] * (np.arange(phones) != phone)
            arcs[blank, 1 : 1 + phones] = follow[1 + phone]
        outputs = np.concatenate([[0], np.arange(1, 1 + phones), np.zeros(phones, np.int64)])
        self.register_buffer("arcs", torch.from_numpy(arcs).float())
        self.register_buffer("outputs", torch.from_numpy(outputs.astype(np.int64)))

    def forward(self, logs: Tensor) -> Tensor:
        """The log-probability of each of the batch; `logs` has the shape (batch, steps, OUTPUTS)."""
        total: Tensor = _AllPaths.apply(logs, self.arcs, self.outputs)
        return total


class _AllPaths(torch.autograd.Function):
    """The sum over all paths; its derivative is the probability of each state at each step."""

    @staticmethod
    def forward(context: Any, logs: Tensor, arcs: Tensor, outputs: Tensor) -> Tensor:
        emitted = logs[:, :, outputs]
        top = emitted.amax(2, keepdim=True)
        likely = (emitted - top).exp().transpose(0, 1).contiguous()
        alphas = torch.empty_like(likely)
        scales = torch.empty(likely.shape[0], likely.shape[1], 1, device=logs.device)
        alpha = likely[0] * arcs[0]
        for step in range(len(likely)):
            if step:
                alpha = torch.matmul(alpha, arcs) * likely[step]
            scales[step] = alpha.sum(1, keepdim=True)
            alpha = alpha / scales[step]
            alphas[step] = alpha
        back = arcs.T.contiguous()
        beta = torch.ones_like(alpha)
        occupied = torch.empty_like(likely)
        occupied[-1] = alphas[-1]
        for step in range(len(likely) - 2, -1, -1):
            beta = torch.matmul(beta * likely[step + 1], back) / scales[step + 1]
            occupied[step] = alphas[step] * beta
        slope = torch.zeros_like(logs).index_add_(2, outputs, occupied.transpose(0, 1))
        context.save_for_backward(slope)
        return top.sum((1, 2)) + scales.log().sum((0, 2))

    @staticmethod
    def backward(context: Any, *above: Tensor) -> tuple[Tensor, None, None]:
        (slope,) = context.saved_tensors
        return above[0][:, None, None] * slope, None, None
