"""Places for an instrument besides the points of the network: signals, supplies, cables; and parts to unplug.

The points of the network itself are `network.nodes_of`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.circuit.network import GROUND, nodes_of
from assistant.circuit.problems import CircuitProblem

if TYPE_CHECKING:
    from assistant.circuit.catalogue import Circuit
    from assistant.core.library.procedure import Measurement

SIGNALS = {
    "crank-signal": ("crank-signal-missing",),
    "cam-signal": ("cam-signal-missing",),
    "command": ("command-missing", "crank-signal-missing", "cam-signal-missing", "security-lamp"),
}
"""Signals at the driver, each with the flags that take it away: no computer sends a command without its inputs."""
SUPPLIES = {"sensor-supply": "sensor-supply-missing"}
"""Supplies of sensors, which only a meter measures: the flag that takes each away."""
CABLES = ("feed-wire", "starter-cable", "heavy-lamp-lead")
PARTS = ("coil", "module", "fuse", "accessory")


def check_points(
    circuit: Circuit, measure: Measurement, *, signals: bool = False, supplies: bool = False
) -> None:
    """Refuse two leads that are not on two points of the circuit.

    Args:
        circuit: The circuit.
        measure: The measurement.
        signals: The instrument may also go to a sensor's signal.
        supplies: The instrument may also go to a sensor's supply.

    Raises:
        CircuitProblem: What is wrong, and what would be right.
    """
    nodes = (GROUND, *nodes_of(circuit))
    known = f"The circuit '{circuit.name}' has no point '%s'. Known are: {', '.join(nodes)}."
    probed = [measure.probe] if measure.compared_with is None else [measure.probe, measure.compared_with]
    for place in probed:
        if place in SIGNALS:
            if not signals:
                raise CircuitProblem(
                    f"'{place}' is a sensor's signal, and a {measure.instrument} would load it. "
                    "Use the signal-meter."
                )
            if "module" in measure.unplugged:
                raise CircuitProblem(f"'{place}' is probed at the module, and the module is unplugged.")
        elif place in SUPPLIES:
            if not supplies:
                raise CircuitProblem(
                    f"'{place}' is a sensor's supply, and a {measure.instrument} would load it. "
                    "Use the voltmeter."
                )
        elif place in CABLES:
            raise CircuitProblem(f"'{place}' is a cable; only the current-clamp measures there.")
        elif place not in nodes:
            raise CircuitProblem(known % place)
    if measure.clip is None:
        raise CircuitProblem(f"The {measure.instrument} has two leads, and the measurement names no clip.")
    if measure.clip not in nodes:
        raise CircuitProblem(known % measure.clip)
    if measure.clip in probed:
        raise CircuitProblem(f"Clip and probe are both on '{measure.clip}', where nothing can be measured.")
