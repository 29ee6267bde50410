"""A voice's network on PyTorch gives what onnxruntime gives (onnxruntime: a general-purpose library, MIT)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

pytest.importorskip("torch", reason="PyTorch is only needed to train")
onnx = pytest.importorskip("onnx", reason="it comes with what training needs")
onnxruntime = pytest.importorskip("onnxruntime", reason="it comes with what training needs")

from onnx import TensorProto, helper, numpy_helper  # noqa: E402

from assistant.acoustic.on_gpu import GpuVoice  # noqa: E402
from assistant.errors import FileProblem  # noqa: E402

if TYPE_CHECKING:
    from pathlib import Path

RNG = np.random.default_rng(3)


def written(folder: Path, nodes: list[Any], fixed: dict[str, Any], shape: list[Any]) -> Path:
    """A network with the input "given" and the output "made"."""
    graph = helper.make_graph(
        nodes,
        "voice",
        [helper.make_tensor_value_info("given", TensorProto.FLOAT, shape)],
        [helper.make_tensor_value_info("made", TensorProto.FLOAT, None)],
        [numpy_helper.from_array(np.asarray(values), name) for name, values in fixed.items()],
    )
    imports = [helper.make_opsetid("", 17), helper.make_opsetid("com.microsoft", 1)]
    path = folder / "voice.onnx"
    onnx.save(helper.make_model(graph, opset_imports=imports, ir_version=8), str(path))
    return path


def both(path: Path, given: Any) -> tuple[Any, Any]:
    """What PyTorch gives, and what onnxruntime gives."""
    theirs = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    return GpuVoice(path, "cpu").run(given=given)[0], theirs.run(None, {"given": given})[0]


def test_shapes_slices_and_sums_are_those_of_the_standard(tmp_path: Path) -> None:
    """Whole numbers on the CPU lead to the same places in the sound as onnxruntime's."""
    nodes = [
        helper.make_node("Shape", ["given"], ["sizes"]),
        helper.make_node("Gather", ["sizes", "two"], ["long"]),
        helper.make_node("Unsqueeze", ["long", "zero_axis"], ["end"]),
        helper.make_node("Slice", ["given", "one", "end", "last_axis", "step"], ["some"]),
        helper.make_node("Pad", ["some", "pads"], ["wider"], mode="reflect"),
        helper.make_node("CumSum", ["wider", "axis"], ["sums"]),
        helper.make_node("Resize", ["sums", "", "factors"], ["longer"], mode="linear",
                         coordinate_transformation_mode="half_pixel"),
        helper.make_node("Transpose", ["longer"], ["turned"], perm=[0, 2, 1]),
        helper.make_node("ReduceMean", ["turned"], ["mean"], axes=[1], keepdims=1),
        helper.make_node("Sub", ["turned", "mean"], ["made"]),
    ]  # fmt: skip
    fixed = {
        "two": np.int64(2), "zero_axis": np.array([0]), "one": np.array([1]), "last_axis": np.array([2]),
        "step": np.array([2]), "pads": np.array([0, 0, 2, 0, 0, 1]), "axis": np.int64(2),
        "factors": np.array([1, 1, 2.5], np.float32),
    }  # fmt: skip
    path = written(tmp_path, nodes, fixed, [1, 3, "long"])
    ours, theirs = both(path, RNG.normal(size=(1, 3, 21)).astype(np.float32))
    np.testing.assert_allclose(ours, theirs, atol=1e-4)


def test_convolutions_there_and_back_are_those_of_the_standard(tmp_path: Path) -> None:
    """Strides, dilations, groups and pads mean the same."""
    nodes = [
        helper.make_node("Conv", ["given", "weights", "bias"], ["less"], kernel_shape=[3], strides=[2],
                         dilations=[2], pads=[2, 1], group=1),
        helper.make_node("LeakyRelu", ["less"], ["bent"], alpha=0.1),
        helper.make_node("ConvTranspose", ["bent", "back"], ["made"], kernel_shape=[4], strides=[2], pads=[1, 1],
                         output_padding=[1], group=1),
    ]  # fmt: skip
    fixed = {
        "weights": RNG.normal(size=(5, 3, 3)).astype(np.float32),
        "bias": RNG.normal(size=5).astype(np.float32),
        "back": RNG.normal(size=(5, 2, 4)).astype(np.float32),
    }
    ours, theirs = both(
        written(tmp_path, nodes, fixed, [1, 3, "long"]), RNG.normal(size=(1, 3, 40)).astype(np.float32)
    )
    np.testing.assert_allclose(ours, theirs, atol=1e-4)


def test_weights_in_8_bits_become_numbers_again(tmp_path: Path) -> None:
    """A product that the file computes in whole numbers is the same within the steps of 8 bits."""
    nodes = [
        helper.make_node("DynamicQuantizeLinear", ["given"], ["whole", "scale", "zero"]),
        helper.make_node("MatMulInteger", ["whole", "weights", "zero", "middle"], ["product"]),
        helper.make_node("Cast", ["product"], ["number"], to=TensorProto.FLOAT),
        helper.make_node("Mul", ["scale", "of_weights"], ["both"]),
        helper.make_node("Mul", ["number", "both"], ["made"]),
    ]
    fixed = {
        "weights": RNG.integers(0, 255, (16, 8)).astype(np.uint8),
        "middle": np.uint8(128),
        "of_weights": np.float32(0.01),
    }
    ours, theirs = both(
        written(tmp_path, nodes, fixed, ["rows", 16]), RNG.normal(size=(4, 16)).astype(np.float32)
    )
    np.testing.assert_allclose(ours, theirs, atol=0.03 * float(np.abs(theirs).max()))


def test_an_unknown_operator_is_named_with_the_file_to_add_it_to(tmp_path: Path) -> None:
    """Another voice's file tells at once what is missing, instead of failing in the middle of a sentence."""
    path = written(tmp_path, [helper.make_node("Erf", ["given"], ["made"])], {}, [1, 2])
    with pytest.raises(FileProblem, match="Erf is not known here"):
        GpuVoice(path, "cpu")
