"""The outcome matrix of the trade by hand, so that tests of the reasoning need no circuit model.

One hypothesis for each fault; what a lamp shows is certain but for a small rest.
The figures stand in no code: they were worked out once for a lamp of 0.27 A on a waste-spark coil.
"""

from __future__ import annotations

from types import MappingProxyType

from assistant.core.library.library import Library
from assistant.core.library.procedure import Engine, Step
from assistant.core.reasoning.knowledge import Hypotheses, Knowledge, key_of
from assistant.core.reasoning.odds import Odds
from assistant.loading.folder import load_odds
from assistant.resources import directory

CIRCUIT = "coil-with-external-driver"
REST = 0.01
"""Share that is spread over the other answers."""

# Feed, switched side and driver end while cranking; lamp to battery positive at the switched side with key on, and
# on the unplugged wire; the unplugged control terminal; peak current, A; primary, ohm.
MATRIX: dict[str, tuple[str, str, str, str, str, str, float, float]] = {
    "coil-secondary": ("lit", "blinking", "blinking", "dark", "dark", "dark", 8.0, 0.5),
    "open-feed": ("dark", "dark", "dark", "dark", "dark", "dark", 0.0, 0.5),
    "high-resistance-feed": ("lit", "blinking", "blinking", "dark", "dark", "dark", 3.7, 0.5),
    "open-primary": ("lit", "dark", "dark", "dark", "dark", "dark", 0.0, 1e7),
    "shorted-primary": ("lit", "steady", "steady", "dark", "dark", "dark", 9.0, 0.06),
    "control-wire-open": ("lit", "steady", "dark", "dark", "dark", "dark", 0.0, 0.5),
    "control-wire-to-ground": ("dim", "dark", "dark", "lit", "lit", "dark", 17.0, 0.5),
    "control-wire-to-battery": ("lit", "steady", "steady", "dark", "dark", "lit", 0.2, 0.5),
    "driver-dead": ("lit", "steady", "steady", "dark", "dark", "dark", 0.0, 0.5),
    "no-inputs": ("lit", "steady", "steady", "dark", "dark", "dark", 0.0, 0.5),
    "driver-shorted": ("dim", "dark", "dark", "lit", "dark", "dark", 15.5, 0.5),
    "weak-module-ground": ("lit", "blinking", "blinking", "dark", "dark", "dark", 3.7, 0.5),
}


def _shown(fault: str, step: Step) -> str | None:
    """The answer of this step under this fault; None for a test that the matrix does not have."""
    feed, switched, driver_end, reversed_lamp, wire, terminal, ampere, ohm = MATRIX[fault]
    measure = step.measure
    if step.reading and step.reading.specified():
        return None  # the matrix has no maker's values
    if step.reading and measure.instrument in ("current-clamp", "ohmmeter"):
        value = ampere if measure.instrument == "current-clamp" else ohm
        bands = step.reading.bands
        return next(band.outcome for band in bands if band.high is None or value < band.high)
    if measure.instrument == "signal-meter":
        return "missing" if fault == "no-inputs" and measure.probe == "crank-signal" else "present"
    if measure.instrument == "heavy-lamp":
        return {"open-feed": "dark", "high-resistance-feed": "dim"}.get(fault, "lit")
    if measure.instrument != "test-lamp":
        return None
    if measure.compared_with:
        return "sharper" if switched == "blinking" else "same"
    if measure.clip == "battery-positive":
        if measure.probe == "switched":
            return reversed_lamp
        return wire if "module" in measure.unplugged else None
    if measure.probe == "switched" and "coil" in measure.unplugged:
        return terminal
    if measure.engine is Engine.CRANKING:
        return {"feed": feed, "switched": switched, "driver-end": driver_end}.get(measure.probe)
    return None


def _row(step: Step) -> dict[str, tuple[float, ...]] | None:
    names = [answer.outcome for answer in step.choices()]
    columns: dict[str, list[float]] = {name: [] for name in names}
    for fault in MATRIX:
        shown = _shown(fault, step)
        if shown not in names:
            shown = {"lit": "steady", "steady": "lit"}.get(shown or "", shown)
        if shown not in names:
            return None
        for name in names:
            columns[name].append(1 - REST if name == shown else REST / (len(names) - 1))
    return {name: tuple(column) for name, column in columns.items()}


def knowing(library: Library, version: str = "by-hand") -> Knowledge:
    """The matrix as likelihoods of the tests of this library."""
    tests = {}
    for procedure in library.procedures.values():
        for step in procedure.steps.values() if procedure.circuit == CIRCUIT else ():
            row = _row(step)
            if row:
                tests[key_of(step)] = row
    odds: Odds = load_odds(directory("procedures"), library.terms)
    circuits = MappingProxyType({CIRCUIT: Hypotheses(tuple(MATRIX), tests)})
    return Knowledge(version, circuits, odds)
