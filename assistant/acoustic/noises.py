"""Noises of a bay and of streets, made on the GPU; they share nothing with those that measurements use."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import torch
from torch import Tensor

from assistant.acoustic.agreed import RATE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def uniform(shape: tuple[int, ...], low: float, high: float, device: torch.device) -> Tensor:
    """Random numbers between two bounds."""
    return low + (high - low) * torch.rand(shape, device=device)


def unit(sound: Tensor) -> Tensor:
    """Sound with a root mean square of 1 in each row."""
    return sound / sound.square().mean(-1, keepdim=True).sqrt().clamp_min(1e-9)


def chosen(batch: int, share: float, device: torch.device) -> Tensor:
    """1 in about this share of the rows, else 0; shape (batch, 1)."""
    return (torch.rand(batch, 1, device=device) < share).float()


def changed_in(sound: Tensor, share: float, change: Callable[..., Tensor], *beside: Tensor) -> Tensor:
    """Sound with about a share of its rows changed; `beside`: what the change needs of the same rows."""
    if not share:
        return sound
    rows = torch.nonzero(torch.rand(len(sound), device=sound.device) < share)[:, 0]
    if not len(rows):
        return sound
    return sound.index_copy(0, rows, change(sound[rows], *(other[rows] for other in beside)))


def make_noises(count: int, seconds: float, device: torch.device) -> Tensor:
    """Noises of many kinds, shape (count, samples), each with a root mean square of 1, as half precision."""
    samples = round(seconds * RATE)
    made = []
    for start in range(0, count, 64):
        size = min(64, count - start)
        made.append(_noises(size, samples, device).half())
    return torch.cat(made)


def _noises(size: int, samples: int, device: torch.device) -> Tensor:
    time = torch.arange(samples, device=device) / RATE
    lines = torch.fft.rfftfreq(samples, 1 / RATE, device=device).to(device)
    # Coloured noise: a random slope, a random band, a few resonances.
    slope = uniform((size, 1), -1.2, 0.3, device)
    corner = torch.exp(uniform((size, 1), math.log(60), math.log(1500), device))
    gain = (1 + (lines / corner) ** 2) ** (slope / 2)
    for _ in range(4):
        centre = torch.exp(uniform((size, 1), math.log(80), math.log(7000), device))
        wide = centre * uniform((size, 1), 0.02, 0.4, device)
        gain = gain * (1 + uniform((size, 1), 0, 6, device) * torch.exp(-(((lines - centre) / wide) ** 2)))
    spectrum = torch.fft.rfft(torch.randn(size, samples, device=device)) * gain * (lines > 25)
    air = unit(torch.fft.irfft(spectrum, samples))
    # It swells and fades, slowly or with a beat.
    beat = torch.exp(uniform((size, 1), math.log(0.2), math.log(25), device))
    depth = uniform((size, 1), 0, 1, device) ** 2
    swell = 1 + depth * torch.sin(2 * math.pi * beat * time + uniform((size, 1), 0, 6.28, device))
    air = air * swell
    # Something that turns: a wandering tone and its harmonics, loudest at random orders.
    base = torch.exp(uniform((size, 1), math.log(20), math.log(900), device))
    wander = 1 + 0.06 * torch.sin(2 * math.pi * uniform((size, 1), 0.05, 8, device) * time)
    phase = 2 * math.pi * torch.cumsum(base * wander, 1) / RATE
    tones = torch.zeros(size, samples, device=device)
    for order in range(1, 13):
        strength = torch.rand(size, 1, device=device) ** 2 * (base * order < 7800)
        tones = tones + strength * torch.sin(order * phase + uniform((size, 1), 0, 6.28, device))
    tones = unit(tones) * swell
    # Blows that ring.
    rate = torch.exp(uniform((size, 1), math.log(1.0), math.log(40), device))
    uneven = rate * (1 + 0.1 * torch.randn(size, 1, device=device))
    steps = torch.floor(torch.cumsum(uneven / RATE * torch.ones_like(time), 1))
    hits = torch.diff(steps, dim=1, prepend=steps[:, :1]).clamp(0, 1) * torch.rand(
        size, samples, device=device
    )
    ring_time = torch.arange(2400, device=device) / RATE
    ring = torch.zeros(size, 2400, device=device)
    for _ in range(4):
        tone = torch.exp(uniform((size, 1), math.log(90), math.log(6500), device))
        fade = torch.exp(uniform((size, 1), math.log(0.002), math.log(0.04), device))
        sounding = torch.exp(-ring_time / fade) * torch.sin(2 * math.pi * tone * ring_time)
        ring = ring + torch.rand(size, 1, device=device) * sounding
    total = samples + 2400
    blows = torch.fft.irfft(torch.fft.rfft(hits, total) * torch.fft.rfft(ring, total), total)[:, :samples]
    blows = unit(blows + 1e-4 * torch.randn_like(blows))
    # Held and released.
    gate_rate = uniform((size, 1), 0.15, 1.0, device)
    wave = torch.sin(2 * math.pi * gate_rate * time + uniform((size, 1), 0, 6.28, device))
    gate = torch.sigmoid(60 * (wave + uniform((size, 1), -0.6, 1.5, device)))
    blows = blows * gate
    weights = torch.rand(size, 3, 1, device=device) ** 3 + 0.02
    lead = torch.randint(0, 3, (size,), device=device)
    weights[torch.arange(size, device=device), lead] += 0.7
    return unit(weights[:, 0] * air + weights[:, 1] * tones + weights[:, 2] * blows)


def crop(noises: Tensor, batch: int, samples: int) -> Tensor:
    """Random pieces of the noises of `make_noises`, shape (batch, samples)."""
    device = noises.device
    which = torch.randint(0, noises.shape[0], (batch,), device=device)
    start = torch.randint(0, noises.shape[1] - samples, (batch,), device=device)
    return noises[which[:, None], start[:, None] + torch.arange(samples, device=device)].float()


def recorded_noises(path: Path, seconds: float, device: torch.device) -> Tensor:
    """Recorded noises from one sound file, cut into rows like those of `make_noises`.

    Raises:
        OSError: The file cannot be read.
    """
    import soundfile  # noqa: PLC0415  not needed without recordings

    try:
        sound, _ = soundfile.read(path, dtype="float32")
    except soundfile.LibsndfileError as error:
        raise OSError(f"{path} cannot be read ({error})") from error
    samples = round(seconds * RATE)
    rows = torch.from_numpy(sound[: len(sound) // samples * samples].reshape(-1, samples)).to(device)
    return unit(rows - rows.mean(1, keepdim=True)).half()
