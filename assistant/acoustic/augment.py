"""The way of clean speech to a microphone in a bay, simulated on the GPU, a whole batch at a time.

Its noises share neither code nor sounds with `assistant.hearing.baynoise`, which measurements use: they are
random stacks of harmonics, trains of blows, coloured noise, and other people talking.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from assistant.acoustic.agreed import RATE


@dataclass(frozen=True)
class Strength:
    """Strength of noise and rooms.

    Attributes:
        lowest_db, highest_db: Range of the speech-to-noise ratio, dB.
        clean: Share of windows without added noise.
        room: Share of windows with a room's echo.
        narrow: Share of windows through a telephone-like band.
    """

    lowest_db: float = -4.0
    highest_db: float = 30.0
    clean: float = 0.12
    room: float = 0.6
    narrow: float = 0.2

    def at(self, progress: float) -> Strength:
        """Strength during a ramp: progress 0 is clean speech, 1 is full strength."""
        progress = min(1.0, max(0.0, progress))
        return Strength(
            lowest_db=30 + (self.lowest_db - 30) * progress,
            highest_db=self.highest_db,
            clean=1 - (1 - self.clean) * min(1.0, 2 * progress),
            room=self.room * progress,
            narrow=self.narrow * progress,
        )


def _uniform(shape: tuple[int, ...], low: float, high: float, device: torch.device) -> Tensor:
    return low + (high - low) * torch.rand(shape, device=device)


def _unit(sound: Tensor) -> Tensor:
    return sound / sound.square().mean(-1, keepdim=True).sqrt().clamp_min(1e-9)


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
    slope = _uniform((size, 1), -1.2, 0.3, device)
    corner = torch.exp(_uniform((size, 1), math.log(60), math.log(1500), device))
    gain = (1 + (lines / corner) ** 2) ** (slope / 2)
    for _ in range(4):
        centre = torch.exp(_uniform((size, 1), math.log(80), math.log(7000), device))
        wide = centre * _uniform((size, 1), 0.02, 0.4, device)
        gain = gain * (1 + _uniform((size, 1), 0, 6, device) * torch.exp(-(((lines - centre) / wide) ** 2)))
    spectrum = torch.fft.rfft(torch.randn(size, samples, device=device)) * gain * (lines > 25)
    air = _unit(torch.fft.irfft(spectrum, samples))
    # It swells and fades, slowly or with a beat.
    beat = torch.exp(_uniform((size, 1), math.log(0.2), math.log(25), device))
    depth = _uniform((size, 1), 0, 1, device) ** 2
    swell = 1 + depth * torch.sin(2 * math.pi * beat * time + _uniform((size, 1), 0, 6.28, device))
    air = air * swell
    # Something that turns: a wandering tone and its harmonics, loudest at random orders.
    base = torch.exp(_uniform((size, 1), math.log(20), math.log(900), device))
    wander = 1 + 0.06 * torch.sin(2 * math.pi * _uniform((size, 1), 0.05, 8, device) * time)
    phase = 2 * math.pi * torch.cumsum(base * wander, 1) / RATE
    tones = torch.zeros(size, samples, device=device)
    for order in range(1, 13):
        strength = torch.rand(size, 1, device=device) ** 2 * (base * order < 7800)
        tones = tones + strength * torch.sin(order * phase + _uniform((size, 1), 0, 6.28, device))
    tones = _unit(tones) * swell
    # Blows that ring.
    rate = torch.exp(_uniform((size, 1), math.log(1.0), math.log(40), device))
    uneven = rate * (1 + 0.1 * torch.randn(size, 1, device=device))
    steps = torch.floor(torch.cumsum(uneven / RATE * torch.ones_like(time), 1))
    hits = torch.diff(steps, dim=1, prepend=steps[:, :1]).clamp(0, 1) * torch.rand(
        size, samples, device=device
    )
    ring_time = torch.arange(2400, device=device) / RATE
    ring = torch.zeros(size, 2400, device=device)
    for _ in range(4):
        tone = torch.exp(_uniform((size, 1), math.log(90), math.log(6500), device))
        fade = torch.exp(_uniform((size, 1), math.log(0.002), math.log(0.04), device))
        sounding = torch.exp(-ring_time / fade) * torch.sin(2 * math.pi * tone * ring_time)
        ring = ring + torch.rand(size, 1, device=device) * sounding
    total = samples + 2400
    blows = torch.fft.irfft(torch.fft.rfft(hits, total) * torch.fft.rfft(ring, total), total)[:, :samples]
    blows = _unit(blows + 1e-4 * torch.randn_like(blows))
    # Held and released.
    gate_rate = _uniform((size, 1), 0.15, 1.0, device)
    wave = torch.sin(2 * math.pi * gate_rate * time + _uniform((size, 1), 0, 6.28, device))
    gate = torch.sigmoid(60 * (wave + _uniform((size, 1), -0.6, 1.5, device)))
    blows = blows * gate
    weights = torch.rand(size, 3, 1, device=device) ** 3 + 0.02
    lead = torch.randint(0, 3, (size,), device=device)
    weights[torch.arange(size, device=device), lead] += 0.7
    return _unit(weights[:, 0] * air + weights[:, 1] * tones + weights[:, 2] * blows)


def through_the_air(sound: Tensor, speech: Tensor, noises: Tensor, strength: Strength) -> Tensor:
    """Turn speech, shape (batch, samples), into the sound that a microphone in a bay would deliver.

    Args:
        sound: Clean speech from -1 to 1.
        speech: 1 where somebody speaks, else 0; same shape.
        noises: Noises of `make_noises`.
        strength: Strength of noise and rooms.

    Returns:
        Sound in steps of 16-bit samples.
    """
    batch, samples = sound.shape
    device = sound.device
    # Other people: the speech of other windows, shifted, some together.
    babble = torch.zeros_like(sound)
    for shift in (1, 2, 3):
        babble += _uniform((batch, 1), 0.3, 1, device) * torch.roll(sound, (shift, 4001 * shift), (0, 1))
    # Room, microphone and band, as one filter.
    length = 6400
    delay = torch.arange(length, device=device) / RATE
    fade = _uniform((batch, 1), 0.04, 0.5, device) / 6.9
    tail = torch.randn(batch, length, device=device) * torch.exp(-delay / fade)
    tail = tail * (delay > 0.002) / tail.square().sum(1, keepdim=True).sqrt()
    in_room = (torch.rand(batch, 1, device=device) < strength.room).float()
    tail = tail * in_room * 10 ** (_uniform((batch, 1), -18, 1, device) / 20)
    tail[:, 0] += 1
    total = samples + length
    lines = torch.fft.rfftfreq(total, 1 / RATE, device=device)
    octave = torch.log2((lines / 1000).clamp_min(0.05))
    tilt = _uniform((batch, 1), -5, 5, device) * octave
    ripple = sum(
        _uniform((batch, 1), -3, 3, device)
        * torch.cos(math.pi * k * octave / 4 + _uniform((batch, 1), 0, 6.28, device))
        for k in (1, 2, 3)
    )
    colour = 10 ** ((tilt + ripple) * min(1.0, strength.room + 0.2) / 20)
    narrow = torch.rand(batch, 1, device=device) < strength.narrow
    low = torch.where(
        narrow, _uniform((batch, 1), 80, 400, device), torch.full((batch, 1), 20.0, device=device)
    )
    high = torch.where(
        narrow, _uniform((batch, 1), 2800, 4200, device), torch.full((batch, 1), 9000.0, device=device)
    )
    colour = colour / (1 + (low / lines.clamp_min(1)) ** 6).sqrt() / (1 + (lines / high) ** 16).sqrt()
    spoken = torch.fft.irfft(torch.fft.rfft(sound, total) * torch.fft.rfft(tail, total) * colour, total)[
        :, :samples
    ]
    # Two noises, or a noise and talk, at a ratio to the speech in the windows that have speech.
    noise = _crop(noises, batch, samples) + _uniform((batch, 1), 0, 1, device) * _crop(noises, batch, samples)
    noise = _unit(noise)
    talk = (torch.rand(batch, 1, device=device) < 0.15).float() * _uniform((batch, 1), 0.2, 1.2, device)
    noise = _unit(noise + talk * _unit(babble))
    # Half of the noises pass through the same microphone as the speech.
    same = (torch.rand(batch, 1, device=device) < 0.5).float()
    heard = torch.fft.irfft(torch.fft.rfft(noise, total) * (1 + same * (colour - 1)), total)[:, :samples]
    noise = _unit(heard)
    level = (spoken.square() * speech).sum(1, keepdim=True) / speech.sum(1, keepdim=True).clamp_min(1)
    level = torch.where(level > 1e-8, level, torch.full_like(level, 0.0064)).sqrt()
    ratio = _uniform((batch, 1), strength.lowest_db, strength.highest_db, device)
    quiet = torch.rand(batch, 1, device=device) < strength.clean
    ratio = torch.where(quiet, _uniform((batch, 1), 35, 60, device), ratio)
    mixed = spoken + noise * level * 10 ** (-ratio / 20)
    loudness = _uniform((batch, 1), -38, -14, device)
    mixed = mixed / level * 10 ** (loudness / 20)
    hot = (torch.rand(batch, 1, device=device) < 0.05).float()
    mixed = mixed * (1 + hot * _uniform((batch, 1), 1, 4, device))
    mixed = mixed.clamp(-1, 1) * 32767
    return torch.round(mixed + 3.0 * torch.randn_like(mixed))


def _crop(noises: Tensor, batch: int, samples: int) -> Tensor:
    device = noises.device
    which = torch.randint(0, noises.shape[0], (batch,), device=device)
    start = torch.randint(0, noises.shape[1] - samples, (batch,), device=device)
    return noises[which[:, None], start[:, None] + torch.arange(samples, device=device)].float()
