"""Tries the decoder's weights on the development set, with one row for each combination.

It compares the mean price of an utterance (`assistant.acoustic.prices`) at the best limits for each
combination, because right answers alone would favour a recogniser that rejects nothing.
"""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.acoustic.export import Decoding, write_model
from assistant.acoustic.figures import tally
from assistant.acoustic.fitting import Stated, across
from assistant.acoustic.in_noise import read_manifest
from assistant.acoustic.prices import PRICES, Price, limits_of
from assistant.acoustic.trials import hear_all
from assistant.core.values.answer_kind import AnswerKind
from assistant.hearing.graph import Costs
from assistant.hearing.recogniser import Recogniser

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Combination:
    """One combination with its results: mean price, best words right, and the shares of `tally`, in per cent."""

    scale: float
    blank_prior: float
    filler: float
    figures: Mapping[str, float]

    def text(self) -> str:
        """The row as a line of text."""
        settings = f"scale {self.scale:.2f}  blank {self.blank_prior:.1f}  filler {self.filler:.2f}"
        return settings + "  " + "  ".join(f"{name} {value:.3g}" for name, value in self.figures.items())


def sweep(
    weights: Mapping[str, NDArray[np.float32]],
    manifest: Path,
    *,
    scales: Sequence[float],
    blank_priors: Sequence[float],
    fillers: Sequence[float],
    every: int = 4,
) -> Iterator[Combination]:
    """Try every combination.

    Args:
        weights: Weights from `assistant.acoustic.weights.load`.
        manifest: Manifest of the development set.
        scales: Weights of the network's log-probabilities.
        blank_priors: As in `Decoding`.
        fillers: Costs as in `Costs.filler_phone`.
        every: Use only one utterance in this many, for speed.
    """
    spoken = read_manifest(manifest)[::every]
    for scale, blank_prior in itertools.product(scales, blank_priors):
        with tempfile.TemporaryDirectory(prefix="bay-assistant-") as name:
            folder = Path(name)
            write_model(folder, weights, Decoding(acoustic_scale=scale, blank_prior=blank_prior))
            for filler in fillers:
                recogniser = Recogniser(folder, costs=Costs(filler_phone=filler))
                heard = hear_all(spoken, recogniser)
                judged, _ = across(heard)
                price = PRICES[AnswerKind.RESULT]
                reject, ask = limits_of(price)
                answers = [one for one in heard if not one.other]
                best = sum(one.right for one in answers) / max(1, len(answers))
                figures = {"price": mean_price(judged, reject, ask, price), "best": 100 * best}
                yield Combination(scale, blank_prior, filler, figures | tally(judged, reject, ask))


def mean_price(judged: Sequence[Stated], reject: float, ask: float, price: Price) -> float:
    """Mean price of an utterance at these limits, in repeated questions; other speech costs only if it is taken."""
    total = 0.0
    affirm = price.affirm or 0.0
    for one in judged:
        right = one.heard.right
        if one.probability < reject:
            total += 0.0 if one.heard.other else price.repeat
        elif one.probability < ask:
            total += affirm if right else affirm + price.denied
        else:
            total += 0.0 if right else price.wrong
    return total / max(1, len(judged))
