"""Faults of the coil's feed: fuse, relay, ignition switch and wire."""

from __future__ import annotations

from assistant.circuit.catalogue.circuits import WITH_COIL
from assistant.circuit.catalogue.mechanism import (
    BLOWN,
    BROKEN,
    FEED_WIRE,
    HARD,
    HIGH,
    RELAY,
    Mechanism,
    draw,
    flags,
    set_to,
)
from assistant.circuit.parameters import RESISTANCE_OPEN as OPEN

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism("open-feed", "fuse-blown", "the ignition fuse is open", (BLOWN,), parts=("ignition fuse",)),
    Mechanism(
        "open-feed",
        "feed-wire-open",
        "the wire between fuse and coil is open",
        (draw("feed-wire", BROKEN),),
        parts=(FEED_WIRE,),
    ),
    Mechanism(
        "open-feed",
        "relay-does-not-close",
        "the ignition relay passes nothing",
        (draw("relay", BROKEN),),
        parts=(RELAY,),
    ),
    Mechanism(
        "open-feed",
        "relay-coil-not-fed",
        "no supply at the winding of the ignition relay, so that it stays open",
        (set_to("relay", OPEN), draw("relay-switch", (2e3, OPEN))),
        parts=("supply of the relay's winding",),
    ),
    Mechanism(
        "open-feed",
        "relay-not-controlled",
        "nothing pulls the control of the ignition relay, so that it stays open",
        (set_to("relay", OPEN), draw("relay-control", (2e3, OPEN))),
        parts=("control of the ignition relay",),
    ),
    Mechanism(
        "open-feed",
        "relay-supply-open",
        "no supply at the ignition relay",
        (draw("relay-link", BROKEN),),
        parts=("supply wire of the ignition relay",),
    ),
    Mechanism(
        "open-feed",
        "feed-wire-shorted",
        "the feed wire touches ground and has blown the fuse",
        (BLOWN, draw("short-feed-wire-to-ground", HARD)),
        parts=(FEED_WIRE, "ignition fuse"),
    ),
    Mechanism(
        "open-feed",
        "drops-out-while-cranking",
        "the relay opens in the crank position, though it is supplied and controlled",
        flags=flags("relay-drops-out"),
        parts=(RELAY,),
    ),
    Mechanism(
        "open-feed",
        "ignition-switch-drops-out",
        "the ignition switch opens in the crank position, and the relay with it",
        flags=flags("relay-drops-out", "relay-switch-drops-out"),
        parts=("ignition switch",),
    ),
    Mechanism(
        "open-feed",
        "control-drops-out",
        "the control of the relay lets go in the crank position",
        flags=flags("relay-drops-out", "relay-control-drops-out"),
        parts=("control of the ignition relay",),
    ),
    Mechanism(
        "high-resistance-feed",
        "wire",
        "high resistance between fuse and coil",
        (draw("feed-wire", HIGH),),
        parts=(FEED_WIRE,),
    ),
    Mechanism(
        "high-resistance-feed",
        "relay-contact",
        "high resistance in the relay's contact",
        (draw("relay", HIGH),),
        parts=(RELAY,),
    ),
    Mechanism(
        "high-resistance-feed",
        "before-the-relay",
        "high resistance between battery and relay",
        (draw("relay-link", HIGH),),
        parts=("supply wire of the ignition relay",),
    ),
    Mechanism(
        "high-resistance-feed",
        "wire-under-current",
        "a contact between fuse and coil that is good under a meter and bad under the coil's current",
        (draw("feed-wire-under-current", HIGH),),
        circuits=WITH_COIL,
        parts=(FEED_WIRE,),
    ),
)
