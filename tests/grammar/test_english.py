"""The large English dictionary behind the lexicon."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from assistant import resources
from assistant.core.values.result import GrammarRequest
from assistant.grammar.english import TRADE, look_up
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser, find_model


def test_a_word_has_the_pronunciations_of_the_cmu_dictionary() -> None:
    """Expected values: CMU Pronouncing Dictionary 0.7b, stress left out."""
    found = look_up({"carburetor", "route", "qqzx"})
    assert found["carburetor"][0] == tuple("K AA R B ER EY T ER".split())  # noqa: SIM905
    assert set(found["route"]) == {("R", "UW", "T"), ("R", "AW", "T")}
    assert "qqzx" not in found


def _folder(tmp_path: Path, phrase: str, lexicon: str) -> Path:
    (tmp_path / "mine.jsgf").write_text(
        f"#JSGF V1.0;\ngrammar mine;\npublic <p> = {phrase} {{outcome=wet}} | dry {{outcome=dry}};\n"
    )
    (tmp_path / "lexicon.txt").write_text(lexicon)
    return tmp_path


def test_any_word_of_the_dictionary_can_be_heard_without_a_line_in_the_lexicon(tmp_path: Path) -> None:
    """A new grammar with an everyday word needs no phonetics from its author."""
    grammars = GrammarSet.load(_folder(tmp_path, "soaking wet", "dry D R AY\n"))
    step = grammars.request(GrammarRequest(outcomes=("wet", "dry")))
    recogniser = Recogniser(find_model())
    assert not recogniser.missing(step)
    assert 0 <= recogniser.hear(np.zeros(8000, np.int16), step).confidence <= 1


def test_the_lexicons_own_pronunciation_comes_first(tmp_path: Path) -> None:
    """The dictionary only fills gaps."""
    grammars = GrammarSet.load(_folder(tmp_path, "route", "route R UW T\ndry D R AY\n"))
    assert grammars.lexicon.pronunciations("route") == (("R", "UW", "T"),)


def test_the_delivered_lexicon_needs_no_dictionary() -> None:
    """All words of the delivered grammars stand in their own lexicon, checked and chosen."""
    files = {p: p.read_bytes() for p in sorted(resources.directory("grammars").glob("*.*"))}
    grammars = GrammarSet.from_files({p: d for p, d in files.items() if p.suffix in {".jsgf", ".txt"}})
    assert not {word for word in grammars.words() if word not in grammars.lexicon}


def test_words_of_the_trade_are_there_and_in_no_other_dictionary() -> None:
    """A grammar can use the trade's words as well; each line of our own list is needed and well formed."""
    lines = [line for line in TRADE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    words = {line.split()[0] for line in lines}
    found = look_up(words)
    assert words == set(found)
    assert len(lines) == sum(len(said) for said in found.values())
    assert ("S", "OW", "L", "AH", "N", "OY", "D") in found["solenoid"]
