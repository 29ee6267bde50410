"""A model that is not whole, or whose parts do not fit, is a sentence here and never the end of the process."""

from __future__ import annotations

import shutil
import struct
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from assistant import resources
from assistant.errors import ModelProblem
from assistant.hearing.checking import read_weights, try_model
from assistant.hearing.recogniser import find_model

MODEL = resources.bundled_model()
WEIGHTS = (MODEL / "am" / "final.mdl").read_bytes()
FIRST_MATRIX = WEIGHTS.index(b"<LinearParams> CM2 ") + len(b"<LinearParams> CM2 ")
"""Lowest value and range, four bytes each, then rows and columns."""
ROWS = FIRST_MATRIX + 8
FIRST_VECTOR = WEIGHTS.index(b"<BiasParams> FV \4") + len(b"<BiasParams> FV \4")

Edit = Callable[[Path], object]


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    """A copy of the bundled model."""
    return Path(shutil.copytree(MODEL, tmp_path / "model"))


def weights(data: bytes) -> Edit:
    return lambda model: (model / "am" / "final.mdl").write_bytes(data)


def patched(at: int, value: bytes) -> Edit:
    return weights(WEIGHTS[:at] + value + WEIGHTS[at + len(value) :])


def replaced(name: str, old: bytes, new: bytes) -> Edit:
    def edit(model: Path) -> None:
        data = (model / name).read_bytes()
        assert old in data
        (model / name).write_bytes(data.replace(old, new, 1))

    return edit


def half(name: str) -> Edit:
    def edit(model: Path) -> None:
        data = (model / name).read_bytes()
        (model / name).write_bytes(data[: len(data) // 2])

    return edit


def no_phones(then: Edit) -> Edit:
    """A model of another layout: its own graph is used."""

    def edit(model: Path) -> None:
        (model / "phones.txt").unlink()
        then(model)

    return edit


def with_ivector(model: Path) -> None:
    (model / "ivector").mkdir()


def older(model: Path) -> None:
    (model / "am" / "final.mdl").rename(model / "final.mdl")
    (model / "am").rmdir()


def nested(model: Path) -> None:
    (model / "inside").mkdir()
    (model / "am").rename(model / "inside" / "am")


def other_phones(model: Path) -> None:
    (model / "phones.txt").write_text("<eps> 0\nSIL 1\nkk_B 2\n", encoding="utf-8")
    shutil.rmtree(model / "graph")
    shutil.copytree(MODEL / "graph" / "phones", model / "graph" / "phones")


def more_outputs(model: Path) -> None:
    data = bytearray(WEIGHTS)
    last = data.index(b"</Triples>") - 5
    data[last : last + 5] = b"\4" + struct.pack("<i", 40)
    (model / "am" / "final.mdl").write_bytes(bytes(data))


@pytest.mark.parametrize(
    ("edit", "part"),
    [
        (patched(ROWS, struct.pack("<i", 2**30)), "cut short or damaged"),
        (patched(ROWS, struct.pack("<i", -5)), "cut short or damaged"),
        (patched(FIRST_VECTOR + 4, struct.pack("<f", float("nan"))), "not numbers"),
        (weights(b"\0B" + b"x" * 100), "no transition model"),
        (replaced("conf/mfcc.conf", b"num-ceps=40", b"num-ceps=13"), "gives 13 values .* takes 40"),
        (
            replaced("am/final.mdl", b"name=input dim=40\n", b"name=ivector dim=9\n"),
            "folder ivector is missing",
        ),
        (with_ivector, "takes no description of the speaker"),
        (older, "older layout"),
        (nested, "one folder further in"),
        (other_phones, "not those of the lexicon"),
        (more_outputs, "do not fit the network"),
    ],
)
def test_what_can_be_seen_in_the_files_is_said(whole: Path, edit: Edit, part: str) -> None:
    """Damaged sizes, values that are no numbers, parts of different models, other layouts: each its own sentence."""
    edit(whole)
    with pytest.raises(ModelProblem, match=part):
        find_model(whole)


@pytest.mark.parametrize(
    ("edit", "part"),
    [
        # Vosk aborts the process over these two.
        (replaced("conf/model.conf", b"subsampling-factor=3", b"subsampling-factor=0"), "crashes"),
        (patched(WEIGHTS.index(b"<Epsilon> \4") + 11, b"\0\0\0\0"), "crashes"),
        (replaced("conf/model.conf", b"--beam", b"--beem"), "Invalid option --beem"),
        (replaced("am/final.mdl", b"<NoOpComponent>", b"<NoXpComponent>"), "Unknown component type"),
        (no_phones(half("graph/HCLr.fst")), "cut short"),
        (no_phones(half("graph/Gr.fst")), r"Gr\.fst is cut short"),
    ],
)
def test_what_only_shows_on_opening_is_found_in_a_process_of_its_own(
    whole: Path, edit: Edit, part: str
) -> None:
    """A model over which the recogniser aborts or fails is a sentence with its reason, and this process goes on."""
    edit(whole)
    with pytest.raises(ModelProblem, match=part):
        find_model(whole)


def test_a_model_that_does_not_open_in_time_is_given_up(whole: Path) -> None:
    """Endless opening is ended at the limit."""
    with pytest.raises(ModelProblem, match="did not open within"):
        try_model(whole, limit_s=0.001)


def test_a_whole_model_passes(whole: Path) -> None:
    """The bundled model's copy is tried, found whole, and its inputs and outputs are counted."""
    assert whole == find_model(whole)
    found = read_weights(whole / "am" / "final.mdl")
    assert ({"input": 40}, 40, True) == (found.inputs, found.outputs, found.whole)


@settings(max_examples=30)
@given(st.integers(0, len(WEIGHTS) - 1))
def test_weights_cut_anywhere_are_a_sentence(tmp_path_factory: pytest.TempPathFactory, length: int) -> None:
    """A copy that stopped at any byte raises ModelProblem that names the file."""
    file = tmp_path_factory.mktemp("cut") / "final.mdl"
    file.write_bytes(WEIGHTS[:length])
    with pytest.raises(ModelProblem, match=r"final\.mdl"):
        read_weights(file)
    file.unlink()
