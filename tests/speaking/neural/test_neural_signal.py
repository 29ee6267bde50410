"""The signal part against closed forms, and as a whole against its formula in 64-bit arithmetic."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.speaking.neural import signal
from assistant.speaking.neural.signal import (
    BINS,
    HOP,
    RATE,
    WINDOW,
    OverlapAdd,
    VoiceFrames,
    hann,
    pitch_of_samples,
    pulses,
    reflected,
    spectra,
    synthesised,
    white,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

random = np.random.default_rng(11)


def level_pitch(hertz: float, frames: int) -> NDArray[np.float32]:
    """The same pitch in every frame."""
    return np.full(frames, hertz, np.float32)


@pytest.mark.parametrize("hertz", [100.0, 200.0, 300.0])
def test_a_level_pulse_train_has_its_harmonics(hertz: float) -> None:
    """A tenth of a second holds whole periods, so its Fourier series is exact: 1 at each harmonic to 11 kHz, else 0."""
    part = pulses(level_pitch(hertz, 40))[3000:5400].astype(np.float64)
    amplitude = np.abs(np.fft.rfft(part)) * 2 / len(part)
    every = np.arange(len(amplitude)) * RATE / len(part)
    harmonic = (every % hertz == 0) & (every > 0) & (every <= 11_000)
    assert np.abs(amplitude[harmonic] - 1).max() < 0.02
    assert amplitude[~harmonic].max() < 0.02


@given(st.floats(60, 390), st.floats(60, 390))
def test_pulses_follow_the_pitch(start: float, end: float) -> None:
    """The number of pulses is the integral of the pitch over time, but for one that may be cut at each end."""
    pitch = np.linspace(start, end, 60).astype(np.float32)
    train = pulses(pitch)
    count = np.floor(11_000 / pitch_of_samples(pitch))
    peaks = (train[1:-1] > train[:-2]) & (train[1:-1] >= train[2:]) & (train[1:-1] > 0.6 * count[1:-1])
    assert abs(int(peaks.sum()) - float(pitch_of_samples(pitch).sum()) / RATE) < 2


def test_there_are_no_pulses_without_voice() -> None:
    """Frames at 0 Hz are silent; a voiced one among them is not."""
    pitch = level_pitch(0, 20)
    assert not pulses(pitch).any()
    pitch[10] = 150
    train = pulses(pitch).reshape(20, HOP)
    assert train[10].any()
    assert not train[:9].any()
    assert not train[12:].any()


def test_the_pitch_runs_straight_between_the_middles_of_frames() -> None:
    """Frame k's own pitch holds at sample 300 k + 149.5, as linear interpolation without aligned corners has it."""
    pitch = np.array([100, 160, 40], np.float32)
    samples = pitch_of_samples(pitch)
    assert np.allclose(samples[:150], 100)
    assert np.allclose(samples[149:151].mean(), 100, atol=0.1)
    assert np.allclose(samples[449:451].mean(), 160, atol=0.2)
    assert np.allclose(np.diff(samples[150:450]), 60 / HOP, atol=1e-4)
    assert np.allclose(samples[750:], 40)


def test_the_windows_add_up() -> None:
    """Four periodic windows of Hann that overlap by three quarters sum to 2, and their squares to 3/2."""
    parts = hann().reshape(4, HOP)
    assert np.allclose(parts.sum(0), 2, atol=1e-6)
    assert np.allclose((parts**2).sum(0), 1.5, atol=1e-6)


def test_a_frame_is_the_discrete_fourier_transform_of_its_window() -> None:
    """Σ x(n) w(n) e^(-2πi kn/1200) around sample 300 k, with the signal mirrored at its ends, as torch.stft does."""
    x = random.standard_normal(6 * HOP).astype(np.float32)
    mirrored = np.concatenate([x[600:0:-1], x, x[-2:-602:-1]]).astype(np.float64)
    turn = np.exp(-2j * np.pi * np.outer(np.arange(BINS), np.arange(WINDOW)) / WINDOW)
    w = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)
    expected = np.array([turn @ (mirrored[k * HOP : k * HOP + WINDOW] * w) for k in (2, 3, 4)])
    assert np.abs(expected - spectra(reflected(x), 2, 3)).max() < 1e-3


@given(st.integers(0, 9999), st.integers(3, 20))
def test_the_inverse_transform_undoes_the_transform(seed: int, frames: int) -> None:
    """Taken apart and put together, in two blocks, every sample is what it was."""
    x = np.random.default_rng(seed).standard_normal(frames * HOP).astype(np.float32)
    out = OverlapAdd(frames)
    out.add(0, spectra(reflected(x), 0, 2))
    out.add(2, spectra(reflected(x), 2, frames - 2))
    assert np.abs(x - out.samples()).max() < 1e-5


def test_white_noise() -> None:
    """Both parts are normal with mean 0 and variance 1, and neighbours in time or frequency have nothing in common.

    Bounds are five standard errors of 240,400 draws; a normal distribution's fourth moment is 3.
    """
    z = white(0, slice(0, 400))
    assert z.shape == (400, BINS)
    error = 5 / np.sqrt(z.size)
    for part in (z.real, z.imag):
        assert abs(part.mean()) < error
        assert abs(part.var() - 1) < 2 * error
        assert abs((part.astype(np.float64) ** 4).mean() - 3) < 10 * error
        assert abs((np.abs(part) < 0.6745).mean() - 0.5) < error
        assert abs((part[1:] * part[:-1]).mean()) < error
        assert abs((part[:, 1:] * part[:, :-1]).mean()) < error
    assert abs((z.real * z.imag).mean()) < error
    assert abs((z * white(1, slice(0, 400)).conj()).mean()) < 2 * error


def test_white_noise_depends_on_its_place_alone() -> None:
    """A frame's noise is the same in whatever block it is made."""
    assert np.array_equal(white(7, slice(0, 20))[13:17], white(7, slice(13, 17)))


def made_up(frames: int) -> tuple[VoiceFrames, list[NDArray[np.float32]]]:
    """Frames with values such as the network gives, and the same as arrays."""
    parts = [
        (random.standard_normal((frames, BINS)) * size - level).astype(np.float32)
        for size, level in ((2, 2), (1, 0), (2, 5), (2, 5), (3, 0))
    ]
    pitch = (220 + 60 * np.sin(np.arange(frames) / 5)).astype(np.float32)
    pitch[: frames // 4] = 5
    return VoiceFrames(*(part.__getitem__ for part in parts), pitch), [*parts, pitch]


def by_the_formula(parts: list[NDArray[np.float32]], noise: NDArray[Any]) -> NDArray[np.float64]:
    """The module's formula word for word, in 64 bits: each harmonic summed, each frame a whole transform."""
    harmonic, turn, hiss, free, phase, pitch = (part.astype(np.float64) for part in parts)
    frames = len(pitch)
    f = np.interp(np.arange(frames * HOP), np.arange(frames) * HOP + 149.5, pitch)
    angle = 2 * np.pi * np.cumsum(np.maximum(f, 40)) / RATE
    train = np.zeros(frames * HOP)
    for h in range(1, 276):
        train += np.where((f > 40) & (h <= np.floor(11_000 / np.maximum(f, 40))), np.cos(h * angle), 0)
    w = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)
    padded = np.pad(train, WINDOW // 2, mode="reflect")
    total, weight = np.zeros(frames * HOP + WINDOW), np.zeros(frames * HOP + WINDOW)
    for k in range(frames):
        at = slice(k * HOP, k * HOP + WINDOW)
        source = np.fft.rfft(padded[at] * w) / 300
        s = np.exp(np.minimum(harmonic[k], 7)) * np.exp(1j * np.pi * np.tanh(turn[k])) * source
        s += np.exp(np.minimum(hiss[k], 7)) * noise[k] + np.exp(np.minimum(free[k], 7)) * np.exp(
            1j * phase[k]
        )
        total[at] += np.fft.irfft(s, WINDOW) * w
        weight[at] += w**2
    return total[600 : 600 + frames * HOP] / weight[600 : 600 + frames * HOP]


def test_the_whole_is_its_formula() -> None:
    """Samples agree with the formula within 1e-3 of the loudest one, over more than one block of frames."""
    given_frames, parts = made_up(90)
    expected = by_the_formula(parts, white(4, slice(0, 90)))
    assert np.abs(expected - synthesised(given_frames, 4)).max() < 1e-3 * np.abs(expected).max()


def test_the_size_of_the_blocks_is_not_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Working in blocks saves memory and changes nothing."""
    given_frames, _ = made_up(40)
    usual = synthesised(given_frames, 4)
    monkeypatch.setattr(signal, "_BLOCK_FRAMES", 7)
    assert np.allclose(usual, synthesised(given_frames, 4), atol=1e-5)


def test_a_magnitude_is_held() -> None:
    """However large the network's logarithm, the magnitude stays at e^7: no overflow, as in its training."""
    given_frames, parts = made_up(6)
    parts[0][:] = 300
    samples = synthesised(VoiceFrames(*(part.__getitem__ for part in parts[:5]), parts[5]), 0)
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() < np.exp(7) * 275
    assert given_frames.pitch is parts[5]
