"""Cepstra by kaldi-native-fbank (k2-fsa's port of Kaldi's features, Apache-2.0): an outside check of ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from numpy.typing import NDArray


def noise_and_cepstra() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """A second of noise at 16 kHz and its cepstra, shape (frames, 40); skips the test where the package is missing."""
    kaldi = pytest.importorskip("kaldi_native_fbank")
    noise = (np.random.default_rng(0).standard_normal(16000) * 1000).astype(np.float32)
    options = kaldi.MfccOptions()
    options.frame_opts.dither = 0
    options.mel_opts.num_bins = options.num_ceps = 40
    options.mel_opts.low_freq, options.mel_opts.high_freq = 20, 7600
    options.use_energy = False
    made = kaldi.OnlineMfcc(options)
    made.accept_waveform(16000, noise.tolist())
    made.input_finished()
    return noise, np.stack([made.get_frame(number) for number in range(made.num_frames_ready)])
