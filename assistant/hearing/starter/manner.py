"""What a cranking speed means: slow, normal or too fast.

Normal cranking is 150 to 250 revolutions a minute: the typical range of `assistant.circuit.parameters` (from memory of
the trade; no handbook at hand gives one number for all engines). A sound engine that cranks a little faster than that
is no fault, so only a speed well above it, or an engine without compressions, counts as too fast.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.hearing.starter.values import Evenness, Manner

SLOW_UNDER_RPM = 150.0
TOO_FAST_OVER_RPM = 280.0
"""Above the typical range by more than a tenth; chosen."""


def _below(limit: float, value: float, sigma: float) -> float:
    return 0.5 * (1 + math.erf((limit - value) / (max(sigma, 1.0) * math.sqrt(2))))


def manner_of(
    rpm: float | None, sigma_rpm: float | None, evenness: Evenness, sure: float
) -> tuple[Manner | None, float]:
    """The likeliest answer to "how does it crank?", and its probability.

    Args:
        rpm: Speed; None if it is not known.
        sigma_rpm: Its standard error.
        evenness: Of the compressions.
        sure: Probability that the speed is right; without a rhythm, that there is none.
    """
    if evenness == "no-rhythm":
        return "too-fast", sure
    if rpm is None or sigma_rpm is None:
        return None, 0.0
    slow = _below(SLOW_UNDER_RPM, rpm, sigma_rpm)
    fast = 1 - _below(TOO_FAST_OVER_RPM, rpm, sigma_rpm)
    shares: dict[Manner, float] = {"slow": slow, "normal": 1 - slow - fast, "too-fast": fast}
    best = max(shares, key=lambda one: shares[one])
    return best, max(0.0, shares[best]) * sure
