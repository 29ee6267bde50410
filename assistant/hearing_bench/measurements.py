"""The options of a hearing measurement, and its results."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from assistant.hearing_bench.scoring import Delays, FalseAccepts, Hearing


@dataclass(frozen=True)
class Options:
    """The options of the command line; None means the manifest's value."""

    models: tuple[Path, ...] = ()
    quick: bool = False
    hours: float | None = None
    only: tuple[str, ...] = ()
    cache: Path | None = None
    manifest: Path | None = None


@dataclass(frozen=True)
class HeardUtterance:
    """One utterance at one ratio, heard by one recogniser."""

    recogniser: str
    part: str
    speaker: str
    level_db: float
    hearing: Hearing


@dataclass
class HearingFigures:
    """All results of a measurement.

    Attributes:
        machine: The machine.
        date: The date, ISO 8601.
        models: Name of each recogniser, and the first digits of the SHA-256 of its weights ("" without).
        levels_db: Ratios of speech to noise.
        records: Every utterance.
        streams: The hours of noise for each recogniser.
        delays: The delays for each recogniser and ratio.
        memory_mb: Memory for each of our models, MB.
        notes: Parts that were left out, with the reasons.
        took_s: Wall-clock time of the whole measurement, s.
    """

    machine: str
    date: str
    quick: bool
    models: dict[str, str]
    levels_db: tuple[float, ...]
    records: list[HeardUtterance] = field(default_factory=list)
    streams: dict[str, FalseAccepts] = field(default_factory=dict)
    delays: dict[tuple[str, float], Delays] = field(default_factory=dict)
    memory_mb: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    took_s: float = 0.0
