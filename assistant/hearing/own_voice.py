"""Tells the assistant's own voice in the microphone from somebody who speaks: the assistant knows what it plays.

With a headset the microphone listens while the assistant speaks, and some of its voice leaks into it.
Voice activity and the recogniser take that for an answer; the recogniser was trained on voices like this one.

`OwnVoice` compares the microphone's sound with what was played in the half second before, by the power in bands of
frequency. From the last seconds of own speech it finds the delay at which the two rise and fall together, and how much
of each band arrives. That much is taken out of the sound before anything else listens to it. A chunk that held no more
than that and the noise counts as silence, so that somebody who speaks over the assistant is a beginning of speech.
An utterance is dropped whole if nowhere in it, for the length of a vowel, there was more.

Powers are compared and not waves, because microphone and loudspeaker may have clocks of their own. Cancelling the echo
(a frequency-domain Kalman filter, tried) took away 18 to 21 dB of it with one clock, after half a minute, but 6 to 11
where the clocks differ by 30 parts in a million, and at most 3 at 100.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.activity import CHUNK, DEFAULT_TIMING
from assistant.hearing.cleaning import BANDS, HOP, SILENT, Cleaner, Powers, powers
from assistant.hearing.sound import RATE, decibels, power

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from assistant.hearing.sound import Samples

DELAYS = 32
"""Number of delays that are tried, up to 0.5 s; a Bluetooth headset with its buffers takes up to 0.4 s."""

FADES = 14
"""Hops for which an echo is followed: 0.22 s."""

FADE = 10 ** (-6 * HOP / RATE / 0.8)
"""Share of an echo's power left after a hop where it falls by 60 dB in 0.8 s, as in a bay; a headset's is shorter."""

NEAR = 2
"""Hops beside the delay in which the strongest sound counts: chunks of the two do not lie exactly together."""

COMPARED = 256
"""Chunks of own speech that are compared: 8 s."""

LEARNED = 48
"""Chunks of own speech after which the comparison counts: 1.5 s. Until then what is not loud is its own."""

EVERY = 8
"""Chunks of own speech from one comparison to the next."""

ALIKE, STILL_ALIKE = 0.18, 0.1
"""Correlation from which the own voice is in the microphone, and down to which it still is.

In 8 s of sound without it the highest of the 32 was 0.16 at most in 18 trials, and 0.20 in 18 with somebody speaking;
with it 20 dB under speech in noise at 10 dB it was 0.17 to 0.50."""

HIGH = 80
"""Percentile of what arrives of a band that counts as its share: most chunks of own voice then hold less."""

AUDIBLE_DB = 0.3
"""Mean rise of the noise by the own voice from which a chunk can be its own."""

CHUNK_DB = 1.0
"""Mean excess over noise and own voice up to which a chunk is the own voice."""

CLEAREST = 5
"""Chunks of an utterance that are judged, where they stand out most: 0.16 s, a vowel."""

CLEAREST_DB = 2.5
"""Mean excess of these up to which the utterance is the own voice.

On development sound 68 utterances of the own voice had 1.8 dB at most and one 3.2; 62 words of somebody who spoke over
it (leakage at -10 dB, noise at 50 to 10 dB) had 2.3 dB and more, 60 of them more than 2.5."""

TAKEN = 3.0
"""What is taken out of the sound, as a multiple of what is expected to arrive; more than 1, as what is left over of a
louder moment is still speech. With 1.5 two words of 58 fewer were heard."""

DEEPEST = 1e-4
"""Least share of a band's power that is left in: -40 dB."""

UNLEARNED_DB = -4.0
"""Level relative to expected speech from which a chunk is somebody else's while the comparison does not count yet.

A headset's leakage at -10 dB came to -6 dB at most on development sound, a technician's word to -0.5 dB."""

JUDGED = 320
"""Chunks that are kept to judge an utterance: 10 s, longer than an utterance can be."""

PLAYS = 1e-6
"""Power of a chunk from which something is played: -60 dB, far under speech."""

LOUD_DB = 10.0
"""The own voice is too loud for a headset if it is heard less than this below the expected level of speech."""

_FLOOR = 1e-5
"""Added to what was played before logarithms are compared: pauses are then alike, however deep they are."""


class OwnVoice:
    """Follows the own voice in the microphone; for one thread.

    Args:
        played: Gives what lies beside the microphone's samples from a place to another, counted from the first sample;
            silence for what is unknown.
        breaks: Gives how often the two sides were laid anew beside each other: what was learnt is then forgotten.
        loud: Called once if so much of it is heard that no headset can be worn.
        speech_db: Expected level of somebody's speech, dB relative to full scale.
    """

    def __init__(
        self,
        played: Callable[[int, int], Samples],
        breaks: Callable[[], int] = lambda: 0,
        loud: Callable[[], None] = lambda: None,
        speech_db: float = -22.0,
    ) -> None:
        self._played = played
        self._breaks = breaks
        self._loud: Callable[[], None] | None = loud
        self._loud_power = 10 ** ((speech_db - LOUD_DB) / 10)
        self._unlearned_power = 10 ** ((speech_db + UNLEARNED_DB) / 10)
        self._noise = np.full(BANDS, SILENT, np.float32)
        self._lately: deque[tuple[int, Powers, Powers]] = deque(maxlen=JUDGED)
        self._broken = breaks()
        self._path = _Path()
        self._cleaner = Cleaner()
        self._quiet: Powers | None = None  # the last chunk's powers, if nothing was played beside it
        self._own = False

    @property
    def delay_s(self) -> float | None:
        """Time from handing sound over until it comes back, as found; None while the own voice is not heard."""
        return None if self._path.delay is None else self._path.delay * HOP / RATE

    def cleaned(self, chunk: Samples, at: int) -> Samples:
        """The sound up to `HOP` before the end of a chunk, without what the own voice explains of it.

        Args:
            chunk: `CHUNK` samples of the microphone; each is given once, in their order.
            at: Place of its first sample.
        """
        self._own, arriving, heard = False, None, powers(chunk)
        played = self._played(at - HOP * (DELAYS + FADES), at + CHUNK)
        plays = _plays(played)
        self._quiet = None if plays else heard
        if plays:
            arriving = self._compared(chunk, at, heard, played)
        if arriving is None:
            return self._cleaner.clean(chunk, np.ones(BANDS, np.float32))
        least = np.clip(self._noise / heard, DEEPEST, 1)  # the noise stays, as the recogniser knows it
        return self._cleaner.clean(chunk, np.sqrt(np.clip(1 - TAKEN * arriving / heard, least, 1)))

    def is_own(self, probability: float) -> bool:
        """Whether the chunk that was cleaned last held no speech but the assistant's own.

        Args:
            probability: Of speech in it, by the voice-activity model.
        """
        if self._quiet is not None and probability < DEFAULT_TIMING.go_on_at:
            self._noise = self._noise + np.float32(0.05) * (self._quiet - self._noise)
        return self._own

    def _compared(self, chunk: Samples, at: int, heard: Powers, played: Samples) -> Powers | None:
        """What is expected to arrive of the own voice; None if that is not known, or nothing."""
        if self._breaks() != self._broken:
            self._broken, self._path = self._breaks(), _Path()
        frames = np.lib.stride_tricks.sliding_window_view(played, CHUNK)[::-HOP]
        echoes = powers(frames)
        if _plays(frames[:DELAYS]):
            self._path.learn(heard, echoes, self._noise)
        if not self._path.learned:
            share = np.float32(min(1.0, self._unlearned_power / (power(chunk) + SILENT)))
            self._lately.append((at, heard, heard * share))
            self._own = share == 1
            return None
        if self._path.delay is None:
            return None
        arriving = self._path.arriving(echoes)
        expected = self._noise + arriving
        self._lately.append((at, heard, expected))
        rise = float(np.mean(10 * np.log10(expected / self._noise)))
        excess = float(np.mean(np.clip(10 * np.log10(heard / expected), 0, 20)))
        self._own = rise >= AUDIBLE_DB and excess < CHUNK_DB
        if self._own and self._loud is not None and self._path.loudness(power(chunk)) > self._loud_power:
            tell, self._loud = self._loud, None
            tell()
        return arriving

    def was_own(self, start: int, end: int) -> bool:
        """Whether an utterance nowhere holds more than the own voice and the noise.

        A single chunk can stand out by chance, and a short word is lost in the mean of a long utterance; so each band's
        power over a few neighbouring chunks is compared, where they stand out most.

        Args:
            start: Place of its first sample.
            end: Place behind its last.
        """
        rows = [(heard, expected) for at, heard, expected in self._lately if start <= at < end]
        if 2 * len(rows) * CHUNK < end - start:
            return False  # most of it came while nothing was played, or nothing of it is heard
        sums = np.cumsum(np.asarray([np.zeros((2, BANDS)), *rows]), axis=0)
        width = min(CLEAREST, len(rows))
        neighbours = sums[width:] - sums[:-width]
        excess = np.mean(10 * np.log10(neighbours[:, 0] / neighbours[:, 1]), axis=1)
        return bool(np.max(excess) < CLEAREST_DB)


class _Path:
    """The way from the loudspeaker back to the microphone, learnt from own speech.

    Attributes:
        delay: In hops; None while the own voice is not heard.
    """

    def __init__(self) -> None:
        self._pairs: deque[tuple[Powers, Powers]] = deque(maxlen=COMPARED)
        self._count = 0
        self._share = np.zeros(BANDS, np.float32)
        self._level = 0.0
        self.delay: int | None = None

    @property
    def learned(self) -> bool:
        """Whether enough own speech has been compared."""
        return self._count >= LEARNED

    def learn(self, heard: Powers, echoes: Powers, noise: Powers) -> None:
        """Take in a chunk during own speech; row d of `echoes` is what was played d hops before."""
        self._pairs.append((heard, echoes))
        self._count += 1
        if not self.learned or self._count % EVERY:
            return
        delay, alike = _alike([one for one, _ in self._pairs], [rows[:DELAYS] for _, rows in self._pairs])
        if alike < (ALIKE if self.delay is None else STILL_ALIKE):
            self.delay = None
            return
        self.delay = delay
        arrived = np.stack([np.maximum(one - noise, 0) for one, _ in self._pairs])
        played = np.stack([_strongest(rows, delay) for _, rows in self._pairs])
        for band in range(BANDS):
            loud = played[:, band] > PLAYS
            shares = arrived[loud, band] / played[loud, band]
            self._share[band] = np.percentile(shares, HIGH) if shares.size else 0.0

    def arriving(self, echoes: Powers) -> Powers:
        """The power of its own voice that should reach the microphone now, by band."""
        return self._share * _strongest(echoes, self.delay or 0)

    def loudness(self, chunk: float) -> float:
        """Mean power of the chunks of own voice, with this one, over about 2 s of them; begins at zero."""
        self._level += (chunk - self._level) / 64
        return self._level


def _alike(heard: list[Powers], echoes: list[Powers]) -> tuple[int, float]:
    """The delay, in hops, at which the logarithms of both powers correlate best, and how much, at most 1."""
    one, other = np.log(np.stack(heard)), np.log(np.stack(echoes) + np.float32(_FLOOR))
    one -= one.mean(axis=0)
    other -= other.mean(axis=0)
    size = np.sqrt(np.sum(one**2) * np.sum(other**2, axis=(0, 2))) + 1e-9
    found = np.einsum("tb,tdb->d", one, other) / size
    return int(np.argmax(found)), float(np.max(found))


def _plays(sound: NDArray[np.int16]) -> bool:
    """Whether there is more than silence."""
    return decibels(power(sound)) > decibels(PLAYS)


def _strongest(echoes: Powers, delay: int) -> Powers:
    """In each band the strongest of what was played at about this delay before, and of its fading echoes."""
    near = echoes[max(0, delay - NEAR) : delay + NEAR + 1].max(axis=0)
    later = echoes[delay + NEAR + 1 : delay + FADES]
    fading = later * (FADE ** np.arange(NEAR + 1, NEAR + 1 + len(later), dtype=np.float32))[:, None]
    return np.asarray(np.maximum(near, fading.max(axis=0)) if len(later) else near, np.float32)
