"""The plan of the measurement: the contents of `audio_fixtures/hearing-test.json`, which `reading` reads."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from assistant.hearing_bench.plans import RowsPlan

NAME = "hearing-test.json"
"""File name of the manifest among the fixtures."""

SYNTHESISERS = ("flite", "festival", "espeak-ng")
"""Synthesisers."""

SAY = ("outcome", "control", "reading")
"""Kinds of phrases."""

MADE = (
    "orders",
    "single-words",
    "radio",
    "hardships",
    "cut-files",
    "nobody",
    "live-talk",
    "early",
    "made-misses",
    "digits",
)
"""Rows that `rows/` makes, by the name that `--only` takes."""


@dataclass(frozen=True)
class BenchVoice:
    """A voice of a synthesiser; `voice` is the synthesiser's name for it."""

    name: str
    synthesiser: str
    voice: str


@dataclass(frozen=True)
class Answers:
    """Answers drawn from the grammars of real steps.

    Attributes:
        name: Name of the row.
        say: Kind of phrase to keep: one of `SAY`.
        where: Only steps with one of these outcomes or units; all steps if empty.
        voices: The voices that speak.
        count: Number of answers for each voice.
    """

    name: str
    say: str
    where: tuple[str, ...]
    voices: tuple[str, ...]
    count: int
    line: int


@dataclass(frozen=True)
class SpokenPhrase:
    """One phrase that is spoken as it stands.

    Attributes:
        question: The question that it answers.
        state: State of the dialogue in which it is heard, such as ``asking`` or ``reading-back``.
        words: The words.
        means: Name of the outcome or control word that they mean, or a number; "" if they mean nothing there.
    """

    question: str
    state: str
    words: str
    means: str
    line: int


@dataclass(frozen=True)
class SpokenPhrases:
    """Phrases that are written out.

    Attributes:
        name: Name of the row.
        voices: The voices that speak.
        takes: Number of times that each voice says each phrase, each time in another noise.
        phrases: The phrases.
    """

    name: str
    voices: tuple[str, ...]
    takes: int
    phrases: tuple[SpokenPhrase, ...]


@dataclass(frozen=True)
class Recording:
    """A recording of a person, and its words; "" if nobody wrote them down."""

    file: str
    words: str
    speaker: str


@dataclass(frozen=True)
class Recordings:
    """Recordings of people.

    Attributes:
        name: Name of the row.
        package: Debian package of the recordings.
        folder: Folder in which the package puts them.
        clips: The recordings.
        question: Question whose grammar hears them; None for a grammar of their own.
        grammar: JSGF of their own grammar; "" for one of all their words.
        same: Words that mean the same as others ("oh": "zero") or nothing ("of": "").
        join: Number of whole numbers to put together from the clips; with 0, each clip is an utterance.
    """

    name: str
    package: str
    folder: Path
    clips: tuple[Recording, ...]
    question: str | None
    grammar: str
    same: dict[str, str]
    join: int
    line: int


@dataclass(frozen=True)
class Other:
    """Speech outside every grammar.

    Attributes:
        name: Name of the row.
        voices: Voices that speak the sentences in turn; empty for recordings.
        sentences: Question whose grammar hears it, words, and line in the file.
        recordings: Recordings instead of sentences.
        questions: Questions whose grammars hear the recordings in turn.
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
        hours: Length, h.
        question: Question whose answers the ear listens for.
        chatter: Name of the `Other` whose sentences are spoken.
        voices: Voices that speak them.
        block_s: Length of one noise before the next.
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
        count: Number of each.
        levels_db: Ratios of speech to noise.
        tail_s: Noise after the speech, longer than the ear ever waits.
    """

    of: tuple[str, ...]
    count: int
    levels_db: tuple[float, ...]
    tail_s: float


@dataclass(frozen=True)
class ThroughTheEar:
    """What goes through the real ear: hours of noise, and turns."""

    hours: Hours
    turns: Turns


@dataclass(frozen=True)
class Quick:
    """The plan of `--quick`: a share of each row, at fewer ratios, and fewer hours."""

    share: float
    levels_db: tuple[float, ...]
    hours: float


@dataclass(frozen=True)
class SpeechInNoise:
    """The way in which speech is put into noise.

    Attributes:
        lead_s: Noise before the speech.
        tail_s: Noise after the speech.
        speech_dbfs: Level of the speech, dB relative to full scale.
        stretch: Share by which rate and pitch of a synthesised voice vary.
        levels_db: Ratios of speech to noise.
        noises: Kinds of noise.
    """

    lead_s: float
    tail_s: float
    speech_dbfs: float
    stretch: float
    levels_db: tuple[float, ...]
    noises: tuple[str, ...]


@dataclass(frozen=True)
class Manifest:
    """The whole plan.

    Attributes:
        path: The file.
        seed: Seed of everything that is drawn.
        mixing: How speech is put into noise.
        voices: Voices by name.
        questions: Procedure and step of each question by name.
        answers: Answers from the grammars of real steps.
        phrases: Phrases that are written out.
        recordings: Recordings of people.
        other: Speech outside every grammar.
        ear: Hours of noise and chatter, and answers, that go through the real ear.
        rows: The plans of the rows in `rows/`.
        quick: The plan of `--quick`.
    """

    path: Path
    seed: int
    mixing: SpeechInNoise
    voices: dict[str, BenchVoice]
    questions: dict[str, tuple[str, str]]
    answers: tuple[Answers, ...]
    phrases: tuple[SpokenPhrases, ...]
    recordings: tuple[Recordings, ...]
    other: tuple[Other, ...]
    ear: ThroughTheEar
    rows: RowsPlan
    quick: Quick

    @property
    def hours(self) -> Hours:
        """Hours of noise and chatter."""
        return self.ear.hours

    @property
    def turns(self) -> Turns:
        """Answers that go through the real ear."""
        return self.ear.turns

    def parts(self) -> tuple[str, ...]:
        """Names that `--only` accepts."""
        rows = [
            part.name for parts in (self.answers, self.phrases, self.recordings, self.other) for part in parts
        ]
        return (*rows, *MADE, "hours", "turns", "memory")
