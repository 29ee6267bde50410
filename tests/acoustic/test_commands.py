"""``python -m assistant.acoustic``: wrong use ends in a sentence and a status, not in a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.acoustic.__main__ import main


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["bank", "--voice", "flite", "--voices", "nowhere", "--out", "made"],
            "Fill the folder with 'gather'",
        ),
        (["gather", "--styles", "nothing.tgz", "--out", "voices"], "pip install 'bay-assistant[acoustic]'"),
    ],
)
def test_what_is_missing_is_named_with_its_remedy(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The training commands say which step or package is missing."""
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--set", "nonsense=2"], "There is no value 'nonsense' to set"),
        (["--set", "batch=many"], "'many' is no value for batch"),
        ([], "Make it with 'bank'"),
    ],
)
def test_a_run_of_training_that_cannot_begin_says_why(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Time on a GPU is dear: mistakes are found before it is used."""
    pytest.importorskip("torch", reason="PyTorch is only needed to train")
    places = ["--bank", str(tmp_path), "--out", str(tmp_path / "run")]
    assert main(["train", *places, "--minutes", "1", "--device", "cpu", *arguments]) == 2
    assert said in capsys.readouterr().err


def test_a_file_that_holds_no_weights_is_not_exported(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong file leaves no half model behind."""
    pytest.importorskip("torch", reason="PyTorch is only needed to train")
    wrong = tmp_path / "weights.pt"
    wrong.write_text("none")
    assert main(["export", "--weights", str(wrong), "--out", str(tmp_path / "model")]) == 2
    assert "holds no weights" in capsys.readouterr().err
    assert not (tmp_path / "model").exists()
