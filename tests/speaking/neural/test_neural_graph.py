"""Reading ONNX files: what they hold, and every file that is none of ours."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from onnx_files import Step, data, model, number

from assistant.errors import GearProblem
from assistant.speaking.neural.computation import Computation
from assistant.speaking.neural.graph import Graph, GraphError, read_graph
from assistant.speaking.neural.network import HEART, HeartNetwork
from assistant.speaking.neural.protobuf import WireError

X = np.array([[1.0, -2.0, 3.0]], np.float32)
W = np.array([0.5, 4.0, -1.0], np.float32)

SMALL = model([Step("Mul", "x w", "y"), Step("Softmax", "y", "z", {"axis": -1})], {"x": X}, ["z"], {"w": W})
"""A file of two nodes."""


def test_a_small_file_is_read() -> None:
    """Nodes, constants, settings, inputs and outputs arrive as they were written."""
    graph = read_graph(SMALL)
    assert [node.kind for node in graph.nodes] == ["Mul", "Softmax"]
    assert graph.nodes[1].attributes == {"axis": -1}
    assert (graph.inputs, graph.outputs) == (("x",), ("z",))
    assert np.array_equal(W, graph.constants["w"])
    assert graph.constants["w"].flags.owndata


def test_the_voice_is_read_whole() -> None:
    """Counted with the package onnx 1.23: 1,731 nodes of 32 kinds, 296 arrays of 7,656,681 bytes."""
    graph = read_graph(HEART.read_bytes())
    assert len(graph.nodes) == 1731
    assert len({node.kind for node in graph.nodes}) == 32
    assert len(graph.constants) == 296
    assert sum(array.nbytes for array in graph.constants.values()) == 7_656_681


@pytest.mark.parametrize(
    ("kept", "array"),
    [
        (data(4, np.array([1.5, -2], "<f4").tobytes()), np.array([1.5, -2], np.float32)),
        (data(5, b"\x03\x04"), np.array([3, 4], np.int32)),
        (number(7, 3) + number(7, -4), np.array([3, -4], np.int64)),
    ],
)
def test_numbers_are_read_however_they_are_stored(kept: bytes, array: np.ndarray) -> None:
    """Packed floats, packed integers, and integers one by one: exporters write all of them."""
    code = {"float32": 1, "int32": 6, "int64": 7}[array.dtype.name]
    graph = read_graph(
        number(1, 8)
        + data(7, data(5, number(1, 2) + number(2, code) + data(8, "w") + kept))
        + data(8, number(2, 17))
    )
    assert np.array_equal(array, graph.constants["w"])
    assert array.dtype == graph.constants["w"].dtype


def _file(graph: bytes, rest: bytes = b"") -> bytes:
    return data(7, graph) + data(8, number(2, 17)) + rest


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (b"", "no graph"),
        (model([], {"x": X}, ["x"], version=18), "operator set 18, and 17 is known"),
        (SMALL + data(8, data(1, "ai.onnx.ml") + number(2, 1)), "operators of 'ai.onnx.ml'"),
        (SMALL + data(25, b""), "functions of its own"),
        (_file(data(15, b"")), "sparse"),
        (_file(data(5, number(2, 11) + data(8, "w"))), r"not known here \(code 11\)"),
        (_file(data(5, number(2, 1) + number(1, 3) + data(9, b"1234"))), "has 4 bytes, and its shape"),
        (_file(data(5, number(2, 1) + number(1, -3) + data(9, b"1234"))), "impossible shape"),
        (_file(data(5, number(2, 1) + number(1, 1 << 40) + data(9, b"1234"))), "impossible shape"),
        (_file(data(5, number(2, 3) + number(1, 1) + number(5, 300))), "does not fit its kind"),
        (_file(data(5, number(2, 1) + data(13, b""))), "stored in a way"),
        (_file(data(5, number(2, 1) + number(14, 1))), "stored in a way"),
        (model([Step("Add", "x nothing", "y")], {"x": X}, ["y"]), "needs 'nothing' before anything gives it"),
        (model([Step("Exp", "x", "x")], {"x": X}, ["x"]), "'x' is given twice"),
        (model([], {"x": X}, ["y"]), "nothing gives its result 'y'"),
        (model([Step("Exp", "x", "y", domain="com.shop")], {"x": X}, ["y"]), "operators of 'com.shop'"),
        (_file(data(1, data(4, "If") + data(5, data(1, "then") + data(6, b"")))), "setting 'then'"),
    ],
)  # fmt: skip
def test_another_kind_of_file_is_refused_with_its_reason(raw: bytes, sentence: str) -> None:
    """Other versions and everything that we do not compute are named, not passed over."""
    with pytest.raises(GraphError, match=sentence):
        read_graph(raw)


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (model([Step("Einsum", "x", "y")], {"x": X}, ["y"]), "needs the operator 'Einsum', which is not known"),
        (model([Step("joined linear", "x", "y")], {"x": X}, ["y"]), "needs the operator 'joined linear'"),
        (model([Step("Cast", "x", "y", {"to": 99})], {"x": X}, ["y"]), r"not known here \(code 99\)"),
        (model([Step("Cast", "x", "y", {"to": 1.5})], {"x": X}, ["y"]), "is no whole number"),
        (model([Step("Conv", "x w", "y", {"strides": [2]})], {"x": X}, ["y"], {"w": W}), "'strides' of"),
        (model([Step("Conv", "x w", "y", {"pads": [1, 1, 1, 1]})], {"x": X}, ["y"], {"w": W}), "pads or steps"),
        (model([Step("Reshape", "w w", "y")], {"x": X}, ["y"], {"w": W}), "a Reshape cannot be computed"),
        (model([Step("Constant", "", "y")], {"x": X}, ["y"]), "holds no array"),
    ],
)  # fmt: skip
def test_a_graph_that_cannot_run_is_refused_when_it_is_read(raw: bytes, sentence: str) -> None:
    """An unknown operator or setting is found before the first word is spoken, with its name."""
    with pytest.raises(GraphError, match=sentence):
        Computation(read_graph(raw))


HEAD = HEART.read_bytes()[:60_000]
"""The first hundred nodes of the voice."""


@given(st.integers(0, len(HEAD)))
@settings(max_examples=30)
def test_a_voice_cut_short_is_refused(length: int) -> None:
    """Wherever a copy broke off, one of the two documented errors says so."""
    with pytest.raises((WireError, GraphError)):
        read_graph(HEAD[:length])


@given(st.lists(st.tuples(st.integers(0, len(SMALL) - 1), st.integers(0, 255)), min_size=1, max_size=4))
@settings(max_examples=300)
def test_a_damaged_file_is_read_or_refused(changes: list[tuple[int, int]]) -> None:
    """Whatever bytes change: a graph that runs, or a documented error, and never any other."""
    raw = bytearray(SMALL)
    for place, value in changes:
        raw[place] = value
    try:
        Computation(read_graph(bytes(raw))).run({"x": X})
    except (WireError, GraphError):
        return


@given(st.binary(max_size=200))
def test_any_bytes_are_a_graph_or_refused(raw: bytes) -> None:
    """Random bytes, also behind the start of a real file, give a graph or a documented error."""
    for start in (b"", SMALL[:40]):
        try:
            assert isinstance(read_graph(start + raw), Graph)
        except (WireError, GraphError):
            continue


@pytest.mark.parametrize(
    "raw", [b"", b"\x00" * 64, SMALL, HEAD, b"no network at all", model([], {"x": X}, ["x"], version=9)]
)
def test_a_foreign_file_in_place_of_the_voice(tmp_path: Path, raw: bytes) -> None:
    """Whatever lies there, the person reads the file's name and the cure, and no traceback."""
    path = tmp_path / "voice.onnx"
    path.write_bytes(raw)
    for sha256 in (None, "0" * 64):
        with pytest.raises(
            GearProblem, match=r"voice\.onnx .*Install bay-assistant again, or .*--voice espeak"
        ):
            HeartNetwork(path, sha256)


def test_a_constant_attribute_is_read() -> None:
    """An array among a node's settings arrives as it is; 1.5 is exact in 32 bits."""
    graph = read_graph(model([Step("Constant", "", "y", {"value": W, "other": 1.5})], {}, ["y"]))
    assert np.array_equal(W, graph.nodes[0].attributes["value"])
    assert graph.nodes[0].attributes["other"] == 1.5
