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
    orders: Path | None = None
    part: Path | None = None
    jobs: int = 1
    beside: bool = True
    share: float | None = None
    go_on: bool = False


@dataclass(frozen=True)
class HeardUtterance:
    """One utterance in one condition, such as "10 dB", heard by one recogniser."""

    recogniser: str
    part: str
    speaker: str
    condition: str
    hearing: Hearing


@dataclass
class HearingFigures:
    """All results of a measurement.

    Attributes:
        machine: The machine.
        date: The date, ISO 8601.
        models: Name of each recogniser, and the first digits of the SHA-256 of its weights ("" without).
        records: Every utterance.
        groups: Part of the manifest to which each row belongs.
        streams: The hours of noise for each recogniser.
        delays: The delays for each recogniser and condition.
        memory_mb: Memory for each of our models, MB.
        notes: Parts that were left out, with the reasons.
        unfinished: Parts that are still to be measured.
        took_s: Wall-clock time of the whole measurement, s.
    """

    machine: str
    date: str
    quick: bool
    models: dict[str, str]
    records: list[HeardUtterance] = field(default_factory=list)
    groups: dict[str, str] = field(default_factory=dict)
    streams: dict[str, FalseAccepts] = field(default_factory=dict)
    delays: dict[tuple[str, str], Delays] = field(default_factory=dict)
    memory_mb: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    unfinished: list[str] = field(default_factory=list)
    took_s: float = 0.0
