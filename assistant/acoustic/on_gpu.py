"""Runs the ONNX file of a neural voice with PyTorch, so that a GPU speaks: some 25 times as fast as a core.

Only the operators that Kokoro's file has are known. Weights in 8 bits become numbers again when the file is read, and
activations stay numbers. Whole numbers that are known on the CPU (shapes, places) stay there, so that nothing waits
for the GPU to tell a length.
Operators: the ONNX specification (https://onnx.ai/onnx/operators/) and, for those of `com.microsoft`, the
documentation of onnxruntime ("ContribOperators.md").
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import onnx
import torch
from onnx import helper, numpy_helper
from torch import Tensor

from assistant.acoustic.operators import FLOAT, LSTM, OPERATORS
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


class GpuVoice:
    """A voice's network on a device.

    Args:
        path: The ONNX file.
        device: Where to run it: "cuda" or "cpu".

    Raises:
        FileProblem: The file holds an operator that is not known here.
    """

    def __init__(self, path: Path, device: str) -> None:
        graph = onnx.load(str(path)).graph
        self._device = torch.device(device)
        raw = {one.name: numpy_helper.to_array(one) for one in graph.initializer}
        self._outputs = [one.name for one in graph.output]
        self._fixed = {name: self._tensor(values) for name, values in raw.items()}
        self._nodes: list[tuple[Any, list[str], list[str]]] = []
        for node in graph.node:
            about = {one.name: helper.get_attribute_value(one) for one in node.attribute}
            inputs = list(node.input)
            if node.op_type == LSTM:
                work: Any = _recurrent(raw, inputs, about).to(self._device)
                inputs = inputs[:1]
            elif node.op_type == "Floor" and "quant" in inputs[0]:
                work = _same  # a bias that the file rounds to 8 bits stays as it is
            elif node.op_type in OPERATORS:
                work = _Applied(OPERATORS[node.op_type], about)
            else:
                raise FileProblem(
                    path, 0, f"the operator {node.op_type} is not known here", "add it to operators.py"
                )
            self._nodes.append((work, inputs, list(node.output)))
        self._over = self._last_uses()

    def _tensor(self, values: NDArray[Any]) -> Tensor:
        """Numbers go to the device; whole numbers of shapes stay on the CPU."""
        if values.dtype in (np.float32, np.float16, np.uint8, np.int8):
            return torch.from_numpy(np.array(values, np.float32)).to(self._device)
        return torch.from_numpy(np.array(values))

    def _last_uses(self) -> list[list[str]]:
        """For each node the values that nothing needs after it."""
        last = {name: number for number, (_, inputs, _) in enumerate(self._nodes) for name in inputs}
        over: list[list[str]] = [[] for _ in self._nodes]
        for name, number in last.items():
            if name and name not in self._fixed and name not in self._outputs:
                over[number].append(name)
        return over

    def run(self, **given: NDArray[Any]) -> list[NDArray[np.float32]]:
        """The outputs for these inputs, which are named as in the file."""
        with torch.inference_mode():
            return self._run(given)

    def _run(self, given: dict[str, NDArray[Any]]) -> list[NDArray[np.float32]]:
        values = dict(self._fixed)
        for name, array in given.items():
            values[name] = torch.from_numpy(np.asarray(array)).to(self._device)
        for (work, inputs, outputs), over in zip(self._nodes, self._over, strict=True):
            made = work(*(values[name] if name else None for name in inputs))
            values.update(zip(outputs, made if isinstance(made, tuple) else (made,), strict=False))
            for name in over:
                values.pop(name, None)
        return [values[name].to(FLOAT).cpu().numpy() for name in self._outputs]


class _Applied:
    """An operator with its attributes."""

    def __init__(self, operator: Any, about: dict[str, Any]) -> None:
        self._operator, self._about = operator, about

    def __call__(self, *given: Tensor | None) -> Any:
        return self._operator(self._about, *given)


def _same(given: Tensor) -> Tensor:
    return given


class _Recurrent(torch.nn.Module):
    """A layer of long short-term memory with the shape of outputs that ONNX has: (steps, directions, batch, size)."""

    def __init__(self, inputs: int, size: int) -> None:
        super().__init__()
        self.layer = torch.nn.LSTM(inputs, size, bidirectional=True)

    def forward(self, given: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        made, (state, cell) = self.layer(given)
        return made.unflatten(2, (2, -1)).transpose(1, 2), state, cell


def _recurrent(raw: dict[str, NDArray[Any]], inputs: list[str], about: dict[str, Any]) -> _Recurrent:
    """A ``DynamicQuantizeLSTM``: its weights as numbers, its gates (input, output, forget, cell) in PyTorch's order."""
    first, again, bias = inputs[1:4]
    from_input = _as_numbers(raw, first, inputs[8], inputs[9])
    from_state = _as_numbers(raw, again, inputs[10], inputs[11])
    size = int(about["hidden_size"])
    made = _Recurrent(from_input.shape[1], size)

    def gates(values: NDArray[np.float32]) -> Tensor:
        i, o, f, c = np.split(values, 4)
        return torch.from_numpy(np.concatenate([i, f, c, o]))

    biases = raw[bias].astype(np.float32)
    with torch.no_grad():
        for number, end in enumerate(("", "_reverse")):
            getattr(made.layer, f"weight_ih_l0{end}").copy_(gates(from_input[number].T))
            getattr(made.layer, f"weight_hh_l0{end}").copy_(gates(from_state[number].T))
            getattr(made.layer, f"bias_ih_l0{end}").copy_(gates(biases[number, : 4 * size]))
            getattr(made.layer, f"bias_hh_l0{end}").copy_(gates(biases[number, 4 * size :]))
    return made.eval()


def _as_numbers(raw: dict[str, NDArray[Any]], weights: str, scale: str, zero: str) -> NDArray[np.float32]:
    """Weights of shape (directions, inputs, 4 x size); scale and zero are one for each direction, or column too."""
    scales, zeros = (raw[name].astype(np.float32) for name in (scale, zero))
    if scales.ndim == 2:
        scales, zeros = scales[:, None, :], zeros[:, None, :]
    else:
        scales, zeros = scales.reshape(-1, 1, 1), zeros.reshape(-1, 1, 1)
    return np.asarray((raw[weights].astype(np.float32) - zeros) * scales, np.float32)
