"""The place of a fault in the drawing of a circuit."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.picture.svg import Point

COILS = ("coil-with-external-driver", "coil-per-plug", "distributor")
BUILT_IN = "built-in-driver-coil"
LOAD = "ground-switched-load"
STARTER = "battery-and-starter"

RAIL, EARTH, POST = 95, 440, 60
"""Heights of the feed above and of ground below, and the battery's posts from the left."""
SUPPLY, CONTROL, COMMAND = 295, 330, 378
"""Heights of the driver module's terminals."""

_RELAY: Point = (144, RAIL)
_FEED: Point = (345, RAIL)
_PRIMARY: Point = (540, 147)
_SECONDARY: Point = (640, 100)
_PLUG: Point = (688, 100)
_WIRE: Point = (396, CONTROL)
_DRIVER: Point = (606, 347)
_MODULE_GROUND: Point = (520, 388)
_BATTERY: Point = (POST, 255)

WHERE: dict[str, Point] = {
    "relay-link": (80, RAIL),
    "relay": _RELAY,
    "relay-drops-out": _RELAY,
    "relay-switch": _RELAY,
    "relay-switch-drops-out": _RELAY,
    "relay-control": _RELAY,
    "relay-control-drops-out": _RELAY,
    "fuse": (225, RAIL),
    "feed-wire": _FEED,
    "feed-wire-under-current": _FEED,
    "short-feed-wire-to-ground": _FEED,
    "ballast": _FEED,
    "primary-resistance": _PRIMARY,
    "primary-inductance": _PRIMARY,
    "shorted-turns": _PRIMARY,
    "secondary-open": _SECONDARY,
    "no-spark-path": _PLUG,
    "breakdown-voltage": _PLUG,
    "burning-voltage": _PLUG,
    "lead-to-ground": _PLUG,
    "wide-gap": _PLUG,
    "control-wire": _WIRE,
    "control-wire-under-current": _WIRE,
    "short-control-to-ground": _WIRE,
    "short-control-to-battery": _WIRE,
    "accessory": (385, 352),
    "coil-ground": (540, 186),
    "coil-driver-off": (540, 162),
    "short-driver": _DRIVER,
    "driver-off": _DRIVER,
    "dwell": _DRIVER,
    "module-ground": _MODULE_GROUND,
    "module-ground-under-current": _MODULE_GROUND,
    "module-at-block": _MODULE_GROUND,
    "driver-supply": (525, SUPPLY),
    "crank-signal-missing": (725, SUPPLY),
    "cam-signal-missing": (725, CONTROL),
    "command-missing": (696, COMMAND),
    "sensor-supply-missing": (760, 266),
    "battery-voltage": _BATTERY,
    "battery-resistance": _BATTERY,
    "starter-current": _BATTERY,
    "engine-ground": (420, EARTH),
    "starter-cable": (270, RAIL),
}
"""The place of an element, parameter or flag of the circuit model in the drawing."""

NOT_DRAWN = frozenset({"security-lamp"})
"""Changes that no drawing shows; another change of the same fault is marked instead."""

_BEHIND_THE_COIL = {"lead-to-ground", "wide-gap"}


def places(wrong: Iterable[str], circuit: str) -> tuple[Point, ...]:
    """The places of a fault's marks, each once.

    Args:
        wrong: Elements, parameters and flags that the fault has changed.
        circuit: Name of the circuit.
    """
    names = tuple(wrong)
    # A spark that breaks down too early does so inside the coil, unless something after the coil has changed,
    # too.
    inside = not _BEHIND_THE_COIL & set(names)
    found = []
    for name in names:
        if name in WHERE:
            early = inside and name in ("breakdown-voltage", "burning-voltage")
            found.append(_moved(_SECONDARY if early else WHERE[name], circuit))
    return tuple(dict.fromkeys(found))


def _moved(at: Point, circuit: str) -> Point:
    """The same places on the drawings that put a part elsewhere."""
    if circuit == BUILT_IN and at == _DRIVER:
        return (540, 162)
    if circuit == BUILT_IN and at == _PRIMARY:
        return (540, 118)
    if circuit == BUILT_IN and at == _SECONDARY:
        return (_SECONDARY[0], 93)
    return at
