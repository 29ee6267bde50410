"""Faults of the secondary: in the coil, in a lead, at a plug."""

from __future__ import annotations

from assistant.circuit.catalogue.mechanism import (
    COIL,
    LEAD,
    PLUG,
    Mechanism,
    flags,
    set_to,
    times,
)

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(
        "coil-secondary",
        "winding-open",
        "the secondary winding is open inside the coil: no spark comes out",
        flags=flags("secondary-open"),
        parts=(COIL,),
    ),
    Mechanism(
        "coil-secondary",
        "breaks-down-inside",
        "the secondary breaks down at low voltage inside the coil",
        (set_to("breakdown-voltage", 4e3), set_to("burning-voltage", 700.0)),
        parts=(COIL,),
    ),
    Mechanism(
        "lead-or-plug",
        "plug-lead-open",
        "no spark path behind the coil: the secondary rises until the driver clamps",
        flags=flags("no-spark-path"),
        parts=(LEAD,),
    ),
    Mechanism(
        "lead-or-plug",
        "lead-breaks-down",
        "lead or boot breaks down to ground at low voltage",
        (set_to("breakdown-voltage", 4.5e3), set_to("burning-voltage", 700.0)),
        flags=flags("lead-to-ground"),
        parts=(LEAD,),
    ),
    Mechanism(
        "lead-or-plug",
        "wide-gap",
        "worn plugs: breakdown beyond the coil's voltage",
        (times("breakdown-voltage", 2.5), times("burning-voltage", 1.3)),
        flags=flags("wide-gap"),
        parts=(PLUG,),
    ),
)
