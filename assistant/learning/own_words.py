"""Checks a technician's own words for an answer: they must mean one thing only, in every step that hears them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.core.dialogue.sayable import request_for, requests_of
from assistant.core.dialogue.states import State
from assistant.core.values.own_word import OwnWord
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar import english
from assistant.grammar.lint import lint_grammars
from assistant.grammar.network import Position
from assistant.learning.learnt import MOST_OWN_WORDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.core.library.library import Library
    from assistant.core.values.result import GrammarRequest
    from assistant.grammar.grammar_set import GrammarSet

MOST_WORDS = 5
"""Most words of one answer; more are a sentence, which nobody says the same way twice."""

_PLACE = Position("your own words", 0)
_ALIKE = re.compile(r"^'(?P<one>.+)' \(.+\) and '(?P<other>.+)' \(.+\) sound alike")
_BECOMES = re.compile(r"^'(?P<one>.+)' becomes '(?P<other>.+)' \((?P<means>.+)\) when a short word is lost")


def own_word(words: str, means: str, grammars: GrammarSet, known: Sequence[OwnWord] = ()) -> OwnWord:
    """Own words as they are typed, with the meaning that is named.

    Args:
        words: The words.
        means: The meaning, by its name or by the usual words.
        grammars: The grammars, without own words.
        known: Own words from before.

    Raises:
        UsageProblem: They are not spoken words, have no pronunciation or a meaning already, or there are too many.
    """
    kind, name = grammars.meaning_of(means)
    said = words.lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'").split()
    text = " ".join(said)
    if not 0 < len(said) <= MOST_WORDS or any(
        re.fullmatch(r"[a-z]+(?:'[a-z]+)?", one) is None for one in said
    ):
        raise UsageProblem(
            f"'{words}' cannot be an answer. Give one to {MOST_WORDS} words in letters: 'she is lit', not '1 lit'."
        )
    if len(known) >= MOST_OWN_WORDS:
        raise UsageProblem(f"There are {MOST_OWN_WORDS} own words already. Forget some first (--forget).")
    lexicon = grammars.lexicon
    found = english.look_up([one for one in said if one not in lexicon])
    if missing := [one for one in said if one not in lexicon and one not in found]:
        raise UsageProblem(
            f"Nobody here knows how '{missing[0]}' sounds: it is not in the English dictionary. Use other words."
        )
    spoken = set(grammars.digits.words()) if grammars.digits else set()
    if number := [one for one in said if one in spoken]:
        raise UsageProblem(
            f"'{number[0]}' is a part of numbers, so '{text}' could be a reading. Use other words."
        )
    for one in known:
        if one.words == text and (one.kind, one.means) != (kind, name):
            raise UsageProblem(f"'{text}' means {one.means} already. Forget that first (--forget).")
    return OwnWord(text, kind, name)


def check(word: OwnWord, grammars: GrammarSet, library: Library, known: Sequence[OwnWord] = ()) -> None:
    """Refuse own words that could be taken for something else in a step, or take another form's place.

    Args:
        word: The words.
        grammars: The grammars, without own words.
        library: The procedures.
        known: Own words that are taught already.

    Raises:
        UsageProblem: They could; names the neighbour and the step.
    """
    before = grammars.taught(known, _PLACE)
    after = grammars.taught((*known, word), _PLACE)
    names = grammars.names_with(word)
    heard = {}
    for request, where in _asked(library).items():
        if names.isdisjoint((*request.outcomes, *request.controls)):
            continue
        try:
            changed = after.request(request)
        except FileProblem as problem:
            raise UsageProblem(f"'{word.words}' cannot be used {where}: {problem.problem}.") from problem
        there = {one.words for one in before.request(request).left_out}
        for one in changed.left_out:
            if one.words == word.words:
                why = "it is another answer there" if f"'{word.words}'" in one.why else one.why
                raise UsageProblem(f"'{word.words}' cannot be used {where}: {why}. Choose other words.")
            if one.words not in there:
                raise UsageProblem(
                    f"'{word.words}' cannot be used {where}: beside it '{one.words}' could not be told apart. "
                    "Choose other words."
                )
        if changed.parse(word.words) is not None:
            heard[request] = where
    if not heard:
        raise UsageProblem(f"No step of these procedures listens for {word.means}.")
    found = lint_grammars(after, heard)
    wrong = [one for one in found if one not in lint_grammars(before, heard)] if found else []
    if wrong:
        where = next(
            (text for request, text in heard.items() if wrong[0] in lint_grammars(after, [request])), ""
        )
        raise UsageProblem(
            f"'{word.words}' cannot be used {where}: {_plain(wrong[0].problem, word)}. Choose other words."
        )


def _plain(problem: str, word: OwnWord) -> str:
    """What the lint found, with the neighbour named."""
    alike, becomes = _ALIKE.match(problem), _BECOMES.match(problem)
    if alike is not None:
        other = alike["other"] if word.words in alike["one"] else alike["one"]
        return f"it sounds like '{other}'"
    if becomes is not None:
        return (
            f"'{becomes['one']}' becomes '{becomes['other']}' ({becomes['means']}) when a short word is lost"
        )
    return problem


def _asked(library: Library) -> Mapping[GrammarRequest, str]:
    """Every request of the procedures, with the first place in which it is made, in words."""
    found: dict[GrammarRequest, str] = {}
    for state in State:
        if state in (State.INQUIRING, State.CONFIRMING, State.CHOOSING):
            continue
        for name, procedure in library.procedures.items():
            for step_name, step in procedure.steps.items():
                found.setdefault(request_for(state, step), f"at step '{step_name}' of '{name}' ({state})")
    for request in requests_of(library):
        found.setdefault(request, "where a fact is asked for")
    return found
