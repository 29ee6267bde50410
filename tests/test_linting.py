"""The lint of procedures and grammars: clean for what is shipped, and it finds what a writer would overlook."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant import resources
from assistant.core.dialogue import missing
from assistant.core.reasoning.knowledge import Knowledge
from assistant.core.values.result import Control
from assistant.core.words.sentences import sentences as split
from assistant.grammar.grammar_set import GrammarSet
from assistant.linting import all_spoken, lesson_spoken, lint, lint_grammars_for, lint_procedures
from assistant.loading.folder import load_folder, load_library
from assistant.rehearsal.judging import AIM, LONGEST, TO_REPEAT

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.library.library import Library
    from assistant.core.values.finding import Finding


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """Copies of the shipped procedures and grammars, to be changed."""
    return (
        shutil.copytree(resources.directory("procedures"), tmp_path / "procedures"),
        shutil.copytree(resources.directory("grammars"), tmp_path / "grammars"),
    )


def grammars_alone(library: Library, _: Knowledge | None, grammars: GrammarSet) -> list[Finding]:
    """The half of the lint that looks at the grammars."""
    return lint_grammars_for(library, grammars)


def findings(
    folders: tuple[Path, Path],
    check: Callable[[Library, Knowledge | None, GrammarSet], list[Finding]] = lint,
) -> list[Finding]:
    """Return the findings in these folders, of the whole lint or of one of its halves."""
    return check(*load_folder(folders[0]), GrammarSet.load(folders[1]))


def change(path: Path, old: str, new: str) -> None:
    """Replace a piece of a file, once."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_an_outcome_called_by_a_word_that_is_not_heard_is_found(folders: tuple[Path, Path]) -> None:
    """A question must use the words of its answers: the finding names the word and the ones that are heard."""
    library = load_library(folders[0])
    spoken = library.terms.outcomes["flickering"].spoken
    terms = folders[0] / "terms.yaml"
    text = terms.read_text(encoding="utf-8")
    entry = re.search(r"^  flickering:.*$", text, re.MULTILINE)
    assert entry is not None
    changed = entry.group(0).replace(f"spoken: {spoken}", "spoken: twinkling")
    assert changed != entry.group(0)
    terms.write_text(text.replace(entry.group(0), changed), encoding="utf-8")
    (finding,) = [one for one in findings(folders, lint_procedures) if "twinkling" in one.problem]
    assert folders[0] / "terms.yaml" == Path(finding.path)
    assert "the outcome 'flickering'" in finding.problem
    assert "flickering" in finding.remedy


def test_an_outcome_that_nobody_can_say_is_found_or_refused(folders: tuple[Path, Path]) -> None:
    """When the grammar loses the forms of an outcome that a step asks for, it does not go unnoticed."""
    lamp, lexicon = folders[1] / "lamp.jsgf", folders[1] / "lexicon.txt"
    forms = re.sub(r"\([^()]*\) \{outcome=flickering\}", "dancing {outcome=dancing}", lamp.read_text("utf-8"))
    lamp.write_text(forms, "utf-8")
    lexicon.write_text(lexicon.read_text("utf-8") + "dancing D AE N S IH NG\n", "utf-8")
    with pytest.raises(Exception, match="flickering") as caught:
        assert [] == findings(folders)
    assert "Traceback" not in str(caught.value)


def test_a_place_that_nobody_can_say_is_found(folders: tuple[Path, Path]) -> None:
    """A point of the circuit that was added to the terms and not to the grammar is a finding, and no program error."""
    change(
        folders[0] / "terms.yaml",
        "places:\n",
        "places:\n  nowhere: {kind: node, spoken: no place, short: no place}\n",
    )
    assert any("nowhere" in finding.problem for finding in findings(folders, grammars_alone))


def test_a_long_sentence_is_found(folders: tuple[Path, Path]) -> None:
    """More words than are held in the head: the file, the line of the step, the sentence and the number."""
    long = "Scratch right through all of the paint and the oil until the bare metal shows."
    assert len(long.split()) > LONGEST
    change(
        folders[0] / "battery-and-cranking.yaml",
        "look_for: Scratch through paint and oil.",
        f"look_for: {long}",
    )
    (finding,) = findings(folders, lint_procedures)
    step = load_library(folders[0]).step("battery-and-cranking", "ground-drop")
    assert folders[0] / "battery-and-cranking.yaml" == Path(finding.path)
    assert step.line == finding.line
    assert str(len(long.split())) in finding.problem
    assert long.rstrip(".") in finding.problem
    assert str(LONGEST) in finding.remedy
    assert str(AIM) in finding.remedy


def test_a_sentence_of_the_longest_length_is_not_found(folders: tuple[Path, Path]) -> None:
    """The limit itself is still good; a question mark ends a sentence as a full stop does."""
    words = " ".join(["bare"] * LONGEST)
    change(
        folders[0] / "battery-and-cranking.yaml",
        "look_for: Scratch through paint and oil.",
        f'look_for: "{words}? {words}."',
    )
    rest = "Read it while the engine turns."
    change(folders[0] / "battery-and-cranking.yaml", f'" {rest}', f' {rest}"')
    assert [] == findings(folders, lint_procedures)


def test_a_long_caution_is_found(folders: tuple[Path, Path]) -> None:
    """Cautions are spoken too, so their sentences have the same limit."""
    sentence = "The engine will turn and start."
    change(folders[0] / "cautions.yaml", sentence, f"The engine will turn {'round ' * 12}now.")
    found = findings(folders, lint_procedures)
    # In its file, and in the dialogue that speaks it with its signal word.
    assert {str(folders[0] / "cautions.yaml"), "assistant/core/dialogue"} == {one.path for one in found}


def test_what_only_the_dialogue_says_is_found_in_its_source() -> None:
    """A notice of the dialogue names the line of the source that holds its words."""
    said = all_spoken(*load_folder(resources.directory("procedures")), turns=500)  # as many as the lint
    notice = next(one for one in said if one.sentence == "Too loud to hear you.")
    source = resources.directory("procedures").parent / notice.file
    assert notice.sentence in source.read_text(encoding="utf-8").splitlines()[notice.line - 1]


def test_levels_digits_and_the_lesson_are_judged_as_well(folders: tuple[Path, Path]) -> None:
    """What is said about the microphone's level, for a reading digit by digit and in a lesson is seen by the lint."""
    said = all_spoken(*load_folder(resources.directory("procedures")), turns=500)
    sentences = {one.sentence for one in said}
    assert {part for text in missing.LEVELS.values() for part in split(text)} <= sentences
    assert any(one.startswith("Say the digits: ") for one in sentences)
    lesson = {one.sentence for one in lesson_spoken(GrammarSet.load(folders[1]))}
    assert all(one.startswith(TO_REPEAT) for one in lesson)
    assert {"Say: lit.", "Say: say again.", "Say: stop.", "Say: twelve point four volts."} <= lesson


def test_a_sentence_that_only_the_second_voice_can_say_is_found(folders: tuple[Path, Path]) -> None:
    """A word in no lexicon: the file, the line of the step, the word; gone when the author adds its phones."""
    change(
        folders[0] / "battery-and-cranking.yaml",
        "look_for: Scratch through paint and oil.",
        "look_for: Scratch through paint and zorbnik.",
    )
    (finding,) = findings(folders, lint_procedures)
    step = load_library(folders[0]).step("battery-and-cranking", "ground-drop")
    assert (str(folders[0] / "battery-and-cranking.yaml"), step.line) == (finding.path, finding.line)
    assert "only eSpeak can say 'Scratch through paint and zorbnik.'" in finding.problem
    assert "no lexicon has 'zorbnik'" in finding.problem
    assert str(folders[1] / "lexicon.txt") in finding.remedy
    with (folders[1] / "lexicon.txt").open("a", encoding="utf-8") as lexicon:
        lexicon.write("zorbnik Z AO R B N IH K\n")
    assert [] == findings(folders, lint_procedures)


def test_an_outcome_that_is_not_asked_for_by_its_first_form_is_found(folders: tuple[Path, Path]) -> None:
    """One word for one thing: the word of the question is the first that the grammar lists."""
    change(folders[1] / "lamp.jsgf", "(dim | lamp dim)", "(lamp dim | dim)")
    (finding,) = findings(folders, lint_procedures)
    assert "first form" in finding.problem


def test_two_answers_that_sound_alike_are_found(folders: tuple[Path, Path]) -> None:
    """A usual form that differs from another result's in one slurred sound is named with its line."""
    change(folders[1] / "lamp.jsgf", "(dim | lamp dim)", "(lid | dim | lamp dim)")
    with (folders[1] / "lexicon.txt").open("a", encoding="utf-8") as lexicon:
        lexicon.write("lid L IH D\n")
    assert any(
        "lid" in str(finding) and "lit" in str(finding) for finding in findings(folders, grammars_alone)
    )


def test_the_words_that_steps_are_asked_with_can_be_said() -> None:
    """Outside the lint: every outcome of every step is parsed back from the words that the screen shows."""
    library = load_library(resources.directory("procedures"))
    grammars = GrammarSet.load(resources.directory("grammars"))
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            # While something is watched, changes are called out; what the step concludes from them is not said.
            for outcome in step.heard if step.watch else [answer.outcome for answer in step.answers]:
                spoken = library.terms.outcomes[outcome].spoken
                forms = [str(form) for form in grammars.forms("outcome", outcome)]
                assert spoken in forms, f"{procedure.name}/{step.name}"
    assert set(Control) == set(grammars.controls())
