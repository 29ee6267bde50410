"""How well an answer's phones explain the sound: measured on the acoustic model's own probabilities.

The decoder ranks phrases; it says little about whether any of them was said. This module compares three things over
the same steps of 30 ms:

- the *phrase*: the sum over all ways to speak the phones of the answer in order, with blanks between them (the
  forward sum of connectionist temporal classification, Graves et al. 2006), over all pronunciations;
- the *free loop*: the likeliest output of every step, whatever phones that makes;
- the *rivals*: the recogniser's other alternatives and the phrases of the step's grammar, each with its own sum.

All of it is relative: to the number of phones, to the free loop and to the rivals, and no measure has a ceiling that
a lonely alternative would reach.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.grammar.near_misses import everyday
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS, STEP_S
from assistant.hearing.phone_sums import (
    Floats,
    Phones,
    aligned,
    background,
    collapsed,
    edits,
    floor,
    forward,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.hearing.acoustics import Floats as Logs

MOST_VARIANTS = 6
"""Pronunciations of a rival that are tried."""

_NAMES = {number: phone for phone, number in PHONE_NUMBERS.items()}

_LONGEST_WHOLE = 8
"""Phones of the longest answer that one everyday word is compared with as a whole."""

_AROUND = 4
"""Steps before the first phone and after the last one that still belong to the answer."""


@dataclass(frozen=True)
class InPhones:
    """A phrase in one pronunciation.

    Attributes:
        words: Its words.
        phones: The outputs of its phones.
        of_word: For each phone the number of its word.
    """

    words: tuple[str, ...]
    phones: Phones
    of_word: tuple[int, ...]

    @classmethod
    def of(cls, words: Sequence[str], spoken: Sequence[Sequence[str]]) -> InPhones:
        """From words and the phones of each."""
        phones = tuple(PHONE_NUMBERS[phone] for said in spoken for phone in said)
        of_word = tuple(number for number, said in enumerate(spoken) for _ in said)
        return cls(tuple(words), phones, of_word)


def variants(words: Sequence[str], lexicon: Lexicon, most: int = MOST_VARIANTS) -> list[InPhones]:
    """The phrase in at most so many pronunciations; none if a word has no pronunciation."""
    each = [lexicon.pronunciations(word) for word in words]
    if not words or not all(each):
        return []
    return [InPhones.of(words, spoken) for spoken in itertools.islice(itertools.product(*each), most)]


def best_spoken(floored: Floats, words: Sequence[str], lexicon: Lexicon) -> tuple[InPhones, float] | None:
    """The phrase in its best pronunciation, chosen word by word, with the logarithm of its sum.

    Args:
        floored: Probabilities, as `floor` gives them.
        words: The phrase.
        lexicon: Pronunciations.

    Returns:
        None if a word has no pronunciation.
    """
    each = [lexicon.pronunciations(word) for word in words]
    if not words or not all(each):
        return None
    usual = [said[0] for said in each]
    tried = [usual]
    for number, spoken in enumerate(each):
        tried += [[*usual[:number], other, *usual[number + 1 :]] for other in spoken[1:]]
    made = [InPhones.of(words, spoken) for spoken in tried]
    sums = forward(floored, [said.phones for said in made])
    if len(tried) == 1:
        return made[0], float(sums[0])
    chosen, at = list(usual), 1
    for number, spoken in enumerate(each):
        scores = [float(sums[0]), *(float(value) for value in sums[at : at + len(spoken) - 1])]
        chosen[number] = spoken[int(np.argmax(scores))]
        at += len(spoken) - 1
    together = InPhones.of(words, chosen)
    total = float(forward(floored, [together.phones])[0])
    best = int(np.argmax(sums))
    return (together, total) if total >= sums[best] else (made[best], float(sums[best]))


def _worst(values: Floats, size: int) -> float:
    """The largest mean of so many values in a row."""
    size = min(size, len(values))
    return float(np.convolve(values, np.ones(size) / size, "valid").max())


def fit_measures(logs: Logs, floored: Floats, said: InPhones, total: float) -> dict[str, float]:
    """How the phones of one phrase fit the sound; {} if there are fewer steps than phones.

    Args:
        logs: Log-probabilities of the steps.
        floored: The same with the floor.
        said: The phrase in its best pronunciation.
        total: Logarithm of its sum.

    Returns:
        ``fit``: that logarithm less the free loop's, for each phone. ``worst``, ``worst-two``, ``worst-three``: the
        same for the worst phone and for stretches, as a cost; ``worst-word``: mean cost of a phone in the worst word.
        ``before``, ``after``, ``beyond``: cost of the steps outside the answer, their sum at last.
        ``sure`` and ``least-sure``: mean and lowest probability of a phone where it is spoken, as log-odds and
        logarithm. ``explained``: share of all that is not blank that the answer's phones explain.
        ``edits``: phones of the free loop that differ, for each phone; ``extra``: phones more than in the answer.
        ``phones``: logarithm of their number. ``gap``: longest time between two phones of a word, s; ``pace``,
        ``pace-squared``: logarithm of the time of a phone after 0.1 s.
    """
    path = aligned(floored, said.phones)
    if path is None:
        return {}
    count = len(said.phones)
    steps = np.arange(len(path))
    labels = np.where(path >= 0, np.asarray(said.phones)[path], 0)
    free = np.log(floored.max(axis=1))
    lost = free - np.log(floored[steps, labels])
    probabilities = np.exp(logs.astype(np.float64))
    spoken = path >= 0
    here = np.where(spoken, probabilities[steps, labels], 0.0)
    peaks = np.zeros(count, np.intp)
    height = np.full(count, -1.0)
    for step in steps[spoken]:
        if here[step] > height[path[step]]:
            height[path[step]], peaks[path[step]] = here[step], step
    middles = (peaks[1:] + peaks[:-1] + 1) // 2
    owner = np.searchsorted(middles, steps, "right")
    outside_before = steps < peaks[0] - _AROUND
    outside_after = steps > peaks[-1] + _AROUND
    inside = ~(outside_before | outside_after)
    costs = np.asarray(np.bincount(owner[inside], lost[inside], count), np.float64)
    words = np.asarray(said.of_word)
    of_words = np.bincount(words, costs) / np.bincount(words)
    sounding = float((1 - probabilities[:, 0]).sum())
    heard = collapsed(probabilities.argmax(axis=1))
    sure = np.clip(height, 1e-4, 1 - 1e-3)
    within = np.diff(peaks)[np.diff(words) == 0]
    length = (peaks[-1] - peaks[0] + 2) * STEP_S
    pace = math.log(length / count / 0.1)
    before, after = float(lost[outside_before].sum()), float(lost[outside_after].sum())
    return {
        "fit": (total - float(free.sum())) / count,
        "worst": float(costs.max()),
        "worst-two": _worst(costs, 2),
        "worst-three": _worst(costs, 3),
        "worst-word": float(of_words.max()),
        "inside": float(costs.mean()),
        "before": before,
        "after": after,
        "beyond": before + after,
        "sure": float(np.mean(np.log(sure / (1 - sure)))),
        "least-sure": float(np.log(sure.min())),
        "explained": min(1.0, float(here.sum()) / max(0.5, sounding)),
        "edits": edits([phone for phone, _ in heard], said.phones) / count,
        "extra": float(max(0, len(heard) - count)),
        "phones": math.log(count),
        "gap": float(within.max()) * STEP_S if within.size else 0.0,
        "pace": pace,
        "pace-squared": pace * pace,
    }


def sums_of(
    floored: Floats, phrases: Iterable[tuple[str, ...]], lexicon: Lexicon
) -> dict[tuple[str, ...], float]:
    """The logarithm of the sum of each phrase over its pronunciations; a phrase with an unknown word is left out."""
    spoken = [said for words in phrases for said in variants(words, lexicon)]
    spoken = [said for said in spoken if len(said.phones) <= len(floored)]
    found: dict[tuple[str, ...], float] = {}
    for said, value in zip(spoken, forward(floored, [one.phones for one in spoken]), strict=True):
        found[said.words] = max(float(value), found.get(said.words, -math.inf))
    return found


def rival_measures(own: float, others: Mapping[str, float], count: int) -> dict[str, float]:
    """How far the answer is ahead of the best rival.

    Args:
        own: Logarithm of the answer's sum.
        others: The same of phrases with other meanings.
        count: Phones of the answer.

    Returns:
        ``ahead``: logarithm of the ratio to the best rival, squeezed by the inverse hyperbolic sine, so that far is
        far; ``ahead-each``: the same for each phone. Nothing without rivals.
    """
    best = max(others.values(), default=-math.inf)
    if not math.isfinite(best):
        return {}
    return {"ahead": math.asinh(own - best), "ahead-each": (own - best) / count}


SCALE, BLANK = 0.6, 2.5
"""Weight of the log-probabilities, as in the decoder, and logarithm of the blank's prior in these sums.

The decoder's prior is 3.5 since the weights were trained on people; the measures were fitted with this one."""


NEAR, NEAREST = 2.0, 0.3
"""Distances (`assistant.grammar.lexicon.distance`) of everyday words that are compared: nearer ones sound the same."""

MOST_NEAR = 60
"""Everyday words that are compared with each word of an answer."""


def near_sums(floored: Floats, said: InPhones, meaning_of: Callable[[str], object | None]) -> Floats:
    """Logarithms of the sums of what sounds like the answer and is none: one word replaced by an everyday one.

    Args:
        floored: Probabilities with the floor.
        said: The answer in its best pronunciation.
        meaning_of: The meaning of words; what means something is no rival here.
    """
    words = everyday()
    names = [_NAMES[phone] for phone in said.phones]
    spans: list[tuple[int, int]] = []
    for number in range(len(said.words)):
        places = [at for at, of in enumerate(said.of_word) if of == number]
        spans.append((places[0], places[-1] + 1))
    if len(spans) > 1 and len(names) <= _LONGEST_WHOLE:
        spans.append((0, len(names)))
    found: set[Phones] = set()
    for number, (begin, end) in enumerate(spans):
        known = 0
        for distance, word, phones in words.near(tuple(names[begin:end]), NEAR):
            if distance < NEAREST or known >= MOST_NEAR:
                continue
            texts = (
                [word]
                if number >= len(said.words)
                else [*said.words[:number], word, *said.words[number + 1 :]]
            )
            if meaning_of(" ".join(texts)) is not None:
                continue
            known += 1
            other = tuple(PHONE_NUMBERS[phone] for phone in phones)
            found.add((*said.phones[:begin], *other, *said.phones[end:]))
    return forward(floored, sorted(one for one in found if len(one) <= len(floored)))


MOST_RIVALS = 400
"""Phrases of a step's grammar that are compared; most steps have fewer, and the shortest come first."""


def _split(text: str) -> tuple[str, ...]:
    return tuple(text.split())


def verified(
    logs: Logs,
    alternatives: Sequence[str],
    meaning_of: Callable[[str], object | None],
    phrases: Sequence[str],
    lexicon: Lexicon,
) -> tuple[str, dict[str, float]] | None:
    """The first of the alternatives that means something, and all measures of it.

    The recogniser's order is kept: with all words and pronunciations at once it is the better judge of that.

    Args:
        logs: Log-probabilities of the steps.
        alternatives: What the recogniser heard, the best first.
        meaning_of: The meaning of words, None for none.
        phrases: Phrases of the step's grammar that might have been said instead.
        lexicon: Pronunciations.

    Returns:
        Its words and its measures; None if no alternative means anything or the sound is too short for it.
    """
    words = next((text for text in alternatives if meaning_of(text) is not None), None)
    if words is None:
        return None
    floored = floor(logs)
    # The blank is held down: the network is surer of it than of any phone.
    held = np.where(np.arange(OUTPUTS) == 0, math.exp(-BLANK), 1.0) * floored
    best = best_spoken(held, words.split(), lexicon)
    if best is None:
        return None
    said, held_own = best
    own = float(forward(floored, [said.phones])[0])
    found_measures = fit_measures(logs, floored, said, own)
    if not found_measures:
        return None
    meaning = meaning_of(words)
    others = dict.fromkeys(
        text for text in (*alternatives, *phrases) if meaning_of(text) not in (None, meaning)
    )
    rivals = [tuple(text.split()) for text in itertools.islice(others, MOST_RIVALS)]
    sums = {" ".join(text): total for text, total in sums_of(held, rivals, lexicon).items()}
    free = float(np.log(floored.max(axis=1)).sum())
    count = len(said.phones)
    english = own - background(floored)
    found_measures |= {"english": math.asinh(english), "english-each": english / count}
    decoded = np.exp(SCALE * (np.log(floored) - BLANK * (np.arange(OUTPUTS) == 0)))
    loop = float(forward(decoded, [said.phones])[0]) - background(decoded)
    found_measures |= {"loop": math.asinh(loop), "loop-each": loop / count}
    near = near_sums(held, said, meaning_of)
    if near.size:
        found_measures["over"] = math.asinh(held_own - float(near.max()))
        found_measures["over-all"] = math.asinh(held_own - float(np.logaddexp.reduce(near)))
    return words, found_measures | rival_measures(held_own, sums, count) | {"behind": math.asinh(free - own)}
