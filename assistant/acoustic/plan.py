"""The plan of a training run: its length, its rates, its noise."""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.acoustic.augment import Strength


@dataclass(frozen=True)
class Plan:
    """The plan of one run.

    Each field is a value that ``train --set NAME=VALUE`` can set, so they are not grouped.

    Attributes:
        minutes: Length of the run.
        batch: Number of windows in a step.
        window_s: Length of a window, s.
        rate: Highest learning rate.
        ramp: Share of the run after which noise is at its full strength; 0 to begin with full noise.
        frame_steps: Number of steps at the beginning that teach frame by frame.
        warm_steps: Steps over which the learning rate rises.
        hold: Share of the run before the learning rate falls.
        prior: Weight of the outputs' mean probabilities, subtracted inside the loss so that the outputs spread over
            the whole of a sound instead of one frame (Huang et al., "Less peaky and more accurate CTC forced
            alignment by label priors", ICASSP 2024); 0 is plain connectionist temporal classification.
        denominator: Weight of the loss against all phone sequences of a bigram (Xiang and Ou, "CRF-based
            single-stage acoustic modeling with CTC topology", ICASSP 2019); 0 leaves it out.
        average: Decay of the running mean of the weights that is kept.
        dropout: Share of each layer's values that are dropped.
        masks: Share of windows with hidden bands and moments (`random_masks`).
        compiled: 1 lets PyTorch compile the network and the cepstra, which takes about a minute at the beginning
            and makes steps quicker; needs a C compiler beside the GPU.
        strength: Strength of noise and rooms.
    """

    minutes: float
    batch: int = 256
    window_s: float = 4.0
    rate: float = 2e-3
    ramp: float = 0.35
    frame_steps: int = 400
    warm_steps: int = 400
    hold: float = 0.3
    prior: float = 0.0
    denominator: float = 0.0
    average: float = 0.999
    dropout: float = 0.0
    masks: float = 0.0
    compiled: int = 0
    strength: Strength = field(default_factory=Strength)
    seed: int = 1
