"""The constants on which training and the exported model must agree, without PyTorch."""

from __future__ import annotations

from assistant.grammar.lexicon import PHONES

RATE = 16000
"""Samples a second."""

BINS = 40
"""Number of mel bins, and of cepstra in each frame."""

LOW_HZ, HIGH_HZ = 20, 7600
"""Edges of the lowest and the highest bin."""

SUBSAMPLING = 3
"""Frames of 10 ms for each output."""

PHONE_OUTPUTS = {phone: number for number, phone in enumerate(sorted(PHONES), 1)}
"""Network output of each phone; output 0 is the blank."""

OUTPUTS = 1 + len(PHONE_OUTPUTS)

SKIP = 0.66
"""Weight of the path around a layer."""

EPSILON = 1e-3
"""Added to the variance in batch normalisation."""
