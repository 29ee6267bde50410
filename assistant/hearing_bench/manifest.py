"""What is measured: the content of `audio_fixtures/hearing-test.json`; `reading` reads it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

NAME = "hearing-test.json"
"""Name of the manifest among the fixtures."""

SYNTHESISERS = ("flite", "festival")
"""Programs that speak."""

SAY = ("outcome", "control", "reading")
"""Kinds of phrases."""


@dataclass(frozen=True)
class Voice:
    """A voice of a synthesiser; `voice` is its name there."""

    name: str
    synthesiser: str
    voice: str


@dataclass(frozen=True)
class Answers:
    """Answers drawn from the grammars of real steps.

    Attributes:
        name: Of the row.
        say: What kind of phrase is kept: one of `SAY`.
        where: Only steps that have one of these outcomes or units; all when empty.
        voices: Who says them.
        count: How many for each voice.
    """

    name: str
    say: str
    where: tuple[str, ...]
    voices: tuple[str, ...]
    count: int
    line: int


@dataclass(frozen=True)
class Clip:
    """A recording of a person, and what is said in it; "" where nobody wrote it down."""

    file: str
    words: str
    speaker: str


@dataclass(frozen=True)
class Recordings:
    """Recordings of people.

    Attributes:
        name: Of the row.
        package: Debian package that holds them.
        folder: Where it puts them.
        clips: The recordings.
        question: Question whose grammar hears them; None for a grammar of their own.
        grammar: JSGF of their own grammar; "" for one of all their words.
        same: Words that mean the same as others ("oh": "zero"), or nothing ("of": "").
        join: So many whole numbers are put together from the clips; 0: each clip is an utterance.
    """

    name: str
    package: str
    folder: Path
    clips: tuple[Clip, ...]
    question: str | None
    grammar: str
    same: dict[str, str]
    join: int
    line: int


@dataclass(frozen=True)
class Other:
    """Speech that is in no grammar.

    Attributes:
        name: Of the row.
        voices: Who says the sentences, in turn; empty for recordings.
        sentences: Question whose grammar hears it, words, and line in the file.
        recordings: Or recordings, heard with `questions` in turn.
        questions: See there.
    """

    name: str
    voices: tuple[str, ...]
    sentences: tuple[tuple[str, str, int], ...]
    recordings: Recordings | None
    questions: tuple[str, ...]


@dataclass(frozen=True)
class Hours:
    """Hours of noise and chatter; times in s, levels in dB relative to full scale.

    Attributes:
        hours: How long.
        question: Question that is listened for.
        chatter: Name of the `Other` whose sentences are said.
        voices: By whom.
        block_s: So long a noise goes on before the next one.
        noise_db: Quietest and loudest noise.
        chatter_db: Quietest and loudest chatter.
        gap_s: Mean silence between two sentences.
    """

    hours: float
    question: str
    chatter: str
    voices: tuple[str, ...]
    block_s: float
    noise_db: tuple[float, float]
    chatter_db: tuple[float, float]
    gap_s: float


@dataclass(frozen=True)
class Turns:
    """Answers that go through the real ear.

    Attributes:
        of: Names of `Answers`.
        count: How many of each.
        levels_db: Ratios of speech to noise.
        tail_s: Noise after the speech: longer than the ear ever waits.
    """

    of: tuple[str, ...]
    count: int
    levels_db: tuple[float, ...]
    tail_s: float


@dataclass(frozen=True)
class Quick:
    """What `--quick` measures: a share of each row, at fewer ratios, and fewer hours."""

    share: float
    levels_db: tuple[float, ...]
    hours: float


@dataclass(frozen=True)
class Manifest:
    """All of it; `speech_dbfs` is the level of speech, `stretch` the share by which rate and pitch vary."""

    path: Path
    seed: int
    lead_s: float
    tail_s: float
    speech_dbfs: float
    stretch: float
    levels_db: tuple[float, ...]
    noises: tuple[str, ...]
    voices: dict[str, Voice]
    questions: dict[str, tuple[str, str]]
    answers: tuple[Answers, ...]
    recordings: tuple[Recordings, ...]
    other: tuple[Other, ...]
    hours: Hours
    turns: Turns
    quick: Quick

    def parts(self) -> tuple[str, ...]:
        """Names that `--only` takes."""
        rows = [part.name for parts in (self.answers, self.recordings, self.other) for part in parts]
        return (*rows, "hours", "turns", "memory")
