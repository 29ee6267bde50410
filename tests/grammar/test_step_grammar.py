"""The phrases that may be heard at a step: strict parse, acceptor, words that a model lacks."""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from assistant import resources
from assistant.core.library.vocabulary import PLACED
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import ModelProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.losses import turns_into
from assistant.grammar.step_grammar import StepGrammar

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
ALL_CONTROLS = tuple(Control)
LAMP = GrammarRequest(("lit", "dim", "dark"), (), (Control.STOP, Control.NOT_SURE))
RUST = GrammarRequest(("corroded",), (), (Control.GO_AHEAD,))
VOLTS = GrammarRequest((), ("V", "mV"), (Control.STOP,))
# Outcomes whose own words name a place are asked for without other places (`PLACED`).
OUTCOMES = tuple(name for name in GRAMMARS.outcomes() if name not in (*PLACED, "sharper"))
EVERYTHING = GrammarRequest(OUTCOMES, GRAMMARS.units(), ALL_CONTROLS)

REQUESTS = st.one_of(
    st.sampled_from([LAMP, VOLTS, EVERYTHING]),
    st.builds(
        GrammarRequest,
        st.lists(st.sampled_from(OUTCOMES), max_size=4, unique=True).map(tuple),
        st.lists(st.sampled_from(GRAMMARS.units()), max_size=3, unique=True).map(tuple),
        st.lists(st.sampled_from(ALL_CONTROLS), max_size=4, unique=True).map(tuple),
    ),
)


# --- the trade's phrases ---


@pytest.mark.parametrize(
    ("words", "result"),
    [
        ("feed lit", Result(outcome="lit", place="feed")),
        ("switched side steady", Result(outcome="steady", place="switched")),
        ("unplugged light out", Result(outcome="dark", place="unplugged")),
        ("six point five amps", Result(value=Decimal("6.5"), unit="A")),
        ("twelve point four volts", Result(value=Decimal("12.4"), unit="V")),
        ("point five ohms", Result(value=Decimal("0.5"), unit="ohm")),
        ("nine point six", Result(value=Decimal("9.6"))),
        ("driver end flashing", Result(outcome="blinking", place="driver-end")),
        (
            "battery positive twelve point six volts",
            Result(value=Decimal("12.6"), unit="V", place="battery-positive"),
        ),
        ("same as feed", Result(outcome="same")),
        ("some only", Result(outcome="some-cylinders")),
        ("fuse blown", Result(outcome="blown")),
        ("two hundred revolutions", Result(value=Decimal(200), unit="rpm")),
        ("two hundred r p m", Result(value=Decimal(200), unit="rpm")),
        ("say again", Result(control=Control.SAY_AGAIN)),
        ("stop stop", Result(control=Control.STOP)),
        ("engine cranking", Result(control=Control.CRANKING)),
    ],
)
def test_phrases_of_the_trade(words: str, result: Result) -> None:
    """Phrases that a technician says, the wish list of the first issue among them, mean what they should."""
    assert result == GRAMMARS.request(EVERYTHING).parse(words)


@pytest.mark.parametrize(
    "words",
    [
        *("", "feed", "lit feed", "lit lit", "not lit", "feed feed lit", "volts", "feed volts", "lit volts"),
        *(
            "four twenty ohms",
            "minus two volts",
            "stop now",
            "feed stop",
            "twelve",
            "[unk]",
            "feed [unk] lit",
        ),
    ],
)
def test_anything_else_is_no_match(words: str) -> None:
    """A text that is not exactly a phrase of the request gives nothing: no part is taken out of it."""
    assert GRAMMARS.request(LAMP).parse(words) is None


def test_numbers_only_where_asked_for() -> None:
    """A number is understood only where a unit is asked for, and only in the units of the step."""
    volts = GRAMMARS.request(VOLTS)
    assert volts.parse("five millivolts") == Result(value=Decimal(5), unit="mV")
    assert volts.parse("five ohms") is None
    assert GRAMMARS.request(LAMP).parse("five") is None


def test_every_place_goes_with_every_outcome() -> None:
    """Places may be said before an outcome or a reading also where they are wrong, so that it can be caught."""
    lamp, volts = GRAMMARS.request(LAMP), GRAMMARS.request(VOLTS)
    for place in GRAMMARS.places():
        for form in GRAMMARS.forms("place", place):
            assert lamp.parse(f"{form} dark") == Result(outcome="dark", place=place)
            assert volts.parse(f"{form} one volt") == Result(value=Decimal(1), unit="V", place=place)


def test_canonical_forms() -> None:
    """The first form in the file is the usual one."""
    step = GRAMMARS.request(EVERYTHING)
    assert step.canonical("dark") == "dark"
    assert step.canonical("no-spark") == "no spark"
    assert step.canonical(Control.SAY_AGAIN) == "say again"
    assert step.canonical("kilohm") == "kilohms"
    with pytest.raises(UsageProblem, match="no 'purple'"):
        step.canonical("purple")


# --- properties ---


@settings(max_examples=40)
@given(REQUESTS)
def test_phrases_mean_their_tags(request: GrammarRequest) -> None:
    """Each listed phrase parses to exactly the result of its tags, and each part of the request is said by some."""
    step = GRAMMARS.request(request)
    results = [step.parse(words) for words in step.phrases()]
    assert results == [result for _, result in step.meanings()]
    said = {(result.outcome, result.control) for result in results if result}
    wanted = {(name, None) for name in request.outcomes} | {(None, control) for control in request.controls}
    assert wanted == said
    assert set(request.units) == set(step.units())


@settings(max_examples=300)
@given(REQUESTS, st.integers(0, 2**32), st.data())
def test_acceptor_and_parser_agree(request: GrammarRequest, seed: int, data: st.DataObject) -> None:
    """The acceptor holds exactly what the parser takes: phrases, damaged phrases, and random words."""
    step = GRAMMARS.request(request)
    vocabulary = [*sorted(step.words()), "[unk]"]
    if len(vocabulary) == 1:
        return
    has_phrases = bool(request.outcomes or request.units or request.controls)
    words = step.sample(random.Random(seed)).split() if has_phrases else []  # noqa: S311  a choice of words
    if has_phrases:
        assert step.parse(" ".join(words)) is not None
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, len(words)))
        words[at : at + data.draw(st.integers(0, 1))] = data.draw(
            st.lists(st.sampled_from(vocabulary), max_size=2)
        )
    text = " ".join(words)
    assert step.is_complete(text) == (step.parse(text) is not None)


@settings(max_examples=40)
@given(REQUESTS)
def test_acceptor_is_minimal(request: GrammarRequest) -> None:
    """No two states of the acceptor allow the same, all are reached, and a phrase can be ended from each."""
    automaton = GRAMMARS.request(request).automaton()
    forms = {
        (index in automaton.finals, tuple(sorted(s.items()))) for index, s in enumerate(automaton.states)
    }
    assert len(automaton.states) == len(forms)
    reached = {automaton.start} | {target for state in automaton.states for target in state.values()}
    assert set(range(len(automaton.states))) == reached
    if automaton.finals:
        assert all(state or index in automaton.finals for index, state in enumerate(automaton.states))


@settings(max_examples=40)
@given(REQUESTS)
def test_acceptor_says_only_known_words(request: GrammarRequest) -> None:
    """The words of a step, with file and line, are exactly those of its acceptor."""
    step = GRAMMARS.request(request)
    assert {word for state in step.automaton().states for word in state} == set(step.words())
    for word, (file, line) in step.words().items():
        assert word in Path(file).read_text(encoding="utf-8").split("\n")[line - 1]


@given(st.integers(0, 2**32), st.data())
def test_lost_number_words_leave_place_and_unit(seed: int, data: st.DataObject) -> None:
    """Words of the number that are lost never change the place or the unit of a reading."""
    step = GRAMMARS.request(GrammarRequest((), GRAMMARS.units()))
    words = step.sample(random.Random(seed)).split()  # noqa: S311  a choice of words
    whole = step.parse(" ".join(words))
    assert whole is not None
    assert GRAMMARS.number is not None
    spoken = GRAMMARS.number.words()
    left = step.parse(" ".join(word for word in words if word not in spoken or data.draw(st.booleans())))
    assert left is None or (whole.place, whole.unit) == (left.place, left.unit)


def test_end_pointing_questions() -> None:
    """A complete phrase that may go on is told from one that cannot, and both from a mere beginning."""
    step = GRAMMARS.request(GrammarRequest(("lit", "steady"), ("V",), (Control.STOP, Control.NOT_SURE)))
    told = {
        words: (step.is_complete(words), step.can_continue(words)) for words in ("lit", "steady", "feed", "")
    }
    assert told == {"lit": (True, True), "steady": (True, True), "feed": (False, False), "": (False, False)}
    assert (step.is_complete("not sure"), step.can_continue("not sure")) == (True, False)
    assert (step.is_complete("five"), step.can_continue("five")) == (True, True)
    assert (step.is_complete("five volts"), step.can_continue("five volts")) == (True, False)
    assert (step.is_beginning("feed"), step.is_beginning("volts")) == (True, False)


def test_an_empty_request_hears_nothing() -> None:
    """A request for nothing accepts nothing."""
    step = GRAMMARS.request(GrammarRequest())
    assert (step.phrases(), step.automaton().finals, step.words()) == ([], set(), {})


# --- words lost in noise ---


def test_units_that_could_become_another() -> None:
    """A step that takes ohms does not take "k ohms": without its "k" it would be a thousandth."""
    both = GRAMMARS.request(GrammarRequest((), ("ohm", "kilohm")))
    assert both.parse("five k ohms") is None
    assert both.parse("five kilohms") == Result(value=Decimal(5), unit="kilohm")
    assert "k ohms" in [form.words for form in both.left_out]
    alone = GRAMMARS.request(GrammarRequest((), ("kilohm",)))
    assert alone.parse("five k ohms") == Result(value=Decimal(5), unit="kilohm")


def test_a_model_without_kilohms_may_say_kilo_ohms() -> None:
    """For a model that lacks the trade's word the two-word form comes back: the read-back speaks the unit."""
    step = GRAMMARS.request(GrammarRequest((), ("ohm", "kilohm"))).without({"kilohms", "kilohm"})
    assert step.parse("five kilo ohms") == Result(value=Decimal(5), unit="kilohm")


def test_controls_that_a_result_could_become() -> None:
    """Beside "no spark" a "no" stays, because it only asks again; beside "off" there is no "key off"."""
    beside = GRAMMARS.request(GrammarRequest(("no-spark",), (), (Control.NEGATIVE,)))
    assert beside.parse("no") == Result(control=Control.NEGATIVE)
    stop = GRAMMARS.request(GrammarRequest((), (), (Control.STOP,)))
    assert stop.parse("key off") == Result(control=Control.STOP)
    lamp = GRAMMARS.request(LAMP)
    assert lamp.parse("off") == Result(outcome="dark")
    assert lamp.parse("key off") is None
    assert lamp.parse("kill it") == Result(control=Control.STOP)


def test_words_that_sound_the_same_count_as_the_same() -> None:
    """Where "no" is an answer, "don't know" is left out: without its first word it would be that answer."""
    asked = GrammarRequest(("present", "missing"), (), (Control.NOT_SURE,))
    assert GRAMMARS.request(asked).parse("no") == Result(outcome="missing")
    assert GRAMMARS.request(asked).parse("don't know") is None
    assert GRAMMARS.request(LAMP).parse("don't know") == Result(control=Control.NOT_SURE)


@pytest.mark.parametrize(
    ("outcomes", "controls", "there", "left_out"),
    [
        (("lit", "dim"), (Control.AFFIRM,), "right", "bright"),
        (("lit", "dim"), (Control.WHY, Control.STOP), "why", "whoa"),
        (("lit", "dim"), (Control.SAY_AGAIN,), "what", ""),
        (("lit", "dark"), (), "on", ""),
        (("lit", "dark"), (), "out", ""),
        (("present",), (Control.AFFIRM,), "yes", ""),
    ],
)
def test_of_two_forms_that_sound_alike_one_is_left_out(
    outcomes: tuple[str, ...], controls: tuple[Control, ...], there: str, left_out: str
) -> None:
    """A word of the dialogue stays before an answer; what only asks again, and words measured apart, stay as well."""
    step = GRAMMARS.request(GrammarRequest(outcomes, (), controls))
    assert step.parse(there) is not None
    assert not left_out or step.parse(left_out) is None
    assert not left_out or left_out in [form.words for form in step.left_out]


@pytest.mark.parametrize(
    ("words", "outcomes", "means"),
    [
        ("solid", ("steady", "blinking", "lit"), "steady"),
        ("solid", ("lit", "dim", "dark"), "lit"),
        ("solid", ("lamp-on", "lamp-off"), "lamp-on"),
        ("no blink", ("blinking", "steady"), "steady"),
        ("no blink", ("lit", "dark"), "lit"),
        ("flashing", ("blinking", "steady"), "blinking"),
        ("flashing", ("lamp-on", "lamp-off"), "lamp-on"),
        ("on", ("lamp-on", "lamp-off"), "lamp-on"),
        ("out", ("lit", "dark"), "dark"),
        ("out", ("lamp-on", "lamp-off"), "lamp-off"),
        ("yes", ("found", "absent"), "found"),
        ("no", ("found", "absent"), "absent"),
    ],
)
def test_a_form_means_the_first_of_its_meanings_that_can_be_said(
    words: str, outcomes: tuple[str, ...], means: str
) -> None:
    """One phrase has different meanings at different steps, and exactly one at each."""
    assert GRAMMARS.request(GrammarRequest(outcomes)).parse(words) == Result(outcome=means)


def test_turning_into() -> None:
    """One phrase turns into another by losing words, in order, and only such as can be lost."""
    assert turns_into(("k", "ohms"), ("ohms",))
    assert not turns_into(("k", "ohms"), ("k", "ohms"))
    assert not turns_into(("k", "ohms"), ("ohms",), {"ohms"})
    assert not turns_into(("a", "b"), ("b", "a"))


# --- models that lack words ---


def test_missing_words_leave_their_forms_out() -> None:
    """A form whose word the model lacks is left out and listed; the rest stays."""
    step = GRAMMARS.request(LAMP).without({"bright", "unsure", "battery"})
    assert step.parse("bright") is None
    assert step.parse("lit") == Result(outcome="lit")
    assert step.parse("battery positive lit") is None
    assert {"bright", "lamp bright", "unsure", "battery positive"} <= {form.words for form in step.left_out}
    assert not {"bright", "unsure", "battery"} & set(step.words())


@pytest.mark.parametrize(
    ("request_", "missing", "named"),
    [
        (RUST, {"corroded"}, ["'corroded' (", "condition.jsgf:21)", "the outcome 'corroded'"]),
        (
            RUST,
            {"ahead", "continue", "next", "go", "going", "on"},
            ["'ahead' (", "control.jsgf:22)", "'go-ahead'"],
        ),
        (VOLTS, {"volts", "volt"}, ["'volts' (", "number.jsgf:82)", "the unit 'V'"]),
        (VOLTS, {"seven"}, ["'seven' (", "number.jsgf:54)", "some numbers"]),
    ],
)
def test_missing_words_that_are_needed(request_: GrammarRequest, missing: set[str], named: list[str]) -> None:
    """A model without a needed word is refused with the word, its grammar line, and what cannot be said."""
    with pytest.raises(ModelProblem) as caught:
        GRAMMARS.request(request_).without(missing)
    assert [part for part in named if part not in str(caught.value)] == []


@settings(max_examples=30)
@given(REQUESTS, st.data())
def test_without_is_a_part_of_the_language(request: GrammarRequest, data: st.DataObject) -> None:
    """Without some words, what remains is said without them and means what it meant; or the model is refused."""
    step = GRAMMARS.request(request)
    missing = set(data.draw(st.lists(st.sampled_from([*sorted(step.words()), "purple"]), max_size=4)))
    try:
        rest: StepGrammar = step.without(missing)
    except ModelProblem as problem:
        assert any(f"'{word}'" in str(problem) for word in missing)
        return
    assert not missing & set(rest.words())
    before = {str(phrase): result for phrase, result in step.meanings()}
    after = {str(phrase): result for phrase, result in rest.meanings()}
    assert {
        words: result for words, result in before.items() if missing.isdisjoint(words.split())
    }.items() <= after.items()
