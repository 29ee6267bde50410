"""Faults of the control wire and of accessories on it."""

from __future__ import annotations

from assistant.circuit.catalogue.circuits import COIL_CURRENT, WITH_COIL
from assistant.circuit.catalogue.mechanism import (
    BLOWN,
    BROKEN,
    HARD,
    HIGH,
    LEAK,
    WIRE,
    Mechanism,
    draw,
)

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(
        "control-wire-open",
        "wire",
        "the control wire is open",
        (draw("control-wire", BROKEN),),
        parts=(WIRE,),
    ),
    Mechanism(
        "control-wire-to-ground",
        "wire",
        "the control wire leaks to ground",
        (draw("short-control-to-ground", LEAK),),
        parts=(WIRE,),
    ),
    Mechanism(
        "control-wire-to-ground",
        "fuse-blown-by-it",
        "the control wire touches ground and the current has blown the fuse",
        (draw("short-control-to-ground", HARD), BLOWN),
        circuits=COIL_CURRENT,
        parts=(WIRE, "ignition fuse"),
    ),
    Mechanism(
        "accessory-to-ground",
        "rev-counter-lead",
        "a rev counter or another accessory on the control wire leaks to ground",
        (draw("accessory", LEAK),),
        circuits=WITH_COIL,
        parts=("accessory on the control wire",),
    ),
    Mechanism(
        "control-wire-to-battery",
        "wire",
        "the control wire leaks to a wire with battery voltage",
        (draw("short-control-to-battery", LEAK),),
        parts=(WIRE,),
    ),
    Mechanism(
        "high-resistance-control-wire",
        "wire",
        "high resistance in the control wire",
        (draw("control-wire", HIGH),),
        parts=(WIRE,),
    ),
    Mechanism(
        "high-resistance-control-wire",
        "under-current",
        "a contact in the control wire that is good under a meter and bad under the coil's current",
        (draw("control-wire-under-current", HIGH),),
        circuits=WITH_COIL,
        parts=(WIRE,),
    ),
)
