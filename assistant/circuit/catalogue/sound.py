"""Cars without a fault, of several kinds."""

from __future__ import annotations

from assistant.circuit.catalogue.circuits import WITH_COIL
from assistant.circuit.catalogue.mechanism import (
    NONE,
    Mechanism,
    draw,
    flags,
    set_to,
)

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(NONE, "sound", "nothing is wrong"),
    Mechanism(
        NONE,
        "three-ohm-coil",
        "nothing is wrong; an older coil of 2.9 to 3.6 ohm that needs no ballast resistor",
        (
            draw("primary-resistance", (2.9, 3.6)),
            set_to("primary-inductance", 12e-3),
            set_to("dwell", 15e-3),
        ),
        circuits=("distributor", "coil-with-external-driver"),
    ),
    Mechanism(
        NONE,
        "ballast-resistor",
        "nothing is wrong; a ballast resistor in the feed, bypassed in the crank position",
        (draw("ballast", (0.5, 2.0)),),
        circuits=("distributor", "coil-with-external-driver"),
    ),
    Mechanism(
        NONE,
        "coil-terminals-swapped",
        "no part is bad; the two wires in the coil's plug are in each other's place",
        flags=flags("terminals-swapped"),
        circuits=WITH_COIL,
    ),
)
