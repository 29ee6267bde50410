"""Words for a glance from two metres: what is wrong in a few words, and sentences for hands where the voice is off."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import OVER_RANGE
from assistant.core.values.key_names import label
from assistant.core.values.units import number_written
from assistant.core.words import placing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Answer, Step, Verdict

_SENTENCE = re.compile(r"(?<=[.!?])\s+")
_STOP = re.compile(r"\bstop\b", re.IGNORECASE)
_KEY = ("Key off.", "Key on.")
_SAY = re.compile(r"\bsay\b", re.IGNORECASE)
_SAY_OR_KEY = re.compile(r"\bsay\b[^.!?]*?,? or (press|key|use)\b", re.IGNORECASE)
"""Words to say with a key beside them: "Say ready, or press Enter."."""


def found(library: Library, verdict: Verdict) -> str:
    """What matters after a verdict, in a few words: "open control wire", "ignition coil bad", "pull one spark plug".

    A verdict that names a part names its fault, or calls the part bad if several faults come to that part.
    One that names the next check names what to do; any other has said in its first sentence what was found, and one
    that tells to stop has nothing more important than that.
    """
    if verdict.part and len(verdict.faults) == 1:
        return library.terms.faults[verdict.faults[0]].plain.partition(" (")[0]
    if verdict.part:
        return f"{verdict.part} bad"
    first = sentences(verdict.says)[0].removeprefix("The ")
    if verdict.next_check and not _STOP.search(verdict.says):
        first = next((one for one in sentences(verdict.next_check.do) if one not in _KEY), first)
    return first.rstrip(".")


def sentences(text: str) -> list[str]:
    """The sentences of a text."""
    return _SENTENCE.split(text.strip())


def without(says: str, large: str) -> str:
    """Sentences without the one that stands in large letters above them."""
    return " ".join(one for one in sentences(says) if one.rstrip(".").removeprefix("The ") != large)


def result(library: Library, step: Step, answer: Answer, value: Decimal | None, unit: str | None) -> str:
    """A result in figures: "feed side: lit", "battery: 12.4 V"; of two places compared, the answer says it all."""
    place = placing.place_words(library, step)
    if step.measure.compared_with:
        return library.terms.outcomes[answer.outcome].spoken
    if value is not None and unit is not None:
        return f"{place}: {number_written(value, unit)}"
    outcome = OVER_RANGE if step.reading else answer.outcome
    return f"{place}: {library.terms.outcomes[outcome].spoken}"


def keyed(text: str, choices: Sequence[tuple[str, str]] = ()) -> str:
    """The text without asking anybody to say something: the key takes its place, or the sentence goes.

    Args:
        text: Sentences: "Say ready, or press Enter.", "If you are not sure, say not yet.".
        choices: Keys, by name, and words of the answers, so that "say not yet" becomes "key 2".
    """
    kept = []
    for given in sentences(text):
        sentence = _SAY_OR_KEY.sub(lambda match: _cased(match.group(1), match.group(0)), given)
        for key, words in choices:
            said = re.compile(rf"\bsay {re.escape(words)}\b", re.IGNORECASE)
            if found := said.search(sentence):
                sentence = said.sub(lambda _: _cased(f"key {label(key)}", found.group()), sentence)  # noqa: B023
        if not _SAY.search(sentence):
            kept.append(sentence)
    return " ".join(filter(None, kept))


def _cased(word: str, like: str) -> str:
    """The word with a capital if these words begin with one."""
    return f"{word[:1].upper()}{word[1:]}" if like[:1].isupper() else word
