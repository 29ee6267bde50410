"""Kaldi's mel cepstra (its "hires" setting) in PyTorch, so that Vosk and training see the same.

40 mel bins from 20 to 7600 Hz, 40 cepstra, windows of 25 ms every 10 ms, pre-emphasis 0.97, Povey's window, lifter
22, no energy; sound in steps of 16-bit samples.
Source: Kaldi's feature-window.cc, mel-computations.cc and feature-mfcc.cc, from memory; checked against the package
kaldi-native-fbank in the tests.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from assistant.acoustic.agreed import BINS, HIGH_HZ, LOW_HZ, RATE
from assistant.hearing.cepstra import FFT, LIFTER, PRE_EMPHASIS, SHIFT, SMALLEST, WINDOW


def _mel(hertz: float) -> float:
    return 1127.0 * math.log(1.0 + hertz / 700.0)


def mel_filters(warp: float = 1.0) -> Tensor:
    """Triangular filters, shape (FFT / 2, BINS); `warp` scales the frequency axis like a throat of another length."""
    width = (_mel(HIGH_HZ) - _mel(LOW_HZ)) / (BINS + 1)
    filters = torch.zeros(FFT // 2, BINS)
    for bin_ in range(BINS):
        left = _mel(LOW_HZ) + bin_ * width
        centre, right = left + width, left + 2 * width
        for line in range(FFT // 2):
            mel = _mel(min(line * RATE / FFT * warp, RATE / 2))
            if left < mel < right:
                rising = mel <= centre
                filters[line, bin_] = (
                    (mel - left) / (centre - left) if rising else (right - mel) / (right - centre)
                )
    return filters


class Cepstra(torch.nn.Module):
    """Turns sound, shape (batch, samples) in steps of 16 bits, into cepstra, shape (batch, frames, BINS).

    Args:
        warps: Frequency warps to choose from in training; the first must be 1.
    """

    def __init__(self, warps: tuple[float, ...] = (1.0,)) -> None:
        super().__init__()
        count = torch.arange(WINDOW, dtype=torch.float64)
        window = (0.5 - 0.5 * torch.cos(2 * math.pi * count / (WINDOW - 1))) ** 0.85
        orders = torch.arange(BINS, dtype=torch.float64)[:, None]
        centres = torch.arange(BINS, dtype=torch.float64)[None] + 0.5
        cosines = math.sqrt(2 / BINS) * torch.cos(math.pi / BINS * centres * orders)
        cosines[0] = math.sqrt(1 / BINS)
        lifter = 1 + 0.5 * LIFTER * torch.sin(math.pi * orders / LIFTER)
        self.register_buffer("window", window.float(), persistent=False)
        self.register_buffer("cosines", (lifter * cosines).T.float().contiguous(), persistent=False)
        self.register_buffer("filters", torch.stack([mel_filters(w) for w in warps]), persistent=False)

    def forward(self, sound: Tensor, warp: Tensor | None = None, hidden: Tensor | None = None) -> Tensor:
        """`warp` is the number of the warp for each of the batch; `hidden`, shape (batch, frames, BINS), the mel
        bins to hide.
        """
        frames = sound.unfold(1, WINDOW, SHIFT)
        frames = frames - frames.mean(2, keepdim=True)
        before = torch.cat([frames[:, :, :1], frames[:, :, :-1]], 2)
        frames = (frames - PRE_EMPHASIS * before) * self.window
        spectrum = torch.fft.rfft(frames, FFT)[:, :, : FFT // 2]
        power = spectrum.real**2 + spectrum.imag**2
        filters = self.filters[0] if warp is None else self.filters[warp]
        mel = torch.matmul(power, filters).clamp_min(SMALLEST).log()
        if hidden is not None:
            mel = torch.where(hidden, mel.mean((1, 2), keepdim=True), mel)
        return torch.matmul(mel, self.cosines)


def random_masks(batch: int, frames: int, share: float, device: torch.device) -> Tensor:
    """Mel bins to hide from the network, shape (batch, frames, BINS).

    About `share` of the batch lose two bands of up to 8 bins and two moments of up to 0.12 s, as in Park et al.,
    "SpecAugment" (Interspeech 2019), with moments so short that no whole phone is lost.
    """
    chosen = torch.rand(batch, 1, 1, device=device) < share
    hidden = torch.zeros(batch, frames, BINS, dtype=torch.bool, device=device)
    bins = torch.arange(BINS, device=device)[None, None]
    times = torch.arange(frames, device=device)[None, :, None]
    for _ in range(2):
        for places, count, longest in ((bins, BINS, 8), (times, frames, 12)):
            wide = torch.rand(batch, 1, 1, device=device) * longest
            start = torch.rand(batch, 1, 1, device=device) * (count - wide)
            hidden = hidden | ((places >= start) & (places < start + wide))
    return hidden & chosen
