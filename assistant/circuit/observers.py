"""The people who are led through a proof: their equipment, their omissions and their errors.

A procedure is written for an honest person with a lamp, a meter and a clamp.
In a bay people are without a clamp, or with one that shows the mean; they miss a pin, probe the wrong end of a wire,
leave the maker's values blank, or find nobody to crank.
Each of these observers is such a person; `shares_of` says what he would report at a step.

Rates of errors are chosen, not measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import makers
from assistant.circuit.answers import answer_shares, mistaken
from assistant.circuit.catalogue import circuit_named
from assistant.circuit.instruments import REGISTRY
from assistant.circuit.observing import observe
from assistant.circuit.problems import CircuitProblem
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import CLAMPS, OVER_RANGE, SENSES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.observed import Observed
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement, Step

    Floats = NDArray[np.float64]

MISSED = 0.03
"""Share of probings in which the tip misses the pin; chosen."""


FIRST_DARK, SECOND_DARK = "feed-dark", "switched-dark"
"""Answers of a person whose lamp stays dark on the first or on the second of two places."""


@dataclass(frozen=True)
class Observer:
    """A person who is led through.

    Attributes:
        name: In tables and JSON.
        blank: Leaves every value of the vehicle maker blank.
        skips: Skips every test that may be skipped.
        misreading: Share of answers that are another answer of the step, whatever there is to be seen.
        misses: Share of probings that miss the pin: the lamp stays dark, the meter shows nothing or an open circuit.
        clamp: ``peak``, ``mean`` (shows the mean, and has no scope) or ``none``.
        wrong_end: Step (procedure, step) at which the coil's end of the control wire is probed for the driver's end.
        cranks: Whether somebody cranks; if not, the key is only on.
    """

    name: str
    blank: bool = False
    skips: bool = False
    misreading: float = 0.0
    misses: float = 0.0
    clamp: str = "peak"
    wrong_end: tuple[str, str] | None = None
    cranks: bool = True

    def leaves_out(self, step: Step) -> bool:
        """Whether this step is skipped."""
        if step.if_skipped is None:
            return False
        of_clamp = step.measure.instrument in CLAMPS
        return (
            self.skips
            or (of_clamp and self.clamp == "none")
            or (self.clamp == "mean" and of_clamp and REGISTRY[step.measure.instrument].scope)
        )


HONEST = Observer("honest")
BLANK = Observer("without values", blank=True)
SKIPPING = Observer("skipping", skips=True)
MEAN_CLAMP = Observer("mean clamp", clamp="mean")
NO_CLAMP = Observer("no clamp", clamp="none")
MISSES = Observer("misses contact", misses=MISSED)
NOBODY_CRANKS = Observer("nobody cranks", cranks=False)


def misreads(rate: float) -> Observer:
    """An observer who misreads at this rate."""
    return Observer("misreading", misreading=rate)


def looked_at(step: Step, key: tuple[str, str], observer: Observer) -> Measurement:
    """The measurement that this observer really makes at a step."""
    measure = step.measure
    if not observer.cranks and measure.engine is Engine.CRANKING:
        measure = replace(measure, engine=Engine.KEY_ON)
    if observer.wrong_end == key:
        measure = replace(
            measure,
            probe="switched" if measure.probe == "driver-end" else measure.probe,
            clip="switched" if measure.clip == "driver-end" else measure.clip,
        )
    return measure


def seen(circuit: str, mechanism: Mechanism, measure: Measurement, systems: Systems) -> Observed:
    """A measurement on each system; a meaningless one shows nothing.

    Raises:
        CircuitProblem: The circuit cannot have this measurement, for another reason than a standing engine.
    """
    if measure.clip is not None and measure.usual().clip == measure.usual().probe:
        known = makers.known(circuit_named(circuit), systems)
        return replace(_nothing(measure, systems), value=np.zeros(systems.count), facts=known)
    try:
        return observe(circuit, mechanism, measure, systems)
    except CircuitProblem:
        if measure.engine is Engine.KEY_ON and measure.instrument in ("spark-tester", *CLAMPS):
            return replace(_nothing(measure, systems), facts=makers.known(circuit_named(circuit), systems))
        raise


def _nothing(measure: Measurement, systems: Systems) -> Observed:
    """An instrument that shows nothing."""
    return REGISTRY[measure.instrument].nothing(systems.count)


def can_miss(measure: Measurement) -> bool:
    """Whether the measurement is made with a tip that can miss the pin."""
    model = REGISTRY.get(measure.instrument)
    return model is not None and model.probes


def shares_of(observed: Observed, step: Step, observer: Observer) -> NDArray[np.float64]:
    """Shares of the answers of this observer, shape ``(n, ways)``, in the order of `Step.ways`."""
    if observer.clamp == "mean" and observed.mean is not None:
        observed = replace(observed, value=observed.mean)
    found = answer_shares(observed, step, blank=observer.blank)
    if observer.misses and can_miss(step.measure):
        told = found
        for nothing in _missed(step, found):
            told = told + observer.misses * (nothing - found)
        found = told
    if observer.misreading and step.measure.instrument not in SENSES:
        count = len(step.choices())
        if count > 1:
            told = mistaken(found[:, :count], observer.misreading)
            found = np.concatenate([told, (1 - observer.misreading) * found[:, count:]], axis=1)
    return found


def _missed(step: Step, found: Floats) -> list[Floats]:
    """Shares of the answers of a person who misses a pin, shape ``(n, ways)``, for each pin; none if it is noticed.

    Of two places, the second one does not matter where the first is dark or dim anyway.
    """
    names = [one.outcome for one in step.answers]
    if not step.measure.compared_with:
        nothing = missed(step, found.shape[1])
        return [] if nothing is None else [np.broadcast_to(nothing, found.shape)]
    if FIRST_DARK not in names or SECOND_DARK not in names:
        return []
    first, second = np.zeros_like(found), np.zeros_like(found)
    first[:, names.index(FIRST_DARK)] = 1.0
    for name in ("feed-dark", "feed-dim"):
        if name in names:
            second[:, names.index(name)] = found[:, names.index(name)]
    second[:, names.index(SECOND_DARK)] += 1 - second.sum(axis=1)
    return [first, second]


def missed(step: Step, ways: int) -> NDArray[np.float64] | None:
    """Shares of the answers of a person whose probe missed the pin, shape ``(ways,)``; None if that is noticed."""
    answer = np.zeros(ways)
    told = REGISTRY[step.measure.instrument].missed
    if step.reading is None:
        names = [one.outcome for one in step.answers]
        if told not in names:
            return None
        answer[names.index(told)] = 1.0
    elif told == OVER_RANGE:
        answer[len(step.reading.bands) - 1] = 1.0
    elif step.reading.plausible[0] > 0:
        return None  # no believable number: the dialogue asks again
    else:
        answer[0] = 1.0
    return answer
