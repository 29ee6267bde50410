"""Models that cannot be used, or only with other words: what `hear` and `run` say of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from calling import SOUNDS, Refused, line_of

from assistant import resources
from assistant.cli import main
from assistant.hearing import openfst

pytestmark = pytest.mark.usefixtures("own_home")


def test_an_absent_model_is_refused(
    refused: Refused, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The place, and who named it: the option or the environment."""
    said = refused("run", "--silent", "--model", tmp_path / "none", "--sessions", tmp_path / "sessions")
    assert str(tmp_path / "none") in said
    assert "--model" in said
    monkeypatch.setenv("BAY_ASSISTANT_MODEL", str(tmp_path / "none"))
    said = refused("hear", "--grammar", "lamp", SOUNDS / "feed-lit.flac")
    assert "BAY_ASSISTANT_MODEL" in said
    assert not (tmp_path / "sessions").exists()


def test_a_model_without_a_needed_word_is_refused_with_word_and_place(refused: Refused, model: Path) -> None:
    """A plain Vosk model whose word list lacks what an answer needs: the word, and file and line of the grammar.

    Without its list of phones the bundled model is a plain one, with the word list of its own graph.
    """
    (model / "phones.txt").unlink()
    words = openfst.read_fst(model / "graph" / "Gr.fst")
    lost = {
        words.symbols.pop(word)
        for word in ("blinking", "blink", "blinks", "flashing")
        if word in words.symbols
    }
    words.arcs = [[arc for arc in arcs if arc[0] not in lost] for arcs in words.arcs]
    (model / "graph" / "Gr.fst").write_bytes(words.written(acceptor=True, sorted_by="input"))
    line = line_of("lamp.jsgf", "sharp blink")
    said = refused("hear", "--grammar", "lamp", "--model", model, SOUNDS / "feed-lit.flac")
    assert f"'blinking' ({resources.directory('grammars') / 'lamp.jsgf'}:{line})" in said
    said = refused("run", "--silent", "--model", model, "--sessions", model.parent / "sessions")
    line = line_of(
        "condition.jsgf", "{outcome=faulty}"
    )  # the first that a session asks for and its word list lacks
    assert f"'failed' ({resources.directory('grammars') / 'condition.jsgf'}:{line})" in said
    assert not (model.parent / "sessions").exists()


def test_a_model_that_knows_another_form_works(
    capsys: pytest.CaptureFixture[str], model: Path, grammars: Path
) -> None:
    """When another form of the phrase has only known words, the model is used with that form."""
    (model / "phones.txt").unlink()
    (grammars / "lamp.jsgf").write_text(
        "#JSGF V1.0 UTF-8 en;\ngrammar lamp;\n"
        "public <lamp> = (lit | luminous) {outcome=lit} | (dark | tenebrous) {outcome=dark};\n",
        encoding="utf-8",
    )
    with (grammars / "lexicon.txt").open("a", encoding="utf-8") as lexicon:
        lexicon.write("luminous L UW M AH N AH S\ntenebrous T EH N AH B R AH S\n")
    arguments = ["hear", "--grammar", "lamp", "--grammars", str(grammars), "--model", str(model)]
    status = main([*arguments, str(SOUNDS / "lamp-dark.flac")])
    said = capsys.readouterr()
    assert (0, "") == (status, said.err)
    assert "tenebrous" not in json.loads(said.out)["words"]
