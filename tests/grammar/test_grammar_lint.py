"""The check of the grammars: finds what a lost word or a slurred phone could change; finds nothing in ours."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING

from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.dialogue.sayable import requests_of
from assistant.core.values.result import Control, GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.lexicon import distance
from assistant.grammar.lint import LOOK_ALIKE, lint_grammars, typical_requests
from assistant.grammar.nearness import close_phrases
from assistant.loading.folder import load_library

if TYPE_CHECKING:
    from assistant.core.values.finding import Finding

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
LEXICON = """
lit L IH T
not N AA T
lamp L AE M P
feed F IY D
wire W AY ER
on AO N
off AO F
warning W AO R N IH NG
steady S T EH D IY
ready R EH D IY
ohms OW M Z
k K EY
one W AH N
"""


def lint(body: str, request: GrammarRequest, lexicon: str = LEXICON) -> list[Finding]:
    """Findings in one grammar, without those about words and names that it does not use."""
    text = f"#JSGF V1.0 UTF-8 en;\ngrammar tiny;\n{body}"
    grammars = GrammarSet.from_files(
        {Path("tiny.jsgf"): text.encode(), Path("lexicon.txt"): lexicon.encode()}
    )
    found = lint_grammars(grammars, [request])
    return [
        item
        for item in found
        if "no phrase stands for" not in item.problem and "in no grammar" not in item.problem
    ]


def test_shipped_grammars_have_no_finding() -> None:
    """Within what any step asks for, no phrase of ours turns into or sounds like another result.

    What a look or a deed shows differs from step to step, so a whole grammar is never asked for at once.
    """
    assert lint_grammars(GRAMMARS, requests_of(load_library(resources.directory("procedures")))) == []


def test_typical_requests_cover_all_that_can_be_said() -> None:
    """The requests that are looked at hold every outcome, unit and control word."""
    requests = typical_requests(GRAMMARS)
    assert {name for request in requests for name in request.outcomes} == set(GRAMMARS.outcomes())
    assert {unit for request in requests for unit in request.units} == set(GRAMMARS.units())
    assert {control for request in requests for control in request.controls} == set(Control)


def test_a_lost_not() -> None:
    """The old trap: "not lit" without its first word is the opposite."""
    found = lint(
        "public <a> = lit {outcome=lit} |\nnot lit {outcome=dark};",
        GrammarRequest(("lit", "dark")),
    )
    assert [(item.path, item.line) for item in found] == [("tiny.jsgf", 4)]
    assert "'not lit' becomes 'lit' (lit) when a short word is lost" in found[0].problem
    assert found[0].remedy


def test_a_lost_place_is_no_finding() -> None:
    """Without its place a result is the same result."""
    body = "public <a> = (lit | lamp lit) {outcome=lit};\npublic <p> = feed {place=feed};"
    assert lint(body, GrammarRequest(("lit",))) == []


def test_a_place_that_becomes_another() -> None:
    """A place that is another place without a short word is found."""
    lexicon = LEXICON.replace("W AY ER", "W AY R")
    found = lint("public <p> = feed {place=feed} |\nfeed wire {place=wire};", GrammarRequest(), lexicon)
    assert [(item.line, item.problem.partition(" when")[0]) for item in found] == [
        (4, "'feed wire' becomes 'feed' (the place feed)")
    ]


def test_a_place_that_becomes_a_control_word_with_its_number_lost() -> None:
    """A reading whose number is lost must leave nothing that means something."""
    body = "public <n> = one {number=1};\npublic <u> = ohms {unit=ohm};\n"
    body += "public <p> = ready feed {place=feed};\npublic <c> = ready {control=ready};"
    found = lint(body, GrammarRequest((), ("ohm",), (Control.READY,)))
    assert [item.line for item in found] == [5, 5]


def test_a_unit_that_has_only_a_lossy_form() -> None:
    """A unit that is another unit of the step when a word is lost is found where it has no other form."""
    body = "public <n> = one {number=1};\npublic <u> = ohms {unit=ohm} |\nk ohms {unit=kilohm};"
    found = lint(body, GrammarRequest((), ("ohm", "kilohm")))
    assert [item.problem.partition(" when")[0] for item in found] == [
        "'k ohms' becomes 'ohms' (the unit ohm)"
    ]


def test_sounding_alike() -> None:
    """Phrases of different meaning that sound alike are reported as a pair with their distance."""
    found = lint(
        "public <a> = lamp lit {outcome=lit} |\nlamp let {outcome=dark};",
        GrammarRequest(("lit", "dark")),
        LEXICON + "let L EH T\n",
    )
    assert len(found) == 1
    assert "'lamp let' (dark) and 'lamp lit' (lit) sound alike: distance 0.4" in found[0].problem


def test_words_that_were_measured_apart_may_sound_alike() -> None:
    """The words of a pair that the recogniser tells apart by measurement stand beside each other."""
    both = "public <a> = warning on {outcome=lamp-on} |\nwarning off {outcome=lamp-off};"
    assert lint(both, GrammarRequest(("lamp-on", "lamp-off"))) == []


def test_words_and_names_that_are_missing() -> None:
    """Words without a pronunciation, and outcomes, places, units and controls without a phrase, are named."""
    grammars = GrammarSet.from_files(
        {
            Path("tiny.jsgf"): b"#JSGF V1.0;\ngrammar tiny;\npublic <a> =\nglim {outcome=lit};",
            Path("lexicon.txt"): b"spare S P EH R",
        }
    )
    found = lint_grammars(grammars, [GrammarRequest(("bright",))], outcomes=["lit", "gone"], places=["feed"])
    problems = [(item.line, item.problem) for item in found]
    assert (4, "the word 'glim' has no pronunciation") in problems
    for name in (
        *(
            "the outcome 'gone'",
            "the outcome 'bright'",
            "the place 'feed'",
            "the unit 'V'",
            "the control 'stop'",
        ),
    ):
        assert (0, f"no phrase stands for {name}") in problems
    assert (0, "the word 'spare' is in no grammar") in problems
    assert (0, "no phrase stands for the outcome 'lit'") not in problems


@given(st.lists(st.sampled_from(sorted(GRAMMARS.lexicon.entries)), min_size=1, max_size=8, unique=True))
def test_close_phrases_are_those_within_the_limit(words: list[str]) -> None:
    """The search through the trees of phones finds exactly the pairs that plain comparison finds."""
    texts = [(word,) for word in words] + [tuple(pair) for pair in itertools.pairwise(words)]
    phones = {text: GRAMMARS.lexicon.phones(text) or () for text in texts}
    for limit in (LOOK_ALIKE, 3.1):
        near = close_phrases(texts, GRAMMARS.lexicon, limit)
        for one, spoken in phones.items():
            apart = {text: distance(spoken, other) for text, other in phones.items() if text != one}
            found = {text for text, _ in near[one]}
            assert {text for text, far in apart.items() if far < limit - 1e-9} <= found
            assert all(apart[text] < limit + 1e-9 for text in found)
