"""The walk through an acoustic model's file."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from assistant import resources
from assistant.errors import ModelProblem
from assistant.hearing.network_file import components, network_at, opened

NAME = b"<ComponentName> "
FILE = Path("final.mdl")


def _file(steps: bytes, columns: int) -> bytes:
    """A network of one component, whose matrix of one row holds these bytes."""
    matrix = b"CM2 " + struct.pack("<ffii", 1.0, 65535.0, 1, columns) + steps
    vector = b"FV \x04" + struct.pack("<if", 1, 0.5)
    return (
        b"\0B<Nnet3> text\n\n<NumComponents> \x04\1\0\0\0" + NAME + b"one <FixedAffineComponent> "
        b"<LinearParams> " + matrix + b"<BiasParams> " + vector + b"</FixedAffineComponent> </Nnet3> "
    )


def test_a_matrix_may_hold_the_bytes_of_a_token() -> None:
    """Sizes lead the walk, not a search, so that weights cannot be taken for the next component."""
    found = components(_file(NAME, 8), FILE)
    assert list(found) == ["one"]
    matrix = found["one"].matrix
    assert matrix is not None
    assert matrix.exact().tolist() == [(np.frombuffer(NAME, "<u2") + 1.0).tolist()]
    assert np.allclose(matrix.floats(), matrix.exact())
    assert found["one"].vectors["<BiasParams>"].tolist() == [0.5]


@pytest.mark.parametrize("lost", [1, 12, 40, 60])
def test_a_file_that_is_cut_short_is_refused(lost: int) -> None:
    """However much is lost at the end, it is never read as a smaller network."""
    whole = _file(NAME, 8)
    with pytest.raises((ModelProblem, ValueError)):
        components(whole[:-lost], FILE)
    with pytest.raises((ModelProblem, ValueError)):
        components(whole.replace(b"\1\0\0\0\x08\0\0\0", b"\1\0\0\0\xff\0\0\0"), FILE)


def test_every_layer_of_the_bundled_network_is_found() -> None:
    """The walk comes to the last component, and finds no more of them than the file says it has."""
    path = resources.bundled_model() / "am" / "final.mdl"
    with opened(path) as data:
        found = components(data, path)
        _, listed = network_at(data)
        (count,) = struct.unpack_from("<i", data, listed + len(b"<NumComponents> ") + 1)
    assert len(found) <= count
    assert {"first.affine", "late0.linear", "prefinal_in", "output.affine"} <= set(found)
    assert all(one.matrix is not None for name, one in found.items() if name.endswith(("linear", "affine")))
