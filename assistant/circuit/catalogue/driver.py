"""Faults of the driver, of its grounds and of its supply."""

from __future__ import annotations

from assistant.circuit.catalogue.circuits import BUILT_IN, COIL_CURRENT, WITH_COIL
from assistant.circuit.catalogue.mechanism import (
    BLOWN,
    COIL,
    DRIVER,
    HARD,
    HIGH,
    LEAK,
    SHORTED_PRIMARY,
    Mechanism,
    draw,
    flags,
    set_to,
)
from assistant.circuit.parameters import RESISTANCE_OPEN as OPEN

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(
        "driver-dead",
        "never-switches",
        "the driver never switches on",
        flags=flags("driver-off"),
        parts=(DRIVER,),
    ),
    Mechanism(
        "driver-dead",
        "killed-by-shorted-primary",
        "a shorted primary has killed the driver, which stays open",
        SHORTED_PRIMARY,
        flags=flags("driver-off"),
        also=("shorted-primary",),
        circuits=WITH_COIL,
        parts=(DRIVER, COIL),
    ),
    Mechanism(
        "driver-shorted",
        "transistor",
        "the driver leaks or conducts all the time",
        (draw("short-driver", LEAK),),
        parts=(DRIVER,),
    ),
    Mechanism(
        "driver-shorted",
        "fuse-blown-by-it",
        "the driver conducts all the time and the current has blown the fuse",
        (draw("short-driver", HARD), BLOWN),
        circuits=COIL_CURRENT,
        parts=(DRIVER, "ignition fuse"),
    ),
    Mechanism(
        "driver-shorted",
        "by-shorted-primary",
        "a shorted primary has killed the driver, and the fuse is blown",
        (draw("short-driver", HARD), BLOWN, *SHORTED_PRIMARY),
        also=("shorted-primary",),
        circuits=COIL_CURRENT,
        parts=(DRIVER, COIL, "ignition fuse"),
    ),
    Mechanism(
        "weak-module-ground",
        "terminal",
        "high resistance in the module's ground",
        (draw("module-ground", HIGH),),
        circuits=COIL_CURRENT,
        parts=("ground circuit of the driver",),
    ),
    Mechanism(
        "weak-module-ground",
        "under-current",
        "a contact in the module's ground that is good under a meter and bad under the coil's current",
        (draw("module-ground-under-current", HIGH),),
        circuits=WITH_COIL,
        parts=("ground circuit of the driver",),
    ),
    Mechanism(
        "weak-module-ground",
        "engine-block",
        "the module is grounded at the engine block, whose cable has 5 to 60 milliohm: the starter lifts it",
        (set_to("module-at-block", 1.0), draw("engine-ground", (5e-3, 60e-3))),
        circuits=WITH_COIL,
        parts=("engine ground connection",),
    ),
    Mechanism(
        "weak-module-ground",
        "coil-ground",
        "high resistance in the ground of the coil, which is the ground of the driver inside it",
        (draw("coil-ground", HIGH),),
        circuits=BUILT_IN,
        parts=("ground circuit of the coil",),
    ),
    Mechanism(
        "coil-driver-dead",
        "never-switches",
        "the driver inside the coil does not follow its trigger",
        flags=flags("coil-driver-off"),
        circuits=BUILT_IN,
        parts=(COIL,),
    ),
    Mechanism(
        "no-driver-supply",
        "open",
        "the module's supply is open",
        (set_to("driver-supply", OPEN),),
        parts=("supply circuit of the driver",),
    ),
    Mechanism(
        "no-driver-supply",
        "high-resistance",
        "high resistance in the module's supply",
        (draw("driver-supply", (5.0, 500.0)),),
        parts=("supply circuit of the driver",),
    ),
)
