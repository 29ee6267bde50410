"""How well an answer's phones explain the sound: measured on the acoustic model's own probabilities.

The decoder ranks phrases; it says little about whether any of them was said. This module compares three things over
the same steps of 30 ms:

- the *phrase*: the sum over all ways to speak the phones of the answer in order, with blanks between them (the
  forward sum of connectionist temporal classification, Graves et al. 2006), over all pronunciations;
- the *free loop*: the likeliest output of every step, whatever phones that makes;
- the *rivals*: the recogniser's other alternatives, phrases of the step's grammar and everyday words that sound like
  the answer (`assistant.hearing.rivals`), each with its own sum.

All of it is relative: to the number of phones, to the free loop and to the rivals, and no measure has a ceiling that
a lonely alternative would reach.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from assistant.hearing.acoustics import STEP_S
from assistant.hearing.phone_sums import (
    Floats,
    Phones,
    aligned,
    background,
    collapsed,
    edits,
    floor,
    forward,
    held_down,
)
from assistant.hearing.rivals import InPhones, RivalPhrases, alike, costs_of, spellings

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

    from numpy.typing import NDArray

    from assistant.grammar.lexicon import Lexicon
    from assistant.hearing.acoustics import Floats as Logs

_AROUND = 4
"""Steps before the first phone and after the last one that still belong to the answer."""


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


def clearness(probabilities: Floats, best: NDArray[np.intp]) -> float:
    """How sure the network is of whatever was spoken: mean log-odds of the phones of the free loop, at their surest.

    A plain voice without noise falls short of the right phones by little, so little speaks against an answer there.
    """
    begins = np.flatnonzero(np.diff(best, prepend=0))
    highest = np.maximum.reduceat(probabilities.max(axis=1), begins) if begins.size else np.zeros(0)
    spoken = np.clip(highest[best[begins] > 0], 1e-3, 1 - 1e-3)
    return float(np.mean(np.log(spoken / (1 - spoken)))) if spoken.size else 0.0


def fit_measures(logs: Logs, floored: Floats, said: InPhones, total: float) -> dict[str, float]:
    """How the phones of one phrase fit the sound; {} if there are fewer steps than phones.

    Args:
        logs: Log-probabilities of the steps.
        floored: The same with the floor.
        said: The phrase in its best pronunciation.
        total: Logarithm of its sum.

    Returns:
        ``fit``: that logarithm less the free loop's, for each phone; ``behind``: the difference itself, squeezed.
        ``worst``, ``worst-two``, ``worst-three``: the same for the worst phone and for stretches, as a cost;
        ``worst-word``: mean cost of a phone in the worst word.
        ``before``, ``after``, ``beyond``: cost of the steps outside the answer, their sum at last.
        ``clear``: as `clearness` says.
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
    best = probabilities.argmax(axis=1)
    heard = collapsed(best)
    sure = np.clip(height, 1e-4, 1 - 1e-3)
    within = np.diff(peaks)[np.diff(words) == 0]
    length = (peaks[-1] - peaks[0] + 2) * STEP_S
    behind = float(free.sum()) - total
    pace = math.log(length / count / 0.1)
    before, after = float(lost[outside_before].sum()), float(lost[outside_after].sum())
    return {
        "fit": -behind / count,
        "behind": math.asinh(behind),
        "worst": float(costs.max()),
        "worst-two": _worst(costs, 2),
        "worst-three": _worst(costs, 3),
        "worst-word": float(of_words.max()),
        "inside": float(costs.mean()),
        "before": before,
        "after": after,
        "beyond": before + after,
        "clear": clearness(probabilities, best),
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


MOST_WORDINGS = 4
"""Wordings of one meaning that are compared."""


def everything_else(
    likelihoods: tuple[Floats, Floats],
    said: InPhones,
    rivals: Sequence[Phones],
    near: Sequence[Phones],
) -> dict[str, float]:
    """The answer against what else might have been said.

    Args:
        likelihoods: With the floor; the same with the blank held down.
        said: The answer in its best pronunciation.
        rivals: Phrases with other meanings.
        near: Everyday words that sound like the answer.

    Returns:
        ``fit-sum``: logarithm of the answer's sum. ``english``: its ratio to all phone sequences, each weighed by how
        English it is; ``english-each`` for each phone. ``over-all``: to all of the everyday words, if there are any.
        ``ahead``, ``ahead-each``: to the best rival, if there is one. Logarithms of ratios that can be large are
        squeezed by the inverse hyperbolic sine, so that far is far.
    """
    floored, _ = likelihoods
    some = [one for one in dict.fromkeys(rivals) if len(one) <= len(floored)]
    like = [one for one in near if len(one) <= len(floored)]
    phrases = [said.phones, said.phones, *some, *like]
    blocks = [0, *[1] * (1 + len(some) + len(like))]
    sums = forward(np.concatenate(likelihoods, axis=1), phrases, blocks)
    own, held = (float(value) for value in sums[:2])
    ahead, over = sums[2 : 2 + len(some)], sums[2 + len(some) :]
    count = len(said.phones)
    english = own - background(floored)
    found = {"fit-sum": own, "english": math.asinh(english), "english-each": english / count}
    if over.size:
        found["over-all"] = math.asinh(held - float(np.logaddexp.reduce(over)))
    if ahead.size:
        best = float(ahead.max())
        found |= {"ahead": math.asinh(held - best), "ahead-each": (held - best) / count}
    return found


def verified(
    logs: Logs,
    alternatives: Sequence[str],
    meaning_of: Callable[[str], Hashable | None],
    phrases: RivalPhrases,
    lexicon: Lexicon,
) -> tuple[str, dict[str, float]] | None:
    """The first of the alternatives that means something, in its best wording, and all measures of it.

    The recogniser's order of meanings is kept: with all words and pronunciations at once it is the better judge of
    that. Of wordings with that meaning ("one oh ohms", "one ohms") the likeliest counts.

    Args:
        logs: Log-probabilities of the steps.
        alternatives: What the recogniser heard, the best first.
        meaning_of: The meaning of words, None for none.
        phrases: Phrases of the step's grammar that might have been said instead.
        lexicon: Pronunciations.

    Returns:
        Its words and its measures; None if no alternative means anything or the sound is too short for it.
    """
    meanings = {text: meaning_of(text) for text in alternatives}
    words = next((text for text, meaning in meanings.items() if meaning is not None), None)
    if words is None or not len(logs):
        return None
    floored = floor(logs)
    held = held_down(floored)
    same = [text for text, meaning in meanings.items() if meaning == meanings[words]][:MOST_WORDINGS]
    spoken = [(best, text) for text in same if (best := best_spoken(held, text.split(), lexicon))]
    if not spoken:
        return None
    (said, _), words = max(spoken, key=lambda one: one[0][1])
    costs = costs_of(held)
    rivals = [
        phones
        for text, meaning in meanings.items()
        if meaning not in (None, meanings[words])
        for phones in spellings(text.split(), lexicon)
    ]
    rivals += phrases.likeliest(costs, meanings[words])
    others = everything_else((floored, held), said, rivals, alike(said, costs, meaning_of))
    own = others.pop("fit-sum")
    found = fit_measures(logs, floored, said, own)
    return (words, found | others) if found else None
