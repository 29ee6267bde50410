"""Faults of the primary winding."""

from __future__ import annotations

from assistant.circuit.catalogue.mechanism import (
    BROKEN,
    COIL,
    SHORTED_PRIMARY,
    Change,
    Mechanism,
    draw,
    set_to,
)

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(
        "open-primary",
        "winding-open",
        "the primary winding is open",
        (draw("primary-resistance", BROKEN),),
        parts=(COIL,),
    ),
    Mechanism(
        "shorted-primary",
        "full",
        "the winding is bridged: 0.1 mH, no secondary voltage",
        SHORTED_PRIMARY,
        parts=(COIL,),
    ),
    Mechanism(
        "shorted-primary",
        "part",
        "turns are shorted: a share of the resistance, its square of the inductance, no secondary voltage",
        (
            Change("primary-resistance", "draw-times", 0.25, 0.8),
            Change("primary-inductance", "draw-times", 0.25, 0.8, 2),
            set_to("shorted-turns", 40.0),
        ),
        parts=(COIL,),
    ),
)
