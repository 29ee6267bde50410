"""The look of instruments on some cars, before anybody has given it a word or a band."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from assistant.circuit.problems import CircuitProblem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_Kind = TypeVar("_Kind", bound="Shown")
_Value = TypeVar("_Value")


class Shown(ABC):
    """The look of an instrument that is answered with a word; a dataclass of arrays of shape ``(n,)``."""

    @abstractmethod
    def honest(self, outcomes: Sequence[str]) -> Floats:
        """Shares of honest observers who give each of these answers, shape ``(n, len(outcomes))``.

        Rows need not sum to 1: the answer that comes nearest may not be offered.

        Raises:
            CircuitProblem: One of the answers cannot be shown.
        """

    @abstractmethod
    def in_numbers(self) -> str:
        """The look on the first car, in numbers and units, as part of a sentence."""


@dataclass(frozen=True, eq=False)
class Observed:
    """The instrument on each car.

    Attributes:
        shown: Its look, which is answered with a word; None for a meter.
        value: A meter's reading in V, A, ohm or s (the peak for the clamp), shape ``(n,)``; infinite: over range.
        mean: The reading of a clamp that cannot hold a peak, in A.
        facts: Facts that the person knows of each car beside a reading: the maker's values, leads, temperature.
    """

    shown: Shown | None = None
    value: Floats | None = None
    mean: Floats | None = None
    facts: dict[str, Floats] | None = None

    def shows(self, kind: type[_Kind]) -> _Kind:
        """Its look, of this kind.

        Raises:
            CircuitProblem: The instrument shows something else.
        """
        if not isinstance(self.shown, kind):
            raise CircuitProblem(f"This instrument shows no {kind.__name__.lower()}.")
        return self.shown


def joined(parts: Sequence[Observed]) -> Observed:
    """The same instrument on the cars of several mechanisms, one after the other."""
    whole: Observed = _joined(parts) if len(parts) > 1 else parts[0]
    return whole


def _joined(parts: Sequence[Any]) -> Any:
    """Arrays one after the other, in dataclasses and tables too; None stays None."""
    first = parts[0]
    if first is None:
        return None
    if is_dataclass(first) and not isinstance(first, type):
        names = [field.name for field in fields(first)]
        return type(first)(**{name: _joined([getattr(part, name) for part in parts]) for name in names})
    if isinstance(first, Mapping):
        return {key: _joined([part[key] for part in parts]) for key in first}
    return np.concatenate(parts)


def of_known(known: Mapping[str, _Value], name: str) -> _Value:
    """The entry of an answer.

    Raises:
        CircuitProblem: The instrument cannot show it; the message lists what it shows.
    """
    if name not in known:
        raise CircuitProblem(f"The instrument cannot show '{name}'. It shows: {', '.join(known)}.")
    return known[name]


def columns(known: Mapping[str, Floats], outcomes: Sequence[str]) -> Floats:
    """The shares of some of the known answers, shape ``(n, len(outcomes))``.

    Raises:
        CircuitProblem: One of them is not known.
    """
    return np.stack([of_known(known, name) for name in outcomes], axis=1)


def below(value: Floats, limit: float | Floats, spread: float) -> Floats:
    """Share of observers who put a value below a limit, on a logarithmic scale; exact far away from it."""
    distance = (np.log(np.maximum(value, 1e-9)) - np.log(np.maximum(limit, 1e-9))) / spread
    return np.asarray(1 / (1 + np.exp(np.clip(2.5 * distance, -50, 50))))
