"""A grounded spark tester at the end of a lead, at a coil's towers, or at a coil in another place."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import Circuit, Mechanism, at_one_coil
from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.lamps import NO_OBSERVER
from assistant.circuit.network import GROUND, Rows
from assistant.circuit.observed import Observed, Shown, below, columns
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.turning import turn
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

SPARK_PLACES = ("plug-lead", "both-towers", "swapped-coil", "sound-coil", "old-coil")

NEEDLE_KV = (0.0, 10.0, 20.0, 25.0, 30.0, 40.0)
NEEDLE_MM = (0.0, 8.5, 17.5, 22.0, 26.9, 38.1)
"""Breakdown of air between needle points (table of the AIEE, secondary source); a plug under compression needs less
gap for the same voltage, and other shapes of electrodes need more voltage for the same gap."""


def needle_kv(millimetres: float) -> float:
    """Peak voltage in kV that jumps a gap between needle points, in mm; between the entries of the table straight.

    Raises:
        CircuitProblem: The gap is not one of the table's, 0 to 38.1 mm.
    """
    if not 0 <= millimetres <= NEEDLE_MM[-1]:
        raise CircuitProblem(
            f"The table of needle gaps ends at {NEEDLE_MM[-1]} mm; {millimetres:g} mm is outside it."
        )
    return float(np.interp(millimetres, NEEDLE_MM, NEEDLE_KV))


TESTER_MM = 17.5
"""Gap of the spark tester, in mm between points; chosen: an ignition that cannot make 20 kV is weak."""
GAP_KV = needle_kv(TESTER_MM)
THIN_J = 35e-3
"""Energy below which a spark looks thin; chosen, not fitted."""
GAP_SPREAD = 0.1
THIN_SPREAD = 0.3
"""Widths of these borders, in natural logarithm; chosen, not fitted."""

INSIDE_V = 5e3
"""A secondary that breaks down below this does so inside coil, lead or plug, also with a spark tester on it; chosen."""

COIL_VALUES = ("primary-resistance", "primary-inductance", "breakdown-voltage", "burning-voltage")
"""Values that another coil brings with it; those of a car without a fault."""
COIL_FLAGS = ("coil-driver-off", "no-spark-path")

LEAD_FLAGS = frozenset({"no-spark-path", "lead-to-ground"})
"""Flags of a fault behind the coil: no spark at the end of the lead, and one at the coil's tower."""
COIL_CHANGES = frozenset({"primary-resistance", "primary-inductance", "shorted-turns"})


@dataclass(frozen=True, eq=False)
class Spark(Shown):
    """The spark that a grounded tester gets; arrays of shape ``(n,)``.

    Attributes:
        kilovolts: Secondary voltage that is available.
        joules: Energy of the primary when the driver switches off.
        several: Of the cars, the share that has other coils, which spark: a half for the fault of one coil, because
            the model is of cars with one coil and with several; else none.
    """

    kilovolts: Floats
    joules: Floats
    several: Floats

    def lost(self) -> tuple[Floats, Floats]:
        """Shares of observers who see no spark, and of the others those who call it thin."""
        return below(self.kilovolts, GAP_KV, GAP_SPREAD), below(self.joules, THIN_J, THIN_SPREAD)

    def honest(self, outcomes: Sequence[str]) -> Floats:
        """Shares of what is said; of one coil of several, the others spark where they may be named."""
        none, thin = self.lost()
        weak = (1 - none) * thin
        several = self.several if "some-cylinders" in outcomes else 0.0
        known = {
            "strong-spark": 1 - none - weak,
            "weak-spark": weak * (1 - several),
            "no-spark": none * (1 - several),
            "some-cylinders": (weak + none) * several,
            "one-tower": np.zeros_like(none),
        }
        return columns(known, outcomes)

    def in_numbers(self) -> str:
        """Voltage and energy of the first car."""
        energy = 1e3 * float(self.joules[0])
        return f"{float(self.kilovolts[0]):.0f} kV are available, from {energy:.0f} mJ"


def _with_sound_coil(rows: Rows, systems: Systems) -> Rows:
    """The same cars with a sound coil in the place of theirs."""
    times = rows.count // systems.count
    values = {name: np.tile(systems.values[name], times) for name in COIL_VALUES}
    if rows.circuit.kind == "load":
        values = {}
    sound = {name: np.zeros(rows.count, dtype=bool) for name in COIL_FLAGS}
    values["shorted-turns"] = np.full(rows.count, np.inf)
    return replace(rows, values={**rows.values, **values}, flags={**rows.flags, **sound})


@once
def _sparks(systems: Systems, situation: Situation, *, sound_coil: bool) -> tuple[Floats, Floats]:
    """Available secondary voltage in kV and energy of the primary in J, with a tester in the plug's place."""
    parts: list[tuple[Floats, Floats]] = []
    for portion in portions(systems, situation):
        rows = _with_sound_coil(portion, systems) if sound_coil else portion
        outside = rows.values["breakdown-voltage"] > INSIDE_V
        tested = replace(rows, flags={**rows.flags, "no-spark-path": outside})
        posts = ("battery-positive", GROUND)
        waves = turn(tested, situation.engine, situation.unplugged, posts, NO_OBSERVER)
        energy = 0.5 * rows.values["primary-inductance"] * waves.peak_a**2
        parts.append((waves.available_v / 1e3, energy))
    kilovolts, joules = (np.concatenate(part) for part in zip(*parts, strict=True))
    return kilovolts, joules


def _at(place: str, mechanism: Mechanism, kilovolts: Floats, joules: Floats) -> Spark:
    """The spark at the tester's place: none behind a bad lead, and that of another coil in that one's place."""
    several = np.full_like(kilovolts, 0.5 if at_one_coil(mechanism) else 0.0)
    if place == "sound-coil":
        return Spark(kilovolts, joules, several)
    changed = {change.name for change in mechanism.changes}
    dead = "shorted-turns" in changed or "secondary-open" in mechanism.flags
    # Shorted turns give no secondary voltage; the resistance that stands for them is only meant for the lamp.
    if dead or (place == "plug-lead" and mechanism.flags & LEAD_FLAGS):
        kilovolts = np.zeros_like(kilovolts)
    elif "lead-to-ground" in mechanism.flags:
        kilovolts = np.full_like(kilovolts, 30.0)  # at the tower, without the lead
    inside = "breakdown-voltage" in changed and not mechanism.flags & {"lead-to-ground", "wide-gap"}
    coils_own = inside or changed & COIL_CHANGES or mechanism.flags & {"secondary-open", "coil-driver-off"}
    if place == "swapped-coil" and not coils_own:
        kilovolts, joules = np.full_like(kilovolts, 30.0), np.full_like(joules, 0.1)
    return Spark(kilovolts, joules, several)


class SparkTester(InstrumentModel):
    """The tester."""

    outcomes = ("strong-spark", "weak-spark", "no-spark", "some-cylinders", "one-tower")

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """At a place with secondary voltage, while cranking, with all plugged in."""
        if circuit.kind == "load":
            raise CircuitProblem(f"The circuit '{circuit.name}' makes no spark.")
        if measure.probe not in SPARK_PLACES:
            raise CircuitProblem(
                f"A spark tester goes to {', '.join(SPARK_PLACES)}, and '{measure.probe}' is none of them."
            )
        if measure.engine is not Engine.CRANKING or measure.unplugged:
            raise CircuitProblem("A spark tester shows something only while cranking, with all plugged in.")

    def look(self, case: Probing) -> Observed:
        """The spark."""
        place = case.measure.probe
        kilovolts, joules = _sparks(case.systems, case.situation, sound_coil=place == "sound-coil")
        return Observed(_at(place, case.mechanism, kilovolts[case.rows], joules[case.rows]))

    def nothing(self, count: int) -> Observed:
        """No spark."""
        none = np.zeros(count)
        return Observed(Spark(none, none, none))


MODELS = (SparkTester("spark-tester"),)
