"""The operators of a voice's network, each a function of its attributes and its inputs.

Whole numbers may lie on the CPU while the rest lies on a GPU; `_near` brings them together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

import numpy as np
import torch
from onnx import numpy_helper
from torch import Tensor
from torch.nn import functional

FLOAT = torch.float32
LSTM = "DynamicQuantizeLSTM"

About: TypeAlias = Mapping[str, Any]

KINDS = {1: FLOAT, 2: FLOAT, 3: FLOAT, 6: FLOAT, 7: torch.int64, 9: torch.bool, 10: FLOAT, 11: torch.float64}
"""PyTorch's type for ONNX's number of a type; what is quantised stays a number, so 8 and 32 bits are floats too."""


def _whole(values: Tensor | None) -> list[int]:
    return [] if values is None else [int(value) for value in values.reshape(-1).tolist()]


def _near(first: Tensor, second: Tensor) -> tuple[Tensor, Tensor]:
    """Both on the GPU if one is there."""
    if first.device == second.device:
        return first, second
    there = first.device if first.device.type != "cpu" else second.device
    return first.to(there), second.to(there)


def _two(work: Callable[[Tensor, Tensor], Tensor]) -> Callable[..., Tensor]:
    return lambda _, first, second: work(*_near(first, second))


def _one(work: Callable[[Tensor], Tensor]) -> Callable[..., Tensor]:
    return lambda _, given: work(given)


def _div(first: Tensor, second: Tensor) -> Tensor:
    if first.is_floating_point() or second.is_floating_point():
        return first / second
    return torch.div(first, second, rounding_mode="floor")


def _cast(about: About, given: Tensor) -> Tensor:
    return given.to(KINDS[about["to"]])


def _shape(about: About, given: Tensor) -> Tensor:
    return torch.tensor(list(given.shape)[about.get("start", 0) : about.get("end")])


def _unsqueeze(_: About, given: Tensor, axes: Tensor) -> Tensor:
    places = _whole(axes)
    count = given.dim() + len(places)
    for axis in sorted(axis % count for axis in places):
        given = given.unsqueeze(axis)
    return given


def _squeeze(_: About, given: Tensor, axes: Tensor | None = None) -> Tensor:
    if axes is None:
        return given.squeeze()
    return given.squeeze(tuple(_whole(axes)))


def _reshape(_: About, given: Tensor, shape: Tensor) -> Tensor:
    return given.reshape([given.shape[n] if size == 0 else size for n, size in enumerate(_whole(shape))])


def _gather(about: About, given: Tensor, places: Tensor) -> Tensor:
    axis = about.get("axis", 0) % given.dim()
    given, places = _near(given, places) if places.dim() else (given, places)
    if not places.dim():
        return given.select(axis, int(places))
    made = given.index_select(axis, places.reshape(-1) % given.shape[axis])
    return made.reshape(*given.shape[:axis], *places.shape, *given.shape[axis + 1 :])


def _split(about: About, given: Tensor, sizes: Tensor | None = None) -> tuple[Tensor, ...]:
    axis = about.get("axis", 0)
    parts = _whole(sizes) or [given.shape[axis] // about["num_outputs"]] * about["num_outputs"]
    return tuple(torch.split(given, parts, axis))


def _concat(about: About, *given: Tensor) -> Tensor:
    there = next((one.device for one in given if one.device.type != "cpu"), given[0].device)
    return torch.cat(
        [one.reshape(1).to(there) if not one.dim() else one.to(there) for one in given], about["axis"]
    )


def _slice(
    _: About,
    given: Tensor,
    first: Tensor,
    last: Tensor,
    axes: Tensor | None = None,
    steps: Tensor | None = None,
) -> Tensor:
    begins, ends = _whole(first), _whole(last)
    strides = _whole(steps) or [1] * len(begins)
    for begin, end, axis, stride in zip(
        begins, ends, _whole(axes) or range(len(begins)), strides, strict=True
    ):
        places = range(given.shape[axis])[begin : end if abs(end) < 2**62 else None : stride]
        given = given.index_select(axis, torch.tensor(list(places), dtype=torch.int64, device=given.device))
    return given


def _mean(about: About, given: Tensor, axes: Tensor | None = None) -> Tensor:
    return given.mean(_whole(axes) or list(about["axes"]), keepdim=bool(about.get("keepdims", 1)))


def _sum(about: About, given: Tensor, axes: Tensor | None = None) -> Tensor:
    return given.sum(_whole(axes) or list(about["axes"]), keepdim=bool(about.get("keepdims", 1)))


def _clip(_: About, given: Tensor, low: Tensor | None = None, high: Tensor | None = None) -> Tensor:
    return given.clamp(None if low is None else float(low), None if high is None else float(high))


def _layer_norm(about: About, given: Tensor, scale: Tensor, bias: Tensor | None = None) -> Tensor:
    sizes = given.shape[about.get("axis", -1) % given.dim() :]
    return functional.layer_norm(given, sizes, scale.expand(sizes), bias, about.get("epsilon", 1e-5))


def _skip_norm(
    about: About, given: Tensor, beside: Tensor, scale: Tensor, shift: Tensor, bias: Tensor | None = None
) -> Tensor:
    both = given + beside if bias is None else given + beside + bias
    return functional.layer_norm(both, both.shape[-1:], scale, shift, about.get("epsilon", 1e-12))


def _not_quantised(_: About, given: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """The values as they are, a scale of 1 and a zero of 0."""
    return given, torch.ones((), device=given.device), torch.zeros((), device=given.device)


def _dequantised(_: About, given: Tensor, scale: Tensor, zero: Tensor) -> Tensor:
    return (given - zero) * scale


def _product(_: About, given: Tensor, weights: Tensor, _given_zero: Tensor, zero: Tensor) -> Tensor:
    return given @ (weights - zero)


def _whole_convolution(
    about: About, given: Tensor, weights: Tensor, _given_zero: Tensor, zero: Tensor
) -> Tensor:
    return _convolution(about, given, weights - (zero if not zero.dim() else zero.reshape(-1, 1, 1)))


def _convolution(about: About, given: Tensor, weights: Tensor, bias: Tensor | None = None) -> Tensor:
    before, after = about.get("pads", [0, 0])
    given = functional.pad(given, (before, after))
    stride, dilation = about.get("strides", [1])[0], about.get("dilations", [1])[0]
    return functional.conv1d(given, weights, bias, stride, 0, dilation, about.get("group", 1))


def _transposed_convolution(
    about: About, given: Tensor, weights: Tensor, bias: Tensor | None = None
) -> Tensor:
    return functional.conv_transpose1d(
        given,
        weights,
        bias,
        about.get("strides", [1])[0],
        about.get("pads", [0, 0])[0],
        about.get("output_padding", [0])[0],
        about.get("group", 1),
        about.get("dilations", [1])[0],
    )


def _fused_product(about: About, first: Tensor, second: Tensor) -> Tensor:
    first = first.transpose(-1, -2) if about.get("transA") else first
    second = second.transpose(-1, -2) if about.get("transB") else second
    return first @ second * about.get("alpha", 1.0)


def _where(_: About, which: Tensor, first: Tensor, second: Tensor) -> Tensor:
    first, second = _near(first, second)
    which, first = _near(which, first)
    return torch.where(which, *_near(first, second))


def _filled(about: About, shape: Tensor) -> Tensor:
    value = numpy_helper.to_array(about["value"]) if "value" in about else np.zeros(1, np.float32)
    return torch.from_numpy(np.full(_whole(shape), value[0], value.dtype))


def _resized(about: About, given: Tensor, _region: Tensor | None, scales: Tensor) -> Tensor:
    """The last axis made longer or shorter: the nearest sample, or a line between two."""
    factor = float(scales.reshape(-1)[-1])
    old, new = given.shape[-1], int(given.shape[-1] * factor)
    places = torch.arange(new, device=given.device, dtype=torch.float64)
    if about["mode"] == b"nearest":
        return given.index_select(-1, (places / factor).floor().long().clamp(0, old - 1))
    if about["coordinate_transformation_mode"] == b"align_corners":
        at = places * (old - 1) / max(1, new - 1)
    else:
        at = ((places + 0.5) / factor - 0.5).clamp(0, old - 1)
    low = at.floor().long()
    share = (at - low).to(given.dtype)
    return (
        given.index_select(-1, low) * (1 - share)
        + given.index_select(-1, (low + 1).clamp(max=old - 1)) * share
    )


def _expanded(_: About, given: Tensor, shape: Tensor) -> Tensor:
    return given.expand(torch.broadcast_shapes(given.shape, _whole(shape)))


def _cumulated(_: About, given: Tensor, axis: Tensor) -> Tensor:
    return given.cumsum(int(axis))


def _range(_: About, first: Tensor, last: Tensor, step: Tensor) -> Tensor:
    return torch.arange(int(first), int(last), int(step))


def _padded(
    about: About, given: Tensor, pads: Tensor, value: Tensor | None = None, _axes: Tensor | None = None
) -> Tensor:
    each = _whole(pads)
    count = len(each) // 2
    sides = [size for axis in reversed(range(count)) for size in (each[axis], each[axis + count])]
    mode = about.get("mode", b"constant").decode()
    if mode == "constant":
        return functional.pad(given, sides, value=0.0 if value is None else float(value))
    made = functional.pad(
        given.reshape(1, -1, given.shape[-1]), sides[:2], mode={"edge": "replicate"}.get(mode, mode)
    )
    return made.reshape(*given.shape[:-1], -1)


def _spectra(_: About, given: Tensor, step: Tensor, window: Tensor, _length: Tensor | None = None) -> Tensor:
    pieces = given.unfold(1, len(window), int(step)) * window
    return torch.view_as_real(torch.fft.rfft(pieces))


def _not_zero(_: About, given: Tensor) -> Tensor:
    return torch.stack(torch.nonzero(given, as_tuple=True))


def _scattered(_: About, given: Tensor, places: Tensor, values: Tensor) -> Tensor:
    made = given.clone()
    made[tuple(places.to(given.device).unbind(-1))] = values.to(given.device)
    return made


OPERATORS: Mapping[str, Callable[..., Any]] = {
    "Add": _two(torch.add),
    "And": _two(torch.logical_and),
    # Where both parts of a spectrum are zero the file divides nothing by nothing.
    "Atan": _one(lambda given: given.nan_to_num(0.0).atan()),
    "Cast": _cast,
    "Clip": _clip,
    "Concat": _concat,
    "ConstantOfShape": _filled,
    "Conv": _convolution,
    "ConvInteger": _whole_convolution,
    "ConvTranspose": _transposed_convolution,
    "Cos": _one(torch.cos),
    "CumSum": _cumulated,
    "DequantizeLinear": _dequantised,
    "Div": _two(_div),
    "DynamicQuantizeLinear": _not_quantised,
    "Equal": _two(torch.eq),
    "Exp": _one(torch.exp),
    "Expand": _expanded,
    "FastGelu": lambda _, given, bias: functional.gelu(given + bias, approximate="tanh"),
    "Floor": _one(torch.floor),
    "FusedMatMul": _fused_product,
    "Gather": _gather,
    "Greater": _two(torch.gt),
    "GreaterOrEqual": _two(torch.ge),
    "LayerNormalization": _layer_norm,
    "LeakyRelu": lambda about, given: functional.leaky_relu(given, about.get("alpha", 0.01)),
    "Less": _two(torch.lt),
    "MatMul": _two(torch.matmul),
    "MatMulInteger": _product,
    "Mul": _two(torch.mul),
    "NonZero": _not_zero,
    "Pad": _padded,
    "Pow": _two(torch.pow),
    "Range": _range,
    "ReduceMean": _mean,
    "ReduceSum": _sum,
    "Reshape": _reshape,
    "Resize": _resized,
    "Round": _one(torch.round),
    "STFT": _spectra,
    "ScatterND": _scattered,
    "Shape": _shape,
    "Sigmoid": _one(torch.sigmoid),
    "Sin": _one(torch.sin),
    "SkipLayerNormalization": _skip_norm,
    "Slice": _slice,
    "Softmax": lambda about, given: given.softmax(about.get("axis", -1)),
    "Split": _split,
    "Sqrt": _one(torch.sqrt),
    "Squeeze": _squeeze,
    "Sub": _two(torch.sub),
    "Tanh": _one(torch.tanh),
    "Transpose": lambda about, given: given.permute(*about["perm"]),
    "Unsqueeze": _unsqueeze,
    "Where": _where,
}
