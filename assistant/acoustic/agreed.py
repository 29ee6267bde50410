"""The constants on which training and the exported model must agree, without PyTorch.

Those of the cepstra and of the network's outputs belong to the recogniser, which runs the same network in numpy.
"""

from __future__ import annotations

from assistant.hearing.acoustics import EPSILON, OUTPUTS, PHONE_NUMBERS as PHONE_OUTPUTS, SUBSAMPLING
from assistant.hearing.cepstra import BINS, HIGH_HZ, LOW_HZ, RATE

__all__ = [
    "BINS",
    "EPSILON",
    "HIGH_HZ",
    "LOW_HZ",
    "OUTPUTS",
    "PHONE_OUTPUTS",
    "RATE",
    "SKIP",
    "SUBSAMPLING",
]

SKIP = 0.66
"""Weight of the path around a layer."""
