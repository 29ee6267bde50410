"""The plans of the rows that `rows/` makes: the part "rows" of `audio_fixtures/hearing-test.json`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class OrdersPlan:
    """Orders spoken by people.

    Attributes:
        levels_db: Ratios of speech to bay noise.
        talk_db: Ratios of speech to one other voice.
        voices: Voices of a synthesiser that talk in the background.
        beside: The recogniser for comparison hears one in so many.
    """

    levels_db: tuple[float, ...]
    talk_db: tuple[float, ...]
    voices: tuple[str, ...]
    beside: int


@dataclass(frozen=True)
class SinglesPlan:
    """Single words by people.

    Attributes:
        file: Name of the table of sets among the fixtures.
        choices: Number of words that can be said at a time.
        levels_db: Ratios of speech to bay noise.
        beside: The recogniser for comparison hears one in so many.
    """

    file: str
    choices: int
    levels_db: tuple[float, ...]
    beside: int


@dataclass(frozen=True)
class RadioPlan:
    """Answers with continuous talk in the background.

    Attributes:
        of: Names of the answers.
        count: Number of each for each voice.
        talk_db: Ratios of speech to talk.
        voices: Voices that talk.
        sentences: What they say.
    """

    of: tuple[str, ...]
    count: int
    talk_db: tuple[float, ...]
    voices: tuple[str, ...]
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class HardshipsPlan:
    """Answers at unusual levels, in a room, through a telephone.

    Attributes:
        of: Name of the answers.
        count: Number for each voice.
        levels_dbfs: Levels of the speech, dB relative to full scale.
        over_db: Peaks of clipped speech, dB over full scale.
        room_s: Reverberation time of the room.
    """

    of: str
    count: int
    levels_dbfs: tuple[float, ...]
    over_db: tuple[float, ...]
    room_s: float


@dataclass(frozen=True)
class CutPlan:
    """Files cut tightly around an answer, heard by the command `hear`.

    Attributes:
        questions: Questions that they answer.
        voices: Voices that speak.
        count: Number for each question and voice.
    """

    questions: tuple[str, ...]
    voices: tuple[str, ...]
    count: int


@dataclass(frozen=True)
class NobodyPlan:
    """Talk that is addressed to nobody here.

    Attributes:
        at: Question and state of the dialogue in which the assistant listens.
        of: Names of the sentences that are spoken, beside people's orders.
        voices: Voices that speak them.
        levels_db: Ratios of speech to bay noise.
    """

    at: tuple[tuple[str, str], ...]
    of: tuple[str, ...]
    voices: tuple[str, ...]
    levels_db: tuple[float, ...]


@dataclass(frozen=True)
class MissesPlan:
    """Phrases that miss those of a grammar by a little, made from it.

    Attributes:
        at: Question and state of the dialogue.
        count: Number for each question and voice.
        voices: Voices that speak them.
        levels_db: Ratios of speech to bay noise.
    """

    at: tuple[tuple[str, str], ...]
    count: int
    voices: tuple[str, ...]
    levels_db: tuple[float, ...]


@dataclass(frozen=True)
class DigitsPlan:
    """Readings said digit by digit, after the same reading was not understood as usual.

    Attributes:
        of: Name of the answers that are readings.
        count: Number for each voice.
        levels_db: Ratios of speech to bay noise.
    """

    of: str
    count: int
    levels_db: tuple[float, ...]


@dataclass(frozen=True)
class RowsPlan:
    """The plans of all these rows."""

    orders: OrdersPlan
    singles: SinglesPlan
    radio: RadioPlan
    hardships: HardshipsPlan
    cut: CutPlan
    nobody: NobodyPlan
    misses: MissesPlan
    digits: DigitsPlan
