"""The parts of training that can be checked without a GPU; PyTorch is not part of the test set-up."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is only needed to train")

from assistant.acoustic.features import Cepstra  # noqa: E402
from assistant.acoustic.net import OUTPUTS, Net, Shape  # noqa: E402
from assistant.acoustic.train import Denominator, distance  # noqa: E402


def test_cepstra_are_those_of_kaldi() -> None:
    """Vosk computes what was trained on; outside check by kaldi-native-fbank."""
    kaldi = pytest.importorskip("kaldi_native_fbank")  # k2-fsa's port of Kaldi's features, Apache-2.0
    sound = (np.random.default_rng(0).standard_normal(16000) * 1000).astype(np.float32)
    options = kaldi.MfccOptions()
    options.frame_opts.dither = 0
    options.mel_opts.num_bins = options.num_ceps = 40
    options.mel_opts.low_freq, options.mel_opts.high_freq = 20, 7600
    options.use_energy = False
    made = kaldi.OnlineMfcc(options)
    made.accept_waveform(16000, sound.tolist())
    made.input_finished()
    theirs = np.stack([made.get_frame(number) for number in range(made.num_frames_ready)])
    ours = Cepstra()(torch.tensor(sound)[None])[0].numpy()
    assert ours.shape == theirs.shape
    assert np.max(np.abs(ours - theirs)) < 0.001


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
