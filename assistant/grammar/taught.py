"""A technician's own words for answers, beside the forms of the grammar files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.own_word import KINDS
from assistant.errors import UsageProblem
from assistant.grammar.forms import Forms
from assistant.grammar.phrases import Phrase, Word

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.core.values.own_word import OwnWord
    from assistant.grammar.network import Position


def meaning_of(said: str, forms: Mapping[str, Forms]) -> tuple[str, str]:
    """The kind and the name of what is meant: the name of an answer, or words that stand for it.

    Raises:
        UsageProblem: Nothing has this name, and nobody can say these words.
    """
    name = said.strip().lower()
    for kind in KINDS:
        if name in forms[kind].of:
            return kind, name
    for kind in KINDS:
        for known, form in forms[kind].each():
            if str(form) == name:
                return kind, known
    raise UsageProblem(
        f"No answer is called '{said}'. Name one by its words or by its name, such as lit, dark or 'not sure'."
    )


def with_own(forms: Mapping[str, Forms], own: Iterable[OwnWord], place: Position) -> dict[str, Forms]:
    """The forms with own words behind them; each stands wherever the usual form of its meaning does.

    Args:
        forms: The forms of each kind.
        own: The own words.
        place: Where they come from, for messages.

    Raises:
        UsageProblem: A meaning does not exist.
    """
    found = dict(forms)
    for one in own:
        kind = found.get(one.kind)
        if kind is None or one.means not in kind.of:
            raise UsageProblem(
                f"The own words '{one.words}' mean '{one.means}', which is not in these grammars. "
                "Throw them away with 'learn --forget' and these words."
            )
        phrase = Phrase(tuple(Word(word, place) for word in one.words.split()))
        usual = kind.of[one.means][0].text
        lent = {
            name: (*others, *((phrase, before) for form, before in others if form.text == usual))
            for name, others in kind.lent.items()
        }
        found[one.kind] = Forms({**kind.of, one.means: (*kind.of[one.means], phrase)}, lent)
    return found
