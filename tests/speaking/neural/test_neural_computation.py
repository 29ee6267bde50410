"""Running a graph: what is fixed is computed once, rows of nodes are joined, and values are let go."""

from __future__ import annotations

import gc
import weakref
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from onnx_files import Step, model

from assistant.speaking.neural.arithmetic import LateRows
from assistant.speaking.neural.computation import Computation, folded
from assistant.speaking.neural.graph import GraphError, read_graph
from assistant.speaking.neural.network import HEART

if TYPE_CHECKING:
    from numpy.typing import NDArray

random = np.random.default_rng(8)

X = random.standard_normal((1, 9, 12)).astype(np.float32)

WEIGHTS: dict[str, NDArray[Any]] = {
    "w": random.integers(-127, 128, (12, 20)).astype(np.int8),
    "w0": np.array(0, np.int8),
    "ws": np.array(0.01, np.float32),
    "b": random.standard_normal(20).astype(np.float32),
    "root": np.array(np.sqrt(2), np.float32),
    "one": np.array(1, np.float32),
    "half": np.array(0.5, np.float32),
    "sizes": np.array([5, 15], np.int64),
}

PRODUCT = [
    Step("DynamicQuantizeLinear", "x", "q s z"),
    Step("Mul", "s ws", "scale"),
    Step("MatMulInteger", "q w z w0", "p"),
    Step("Cast", "p", "pf", {"to": 1}),
    Step("Mul", "pf scale", "ps"),
    Step("Add", "b ps", "y"),
]

GELU = [
    Step("Div", "y root", "d"),
    Step("Erf", "d", "e"),
    Step("Add", "e one", "f"),
    Step("Mul", "y f", "g"),
    Step("Mul", "g half", "h"),
]

SPLIT = [
    Step("Transpose", "y", "t", {"perm": [0, 2, 1]}),
    Step("Split", "t sizes", "left right", {"axis": 1}),
]


def both_ways(steps: list[Step], *outputs: str) -> tuple[Computation, dict[str, Any], dict[str, Any]]:
    """The joined computation, its results, and those of the nodes one by one."""
    graph = read_graph(model(steps, {"x": X}, outputs, WEIGHTS))
    joined = Computation(graph)
    return joined, joined.run({"x": X}), Computation(graph, fuse=False).run({"x": X})


def test_a_quantised_product_is_joined() -> None:
    """Six nodes become one with the same result to the last bit."""
    joined, quick, plain = both_ways(PRODUCT, "y")
    assert joined.kinds() == {"joined linear": 1}
    assert np.array_equal(plain["y"], quick["y"])


def test_a_product_and_a_gelu_are_joined() -> None:
    """Eleven nodes become one; the two ways to write a GELU differ by rounding."""
    joined, quick, plain = both_ways([*PRODUCT, *GELU], "h")
    assert joined.kinds() == {"joined linear": 1}
    assert np.allclose(plain["h"], quick["h"], atol=2e-6)


def test_the_last_product_is_put_off() -> None:
    """A product that is only split into results is computed by those who take them, to the same values."""
    joined, quick, plain = both_ways([*PRODUCT, *SPLIT], "left", "right")
    assert joined.kinds() == {"joined late rows": 1}
    for name in ("left", "right"):
        late = quick[name]
        assert isinstance(late, LateRows)
        assert plain[name].shape == late.shape
        assert np.allclose(plain[name][0].T[2:7], late.rows(slice(2, 7)), atol=1e-6)


@pytest.mark.parametrize("seen", ["q", "s", "z", "scale", "p", "pf", "ps"])
def test_a_product_is_not_joined_if_something_else_needs_what_lies_between(seen: str) -> None:
    """A value that is a result, or that another node takes, is still there, and everything is the same."""
    joined, quick, plain = both_ways(PRODUCT, "y", seen)
    assert joined.kinds()["joined linear"] == 0
    for name in ("y", seen):
        assert np.array_equal(plain[name], quick[name])
    joined, quick, plain = both_ways([*PRODUCT, Step("Shape", seen, "shape")], "y", "shape")
    assert joined.kinds()["joined linear"] == 0
    assert np.array_equal(plain["shape"], quick["shape"])


@pytest.mark.parametrize("seen", ["d", "e", "f", "g"])
def test_a_gelu_is_not_joined_if_something_else_needs_what_lies_between(seen: str) -> None:
    """The same for each value inside a GELU."""
    joined, quick, plain = both_ways([*PRODUCT, *GELU], "h", seen)
    assert joined.kinds()["Erf"] == 1
    assert np.array_equal(plain[seen], quick[seen])


@pytest.mark.parametrize(("name", "value"), [("root", 1.5), ("one", 2.0), ("half", 0.25)])
def test_what_only_looks_like_a_gelu_is_not_joined(name: str, value: float) -> None:
    """Another divisor, addend or factor is another function."""
    constants = {**WEIGHTS, name: np.array(value, np.float32)}
    graph = read_graph(model([*PRODUCT, *GELU], {"x": X}, ["h"], constants))
    joined = Computation(graph)
    assert joined.kinds()["Erf"] == 1
    plain = Computation(graph, fuse=False).run({"x": X})["h"]
    assert np.allclose(plain, joined.run({"x": X})["h"], atol=1e-6)


def test_weights_with_a_zero_point_are_not_joined() -> None:
    """The quick product takes weights that are centred on 0; others go through the exact one."""
    graph = read_graph(model(PRODUCT, {"x": X}, ["y"], {**WEIGHTS, "w0": np.array(3, np.int8)}))
    assert Computation(graph).kinds()["MatMulInteger"] == 1


def test_an_input_is_never_overwritten() -> None:
    """Working in a value's own memory is only for values that nobody else has."""
    before = X.copy()
    both_ways([*PRODUCT, *GELU], "h")
    both_ways([*PRODUCT, *SPLIT], "left", "right")
    assert np.array_equal(before, X)


def test_what_is_fixed_is_computed_once() -> None:
    """A chain of constants becomes one constant; what depends on an input stays."""
    steps = [Step("Mul", "half half", "quarter"), Step("Add", "quarter one", "c"), Step("Mul", "x c", "y")]
    graph = folded(read_graph(model(steps, {"x": X}, ["y"], WEIGHTS)))
    assert [node.kind for node in graph.nodes] == ["Mul"]
    assert float(graph.constants["c"]) == 1.25


def test_a_result_may_be_fixed() -> None:
    """A graph whose result depends on nothing still gives it."""
    graph = read_graph(model([Step("Add", "one half", "y")], {}, ["y"], WEIGHTS))
    assert float(np.asarray(Computation(graph).run({})["y"])) == 1.5


def test_values_are_let_go() -> None:
    """While the last node runs, only its own input is alive: memory does not grow with the number of nodes."""
    steps = [Step("Exp", f"v{i}" if i else "x", f"v{i + 1}") for i in range(6)]
    computation = Computation(read_graph(model(steps, {"x": X}, ["v6"])))
    alive: list[int] = []
    seen: list[weakref.ref[Any]] = []

    def watched(compute: Any) -> Any:
        def call(x: NDArray[Any]) -> NDArray[Any]:
            alive.append(sum(one() is not None for one in seen))
            y: NDArray[Any] = compute(x) * 0
            seen.append(weakref.ref(y))
            return y

        return call

    computation._steps = [(node, watched(compute), gone) for node, compute, gone in computation._steps]
    gc.disable()
    try:
        computation.run({"x": X})
    finally:
        gc.enable()
    assert alive == [0, 1, 1, 1, 1, 1]


def test_a_missing_input_is_named() -> None:
    """The sentence says what was forgotten."""
    with pytest.raises(GraphError, match=r"nothing is given for \['x'\]"):
        Computation(read_graph(model(PRODUCT, {"x": X}, ["y"], WEIGHTS))).run({})


def test_values_that_do_not_fit_are_refused() -> None:
    """A node that cannot work with what it is given is named."""
    computation = Computation(read_graph(model(PRODUCT, {"x": X}, ["y"], WEIGHTS)))
    with pytest.raises(GraphError, match="a joined linear cannot be computed"):
        computation.run({"x": X[:, :, :5]})


def test_the_voice_is_joined_as_far_as_it_can_be() -> None:
    """All 77 products of the voice are joined, 28 with their GELU; one GELU follows a convolution."""
    computation = Computation(read_graph(HEART.read_bytes()))
    kinds = computation.kinds()
    assert sum(bool(node.attributes.get("gelu")) for node, _, _ in computation._steps) == 28
    assert (kinds["joined linear"], kinds["joined late rows"], kinds["joined GELU"]) == (76, 1, 1)
    assert not any(
        kinds[kind] for kind in ("MatMulInteger", "DynamicQuantizeLinear", "Erf", "Split", "Constant")
    )
