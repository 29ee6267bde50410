"""Manners of speaking that no synthesiser has: raised voices, soft and whispered endings; and sound cut too tightly."""

from __future__ import annotations

import math

import torch
from torch import Tensor

from assistant.acoustic.agreed import RATE
from assistant.acoustic.noises import changed_in, chosen, uniform

_SHORT, _HOP = 128, 32
"""Window and step of the spectra for whispering, samples; 8 ms are too short to hold the pitch of a voice."""


def spoken_in_some_manner(sound: Tensor, speech: Tensor, share: float) -> Tensor:
    """Voices raised in a share of the windows, and endings soft or whispered in another.

    Args:
        sound: Clean speech, shape (batch, samples).
        speech: 1 where somebody speaks, else 0; same shape.
        share: The share of windows for each manner.
    """
    return changed_in(changed_in(sound, share, _raised), share, _ending_softly, speech)


def _raised(sound: Tensor) -> Tensor:
    """Less below the first formant, more around 1 to 3 kHz, as in speech over noise (Lombard's reflex)."""
    batch, samples = sound.shape
    device = sound.device
    lines = torch.fft.rfftfreq(samples, 1 / RATE, device=device)
    octave = torch.log2((lines / 500).clamp(0.125, 6))
    steeper = uniform((batch, 1), 1, 4, device) * octave
    centre = torch.log2(uniform((batch, 1), 1200, 3000, device) / 500)
    bump = uniform((batch, 1), 2, 8, device) * torch.exp(-((octave - centre) ** 2))
    return torch.fft.irfft(torch.fft.rfft(sound) * 10 ** ((steeper + bump) / 20), samples)


def _ending_softly(sound: Tensor, speech: Tensor) -> Tensor:
    """The last 0.1 to 0.25 s of each utterance fades, and in half of the windows loses its pitch."""
    batch, samples = sound.shape
    device = sound.device
    left = samples_left(speech) / RATE
    long = uniform((batch, 1), 0.1, 0.25, device)
    ending = ((long + 0.06 - left) / long).clamp(0, 1) * speech
    # The spectra of so short windows keep the shape of the mouth; random phases take the pitch away.
    window = torch.hann_window(_SHORT, device=device)
    spectra = torch.stft(sound, _SHORT, _HOP, window=window, return_complex=True)
    phases = torch.exp(2j * math.pi * torch.rand(spectra.shape, device=device))
    whispered = torch.istft(spectra.abs() * phases, _SHORT, _HOP, window=window, length=samples)
    whole = chosen(batch, 0.1, device)  # a few windows are whispered from beginning to end
    share = torch.maximum(ending.sqrt() * chosen(batch, 0.5, device), whole)
    fading = 10 ** (-uniform((batch, 1), 0, 18, device) * ending / 20)
    return (sound + share * (whispered - sound)) * fading


def samples_left(speech: Tensor) -> Tensor:
    """Samples until the utterance's end at each sample; 0 where nobody speaks."""
    count = torch.arange(speech.shape[1], device=speech.device, dtype=torch.float32).expand_as(speech)
    ends = torch.where(speech > 0, torch.full_like(count, float(speech.shape[1])), count)
    following = ends.flip(1).cummin(1).values.flip(1)
    return following - count


def cut_tightly(sound: Tensor, speech: Tensor, share: float) -> Tensor:
    """In a share of the windows nothing at all is left outside the utterances, not even noise."""
    if not share:
        return sound
    batch, device = len(sound), sound.device
    left = samples_left(speech)
    since = samples_left(speech.flip(1)).flip(1)
    inside = (torch.minimum(left, since) > uniform((batch, 1), 0, 0.05, device) * RATE).float()
    tight = chosen(batch, share, device)
    return sound * (1 - tight * (1 - inside))
