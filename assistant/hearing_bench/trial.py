"""One piece of sound that the recognisers hear, and what stands beside it in a table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.values.result import Result
from assistant.grammar.step_grammar import StepGrammar
from assistant.hearing_bench.mixing import CLEAN_DB, Mixture

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True)
class SoundTrial:
    """One piece of sound.

    Attributes:
        part: Row of the report.
        speaker: Voice, person, or group of people.
        condition: Column of the report, such as "10 dB".
        words: The spoken words; "" if nobody wrote them down.
        truth: Their meaning in `grammar`; None if they have none there.
        grammar: Grammar that hears them.
        sound: Makes the sound; called once, where it is heard.
        beside: Whether the recogniser for comparison hears it as well.
        then: The second try, said after this one if it was not accepted; heard in any case, as a row of its own.
        together: Row of both tries together.
    """

    part: str
    speaker: str
    condition: str
    words: str
    truth: Result | None
    grammar: StepGrammar
    sound: Callable[[], Mixture]
    beside: bool = True
    then: SoundTrial | None = None
    together: str = ""


def level_name(level_db: float) -> str:
    """A ratio of speech to noise as it is shown."""
    return "clean" if level_db == CLEAN_DB else f"{level_db:g} dB"


def in_order(trials: Sequence[SoundTrial]) -> list[SoundTrial]:
    """The same trials, those of one grammar together, because a change of grammar takes time."""
    first: dict[StepGrammar, int] = {}
    for trial in trials:
        first.setdefault(trial.grammar, len(first))
    return sorted(trials, key=lambda trial: first[trial.grammar])


def slice_of(trials: Sequence[SoundTrial], number: int, of: int) -> list[SoundTrial]:
    """A share of the work: the part with this number (from 0) of so many, which together are everything."""
    ordered = in_order(trials)
    return ordered[len(ordered) * number // of : len(ordered) * (number + 1) // of]
