"""The arithmetic of the network against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.speaking.neural.arithmetic import (
    LateRows,
    QuantisedRows,
    convolved,
    erf,
    gelu_in_place,
    linear,
    normalised,
    softmax,
)

FAR = np.concatenate([np.linspace(-12, 12, 40_001), [0.0, -0.0, 1e-30, -1e-30, 60.0, -60.0]])


def test_the_error_function() -> None:
    """Within 4e-7 of Python's own over all that matters, and exactly odd."""
    x = FAR.astype(np.float32)
    expected = np.array([math.erf(value) for value in x])
    assert np.abs(expected - erf(x)).max() < 4e-7
    assert np.array_equal(-erf(x), erf(-x))


def test_gelu() -> None:
    """x/2 (1 + erf(x/√2)), within 3e-7, also where it is nearly 0; several blocks, so that their ends are seen."""
    x = FAR.astype(np.float32)
    expected = np.array([value / 2 * math.erfc(-value / math.sqrt(2)) for value in x.astype(float)])
    gelu_in_place(x)
    assert np.abs(expected - x).max() < 3e-7


def test_gelu_refuses_an_array_in_pieces() -> None:
    """Overwriting a copy would change nothing, so it fails loudly instead."""
    with pytest.raises(ValueError, match="several pieces"):
        gelu_in_place(np.ones((4, 6), np.float32)[:, :4])


@given(st.integers(0, 9999), st.integers(1, 9), st.integers(2, 40))
def test_normalised_rows(seed: int, rows: int, width: int) -> None:
    """Without scale and bias each row has mean 0 and variance 1 (a constant one stays 0)."""
    x = (np.random.default_rng(seed).standard_normal((rows, width)) * 5 + 3).astype(np.float32)
    y = normalised(x, np.ones(width, np.float32), None, 0.0)
    assert np.allclose(y.mean(-1), 0, atol=1e-5)
    assert np.allclose(y.var(-1), 1, atol=1e-4)
    level = normalised(np.full((1, width), 7, np.float32), np.ones(width, np.float32), None, 1e-5)
    assert np.allclose(level, 0, atol=1e-5)


def test_softmax_of_logarithms() -> None:
    """The softmax of log p is p, whatever constant is added, also one that would overflow."""
    p = np.array([[0.1, 0.2, 0.7]], np.float32)
    assert np.allclose(p, softmax(np.log(p), -1), atol=1e-6)
    assert np.allclose(p, softmax(np.log(p) + np.float32(500), -1), atol=1e-4)


@given(st.integers(0, 9999), st.integers(1, 4), st.integers(1, 7), st.integers(1, 3), st.integers(0, 6))
def test_convolution_with_filters_of_their_own(
    seed: int, channels: int, taps: int, dilation: int, pad: int
) -> None:
    """Each channel is numpy's own correlation with its filter, the taps spread out by zeros."""
    random = np.random.default_rng(seed)
    x = random.standard_normal((1, channels, 20)).astype(np.float32)
    weight = random.standard_normal((channels, 1, taps)).astype(np.float32)
    y = convolved(x, weight, None, (pad, pad), dilation, channels)
    for channel in range(channels):
        spread = np.zeros(dilation * (taps - 1) + 1)
        spread[::dilation] = weight[channel, 0]
        expected = np.correlate(np.pad(x[0, channel], pad), spread, "valid")
        assert np.allclose(expected, y[0, channel], atol=1e-4)


def test_convolution_that_mixes_channels() -> None:
    """Each output is the sum of numpy's correlations of every channel, plus its bias."""
    random = np.random.default_rng(3)
    x, weight = (
        random.standard_normal((1, 4, 20)).astype(np.float32),
        random.standard_normal((2, 4, 3)).astype(np.float32),
    )
    y = convolved(x, weight, np.array([1, -1], np.float32), (1, 1), 1, 1)
    for out, bias in enumerate((1, -1)):
        parts = [
            np.correlate(np.pad(x[0, channel], 1), weight[out, channel], "valid") for channel in range(4)
        ]
        assert np.allclose(np.sum(parts, 0) + bias, y[0, out], atol=1e-4)


def test_convolution_of_shapes_that_do_not_fit() -> None:
    """Two groups of two channels are neither of the two kinds that are known here."""
    with pytest.raises(ValueError, match="in 2 groups"):
        convolved(np.ones((1, 4, 5), np.float32), np.ones((2, 2, 1), np.float32), None, (0, 0), 1, 2)


@given(st.integers(0, 9999), st.booleans())
def test_a_quantised_product_is_near_the_plain_one(seed: int, overwrite: bool) -> None:
    """Rounding moves each input by at most half a step, so the product by at most half a step per weight."""
    random = np.random.default_rng(seed)
    x = random.standard_normal((5, 12)).astype(np.float32)
    weight, bias = (
        random.integers(-127, 128, (12, 6)).astype(np.int8),
        random.standard_normal(6).astype(np.float32),
    )
    scale = np.asarray(0.02, np.float32)
    plain = x @ (weight * scale) + bias
    step = (max(x.max(), 0) - min(x.min(), 0)) / 255
    y = linear(QuantisedRows(x.copy(), overwrite=overwrite), weight, scale, bias)
    most = step * (0.5 + 0.5) * np.abs(weight * scale).sum(0) + 1e-4  # the zero point is rounded as well
    assert (np.abs(y - plain) <= most).all()


def test_rows_that_are_computed_late_are_the_same() -> None:
    """A block of rows and columns equals that part of the whole product."""
    random = np.random.default_rng(5)
    x = QuantisedRows(random.standard_normal((1, 30, 12)).astype(np.float32))
    weight, bias = (
        random.integers(-127, 128, (12, 8)).astype(np.int8),
        random.standard_normal(8).astype(np.float32),
    )
    scale = np.asarray(0.02, np.float32)
    whole = linear(x, weight, scale, bias)
    late = LateRows(x, weight[:, 2:5], scale, bias[2:5])
    assert late.shape == (1, 3, 30)
    assert np.allclose(whole[0, 7:19, 2:5], late.rows(slice(7, 19)), atol=1e-6)
