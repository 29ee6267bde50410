"""The weights that the repository holds can be read back, to train on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant import resources
from assistant.acoustic.bundled import exported_weights
from assistant.acoustic.export import Decoding, network
from assistant.errors import FileProblem
from assistant.hearing.acoustics import Acoustics

if TYPE_CHECKING:
    from pathlib import Path

BUNDLED = resources.bundled_model() / "am" / "final.mdl"


def test_the_bundled_weights_come_back_bit_by_bit() -> None:
    """Read and written again they give the same file, so nothing is lost but what 16 bits lose."""
    whole = BUNDLED.read_bytes()
    state = exported_weights(BUNDLED)
    assert network(state, Decoding()) == whole[whole.index(b"<Nnet3>") :]
    assert sum(value.size for name, value in state.items() if name.endswith(("weight", "bias"))) > 7_000_000


def test_a_network_of_these_weights_gives_the_outputs_that_are_measured_with() -> None:
    """PyTorch with the weights read here agrees with the numpy network of the hearing room."""
    torch = pytest.importorskip("torch", reason="PyTorch is only needed to train")
    from assistant.acoustic.features import Cepstra  # noqa: PLC0415
    from assistant.acoustic.net import Net, Shape  # noqa: PLC0415

    net = Net(Shape()).eval()
    state = exported_weights(BUNDLED)
    net.load_state_dict({name: torch.from_numpy(np.asarray(value)) for name, value in state.items()})
    sound = (np.random.default_rng(4).standard_normal(16000) * 3000).astype(np.int16)
    with torch.no_grad():
        ours = net(Cepstra()(torch.from_numpy(sound.astype(np.float32))[None]))[0].numpy()
    acoustics = Acoustics.read(resources.bundled_model())
    assert acoustics is not None
    theirs = acoustics.log_probabilities(sound)
    assert ours.shape == theirs.shape
    # They add dither, as Vosk does.
    assert np.mean(np.abs(np.exp(ours) - np.exp(theirs))) < 1e-3


def test_another_file_is_refused_with_what_to_name(tmp_path: Path) -> None:
    """A wrong file is told to the person who named it."""
    wrong = tmp_path / "final.mdl"
    wrong.write_bytes(b"\0B<Nnet3> nothing")
    with pytest.raises(FileProblem, match="no weights of ours"):
        exported_weights(wrong)
