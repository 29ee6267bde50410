"""The language of a folder of grammars: forms with their meanings, numbers, and spelled signs.

A public rule is one of three kinds: the rule of spoken numbers, whose tags are all ``{number=…}`` (see
`assistant.grammar.numbers`), the rule of spelled signs, whose tags are all ``{sign=…}`` (see
`assistant.grammar.spelling`), or a rule whose phrases each have one meaning (see `assistant.grammar.tags`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.errors import FileProblem
from assistant.grammar import jsgf, numbers, spelling
from assistant.grammar.compiling import compile_rule
from assistant.grammar.counting import SizeCounter
from assistant.grammar.forms import Forms
from assistant.grammar.network import MOST_READINGS
from assistant.grammar.numbers import NumberGrammar
from assistant.grammar.phrases import phrases
from assistant.grammar.spelling import SpellingGrammar
from assistant.grammar.tags import KINDS, check_separate, check_word, meaning

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.grammar.network import Network
    from assistant.grammar.phrases import Phrase


@dataclass(frozen=True)
class Language:
    """All that can be said.

    Attributes:
        forms: The forms of each kind in `assistant.grammar.tags.KINDS`.
        named: For each grammar by name, the names of each kind that it has.
        number: Spoken numbers; None if no file has them.
        digits: The same, and digits one by one; None if no file has them.
        signs: Spelled signs; None if no file has them.
    """

    forms: dict[str, Forms]
    named: dict[str, dict[str, tuple[str, ...]]]
    number: NumberGrammar | None
    signs: SpellingGrammar | None
    digits: NumberGrammar | None = None


def language_of(grammars: Sequence[jsgf.Grammar]) -> Language:
    """What these grammars say together.

    Raises:
        FileProblem: They cannot be joined, are too large, or do not have one clear meaning for each phrase.
    """
    linked = jsgf.link(grammars)
    counter = SizeCounter(linked)
    forms: dict[str, dict[str, list[Phrase]]] = {kind: {} for kind in KINDS}
    lent: dict[str, dict[str, list[tuple[Phrase, frozenset[str]]]]] = {kind: {} for kind in KINDS}
    number: NumberGrammar | None = None
    digits: NumberGrammar | None = None
    signs: SpellingGrammar | None = None
    named: dict[str, dict[str, tuple[str, ...]]] = {}
    for grammar in grammars:
        found: dict[str, list[str]] = {}
        for rule in grammar.rules.values():
            if not rule.public:
                continue
            key = f"{grammar.name}.{rule.name}"
            counter.check_network(key)
            if _has_only(linked, key, numbers.KEY):
                one_by_one = _has_digits(linked, key)
                if (digits if one_by_one else number) is not None:
                    raise FileProblem(grammar.path, rule.line, "there are two rules for numbers", "Keep one")
                if one_by_one:
                    digits = _number(linked, key)
                else:
                    number = _number(linked, key)
                found["number"] = []
                continue
            if _has_only(linked, key, spelling.KEY):
                if signs is not None:
                    raise FileProblem(
                        grammar.path, rule.line, "there are two rules for spelled signs", "Keep one"
                    )
                signs = _spelling(linked, key)
                continue
            for phrase in phrases(linked, key, counter):
                kind, (name, *others) = meaning(phrase, grammar.path, rule)
                forms[kind].setdefault(name, []).append(phrase)
                for place, other in enumerate(others):
                    before = frozenset((name, *others[:place]))
                    lent[kind].setdefault(other, []).append((phrase, before))
                if name not in found.setdefault(kind, []):
                    found[kind].append(name)
        named[grammar.name] = {kind: tuple(names) for kind, names in found.items()}
    kinds = {
        kind: Forms(
            {name: tuple(own) for name, own in names.items()},
            {name: tuple(others) for name, others in lent[kind].items()},
        )
        for kind, names in forms.items()
    }
    check_separate(kinds, number)
    check_separate(kinds, digits)
    return Language(kinds, named, number, signs, digits)


def _has_only(linked: jsgf.Linked, key: str, kind: str) -> bool:
    """Whether all tags of a rule are of one kind."""
    tags = compile_rule(linked, key).tags_in_use()
    return bool(tags) and all(tag.partition("=")[0] == kind for tag in tags)


def _has_digits(linked: jsgf.Linked, key: str) -> bool:
    """Whether a rule of numbers has digits that are said one by one."""
    tags = compile_rule(linked, key).tags_in_use()
    return any(tag.partition("=")[2].startswith(numbers.DIGIT) for tag in tags)


def _finite(linked: jsgf.Linked, key: str, what: str) -> Network:
    """The network of a rule; it must be finite and must not be empty."""
    network = compile_rule(linked, key)
    rule = linked.rules[key]
    if (loop := network.loop()) is not None:
        raise FileProblem(
            loop.file, loop.line, f"{what} could go on for ever", "Write out how often it may be said"
        )
    if (crowd := network.crowded()) is not None:
        raise FileProblem(
            crowd.file,
            crowd.line,
            f"{what} has tags in more than {MOST_READINGS} ways without a word between them",
            "Put each tag behind a word of its own",
        )
    if network.accepts(()):
        raise FileProblem(
            linked.path(key), rule.line, f"{what} can be said without a word", "Make a part needed"
        )
    for word, place in network.words_in_use().items():
        check_word(word, place)
    return network


def _check_tags(network: Network, means_something: Callable[[str], bool], remedy: str) -> None:
    """Refuse a tag whose value means nothing in this kind of rule."""
    for tag, place in network.tags_in_use().items():
        if not means_something(tag.partition("=")[2]):
            raise FileProblem(place.file, place.line, f"the tag {{{tag}}} means nothing", remedy)


def _spelling(linked: jsgf.Linked, key: str) -> SpellingGrammar:
    network = _finite(linked, key, "a spelled group")
    _check_tags(network, spelling.is_tag_value, "Write {sign=A} or {sign=7}")
    signs = SpellingGrammar(network)
    for word, place in signs.words().items():
        if len({tag for tags in network.tags((word,)) for tag in tags}) != 1:
            raise FileProblem(
                place.file,
                place.line,
                f"'{word}' is not the word of one sign",
                "Write one word for each sign",
            )
    return signs


def _number(linked: jsgf.Linked, key: str) -> NumberGrammar:
    network = _finite(linked, key, "a number")
    _check_tags(network, numbers.is_tag_value, "Write {number=12}, {number=*100}, {number=+2} or {number=.}")
    return NumberGrammar(network)
