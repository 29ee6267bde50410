"""The meaning of a phrase, from its tag, and what keeps the meanings apart.

A phrase has one tag: ``{outcome=lit}``, ``{place=feed}``, ``{unit=V}`` or ``{control=stop}``.
An outcome or a control word may name others, for moments in which the first cannot be said: ``solid
{outcome=steady else lit}`` is steady, and lit where nothing can be steady.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.core.values.result import Control
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.grammar import jsgf
    from assistant.grammar.forms import Forms
    from assistant.grammar.network import Position
    from assistant.grammar.numbers import NumberGrammar
    from assistant.grammar.phrases import Phrase

UNITS = ("V", "mV", "A", "ohm", "kilohm", "megohm", "rpm", "s", "ms", "km", "miles", "celsius", "fahrenheit")
"""Units of a reading, as `assistant.core.values.result.Result` names them."""

KINDS = ("outcome", "place", "unit", "control")
"""Kinds of tags of a phrase."""

ELSE = " else "
"""Stands in a tag between one meaning and the next."""

_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?")
_NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")


def check_word(word: str, place: Position) -> None:
    """Check that this is a word as people speak it.

    Raises:
        FileProblem: It is not; a number in digits, for instance.
    """
    if not _WORD.fullmatch(word):
        raise FileProblem(
            place.file,
            place.line,
            f"'{word}' is not a spoken word in small letters",
            "Write 'twelve', not '12'",
        )


def meaning(phrase: Phrase, path: Path, rule: jsgf.Rule) -> tuple[str, tuple[str, ...]]:
    """The kind and the names in the only tag of a phrase of this rule; of the names, the first that can be said.

    Raises:
        FileProblem: The phrase has no words, has no tag or several, or its tag means nothing.
    """
    if not phrase.words:
        raise FileProblem(
            path, rule.line, f"<{rule.name}> can be said without a word", "Make a part of it needed"
        )
    for word in phrase.words:
        check_word(word.text, word.place)
    place = phrase.words[0].place
    tags = {tag.text for tag in phrase.tags}
    if len(tags) != 1:
        listed = ", ".join(f"{{{tag}}}" for tag in sorted(tags)) or "no tag"
        raise FileProblem(
            place.file, place.line, f"'{phrase}' has {listed}", "Give it one tag, such as {outcome=lit}"
        )
    kind, _, name = (part.strip() for part in tags.pop().partition("="))
    names = tuple(name.split(ELSE)) if kind in ("outcome", "control") else (name,)
    tag_place = phrase.tags[0].place
    right = {
        "outcome": all(_NAME.fullmatch(one) for one in names),
        "place": bool(_NAME.fullmatch(name)),
        "unit": name in UNITS,
        "control": set(names) <= set(Control),
    }
    if not right.get(kind) or len(set(names)) < len(names):
        remedy = {
            "unit": f"Units are {', '.join(UNITS)}",
            "control": f"Control words are {', '.join(Control)}",
        }.get(kind, "Write {outcome=…}, {place=…}, {unit=…} or {control=…} with a name in small letters")
        raise FileProblem(tag_place.file, tag_place.line, f"the tag {{{kind}={name}}} means nothing", remedy)
    return kind, names


def check_separate(kinds: dict[str, Forms], number: NumberGrammar | None) -> None:
    """Check that nothing that can be said could be taken for something else.

    Raises:
        FileProblem: Two of numbers, units and places share a word, an outcome has the name of a control word, or a
            form has two meanings.
    """
    clash = set(kinds["outcome"].of) & set(kinds["control"].of)
    for name in clash:
        place = kinds["outcome"].of[name][0].words[0].place
        raise FileProblem(
            place.file,
            place.line,
            f"'{name}' is also the name of a control word",
            "Give the outcome another name",
        )
    for kind in ("place", "unit", "control"):
        seen: dict[tuple[str, ...], str] = {}
        for name, form in kinds[kind].each():
            if seen.setdefault(form.text, name) != name:
                place = form.words[0].place
                raise FileProblem(
                    place.file,
                    place.line,
                    f"'{form}' means both {seen[form.text]} and {name}",
                    "Keep one of them",
                )
    counted = set(number.words()) if number else set()
    measured = {word.text for _, form in kinds["unit"].each() for word in form.words}
    for kind, spoken in (("unit", counted), ("place", counted | measured)):
        for _, form in kinds[kind].each():
            for word in form.words:
                if word.text in spoken:
                    raise FileProblem(
                        word.place.file,
                        word.place.line,
                        f"'{word.text}' in '{form}' is also part of a reading",
                        "Use another word, so that a number always ends where it seems to",
                    )
