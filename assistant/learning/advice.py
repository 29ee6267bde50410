"""What a lesson showed, in plain words for the technician."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from assistant.learning.takes import is_well, other_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.grammar.grammar_set import GrammarSet
    from assistant.learning.learnt import Learnt


def lines(learnt: Learnt, grammars: GrammarSet) -> Iterator[str]:
    """Which answers are heard well, what to say instead of the others, and the own words.

    Args:
        learnt: What is known.
        grammars: The grammars with own words.
    """
    well = [words for words, score in learnt.scores.items() if is_well(score)]
    badly = {words: score for words, score in learnt.scores.items() if not is_well(score)}
    if well:
        yield f"Heard well: {', '.join(well)}."
    for words, score in badly.items():
        others = other_words(words, grammars, learnt.scores)
        better = next((one for one in others if one in learnt.scores), None)
        if better is not None:
            yield f"Not heard well: {words} ({score.right} of {score.of}). Say '{better}' instead."
        elif others:
            yield (
                f"Not heard well: {words} ({score.right} of {score.of}). Use the number pad, "
                f"or try '{others[0]}'."
            )
        else:
            yield f"Not heard well: {words} ({score.right} of {score.of}). Use the number pad for it."
    for one in learnt.own:
        yield f"Own words: '{one.words}' means {one.means}."


def about(learnt: Learnt, *, fitted: bool) -> str:
    """What a session with this voice says on its first line.

    Args:
        learnt: What is known.
        fitted: Whether the model of the session is fitted to the voice.
    """
    parts = []
    if fitted:
        parts.append("the model is fitted to it")
    if learnt.own:
        parts.append(f"own words: {len(learnt.own)}")
    more = f" ({', '.join(parts)})" if parts else ""
    when = f", learnt on {learnt.day}" if learnt.day else ""
    return f"Voice: {learnt.technician}{when}{more}."


def lapse(learnt: Learnt) -> str:
    """That the lesson was heard by another model than the one that hears now, and what to do."""
    stay = " Own words stay." if learnt.own else ""
    return (
        f"The lesson of {learnt.technician} was heard by another acoustic model, so what it taught about the voice "
        f"no longer counts. Take the lesson again: bay-assistant learn --technician "
        f"{shlex.quote(learnt.technician)}.{stay}"
    )
