"""The arithmetic that costs time: products, convolution, normalisation, quantisation and the error function.

Everything is 32-bit floating point unless a function says otherwise. Long rows are worked on in blocks that fit the
processor's cache, and into the same memory: that is what makes numpy alone quick enough for a voice.
"""

from __future__ import annotations

import math
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Integers = NDArray[np.integer[Any]]

_BLOCK = 1 << 14
"""Elements of a block: with three working copies 256 KiB, which stay in the second cache of any present processor."""

_ERFC_P = 0.3875
_ERFC = (0.235498234, 0.078106334, 0.683653942, -0.68650124, 0.920174992, -0.230932236)
"""1 - erf(x) = (c1 t + c2 t^2 + ...) exp(-x^2) with t = 1/(1 + p x) for x >= 0: Abramowitz and Stegun, Handbook of
Mathematical Functions, 7.1.26, with six factors in place of five. They were fitted by least squares that were weighted
anew until the largest error was least: 2.6e-8, where theirs is 1.5e-7, which eight-bit rounding behind it would show.
"""


def erf(x: Floats) -> Floats:
    """The error function of each element, at most 4e-7 off (mostly rounding)."""
    size = np.abs(x)
    t = 1 / (1 + np.float32(_ERFC_P) * size)
    poly = np.full_like(t, _ERFC[-1])
    for factor in _ERFC[-2::-1]:
        poly *= t
        poly += np.float32(factor)
    poly *= t
    poly *= np.exp(-size * size)
    return np.asarray(np.copysign(1 - poly, x), np.float32)


def gelu_in_place(x: Floats) -> None:
    """Replace each element by x/2 (1 + erf(x/√2)).

    Written as max(x, 0) - |x|/2 (1 - erf(|x|/√2)), so that nothing cancels out for negative x.

    Raises:
        ValueError: `x` does not lie in one piece of memory.
    """
    if not x.flags.c_contiguous:
        raise ValueError("the array lies in several pieces")  # a copy of it would be changed, and lost
    flat = x.reshape(-1)
    size = min(_BLOCK, flat.size)
    a_of, t_of, bell_of = (np.empty(size, np.float32) for _ in range(3))
    for start in range(0, flat.size, _BLOCK):
        block = flat[start : start + _BLOCK]
        a, t, bell = a_of[: block.size], t_of[: block.size], bell_of[: block.size]
        np.abs(block, out=a)
        np.multiply(a, np.float32(_ERFC_P / math.sqrt(2)), out=t)
        t += np.float32(1)
        np.reciprocal(t, out=t)
        np.multiply(a, a, out=bell)
        bell *= np.float32(-0.5)
        np.exp(bell, out=bell)
        bell *= a
        bell *= t
        np.multiply(t, np.float32(_ERFC[-1] / 2), out=a)
        for factor in _ERFC[-2:0:-1]:
            a += np.float32(factor / 2)
            a *= t
        a += np.float32(_ERFC[0] / 2)
        a *= bell
        np.maximum(block, np.float32(0), out=block)
        block -= a


def normalised(x: Floats, scale: Floats, bias: Floats | None, epsilon: float) -> Floats:
    """Each row less its mean, over its standard deviation, times `scale`, plus `bias` (Ba, Kiros and Hinton 2016)."""
    y = x - x.mean(-1, keepdims=True, dtype=np.float32)
    deviation = np.einsum("...i,...i->...", y, y)[..., None]
    deviation /= np.float32(x.shape[-1])
    deviation += np.float32(epsilon)
    np.sqrt(deviation, out=deviation)
    y /= deviation
    y *= scale
    if bias is not None:
        y += bias
    return np.asarray(y, np.float32)


def softmax(x: Floats, axis: int) -> Floats:
    """exp(x) over its sum along `axis`; the largest element is taken off first, so nothing overflows."""
    y = x - x.max(axis, keepdims=True)
    np.exp(y, out=y)
    y /= y.sum(axis, keepdims=True)
    return np.asarray(y, np.float32)


def grid_of(x: Floats) -> tuple[np.float32, int]:
    """Scale and zero point of a grid of 256 values that holds 0 and every element of `x`."""
    least, most = min(float(x.min()), 0.0), max(float(x.max()), 0.0)
    scale = np.float32((np.float32(most) - np.float32(least)) / np.float32(255))
    if not scale > 0:
        return np.float32(1), 0
    return scale, int(np.clip(np.rint(np.float32(-least) / scale), 0, 255))


def quantised(x: Floats) -> tuple[NDArray[np.uint8], Floats, NDArray[np.uint8]]:
    """DynamicQuantizeLinear: numbers of eight bits, the scale of their grid, and the number that stands for 0."""
    scale, zero = grid_of(x)
    numbers = np.clip(np.rint(x / scale) + np.float32(zero), 0, 255).astype(np.uint8)
    return numbers, np.asarray(scale), np.asarray(zero, np.uint8)


def integer_product(
    a: Integers, b: Integers, a_zero: Integers | None = None, b_zero: Integers | None = None
) -> NDArray[np.int32]:
    """MatMulInteger: the exact product of two matrices of small whole numbers, each less its zero point.

    64-bit floating-point numbers hold every sum exactly, and only they have a quick product in numpy.
    """
    left = a.astype(np.float64) - (0 if a_zero is None else a_zero)
    right = b.astype(np.float64) - (0 if b_zero is None else b_zero)
    return np.asarray((left @ right).astype(np.int32))


class QuantisedRows:
    """Rows on a grid of 256 values: what DynamicQuantizeLinear makes of `x`, as whole numbers less the zero point.

    Args:
        x: The rows.
        overwrite: Nobody else needs `x`, so its memory may hold the result.
    """

    def __init__(self, x: Floats, *, overwrite: bool = False) -> None:
        self.scale, zero = grid_of(x)
        self.grid = np.divide(x, self.scale, out=x if overwrite else None)
        np.rint(self.grid, out=self.grid)
        np.clip(self.grid, np.float32(-zero), np.float32(255 - zero), out=self.grid)


def linear(x: QuantisedRows, weight: NDArray[np.int8], weight_scale: Floats, bias: Floats) -> Floats:
    """Multiply quantised rows by a matrix of eight-bit numbers, scale the product and add `bias`.

    With the quantising, what DynamicQuantizeLinear, MatMulInteger, Cast, Mul and Add do one after the other.
    The whole numbers are multiplied as 32-bit floating-point numbers; a sum above 2^24 is rounded, as Cast would round
    it afterwards. The weights become floating-point numbers for the moment only: that takes a hundredth of the time,
    and keeping them would take 22 MiB.

    Args:
        x: (..., rows, inputs).
        weight: (inputs, outputs), zero point 0.
        weight_scale: The weights' scale, one number.
        bias: (outputs,).
    """
    y = x.grid @ weight.astype(np.float32)
    y *= x.scale * weight_scale
    y += bias
    return np.asarray(y)


@dataclass(frozen=True)
class LateRows:
    """Some columns of a `linear` product, computed for a few rows at a time, when they are wanted."""

    x: QuantisedRows
    weight: NDArray[np.int8]
    weight_scale: Floats
    bias: Floats

    @property
    def shape(self) -> tuple[int, ...]:
        """Of the whole product, rows last, as the network's results have it."""
        return (*self.x.grid.shape[:-2], self.weight.shape[1], self.x.grid.shape[-2])

    def rows(self, block: slice) -> Floats:
        """These rows: (rows, columns)."""
        part = copy(self.x)
        part.grid = part.grid.reshape(-1, part.grid.shape[-1])[block]
        return linear(part, self.weight, self.weight_scale, self.bias)


def convolved(
    x: Floats, weight: Floats, bias: Floats | None, pads: tuple[int, int], dilation: int, group: int
) -> Floats:
    """Conv along time: each output is a weighted sum of the inputs around its moment.

    Args:
        x: (batch, channels, moments).
        weight: (outputs, channels of a group, taps).
        bias: (outputs,).
        pads: Zeros before and after.
        dilation: Moments from one tap to the next.
        group: 1, or as many as there are channels, which then each have a filter of their own.

    The result is a view of (batch, moments, outputs): the network goes on with that order, and a row lies in one piece.

    Raises:
        ValueError: The shapes do not fit each other.
    """
    outputs, width, taps = weight.shape
    rows = x.transpose(0, 2, 1)
    batch, moments, channels = rows.shape
    own_filters = group == channels == outputs and width == 1
    if not own_filters and (group != 1 or width != channels):
        raise ValueError(f"a convolution of {channels} channels in {group} groups by weights {weight.shape}")
    if any(pads):
        padded = np.zeros((batch, moments + sum(pads), channels), np.float32)
        padded[:, pads[0] : pads[0] + moments] = rows
        rows = padded
    count = rows.shape[1] - dilation * (taps - 1)
    taken = [rows[:, tap * dilation : tap * dilation + count] for tap in range(taps)]
    if own_filters:
        y = taken[0] * weight[:, 0, 0]
        product = np.empty_like(y)
        for tap in range(1, taps):
            np.multiply(taken[tap], weight[:, 0, tap], out=product)
            y += product
    else:
        y = taken[0] @ weight[:, :, 0].T
        for tap in range(1, taps):
            y += taken[tap] @ weight[:, :, tap].T
    if bias is not None:
        y += bias
    return np.asarray(y.transpose(0, 2, 1))
