"""The way of clean speech to the recogniser, simulated on the GPU, a whole batch at a time.

A voice speaks in its manner (`manner`), in a room, among noise and other people; a microphone and a wire take it
down (`wire`), and the recogniser's front brings it to a level.
The noises share neither code nor sounds with `assistant.hearing.baynoise`, which measurements use.
Other people's words are never a label: they are quieter than the voice that counts, and mostly farther away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from assistant.acoustic.agreed import RATE
from assistant.acoustic.manner import cut_tightly, spoken_in_some_manner
from assistant.acoustic.noises import chosen, crop, uniform, unit
from assistant.acoustic.wire import coded, taken_down

TAIL = 12800
"""Samples of a room's echo: 0.8 s, by which the longest has lost 40 dB."""

NEAR = 0.35
"""Share of the windows with others in which they speak as close to the microphone as the voice does, but softly."""

SOFTER_DB = 9.0
"""Least distance in level of others who speak as near as the voice that counts; nothing else tells them apart, dB."""

EMPTY_LEVEL = 0.08
"""Level of the voice that would be there, in windows without one; that of every utterance in a bank."""


@dataclass(frozen=True)
class Strength:
    """Strength of noise, rooms, other people and the rest.

    Attributes:
        lowest_db, highest_db: Range of the speech-to-noise ratio, dB.
        clean: Share of windows without added noise.
        room: Share of windows with a room's echo.
        narrow: Share of windows through a telephone-like band.
        talk: Share of windows in which other people talk in the background.
        nearest_db, farthest_db: Range of their level under the voice, dB.
        manners: Share of windows with raised voices, and of those with soft or whispered endings.
        coded: Share of windows through a low-rate codec.
        tight: Share of windows that are cut at the first and last sound.
        raw: Share of windows that do not pass the recogniser's front, so have any level.
    """

    lowest_db: float = -4.0
    highest_db: float = 30.0
    clean: float = 0.15
    room: float = 0.6
    narrow: float = 0.15
    talk: float = 0.4
    nearest_db: float = 4.0
    farthest_db: float = 32.0
    manners: float = 0.2
    coded: float = 0.1
    tight: float = 0.1
    raw: float = 0.2

    def at(self, progress: float) -> Strength:
        """Strength during a ramp: progress 0 is clean speech, 1 is full strength."""
        progress = min(1.0, max(0.0, progress))
        return Strength(
            lowest_db=30 + (self.lowest_db - 30) * progress,
            highest_db=self.highest_db,
            clean=1 - (1 - self.clean) * min(1.0, 2 * progress),
            room=self.room * progress,
            narrow=self.narrow * progress,
            talk=self.talk * progress,
            nearest_db=self.farthest_db + (self.nearest_db - self.farthest_db) * progress,
            farthest_db=self.farthest_db,
            manners=self.manners * progress,
            coded=self.coded * progress,
            tight=self.tight * progress,
            raw=self.raw,
        )


def through_the_air(sound: Tensor, speech: Tensor, noises: Tensor, strength: Strength) -> Tensor:
    """Turn speech, shape (batch, samples), into the sound that the recogniser would get.

    Args:
        sound: Clean speech from -1 to 1.
        speech: 1 where somebody speaks, else 0; same shape.
        noises: Noises of `noises.make_noises`.
        strength: Strength of noise, rooms and the rest.

    Returns:
        Sound in steps of 16-bit samples.
    """
    batch, samples = sound.shape
    device = sound.device
    total = samples + TAIL
    lines = torch.fft.rfftfreq(total, 1 / RATE, device=device)
    # The windows with other talkers are drawn first, because a voice that is not alone stands nearer than the others.
    among = chosen(batch, strength.talk, device)
    near = chosen(batch, NEAR, device)
    under = uniform((batch, 1), strength.nearest_db, strength.farthest_db, device)
    under = torch.where(near > 0, under.clamp_min(SOFTER_DB), under)
    voice = spoken_in_some_manner(sound, speech, strength.manners)
    in_room = chosen(batch, strength.room, device)
    most = torch.where((among > 0) & (under < 12), -8.0, 5.0)
    echo = -18 + (most + 18) * torch.rand(batch, 1, device=device)
    room = _room(batch, in_room, echo, 0.04, 1.2, device)
    colour = _colour(batch, lines, strength, device)
    spoken = _through(voice, torch.fft.rfft(room, total) * colour, total)
    level = (spoken.square() * speech).sum(1, keepdim=True) / speech.sum(1, keepdim=True).clamp_min(1)
    level = torch.where(level > 1e-8, level, torch.full_like(level, EMPTY_LEVEL**2)).sqrt()
    mixed = spoken
    if strength.talk:
        talk = _others(sound, lines, near, device)
        same = chosen(batch, 0.7, device)
        talk = unit(_through(talk, 1 + same * (colour - 1), total))
        mixed = mixed + among * talk * level * 10 ** (-under / 20)
    noise = crop(noises, batch, samples) + uniform((batch, 1), 0, 1, device) * crop(noises, batch, samples)
    # Half of the noises pass through the same microphone as the speech.
    same = chosen(batch, 0.5, device)
    noise = unit(_through(unit(noise), 1 + same * (colour - 1), total))
    ratio = uniform((batch, 1), strength.lowest_db, strength.highest_db, device)
    quiet = torch.rand(batch, 1, device=device) < strength.clean
    ratio = torch.where(quiet, uniform((batch, 1), 35, 60, device), ratio)
    mixed = mixed + noise * level * 10 ** (-ratio / 20)
    mixed = cut_tightly(mixed, speech, strength.tight)
    mixed = coded(mixed, strength.coded)
    return taken_down(mixed, level, speech.amax(1, keepdim=True), strength.raw)


def _through(sound: Tensor, spectrum: Tensor, total: int) -> Tensor:
    """Sound through a filter that is given by its spectrum."""
    return torch.fft.irfft(torch.fft.rfft(sound, total) * spectrum, total)[:, : sound.shape[1]]


def _room(
    batch: int, there: Tensor, echo_db: Tensor, shortest: float, longest: float, device: torch.device
) -> Tensor:
    """Responses of rooms, shape (batch, TAIL): 1 at once, then a fading echo of an energy of `echo_db`.

    Args:
        batch: Number of rooms.
        there: 1 for a room, 0 for none; shape (batch, 1).
        echo_db: Energy of the echo relative to the direct sound, dB; same shape.
        shortest: Lowest reverberation time, s.
        longest: Highest reverberation time, s.
        device: Where to make them.
    """
    delay = torch.arange(TAIL, device=device) / RATE
    # More short ones than long ones: half below a third of the way.
    fade = (shortest + (longest - shortest) * torch.rand(batch, 1, device=device) ** 1.6) / 6.9
    tail = torch.randn(batch, TAIL, device=device) * torch.exp(-delay / fade)
    tail = tail * (delay > 0.002)
    tail = tail / tail.square().sum(1, keepdim=True).sqrt() * there * 10 ** (echo_db / 20)
    tail[:, 0] += 1
    return tail


def _colour(batch: int, lines: Tensor, strength: Strength, device: torch.device) -> Tensor:
    """Gains of microphones and bands at these frequencies."""
    octave = torch.log2((lines / 1000).clamp_min(0.05))
    tilt = uniform((batch, 1), -5, 5, device) * octave
    ripple = sum(
        uniform((batch, 1), -3, 3, device)
        * torch.cos(math.pi * k * octave / 4 + uniform((batch, 1), 0, 6.28, device))
        for k in (1, 2, 3)
    )
    colour = 10 ** ((tilt + ripple) * min(1.0, strength.room + 0.2) / 20)
    return colour * _band(batch, lines, chosen(batch, strength.narrow, device) > 0, device)


def _band(batch: int, lines: Tensor, narrow: Tensor, device: torch.device) -> Tensor:
    """Gains of a telephone's or small radio's band where `narrow`, else of a whole band."""
    low = torch.where(narrow, uniform((batch, 1), 80, 400, device), 20.0)
    high = torch.where(narrow, uniform((batch, 1), 2800, 4200, device), 9000.0)
    return 1 / ((1 + (low / lines.clamp_min(1)) ** 6).sqrt() * (1 + (lines / high) ** 16).sqrt())


def _others(sound: Tensor, lines: Tensor, near: Tensor, device: torch.device) -> Tensor:
    """Other people: the speech of other windows, one, two or several; away in the room or from a radio, or near."""
    batch = len(sound)
    total = sound.shape[1] + TAIL
    talk = torch.zeros_like(sound)
    for number, share in enumerate((1.0, 0.4, 0.25)):
        shift = int(torch.randint(1 + 60 * number, 60 * (number + 1), ()))
        later = int(torch.randint(0, sound.shape[1], ()))
        there = chosen(batch, share, device) * uniform((batch, 1), 0.3, 1, device)
        talk = talk + there * torch.roll(sound, (shift % max(2, batch - 1) + 1, later), (0, 1))
    far = torch.where(near > 0, uniform((batch, 1), -20, -6, device), uniform((batch, 1), -4, 14, device))
    room = _room(batch, torch.ones(batch, 1, device=device), far, 0.2, 1.2, device)
    band = _band(batch, lines, (chosen(batch, 0.35, device) > 0) & (near == 0), device)
    dull = (
        1 / (1 + (lines / torch.exp(uniform((batch, 1), math.log(900), math.log(16000), device))) ** 2).sqrt()
    )
    dull = torch.where(near > 0, 1.0, dull)
    return unit(_through(talk, torch.fft.rfft(room, total) * band * dull, total))
