"""Weak batteries, poor cables and starters that drag."""

from __future__ import annotations

from assistant.circuit.catalogue.mechanism import (
    Mechanism,
    set_to,
    times,
)

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(
        "weak-battery",
        "discharged",
        "a discharged battery: 11.3 V under load, twice the resistance",
        (set_to("battery-voltage", 11.3), times("battery-resistance", 2.0)),
        parts=("battery",),
    ),
    Mechanism(
        "weak-battery",
        "worn-out",
        "charged, but worn out: 26 milliohm",
        (set_to("battery-voltage", 12.3), set_to("battery-resistance", 26e-3)),
        parts=("battery",),
    ),
    Mechanism(
        "weak-battery",
        "starter-drags",
        "the starter draws two and a half times its current, from a battery of 12 milliohm",
        (times("starter-current", 2.5), set_to("battery-resistance", 12e-3)),
        parts=("starter",),
    ),
    Mechanism(
        "weak-battery",
        "starter-cable-poor",
        "8 milliohm between the battery's post and the starter",
        (set_to("starter-cable", 8e-3),),
        parts=("starter cable",),
    ),
    Mechanism(
        "weak-battery",
        "engine-ground-poor",
        "3 milliohm between the engine block and the battery",
        (set_to("engine-ground", 3e-3),),
        parts=("engine ground connection",),
    ),
)
