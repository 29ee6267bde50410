"""Spoken numbers: closed, strict, digits kept; checked from outside with num2words over the whole range."""

from __future__ import annotations

import random
import tempfile
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st
from num2words import num2words

from assistant import resources
from assistant.grammar import numbers
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.numbers import NumberGrammar, by_digits, evaluate, in_words

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
assert GRAMMARS.number is not None
NUMBER: NumberGrammar = GRAMMARS.number

WORDS = sorted(NUMBER.words())


def reading(words: str) -> str | None:
    """The number as digits, or None."""
    value = NUMBER.parse(words.split())
    return None if value is None else str(value)


def plain(words: str) -> str:
    """The words of num2words without its commas and hyphens."""
    return words.replace(",", "").replace("-", " ")


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("twelve point four", "12.4"),
        ("point five", "0.5"),
        ("oh point five", "0.5"),
        ("zero point zero five", "0.05"),
        ("point oh five", "0.05"),
        ("nine point six", "9.6"),
        ("point five zero", "0.50"),
        ("two hundred and five", "205"),
        ("two hundred five", "205"),
        ("one thousand two hundred", "1200"),
        ("one thousand and five", "1005"),
        ("twelve hundred", "1200"),
        ("nineteen hundred and ninety nine", "1999"),
        ("nine thousand nine hundred ninety nine point nine nine nine", "9999.999"),
        ("zero", "0"),
        ("one thousand point one", "1000.1"),
        ("twelve four", "12.4"),
        ("ten zero", "10.0"),
        ("nineteen nine", "19.9"),
        ("half", "0.5"),
        ("half an", "0.5"),
        ("one and a half", "1.5"),
        ("twelve and a half", "12.5"),
    ],
)
def test_numbers_as_spoken(words: str, value: str) -> None:
    """Numbers as a technician says them are read, with every digit that was said."""
    assert value == reading(words)


@pytest.mark.parametrize(
    "words",
    [
        *("", "oh", "point", "and", "hundred", "thousand", "twelve point", "point point five", "oh five"),
        *(
            "four twenty",
            "minus two",
            "twelve forty",
            "one two",
            "twenty twelve",
            "nine six",
            "twelve four five",
            "ten oh",
            "ten oh five",
            "twenty four five",
            "and a half",
            "twenty and a half",
            "one half",
            "five hundred two hundred",
        ),
        *("twenty zero", "zero five", "two hundred zero", "two hundred and", "and five", "twenty hundred"),
        *(
            "one thousand twelve hundred",
            "ten thousand",
            "one thousand thousand",
            "two thousand two thousand",
        ),
        *(
            "point one two three four",
            "twelve point fourteen",
            "twelve point twenty",
            "ten hundred",
            "a hundred",
        ),
        *(
            "twelve point four point five",
            "five and",
            "twenty and five",
            "12",
            "Twelve",
            "twelve  ,",
            "[unk]",
        ),
    ],
)
def test_nothing_is_invented(words: str) -> None:
    """A text that is not exactly a number of the grammar has no reading at all."""
    assert reading(words) is None


def test_whole_numbers_against_num2words() -> None:
    """Outside check: every whole number 0 to 9999 as num2words says it, with and without its "and"."""
    for value in range(10000):
        words = plain(num2words(value))
        assert reading(words) == str(value)
        if "and" in words:
            assert reading(words.replace(" and", "")) == str(value)


def test_decimals_against_num2words() -> None:
    """Outside check: decimals of one to three digits as num2words says them."""
    for whole in (0, 7, 12, 205, 1200, 9999):
        for decimals in range(1, 1000, 7):
            value = Decimal(whole) + Decimal(decimals) / 1000
            assert Decimal(reading(plain(num2words(value))) or "-1") == value


def test_range_ends_at_9999() -> None:
    """Outside check: larger numbers as num2words says them are no numbers here."""
    assert [reading(plain(num2words(value))) for value in (10000, 12000, 99999, 100000, 1000000)] == [
        None
    ] * 5


@given(st.integers(0, 9999), st.integers(0, 3), st.integers(0, 999))
def test_words_and_back(whole: int, digits: int, decimals: int) -> None:
    """A number put into words and read again is the same, to the last zero."""
    value = Decimal(f"{whole}.{decimals % 10**digits:0{digits}d}" if digits else str(whole))
    assert reading(in_words(value)) == str(value)


@pytest.mark.parametrize("value", ["-1", "10000", "0.1234", "NaN", "Infinity"])
def test_unspeakable_numbers(value: str) -> None:
    """A number outside the grammar is refused, not put into other words."""
    with pytest.raises(ValueError, match="not a number that can be spoken"):
        in_words(Decimal(value))


@settings(max_examples=400)
@given(st.lists(st.sampled_from(WORDS), min_size=1, max_size=7))
def test_same_language_by_tags_and_by_network(words: list[str]) -> None:
    """number.jsgf and the reader accept exactly the same words, and no words have two readings."""
    assert NUMBER.network.accepts(words) == (NUMBER.parse(words) is not None)
    assert len({evaluate(tag.partition("=")[2] for tag in tags) for tags in NUMBER.network.tags(words)}) <= 1


@given(st.integers(0, 2**32))
def test_every_walk_through_the_grammar_is_a_number(seed: int) -> None:
    """Every phrase of the grammar is one number within the range, with at most three decimals."""
    rng = random.Random(seed)  # noqa: S311  a choice of words
    state, words = NUMBER.network.start, list[str]()
    while state != NUMBER.network.final:
        arc = rng.choice(NUMBER.network.arcs[state])
        words += [arc.word] if arc.word else []
        state = arc.target
    value = NUMBER.parse(words)
    assert value is not None
    assert 0 <= value < 10000
    assert len(f"{value:f}".partition(".")[2]) <= 3


def test_evaluating_tags_strictly() -> None:
    """Tags in an order that makes no number give none."""
    wrong = [(), (".",), (".", "."), ("*100",), ("1", ".", "*100"), (".", "12"), ("1", ".", "5", ".", "5")]
    assert [evaluate(values) for values in wrong] == [None] * 7
    assert evaluate(("1", "*1000", "2", "*100", "5", ".", "4", "0")) == Decimal("1205.40")


@pytest.mark.parametrize(
    ("missing", "lost"),
    [
        ({"oh"}, set()),
        ({"and"}, set()),
        ({"oh", "and"}, set()),
        ({"zero"}, {"zero"}),
        ({"seven", "oh"}, {"seven"}),
    ],
)
def test_words_that_numbers_can_do_without(missing: set[str], lost: set[str]) -> None:
    """Only a word without which some number cannot be said is missed."""
    assert lost == set(NUMBER.lost(missing))


@settings(max_examples=100)
@given(
    st.one_of(
        st.lists(st.sampled_from(WORDS), min_size=1, max_size=6),
        st.integers(0, 9999).map(lambda n: in_words(Decimal(n)).split()),
    )
)
def test_number_language_against_pocketsphinx(words: list[str]) -> None:
    """Outside check: PocketSphinx's own JSGF compiler accepts the same numbers; skipped where it is absent."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    text = (resources.directory("grammars") / "number.jsgf").read_text(encoding="utf-8")
    with tempfile.NamedTemporaryFile("w", suffix=".gram") as file:
        file.write(text.partition("public <unit>")[0])
        file.flush()
        other = pocketsphinx.FsgModel.jsgf_read_file(file.name, pocketsphinx.LogMath(1.0001), 1.0)
    assert other.accept(" ".join(words)) == (NUMBER.parse(words) is not None)


def test_tag_values() -> None:
    """Only terms, multipliers and the point are tags of numbers."""
    assert [numbers.is_tag_value(value) for value in ("12", "*100", ".", "", "*", "x", "-1", "123456")] == [
        *(True, True, True),
        *(False, False, False, False, False),
    ]
    assert Path(next(iter(NUMBER.words().values())).file).name == "number.jsgf"


DIGITS = GRAMMARS.digits
assert DIGITS is not None


@given(st.integers(0, 9999), st.integers(0, 3), st.integers(0, 999))
def test_every_number_with_a_point_can_be_said_digit_by_digit(whole: int, places: int, decimals: int) -> None:
    """Where digits were asked for, all numbers with decimals are understood, digits kept, and usual ones too."""
    value = Decimal(f"{whole}.{decimals:03d}"[: len(str(whole)) + 1 + places].rstrip("."))
    assert str(value) == str(DIGITS.parse(in_words(value).split()))
    if places or not 10 <= whole <= 99:
        assert str(value) == str(DIGITS.parse(by_digits(value).split()))


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("one one point six", "11.6"),
        ("one two decimal four", "12.4"),
        ("one oh point five", "10.5"),
        ("zero point zero five", "0.05"),
        ("four five zero", "450"),
        ("twelve point four", "12.4"),
        ("six five", None),
        ("zero five", None),
        ("oh", None),
        ("one two three four five", None),
        ("one twelve", None),
        ("twelve one point five", None),
        ("minus one point two", None),
        ("one point two point three", None),
    ],
)
def test_digits_one_by_one(words: str, value: str | None) -> None:
    """Two digits without a point could be read two ways, a sign and a half-said number in no way: they are none."""
    parsed = DIGITS.parse(words.split())
    assert value == (None if parsed is None else str(parsed))


def test_digits_one_by_one_are_no_number_unless_they_were_asked_for() -> None:
    """The usual rule takes no digit by digit, so that two answers never become one number."""
    for words in ("one one point six", "one two", "four five zero", "one decimal two"):
        assert reading(words) is None
