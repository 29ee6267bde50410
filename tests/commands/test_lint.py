"""`lint` on what is wrong in procedures and grammars: file and line, and what would be right; nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from calling import KEYS_ONLY, SOUNDS, Refused, change

from assistant import linting
from assistant.cli import main

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.finding import Finding
    from assistant.grammar.grammar_set import GrammarSet

pytestmark = pytest.mark.usefixtures("own_home")


def test_a_word_that_no_procedure_has_is_refused_with_the_ones_that_would_do(
    refused: Refused, procedures: Path
) -> None:
    """A wrong unit: file and line, and the units that are right; `run` and `lint` say the same."""
    file = procedures / "battery-and-cranking.yaml"
    line = change(file, "unit: V", "unit: furlong")
    for arguments in (("lint",), ("run", *KEYS_ONLY)):
        said = refused(*arguments, "--procedures", procedures)
        assert f"{file}:{line}: " in said
        assert "furlong" in said
        assert "Known are: V, mV" in said


def test_broken_yaml_is_refused_with_its_line(refused: Refused, procedures: Path) -> None:
    """A file that is not YAML is named with its line."""
    file = procedures / "feed-dead.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text + "broken: [\n", encoding="utf-8")
    said = refused("lint", "--procedures", procedures)
    assert f"{file}:{text.count(chr(10)) + 1}" in said or f"{file}:{text.count(chr(10)) + 2}" in said


def test_a_lead_to_nowhere_is_refused(refused: Refused, procedures: Path) -> None:
    """A step that does not exist is named with file, line and the steps there are."""
    file = procedures / "battery-and-cranking.yaml"
    line = change(file, "next: battery-while-cranking", "next: battery-while-dancing")
    said = refused("lint", "--procedures", procedures)
    assert f"{file}:{line}: " in said
    assert "battery-while-dancing" in said
    assert "battery-while-cranking" in said


def test_a_broken_grammar_is_refused_with_its_line(refused: Refused, grammars: Path) -> None:
    """An open bracket in a grammar: file, line, and what would be right; `hear` and `lint` say the same."""
    file = grammars / "lamp.jsgf"
    line = change(file, "(dim | lamp dim)", "(dim | lamp dim")
    for arguments in (("lint",), ("hear", "--grammar", "lamp", SOUNDS / "feed-lit.flac")):
        said = refused(*arguments, "--grammars", grammars)
        found = int(said.split(f"{file}:", 1)[1].split(":", 1)[0])
        assert line <= found <= line + 4
        assert ")" in said


def test_a_tag_without_meaning_is_refused(refused: Refused, grammars: Path) -> None:
    """A tag that names no outcome, place, unit or control: file, line and how to write it."""
    file = grammars / "lamp.jsgf"
    line = change(file, "{outcome=dim}", "{dim}")
    said = refused("lint", "--grammars", grammars)
    assert f"{file}:{line}: " in said
    assert "{outcome=" in said


@pytest.mark.parametrize("option", ["--procedures", "--grammars"])
def test_a_folder_that_is_not_there_is_refused(refused: Refused, tmp_path: Path, option: str) -> None:
    """A folder that does not exist is named."""
    assert str(tmp_path / "nowhere") in refused("lint", option, tmp_path / "nowhere")


@pytest.fixture
def worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The lint of one folder, printed in two forms, is worked out once."""
    kept: dict[str, list[Finding]] = {}
    lint = linting.lint

    def once(
        library: Library, knowledge: Knowledge | None, grammars: GrammarSet, *progress: Any
    ) -> list[Finding]:
        folder = next(iter(library.procedures.values())).file
        if folder not in kept:
            kept[folder] = lint(library, knowledge, grammars, *progress)
        return kept[folder]

    monkeypatch.setattr(linting, "lint", once)


@pytest.mark.usefixtures("worked_out_once")
def test_lint_of_what_is_shipped_is_clean(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 0; `--json` is an empty list."""
    assert 0 == main(["lint"])
    assert "no finding" in capsys.readouterr().out
    assert 0 == main(["lint", "--json"])
    assert [] == json.loads(capsys.readouterr().out)


@pytest.mark.usefixtures("worked_out_once")
def test_a_finding_of_lint_is_no_refusal(capsys: pytest.CaptureFixture[str], procedures: Path) -> None:
    """A folder that is only doubtful exits with 1, and `--json` holds path, line, problem and remedy."""
    change(
        procedures / "battery-and-cranking.yaml",
        "look_for: On the posts, not the clamps.",
        "look_for: Touch the very posts themselves with both of the tips and not the clamps around them.",
    )
    assert 1 == main(["lint", "--procedures", str(procedures)])
    assert "battery-and-cranking.yaml" in capsys.readouterr().out
    assert 1 == main(["lint", "--json", "--procedures", str(procedures)])
    (finding,) = json.loads(capsys.readouterr().out)
    assert {"path", "line", "problem", "remedy"} == set(finding)


def test_the_schema_is_written_beside_the_procedures(
    capsys: pytest.CaptureFixture[str], refused: Refused, procedures: Path
) -> None:
    """`lint --write-schema` gives the schema that is shipped; a place that cannot be written is refused."""
    schema = procedures / "procedure.schema.json"
    shipped = schema.read_text(encoding="utf-8")
    schema.unlink()
    assert 0 == main(["lint", "--write-schema", "--procedures", str(procedures)])
    assert ("", f"Written: {schema}\n") == tuple(capsys.readouterr())
    assert json.loads(shipped) == json.loads(schema.read_text(encoding="utf-8"))
    schema.unlink()
    schema.mkdir()
    assert str(schema) in refused("lint", "--write-schema", "--procedures", procedures)
