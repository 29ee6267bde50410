"""The cars that count for a fault: those whose spark it makes weak or missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import ALL, NONE, Mechanism, circuit_named
from assistant.circuit.instruments.ramp import NO_CURRENT_A, Ramp
from assistant.circuit.instruments.spark_tester import GAP_KV, THIN_J, Spark
from assistant.circuit.network import GROUND
from assistant.circuit.observing import unchecked
from assistant.core.library.procedure import Engine, Measurement

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.parameters import Systems

    Booleans = NDArray[np.bool_]

SPARK = Measurement("spark-tester", "engine-block", "plug-lead", Engine.CRANKING)
POSTS = Measurement("voltmeter", GROUND, "battery-positive", Engine.CRANKING)
CLAMP = Measurement("clamp-scope", None, "feed-wire", Engine.CRANKING)

FLOOR_V = 9.6
"""Posts of a battery below this while cranking are too low (from memory after BCI)."""
WORKING_SHARE = 0.6
"""A load that gets less than this share of a sound car's current does not work; chosen."""
MOSTLY = 0.75
"""A spark is weak or missing if this share of observers would call it so; chosen."""


def bad_spark(circuit: str, mechanism: Mechanism, systems: Systems) -> Booleans:
    """The cars in which this fault matters, shape ``(n,)``: their spark is weak or missing, by the spark model.

    Among the cars without a fault, those that spark well count.
    A switched load makes no spark: there the current is too small, or never stops.
    Posts below the cranking floor matter whatever the spark.

    Raises:
        CircuitProblem: The circuit is unknown or cannot have this mechanism.
    """
    known = circuit_named(circuit)
    if known.only or (mechanism.fault == NONE and known.kind == "load"):
        return np.ones(systems.count, dtype=bool)  # a weak battery or a poor cable matters whatever the spark
    if known.kind == "load":
        ramp, sound = (unchecked(known, one, CLAMP, systems).shows(Ramp) for one in (mechanism, ALL[0]))
        return np.asarray((ramp.peak < WORKING_SHARE * sound.peak) | (ramp.least > NO_CURRENT_A))
    posts = unchecked(known, mechanism, POSTS, systems).value
    assert posts is not None  # noqa: S101 - a voltmeter shows a number
    spark = unchecked(known, mechanism, SPARK, systems).shows(Spark)
    if mechanism.fault == NONE:
        # A car without a fault sparks well with a margin; a car of another kind that does not is not such a car.
        return np.asarray(
            (spark.kilovolts > 1.15 * GAP_KV) & (spark.joules > 1.3 * THIN_J) & (posts >= FLOOR_V)
        )
    none, thin = spark.lost()
    bad = (1 - (1 - none) * (1 - thin) > MOSTLY) | (posts < FLOOR_V)
    if "wide-gap" in mechanism.flags:
        gap = systems.values["breakdown-voltage"] * next(
            change.value for change in mechanism.changes if change.name == "breakdown-voltage"
        )
        bad = bad | (spark.kilovolts * 1e3 < gap)
    return np.asarray(bad)
