"""What a microphone, its wire and the recogniser's front make of sound: levels, clipping, codecs, the gate.

`taken_down` does for a batch on the GPU what `assistant.hearing.foreground.prepared` does for one utterance.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

from assistant.acoustic.agreed import RATE
from assistant.acoustic.noises import changed_in, chosen, uniform
from assistant.hearing.foreground import (
    DEFAULT_GATE,
    FRAME,
    HIGHEST_HZ,
    LOUD,
    LOWEST_HZ,
    MOST_GAIN_DB,
    SPEECH_DB,
)

FULL = 32767.0
HOLDS = round(DEFAULT_GATE.holds_s * RATE / FRAME)
"""Frames for which the gate stays open before and after a loud one."""


def coded(sound: Tensor, share: float) -> Tensor:
    """A share of the windows through a low-rate codec, and as many in eight bits of a telephone's law."""
    return changed_in(changed_in(sound, share, _coarse), share, _eight_bits)


def _coarse(sound: Tensor) -> Tensor:
    """Spectra in steps of some decibels, without what lies far under the strongest of each moment."""
    samples, device = sound.shape[1], sound.device
    window = torch.hann_window(512, device=device)
    spectra = torch.stft(sound, 512, 256, window=window, return_complex=True)
    size = spectra.abs().clamp_min(1e-7)
    step = uniform((len(sound), 1, 1), 2, 7, device)
    decibels = torch.round(20 * torch.log10(size) / step) * step
    strongest = functional.max_pool2d(size[:, None], (33, 1), 1, (16, 0))[:, 0]
    kept = 20 * torch.log10(size / strongest) > -uniform((len(sound), 1, 1), 12, 35, device)
    made = spectra / size * 10 ** (decibels / 20) * kept
    return torch.istft(made, 512, 256, window=window, length=samples)


def _eight_bits(sound: Tensor) -> Tensor:
    """The companding law of ITU-T G.711 (mu = 255, from memory), at some level."""
    top = sound.abs().amax(1, keepdim=True).clamp_min(1e-6) * uniform((len(sound), 1), 1, 8, sound.device)
    scaled = sound / top
    bent = torch.sign(scaled) * torch.log1p(255 * scaled.abs()) / math.log(256)
    back = torch.round(bent * 127) / 127
    return torch.sign(back) * (torch.exp(back.abs() * math.log(256)) - 1) / 255 * top


def taken_down(sound: Tensor, level: Tensor, spoken: Tensor, raw: float) -> Tensor:
    """Sound at a microphone's level, clipped and in 16 bits, then at the level to which the front brings it.

    Args:
        sound: Voice, other people and noise, shape (batch, samples).
        level: Root mean square of the voice, or of the one that might be there; shape (batch, 1).
        spoken: 1 for windows with a voice, else 0; same shape.
        raw: Share of windows that do not pass the front.

    Returns:
        Sound in steps of 16-bit samples.
    """
    batch, device = len(sound), sound.device
    drawn = torch.rand(batch, 1, device=device)
    loudness = torch.where(
        drawn < 0.2,
        uniform((batch, 1), -70, -42, device),
        torch.where(drawn > 0.9, uniform((batch, 1), -12, 0, device), uniform((batch, 1), -42, -12, device)),
    )
    front = chosen(batch, 1 - raw, device)
    loudness = torch.where(front > 0, loudness, uniform((batch, 1), -40, -14, device))
    gain = 10 ** (loudness / 20) / level
    # A microphone's own hiss, then the steps of 16 bits and the ends of their range.
    floor = 10 ** (uniform((batch, 1), -96, -74, device) / 20)
    taken = sound * gain + floor * torch.randn_like(sound)
    taken = torch.round(taken.clamp(-1, 1) * FULL)
    # An empty window is brought to the level that the voice before it had.
    expected = loudness.clamp(max=-6) + uniform((batch, 1), 3, 7, device)
    found = levels(taken / FULL)
    own = torch.quantile(found, LOUD / 100, dim=1, keepdim=True)
    # Of a clipped voice nobody knows how loud it was.
    voice = torch.where(spoken > 0, own, torch.maximum(expected, own - 10))
    up = (SPEECH_DB - voice).clamp(max=MOST_GAIN_DB) + uniform((batch, 1), -3, 3, device)
    gated = chosen(batch, 0.7, device)
    under = uniform((batch, 1), 10, 18, device)
    open_ = (found >= voice - under).float()
    open_ = functional.max_pool1d(open_[:, None], 2 * HOLDS + 1, 1, HOLDS)[:, 0]
    down = up - gated * DEFAULT_GATE.closed_db * (1 - open_)
    gains = functional.interpolate(down[:, None], size=sound.shape[1], mode="linear", align_corners=False)
    turned = taken * 10 ** (gains[:, 0] / 20)
    made = torch.where(front > 0, turned, taken)
    return (torch.round(made) + 3.0 * torch.randn_like(made)).clamp(-FULL - 1, FULL)


def levels(sound: Tensor) -> Tensor:
    """Level of each frame of 10 ms by the frequencies of speech, dB relative to full scale; shape (batch, frames)."""
    count = -(-sound.shape[1] // FRAME)
    padded = functional.pad(sound, (FRAME // 2, (count + 1) * FRAME - sound.shape[1] - FRAME // 2))
    window = torch.hann_window(2 * FRAME, periodic=False, device=sound.device)
    frames = padded.unfold(1, 2 * FRAME, FRAME) * window
    lines = torch.fft.rfftfreq(2 * FRAME, 1 / RATE, device=sound.device)
    heard = ((lines >= LOWEST_HZ) & (lines <= HIGHEST_HZ)).float()
    power = (torch.fft.rfft(frames).abs() ** 2 * heard).sum(2)
    power = 2 * power / (2 * FRAME * window.square().sum())
    return 10 * torch.log10(power.clamp_min(1e-10))
