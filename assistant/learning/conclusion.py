"""What is learnt from the takes of a lesson, and what changes by it."""

from __future__ import annotations

import itertools
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.hearing.foreground import prepared
from assistant.hearing.recogniser import Recogniser
from assistant.hearing.voice_so_far import NEW_VOICE
from assistant.hearing.whole import hear_whole
from assistant.learning.fitting import LEAST, LastLayers, Spoken, fitted
from assistant.learning.hearer import adapted, model_of
from assistant.learning.learnt import Learnt
from assistant.learning.takes import Take, scores
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.grammar.grammar_set import GrammarSet
    from assistant.grammar.lexicon import Pronunciation
    from assistant.hearing.acoustics import Acoustics, Floats

MOST_WAYS = 16
"""Most pronunciations of all words together that are tried."""


@dataclass(frozen=True)
class Conclusion:
    """What was learnt.

    Attributes:
        learnt: To be kept.
        before: Takes of the half that checks that would have counted, without what was learnt.
        after: The same with it.
        checked: All takes of that half.
        short: Whether one of the halves had too few takes to fit the model.
    """

    learnt: Learnt
    before: int
    after: int
    checked: int
    short: bool


def concluded(
    known: Learnt,
    takes: Sequence[Take],
    recogniser: Recogniser,
    grammars: GrammarSet,
    day: str,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> Conclusion:
    """Learn from takes; a lesson that was broken off early adds to the one before.

    Args:
        known: What was known before; own words stay.
        takes: What was said.
        recogniser: With the model as it is, not fitted to anybody.
        grammars: The grammars with own words.
        day: The day, as 2026-11-28.
        progress: Called with (done, total) words that are heard again, each of them twice.

    Raises:
        ModelProblem: The model cannot be fitted.
    """
    plain = []
    for number, take in enumerate(takes):
        progress(number, 2 * len(takes))
        plain.append(heard_again(take, recogniser, grammars))
    acoustics = recogniser.acoustics
    empty, model = known.scales[:0], model_of(recogniser.path)
    halves = [sum(take.prompt.teaches == half for take in takes) for half in (True, False)]
    goes_on = known.model == model and min(halves) < LEAST
    scales = empty if acoustics is None else _scales(acoustics, plain, grammars)
    if goes_on and not scales.size:
        scales = known.scales
    fit = plain
    if scales.size:
        with tempfile.TemporaryDirectory(prefix="bay-assistant-") as folder:
            better = Recogniser(adapted(recogniser.path, scales, Path(folder)))
            fit = []
            for number, take in enumerate(takes):
                progress(len(takes) + number, 2 * len(takes))
                fit.append(heard_again(take, better, grammars))
        if _right(fit) < _right(plain):
            scales, fit = empty, plain
    voice = known.voice if goes_on else NEW_VOICE
    for take in fit:
        if take.right:
            voice = voice.after(take.differences)
    heard = {**(known.scores if goes_on else {}), **scores(fit)}
    learnt = replace(known, day=day, model=model, voice=voice, scales=scales, scores=heard)
    checked = sum(not take.prompt.teaches for take in takes)
    return Conclusion(learnt, _right(plain), _right(fit), checked, short=min(halves) < LEAST)


def heard_again(take: Take, recogniser: Recogniser, grammars: GrammarSet) -> Take:
    """The same take as this recogniser hears it, with the measures of the voice."""
    if not take.sound.size:
        return take
    grammar = grammars.request(take.prompt.request)
    judged, _ = hear_whole(recogniser, grammar, take.sound, DEFAULT_THRESHOLDS)
    return replace(
        take,
        words=judged.words,
        right=judged.result == take.prompt.result,
        accepted=judged.accepted,
        differences=judged.differences,
    )


def _right(takes: Sequence[Take]) -> int:
    return sum(take.right and take.accepted for take in takes if not take.prompt.teaches)


def _scales(acoustics: Acoustics, takes: Sequence[Take], grammars: GrammarSet) -> Floats:
    """Scales of the acoustic model; a take in which something else was understood teaches nothing."""
    halves: dict[bool, list[Spoken]] = {True: [], False: []}
    for take in takes:
        said = pronunciations(take.prompt.words, grammars)
        if take.right and said:
            wide = acoustics.wide(prepared(take.sound))
            halves[take.prompt.teaches].append(Spoken(wide, said))
    return fitted(LastLayers(acoustics.ending()), halves[True], halves[False])


def pronunciations(words: str, grammars: GrammarSet) -> tuple[Pronunciation, ...]:
    """Ways to say all of these words, the usual one first; none if a word has no pronunciation."""
    each = [grammars.lexicon.pronunciations(word) for word in words.split()]
    ways = itertools.islice(itertools.product(*each), MOST_WAYS)
    return tuple(tuple(itertools.chain.from_iterable(way)) for way in ways)
