"""A folder of grammars: what it has, the requests that it serves, and the mistakes that it refuses."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.tags import UNITS

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
LAMP = GrammarRequest(("lit", "dim", "dark"), (), (Control.STOP, Control.NOT_SURE))


def tiny(body: str, lexicon: str = "") -> GrammarSet:
    """A set of one grammar."""
    text = f"#JSGF V1.0 UTF-8 en;\ngrammar tiny;\n{body}"
    return GrammarSet.from_files({Path("tiny.jsgf"): text.encode(), Path("lexicon.txt"): lexicon.encode()})


def test_all_controls_and_units_can_be_said() -> None:
    """Every control word and every unit of a result has a spoken form."""
    assert set(Control) == set(GRAMMARS.controls())
    assert set(UNITS) == set(GRAMMARS.units())


def test_named_grammars() -> None:
    """The set gives a grammar by its name; places are not a grammar of their own."""
    assert set(GRAMMARS.names()) == {
        *(
            "answer",
            "compare",
            "condition",
            "control",
            "lamp",
            "number",
            "procedure",
            "ramp",
            "reason",
            "spark",
        )
    }
    assert GRAMMARS.named("lamp").parse("feed lit") == Result(outcome="lit", place="feed")
    assert GRAMMARS.named("number").parse("one volt") == Result(value=Decimal(1), unit="V")
    assert GRAMMARS.named("control").parse("undo") == Result(control=Control.CORRECTION)
    for name in ("place", "nonsense"):
        with pytest.raises(UsageProblem, match="Grammars: "):
            GRAMMARS.named(name)


def test_requests_are_built_once() -> None:
    """The same request gives the same grammar, so a step costs nothing the second time."""
    assert GRAMMARS.request(LAMP) is GRAMMARS.request(
        GrammarRequest(*(LAMP.outcomes, LAMP.units, LAMP.controls))
    )


@pytest.mark.parametrize(
    ("body", "line", "says_what"),
    [
        ("public <a> = lit;", 3, "no tag"),
        ("public <a> = (lit {outcome=lit}) {outcome=dim};", 3, "has {outcome=dim}, {outcome=lit}"),
        ("public <a> =\nlit {colour=red};", 4, "{colour=red} means nothing"),
        ("public <a> = lit {outcome=Very Lit};", 3, "means nothing"),
        ("public <a> = furlongs {unit=furlong};", 3, "means nothing"),
        ("public <a> = jump {control=jump};", 3, "means nothing"),
        ("public <a> = [lit] {outcome=lit};", 3, "without a word"),
        ("public <a> = lit* {outcome=lit};", 3, "without end"),
        ("public <a> = (very <a> | lit) {outcome=lit};", 3, "without end"),
        ("public <a> = 12 {outcome=lit};", 3, "not a spoken word"),
        ("public <a> = Lit {outcome=lit};", 3, "not a spoken word"),
        ("public <a> = (x | y) (x | y) (x|y) " + "(x|y) " * 12 + "{outcome=x};", 3, "more than 5000 phrases"),
        ("public <a> = feed {place=a} |\nfeed {place=b};", 4, "means both a and b"),
        ("public <a> = ready {outcome=ready} | go {control=ready};", 3, "also the name of a control word"),
        ("public <n> = one {number=1};\npublic <p> = post one {place=a};", 4, "part of a reading"),
        ("public <n> = one {number=1};\npublic <m> = two {number=2};", 4, "two rules for numbers"),
        ("public <n> = (one {number=1})+;", 3, "for ever"),
        ("public <n> = [one] {number=1};", 3, "without a word"),
        ("public <n> = one {number=uno};", 3, "{number=uno} means nothing"),
    ],
)
def test_grammars_that_do_not_fit(body: str, line: int, says_what: str) -> None:
    """A grammar that is good JSGF but means nothing, or two things, is refused at its line with a remedy."""
    with pytest.raises(FileProblem) as caught:
        tiny(body)
    assert says_what in str(caught.value)
    assert line == caught.value.line
    assert caught.value.remedy


def test_two_meanings_in_one_request() -> None:
    """Two outcomes may share a phrase as long as no step asks for both."""
    grammars = tiny("public <a> = out {outcome=dark} |\nout {outcome=gone};", "out AW T")
    assert grammars.request(GrammarRequest(("gone",))).parse("out") == Result(outcome="gone")
    with pytest.raises(FileProblem, match=r"'out' means both dark .*:3.* and gone"):
        grammars.request(GrammarRequest(("dark", "gone")))


def test_an_answer_that_begins_like_a_place_stays_that_answer() -> None:
    """A phrase that is an outcome as a whole is that outcome, and not another one at a place."""
    grammars = tiny("public <a> = (blown | fuse blown) {outcome=blown};\npublic <p> = fuse {place=fuse};")
    step = grammars.request(GrammarRequest(("blown",)))
    assert step.parse("fuse blown") == Result(outcome="blown")


def test_place_and_outcome_that_run_together() -> None:
    """A phrase that splits into a place and an outcome in two ways has two meanings, and is refused."""
    grammars = tiny(
        "public <a> = blown {outcome=blown} | top blown {outcome=gone};\n"
        "public <p> = fuse top {place=high} | fuse {place=fuse};"
    )
    with pytest.raises(FileProblem, match=r"'fuse top blown' means both"):
        grammars.request(GrammarRequest(("blown", "gone")))


def test_unknown_names_in_a_request() -> None:
    """A word that no grammar can say is refused by name, with the tag that would be right."""
    with pytest.raises(FileProblem, match=r"no phrase stands for the outcome 'purple'.*\{outcome=purple\}"):
        GRAMMARS.request(GrammarRequest(("purple",)))
    with pytest.raises(FileProblem, match="no rule has the tags of spoken numbers"):
        tiny("public <u> = volts {unit=V};").request(GrammarRequest((), ("V",)))


def test_loading_from_nowhere(tmp_path: Path) -> None:
    """A folder that is missing or empty is a clear sentence."""
    with pytest.raises(FileProblem, match="cannot be read"):
        GrammarSet.load(tmp_path / "nothing")
    (tmp_path / "lexicon.txt").write_text("")
    with pytest.raises(FileProblem, match="there is no grammar here"):
        GrammarSet.load(tmp_path)


TAGGED = st.sampled_from(
    [
        *(
            "public <a> = ",
            "<b> = ",
            "lit ",
            "dim ",
            "one ",
            "{outcome=lit} ",
            "{outcome=dim}",
            "{place=feed}",
        ),
        *(
            "{number=1}",
            "{number=*5}",
            "{unit=V}",
            "{control=stop}",
            "[",
            "]",
            "(",
            ")",
            "|",
            "; ",
            "*",
            "<b>",
            "{x}",
        ),
    ]
)


@settings(max_examples=300)
@given(st.lists(TAGGED, max_size=25).map("".join), st.binary(max_size=30))
def test_any_files_give_a_set_or_a_file_problem(body: str, lexicon: bytes) -> None:
    """Any grammar and any lexicon are a working set or a FileProblem, never another error."""
    text = f"#JSGF V1.0 UTF-8 en;\ngrammar tiny;\n{body};"
    try:
        grammars = GrammarSet.from_files({Path("tiny.jsgf"): text.encode(), Path("lexicon.txt"): lexicon})
        step = grammars.request(GrammarRequest(grammars.outcomes(), (), grammars.controls()))
    except FileProblem as found:
        assert Path(found.path).name in {"tiny.jsgf", "lexicon.txt", ""}
    else:
        assert all(step.is_complete(words) for words in step.phrases())
