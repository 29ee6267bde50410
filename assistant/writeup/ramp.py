"""A captured current ramp among the contents of the write-up."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.writeup.statement import Source


@dataclass(frozen=True)
class CapturedRamp:
    """A current ramp that a clamp captured for a test; the page draws it beside what the circuit model expects.

    Attributes:
        test: Number of the test.
        file: File of the samples: FLAC of one channel, 24 bits, a thousandth of an ampere a step.
        sha256: Its SHA-256.
        circuit: Name of the circuit whose model draws the sound coil.
        fault: Name of the suspected fault that is drawn as well; "" if none is.
        suspected: The same in words.
    """

    test: int
    file: str
    sha256: str
    circuit: str
    fault: str
    suspected: str
    sources: tuple[Source, ...] = ()
