"""Contacts that are good under a meter and bad under the coil's current.

A corroded crimp or a few strands carry a meter's or a small lamp's current with hardly any drop, and fail under
amperes. The bad ones and their severity: ``values["<element>-under-current"]`` of the rows, in ohm.
A contact is taken to stay bad for as long as the test lasts, once its current as a good contact would exceed
`BAD_FROM_A`; in a turning engine it is bad wherever the coil's driver is commanded.  Chosen, not measured.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.network import CONTACTS, GROUND, UNDER_CURRENT, Rows, feed_ohm

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from assistant.core.library.procedure import Engine

    Floats = NDArray[np.float64]
    Booleans = NDArray[np.bool_]

BAD_FROM_A = 0.5
"""Current from which such a contact is bad, in A: more than the test lamp's 0.27 A; chosen, not fitted."""

_AT_POST, _AT_BLOCK = "module-ground-at-post", "module-ground-at-block"


def there(rows: Rows) -> bool:
    """Whether any row has such a contact."""
    return any(bool(np.isfinite(rows.values[name + UNDER_CURRENT]).any()) for name in CONTACTS)


def ports() -> dict[str, tuple[str, str]]:
    """Ports across the contacts, for `network.reduce`."""
    found = {name: nodes for name, nodes in CONTACTS.items() if nodes is not None}
    return found | {_AT_POST: ("driver-ground", GROUND), _AT_BLOCK: ("driver-ground", "engine-block")}


def currents(
    rows: Rows, engine: Engine, gain: Mapping[str, Mapping[str, Floats]], sources: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Current in A through each contact as a good one, shape ``(rows,)`` each.

    Args:
        rows: The rows.
        engine: State of key and engine.
        gain: Gains of at least `ports`.
        sources: Source -> its value, of those that are not 0.
    """
    volts = {
        name: sum((gain[name][source] * value for source, value in sources.items()), np.zeros(rows.count))
        for name in ports()
    }
    at_block = rows.values["module-at-block"] > 0.5
    return {
        "control-wire": np.abs(volts["control-wire"]) / rows.values["control-wire"],
        "feed-wire": np.abs(volts["feed-wire"]) / feed_ohm(rows, engine),
        "module-ground": np.abs(np.where(at_block, volts[_AT_BLOCK], volts[_AT_POST]))
        / rows.values["module-ground"],
    }


def failed(rows: Rows, ampere: Mapping[str, Floats], commanded: Booleans) -> Rows:
    """The same rows with each contact good or bad for good.

    Args:
        rows: The rows.
        ampere: Contact -> its current as a good one.
        commanded: Whether the coil's driver is commanded in each row.
    """
    values = dict(rows.values)
    for name in CONTACTS:
        bad = values[name + UNDER_CURRENT]
        # A logic wire carries no coil current, and the module's ground is not that of a driver in the coil.
        carries = rows.circuit.kind != "built-in" or name == "feed-wire"
        fails = np.isfinite(bad) & ((ampere[name] > BAD_FROM_A) | (commanded & carries))
        values[name] = np.where(fails, bad, values[name])
        values[name + UNDER_CURRENT] = np.full(rows.count, np.inf)
    return replace(rows, values=values)
