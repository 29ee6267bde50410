"""Spoken numbers: a closed grammar of our own that turns words strictly into a decimal and invents nothing.

Only ``grammars/number.jsgf`` states the language, and this module gives its tags their meaning, so both accept
the same words by construction.
A number is 0 to 9999 with up to three spoken decimals: "twelve point four", "point five zero",
"two hundred and five", "twelve hundred".
A digit behind ten to nineteen is a decimal, as people read a meter ("twelve four" is 12.4), and so is a half ("half an
ohm", "one and a half").
Anything else is not a number, above all what could be two: "nine six" (9.6 or 96), "four twenty" (4.20 or 420), "twelve
forty" (12.40 or 1240), "minus two".

The tags, in the order in which the words are spoken:

- ``{number=12}`` adds a term; behind the point it adds a decimal digit;
- ``{number=*100}`` multiplies the term before it ("two hundred", "one thousand");
- ``{number=+2}`` puts a digit behind those before it ("one two" is 12), where digits are said one by one;
- ``{number=.}`` is the decimal point.

So "one thousand two hundred and five" is 1, *1000, 2, *100, 5: the terms 1000, 200 and 5, added.
Trailing zeros are kept ("point five zero" is 0.50), because they show the precision of the reading.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.grammar.automaton import Automaton, Builder

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from assistant.grammar.network import Network, Position

KEY = "number"
"""The key of the tags."""

DIGIT = "+"
"""How the value of a tag begins that is one of several digits; the rule that has such tags is that of digits."""

_ONES = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen"),
    "nineteen",
)
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]


def is_tag_value(value: str) -> bool:
    """Whether this can stand behind ``number=``."""
    if value.startswith(DIGIT):
        return len(value) == 2 and value[1:].isascii() and value[1:].isdigit()
    return value == "." or (value.isascii() and value.removeprefix("*").isdigit() and len(value) <= 5)


def evaluate(values: Iterable[str]) -> Decimal | None:
    """The number that a sequence of tag values stands for; None if they do not make a number."""
    terms: list[int] = []
    decimals: list[str] | None = None
    for value in values:
        if value == ".":
            if decimals is not None:
                return None
            decimals = []
        elif value.startswith("*"):
            if not terms or decimals is not None:
                return None
            terms[-1] *= int(value[1:])
        elif value.startswith(DIGIT):
            if decimals is not None or len(terms) > 1:
                return None
            terms = [10 * (terms[0] if terms else 0) + int(value[1:])]
        elif decimals is None:
            terms.append(int(value))
        elif len(value) == 1:
            decimals.append(value)
        else:
            return None
    if (not terms and decimals is None) or decimals == []:
        return None
    whole = str(sum(terms))
    return Decimal(f"{whole}.{''.join(decimals)}") if decimals else Decimal(whole)


def by_digits(value: Decimal) -> str:
    """The words of a number, its digits one by one: "one two point four", "zero point zero five".

    Raises:
        ValueError: As for `in_words`.
    """
    in_words(value)
    whole, point, decimals = f"{value:f}".partition(".")
    words = [_ONES[int(digit)] for digit in whole]
    if point:
        words += ["point", *(_ONES[int(digit)] for digit in decimals)]
    return " ".join(words)


class NumberGrammar:
    """The spoken numbers of a network with the tags above."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self._words = network.words_in_use()

    def parse(self, words: Sequence[str]) -> Decimal | None:
        """The number that these words make as a whole; None for anything else, or if there are two readings."""
        if not words or not all(word in self._words for word in words):
            return None
        readings = {evaluate(tag.partition("=")[2] for tag in tags) for tags in self.network.tags(words)}
        values = {(reading, str(reading)) for reading in readings}
        return values.pop()[0] if len(values) == 1 else None

    def words(self) -> dict[str, Position]:
        """Every word, with its first line."""
        return self._words

    def without(self, missing: Collection[str]) -> NumberGrammar:
        """The same numbers without those that need one of these words."""
        return NumberGrammar(self.network.without(missing))

    def lost(self, missing: Collection[str]) -> dict[str, Position]:
        """Words among `missing` without which some number cannot be said at all, with their places.

        The comparison is between languages of tag sequences, so "oh" may go while "zero" stays.
        """
        concerned = {word: place for word, place in self._words.items() if word in missing}
        every = _tag_language(self.network)
        if not concerned or _tag_language(self.network.without(concerned)) == every:
            return {}
        alone = {w: p for w, p in concerned.items() if _tag_language(self.network.without({w})) != every}
        return alone or concerned


def _tag_language(network: Network) -> Automaton:
    """The minimal acceptor of the tag sequences of a network."""
    builder = Builder([[(arc.tag, arc.target) for arc in arcs] for arcs in network.arcs])
    return Automaton.of(builder, network.start, network.final)


def in_words(value: Decimal) -> str:
    """The usual words for a number, such as "two hundred and five point four"; digits are kept as they are.

    Raises:
        ValueError: The number is negative, over 9999, or has more than three decimals.
    """
    digits = f"{value:f}"
    whole_text, point, decimals = digits.partition(".")
    if not whole_text.isdigit() or int(whole_text) > 9999 or len(decimals) > 3:
        raise ValueError(f"{value} is not a number that can be spoken here")
    whole = int(whole_text)
    words = [] if whole == 0 and point else _whole_in_words(whole)
    if point:
        words += ["point", *(_ONES[int(digit)] for digit in decimals)]
    return " ".join(words)


def _whole_in_words(whole: int) -> list[str]:
    thousands, rest = divmod(whole, 1000)
    hundreds, low = divmod(rest, 100)
    words = [_ONES[thousands], "thousand"] if thousands else []
    words += [_ONES[hundreds], "hundred"] if hundreds else []
    if low and words:
        words.append("and")
    if low >= 20:
        words.append(_TENS[low // 10 - 2])
        low %= 10
    if low or not words:
        words.append(_ONES[low])
    return words
