"""Guards against noise: forms that would become something else, or sound like something else, are left out.

- A form of a unit that loses words and becomes another unit of the step ("kilo ohms", "ohms") is left out while
  its unit has another form.
- So is a form of a control word that loses short words and becomes an answer ("key off", "off"), or that another
  phrase becomes, unless the word is `HARMLESS`: "no spark" that loses its second word is "no", which only asks again.
- Of two forms that sound alike and mean different things one is left out: a usual (first) form stays before any other,
  and a word of the dialogue before an answer ("right" before "bright", where a read-back waits for a yes).

`assistant.grammar.lint` checks what remains.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.result import Control
from assistant.grammar.forms import Forms, LeftOut
from assistant.grammar.nearness import close_phrases

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.grammar.phrases import Phrase

LOOK_ALIKE = 1.5
"""Phrases with different meanings that are closer than this sound alike: one and a half quite different phones.

This is our judgement, without a source.
Among the usual forms of the shipped grammars "lit" and "out" (1.6) and "lit" and "dim" (1.7) are closest.
"""

TOLD_APART = (frozenset({"on", "off", "out"}), frozenset({"dead", "dim"}))
"""Words that are nearer than that, and stay beside each other all the same.

Without one of them in the grammar, people still say it, and it is then taken for one of the others: that was measured
to be worse (`assistant/hearing/README.md`). In return an answer with one of them is always read back and needs a yes.
"""

NUMBER = "a number"
"""The meaning of whatever is a number or a sign by itself."""

HARMLESS = frozenset({Control.NEGATIVE, Control.SAY_AGAIN, Control.CHOICES, Control.WHY, Control.NOT_SURE})
"""Words that change nothing: if an answer is mistaken for one of them, the question is asked again."""


def turns_into(
    longer: Sequence[str], shorter: Sequence[str], can_be_lost: Collection[str] | None = None
) -> bool:
    """Whether losing some words of `longer` leaves `shorter`.

    Args:
        longer: The spoken words.
        shorter: The words that are heard.
        can_be_lost: Words that may be lost; None means any word.
    """
    if len(longer) <= len(shorter):
        return False
    reached = {0}
    for word in longer:
        following = {at + 1 for at in reached if at < len(shorter) and shorter[at] == word}
        if can_be_lost is None or word in can_be_lost:
            following |= reached
        reached = following
    return len(shorter) in reached


def _without(forms: Forms, lossy: Callable[[str, Phrase], bool], why: str) -> tuple[Forms, list[LeftOut]]:
    """The forms without the lossy ones, unless a name has no other, and those that were left out with the reason."""
    kept = {}
    left_out = []
    for name, of_name in forms.of.items():
        kept[name] = tuple(form for form in of_name if not lossy(name, form)) or of_name
        left_out += [
            LeftOut(str(form), form.words[0].place, why) for form in of_name if form not in kept[name]
        ]
    return Forms(kept), left_out


def without_lossy_units(units: Forms) -> tuple[Forms, list[LeftOut]]:
    """The units without the forms that could become another unit, and those forms."""

    def lossy(name: str, form: Phrase) -> bool:
        return any(turns_into(form.text, other.text) for unit, other in units.each() if unit != name)

    return _without(units, lossy, "it would be another unit without its first word")


def without_lossy_controls(controls: Forms, outcomes: Forms, lexicon: Lexicon) -> tuple[Forms, list[LeftOut]]:
    """The control words without the forms that could become an answer, or that another phrase could become.

    Words that sound the same count as the same: "don't know" becomes "no".

    Args:
        controls: The control words of a step.
        outcomes: Its outcomes.
        lexicon: Pronunciations, which tell the words that are short enough to be lost.
    """
    every = [form.text for forms in (controls, outcomes) for _, form in forms.each()]
    sounds = {word: _sound(word, lexicon) for text in every for word in text}
    short = {sounds[word] for word in sounds if lexicon.is_short(word)}

    def heard(form: Phrase) -> tuple[str, ...]:
        return tuple(sounds[word] for word in form.text)

    answers = [heard(form) for _, form in outcomes.each()]
    risky = [("", answer) for answer in answers]
    risky += [(name, heard(form)) for name, form in controls.each()]

    def lossy(name: str, form: Phrase) -> bool:
        kept = heard(form)
        if any(turns_into(kept, answer, short) for answer in answers):
            return True
        return name not in HARMLESS and any(turns_into(o, kept, short) for other, o in risky if other != name)

    return _without(controls, lossy, "it and another phrase of this step differ only by short words")


def _sound(word: str, lexicon: Lexicon) -> str:
    spoken = lexicon.pronunciations(word)
    return " ".join(spoken[0]) if spoken else word


def told_apart(one: Sequence[str], other: Sequence[str]) -> bool:
    """Whether two phrases differ only in words of `TOLD_APART`."""
    return len(one) == len(other) and all(
        a == b or any({a, b} <= words for words in TOLD_APART) for a, b in zip(one, other, strict=True)
    )


def asks_again(one: str, other: str) -> bool:
    """Whether one of two meanings is a `HARMLESS` word and the other one an outcome.

    Then both forms stay: a mistake costs a question, and a word outside the grammar would be taken for an answer.
    """
    words = {NUMBER, *Control}
    return (one in HARMLESS and other not in words) or (other in HARMLESS and one not in words)


def without_look_alikes(
    controls: Forms, outcomes: Forms, numbers: Iterable[str], lexicon: Lexicon
) -> tuple[Forms, Forms, list[LeftOut]]:
    """Control words and outcomes without the forms that sound like something else, and those forms.

    A usual form always stays; `assistant.grammar.lint` reports two of them that sound alike.

    Args:
        controls: The control words of a step.
        outcomes: Its outcomes.
        numbers: Words that are a number or a sign by themselves.
        lexicon: Pronunciations.
    """
    ranked = [
        (form is not forms.of[name][0], kind, name, form)
        for kind, forms in enumerate((controls, outcomes))
        for name, form in forms.each()
    ]
    ranked.sort(key=lambda one: one[:2])
    meaning: dict[tuple[str, ...], str] = {(word,): NUMBER for word in numbers}
    near = close_phrases([*meaning, *(form.text for *_, form in ranked)], lexicon, LOOK_ALIKE)
    gone: set[tuple[str, tuple[str, ...]]] = set()
    left_out = []
    for unusual, _, name, form in ranked:
        alike = [
            other
            for other in (form.text, *(text for text, _ in near.get(form.text, ())))
            if meaning.get(other, name) != name
            and not (asks_again(name, meaning[other]) and other != form.text)
            and not (told_apart(form.text, other) and other != form.text)
        ]
        if unusual and alike:
            gone.add((name, form.text))
            why = f"it sounds like '{' '.join(alike[0])}'"
            left_out.append(LeftOut(str(form), form.words[0].place, why))
        else:
            meaning.setdefault(form.text, name)
    kept = [
        Forms({n: tuple(f for f in forms if (n, f.text) not in gone) for n, forms in kind.of.items()})
        for kind in (controls, outcomes)
    ]
    return kept[0], kept[1], left_out


def doubtful(outcomes: Forms) -> frozenset[tuple[str, ...]]:
    """The forms that differ from a form of another outcome only in words of `TOLD_APART`."""
    forms = [(name, form.text) for name, form in outcomes.each()]
    return frozenset(
        text for name, text in forms if any(name != other and told_apart(text, near) for other, near in forms)
    )
