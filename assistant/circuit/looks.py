"""Each step on some cars with some faults, for each observer; every look is simulated once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.circuit.catalogue import NONE, mechanisms as catalogue_mechanisms
from assistant.circuit.observed import joined
from assistant.circuit.observers import HONEST, Observer, can_miss, looked_at, seen, shares_of
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.situations import together
from assistant.circuit.spoiling import bad_spark
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import CLAMPS
from assistant.errors import BayAssistantError, FileProblem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.observed import Observed
    from assistant.circuit.parameters import Systems
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Step


Key = tuple[str, str]
"""Procedure and step."""

Shares = Callable[[Key], NDArray[np.float64]]
"""Shares of the answers at a step: shape (mechanisms, systems, answers), the answers in the step's order."""


def alike(step: Step, key: Key, observer: Observer) -> Observer:
    """An observer who answers this step in the same way and is honest otherwise.

    Most observers answer most steps like an honest one, so the answers are computed once for all of them.
    """
    measure = step.measure
    return replace(
        HONEST,
        blank=observer.blank and step.reading is not None,
        misreading=observer.misreading,
        misses=observer.misses if can_miss(measure) else 0.0,
        clamp="mean" if observer.clamp == "mean" and measure.instrument in CLAMPS else HONEST.clamp,
        wrong_end=observer.wrong_end if observer.wrong_end == key else None,
        cranks=observer.cranks or measure.engine is not Engine.CRANKING,
    )


class Looks:
    """Answers at each step, for some mechanisms and systems.

    Args:
        library: The procedures.
        circuit: Name of the circuit.
        mechanisms: Mechanisms of the cars' faults, from the catalogue or made by the caller.
        systems: The cars.
    """

    def __init__(
        self, library: Library, circuit: str, mechanisms: Sequence[Mechanism], systems: Systems
    ) -> None:
        self._library = library
        self._circuit = circuit
        self._mechanisms = tuple(mechanisms)
        self._systems = systems
        self._seen: dict[tuple[int, Measurement], Observed] = {}
        self._there = tuple(
            one if one.present == 1 else replace(one, present=1.0) for one in self._mechanisms
        )
        self._shares: dict[tuple[Key, Observer], NDArray[np.float64]] = {}
        self._sound = catalogue_mechanisms(circuit, NONE)[0]
        known = catalogue_mechanisms(circuit)
        others = [one for one in self._there if one not in known]
        if others:
            together(others)

    def present(self) -> NDArray[np.float64]:
        """1 for cars that count for a mechanism and 0 for others, shape ``(mechanisms, systems)``."""
        return np.stack([bad_spark(self._circuit, one, self._systems).astype(float) for one in self._there])

    def observed(self, key: Key, number: int = 0, observer: Observer = HONEST) -> Observed:
        """A step with one of the mechanisms, while that is there.

        Raises:
            FileProblem: The step cannot be simulated; the message names its file and line.
        """
        return self._look(key, number, observer)

    def _look(self, key: Key, number: int, observer: Observer) -> Observed:
        """The look at the mechanism of this number; -1 for a sound car."""
        measure = looked_at(self._library.step(*key), key, observer)
        place = (number, measure)
        if place not in self._seen:
            mechanism = self._sound if number < 0 else self._there[number]
            try:
                self._seen[place] = seen(self._circuit, mechanism, measure, self._systems)
            except BayAssistantError as problem:
                raise self._cannot(key, problem) from None
        return self._seen[place]

    def _answered(self, key: Key, observer: Observer) -> NDArray[np.float64]:
        """The shares of all mechanisms, computed together; those of an intermittent fault are mixed with a sound
        car's.
        """
        step = self._library.step(*key)
        count = len(self._mechanisms)
        try:
            looks = [self.observed(key, number, observer) for number in range(count)]
            found = shares_of(joined(looks), step, observer)
            found = found.reshape(count, self._systems.count, found.shape[1])
            if any(one.present < 1 for one in self._mechanisms):
                there = np.array([one.present for one in self._mechanisms])[:, None, None]
                sound = shares_of(self._look(key, -1, observer), step, observer)
                found = there * found + (1 - there) * sound
        except CircuitProblem as problem:
            raise self._cannot(key, problem) from None
        return found

    def _cannot(self, key: Key, problem: BayAssistantError) -> FileProblem:
        step = self._library.step(*key)
        text = str(problem).rstrip(".")
        return FileProblem(
            self._library.procedures[key[0]].file,
            step.line,
            f"step '{step.name}' cannot be simulated: {text}",
        )

    def shares(self, observer: Observer = HONEST) -> Shares:
        """The shares of the answers of a step for an observer, shape (mechanisms, systems, answers)."""

        def of(key: Key) -> NDArray[np.float64]:
            who = alike(self._library.step(*key), key, observer)
            place = (key, who)
            if place not in self._shares:
                self._shares[place] = self._answered(key, who)
            return self._shares[place]

        return of
