"""The parts of training that can be checked without a GPU; PyTorch is not part of the test set-up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from kaldi_cepstra import noise_and_cepstra

if TYPE_CHECKING:
    from pathlib import Path

torch = pytest.importorskip("torch", reason="PyTorch is only needed to train")

from assistant.acoustic.agreed import OUTPUTS  # noqa: E402
from assistant.acoustic.denominator import Denominator  # noqa: E402
from assistant.acoustic.features import Cepstra, random_masks  # noqa: E402
from assistant.acoustic.net import Net, Shape  # noqa: E402
from assistant.acoustic.phone_errors import distance  # noqa: E402
from assistant.acoustic.weights import average, load, save  # noqa: E402
from assistant.errors import FileProblem  # noqa: E402


def test_cepstra_are_those_of_kaldi() -> None:
    """Vosk computes what was trained on; outside check by kaldi-native-fbank."""
    sound, theirs = noise_and_cepstra()
    ours = Cepstra()(torch.tensor(sound)[None])[0].numpy()
    assert ours.shape == theirs.shape
    assert np.max(np.abs(ours - theirs)) < 0.001


def test_hidden_bins_reach_the_network_as_the_mean_and_no_phone_is_hidden_whole() -> None:
    """Bands and moments are hidden in the share of windows that was asked for, and moments stay short."""
    torch.manual_seed(1)
    hidden = random_masks(200, 98, 0.5, torch.device("cpu"))
    touched = hidden.flatten(1).any(1)
    assert 0.35 < touched.float().mean() < 0.65
    whole_moments = hidden.all(2).sum(1)
    assert 0 < whole_moments.max() <= 24
    sound = torch.randn(200, 98 * 160 + 240) * 1000
    plain, masked = Cepstra()(sound), Cepstra()(sound, None, hidden)
    assert torch.equal(plain[~touched], masked[~touched])
    rows = hidden[touched].all(2)
    means = masked[touched][rows]
    assert torch.allclose(
        means[:, 1:], torch.zeros(()), atol=1e-2
    )  # a flat spectrum has but its first cepstrum


def test_the_mean_of_two_runs_is_their_mean_and_other_shapes_are_refused(tmp_path: Path) -> None:
    """Averaging takes weights of one shape only."""
    torch.manual_seed(2)
    sizes = {"early": 8, "late": 8, "prefinal": (8, 8)}
    nets = [Net(Shape(width=width, **sizes)) for width in (16, 16, 24)]
    paths = [tmp_path / f"{number}.pt" for number in range(3)]
    for net, path in zip(nets, paths, strict=True):
        save(net, path)
    average(paths[:2], tmp_path / "mean.pt")
    mean, first, second = (load(path) for path in (tmp_path / "mean.pt", *paths[:2]))
    for name, value in mean.items():
        assert np.allclose(value, (first[name] + second[name]) / 2, atol=1e-3)
    average(paths[:2], tmp_path / "shared.pt", [3, 1])
    for name, value in load(tmp_path / "shared.pt").items():
        assert np.allclose(value, 0.75 * first[name] + 0.25 * second[name], atol=1e-3)
    with pytest.raises(FileProblem, match="another shape"):
        average(paths[1:], tmp_path / "no.pt")


def test_one_output_for_each_three_frames() -> None:
    """The number of outputs is the one that Kaldi makes, for any length."""
    net = Net(Shape(width=16, early=8, late=8, prefinal=(8, 8))).eval()
    for frames in (1, 2, 3, 98, 100):
        logs = net(torch.randn(2, frames, 40))
        assert logs.shape == (2, -(-frames // 3), OUTPUTS)
        assert torch.allclose(logs.exp().sum(2), torch.ones(()), atol=1e-4)


def test_all_paths_add_up_as_by_plain_sums_and_so_does_the_slope() -> None:
    """The hand-written derivative is that of the plain recursion."""
    rng = np.random.default_rng(0)
    denominator = Denominator([rng.integers(1, OUTPUTS, 20) for _ in range(50)])
    logs = torch.randn(3, 17, OUTPUTS).log_softmax(2).requires_grad_()
    total = denominator(logs)
    total.sum().backward()
    slope, logs.grad = logs.grad.clone(), None
    emitted = logs[:, :, denominator.outputs]
    alpha = emitted[:, 0] + denominator.arcs[0].log()
    for step in range(1, emitted.shape[1]):
        alpha = torch.logsumexp(alpha[:, :, None] + denominator.arcs.log()[None], 1) + emitted[:, step]
    plain = torch.logsumexp(alpha, 1)
    plain.sum().backward()
    assert torch.allclose(total, plain, atol=1e-3)
    assert torch.allclose(slope, logs.grad, atol=1e-4)


def test_distance_of_known_words() -> None:
    """The phone error counts what it should."""
    # The textbook example: kitten to sitting, 3.
    letters = [np.array([ord(letter) for letter in word]) for word in ("kitten", "sitting")]
    assert distance(*letters) == 3
    assert distance(letters[0], letters[0]) == 0
