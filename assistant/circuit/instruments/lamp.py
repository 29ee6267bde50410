"""Filament lamps: the test lamp, which may be of several kinds, and the heavy lamp.

The eye judges a lamp:

- *dark*, *dim*, *lit* by its light relative to the same lamp on the battery posts in the same engine state;
- *steady*, *flickering*, *blinking* by the visibility index against that of the surge, which is the same lamp on
  the posts, or, when two places are compared, the lamp on the other place.

The limits of the classes are chosen, not fitted, and no observer was measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import eye
from assistant.circuit.instruments.model import InstrumentModel, Probing
from assistant.circuit.lamps import HEAVY_LAMP, METER, Lamp, brightness_of, lamp_named
from assistant.circuit.network import GROUND
from assistant.circuit.observed import Observed, Shown, below, columns
from assistant.circuit.places import check_points
from assistant.circuit.remembered import once
from assistant.circuit.situations import Situation, portions
from assistant.circuit.solving import steady
from assistant.circuit.turning import turn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Circuit
    from assistant.circuit.parameters import Systems
    from assistant.core.library.procedure import Measurement

    Floats = NDArray[np.float64]

DARK_SPREAD = 0.5
DIM_SPREAD = 0.15
STEADY_SPREAD = 0.25
"""Widths of the borders between classes, in natural logarithm; chosen, not fitted."""

CHANGES = ("steady", "flickering", "blinking")
"""Words for the changes of a lamp that gives light, from none to the plainest."""
NEAREST = {
    "steady": ("flickering", "blinking"),
    "flickering": ("steady", "blinking"),
    "blinking": ("flickering", "steady"),
}
"""Words that replace one that is not offered, the nearest first."""
COMPARED = ("same", "sharper", "feed-dark", "feed-dim", "switched-dark")
"""Words for a lamp that is looked at in two places in one crank: the place of comparison first (a coil's feed), then
the probed one (its switched side)."""


@dataclass(frozen=True, eq=False)
class Glow(Shown):
    """The light of a filament lamp; arrays of shape ``(n,)``.

    Attributes:
        brightness: Light relative to the same lamp held on the battery posts, same engine state.
        index: Visibility index of its changes; 0 if nothing turns or the lamp is dark.
        feed_index: Index for comparison: that of the same lamp at the other place or, without one, on the battery
            posts, where only the starter's surge shows.
        compared: Light on the place of comparison, relative to the posts; None without one.
    """

    brightness: Floats
    index: Floats
    feed_index: Floats
    compared: Floats | None = None

    def honest(self, outcomes: Sequence[str]) -> Floats:
        """Shares of the answers; a class that is not offered goes to the nearest one that is."""
        dark = below(self.brightness, eye.DARK, DARK_SPREAD)
        dim = (1 - dark) * below(self.brightness, eye.DIM, DIM_SPREAD)
        still = below(self.index, eye.STEADY_INDEX, STEADY_SPREAD)
        distinct = self._distinct(still)
        if set(COMPARED) & set(outcomes):
            return self._compared(dark, dark + dim, distinct, outcomes)
        bright = 1 - dark - dim
        known = {"dark": dark, "dim": dim, "lit": np.zeros_like(dark)}
        known |= dict.fromkeys(CHANGES, known["lit"])
        columns(known, outcomes)  # refuses an answer that a lamp cannot give
        offered = [name for name in CHANGES if name in outcomes]
        if offered and "dim" not in outcomes:
            # A lamp behind a winding is dim and blinks all the same; if dim is not an answer, only the blink is
            # reported.
            bright, known["dim"] = bright + dim, np.zeros_like(dark)
        if offered:
            known |= _changes(bright, still, distinct, offered)
            if "lit" in outcomes:
                # A person who sees no blink says "lit" as readily as "steady".
                calm = known["steady"]
                known["lit"], known["steady"] = 0.5 * calm, 0.5 * calm
        else:
            known["lit"] = bright
        if "dim" not in outcomes:
            # Lit enough to see is lit, when nothing between is offered.
            target = "lit" if "lit" in outcomes else (offered[0] if offered else "dark")
            known[target] = known[target] + known["dim"]
        if "dark" not in outcomes:
            target = "dim" if "dim" in outcomes else ("lit" if "lit" in outcomes else "steady")
            known[target] = known[target] + known["dark"]
        return columns(known, outcomes)

    def _distinct(self, still: Floats) -> Floats:
        """Share of observers who see changes that are plainly more than those they are judged against."""
        ratio = self.index / np.maximum(self.feed_index, eye.STEADY_INDEX / 2)
        distinct = np.clip(
            np.log(np.maximum(ratio, 1e-6) / eye.LIKE_FEED) / np.log(eye.DISTINCT / eye.LIKE_FEED), 0, 1
        )
        # An invisible blink does not count, however much stronger than the surge it is.
        return np.asarray(distinct * (1 - still))

    def _compared(self, dark: Floats, faint: Floats, distinct: Floats, outcomes: Sequence[str]) -> Floats:
        """Shares of the answers to a comparison; any other answer is not given.

        A person who may say that one place is dark or dim says so, the first place first; of two lit places,
        that person compares the blink.

        Args:
            dark: Share of observers to whom the probed place is dark.
            faint: The same for dark or dim.
            distinct: Share of those who see it blink distinctly more than the place of comparison.
            outcomes: The answers to choose from.
        """
        other = np.ones_like(dark) if self.compared is None else self.compared
        first_dark = below(other, eye.DARK, DARK_SPREAD) if "feed-dark" in outcomes else np.zeros_like(dark)
        first_dim = (
            (1 - first_dark) * below(other, eye.DIM, DIM_SPREAD) if "feed-dim" in outcomes else 0 * dark
        )
        lit = 1 - first_dark - first_dim
        known = {"feed-dark": first_dark, "feed-dim": first_dim}
        if "switched-dark" in outcomes:
            known |= {"switched-dark": lit * faint, "same": lit * (1 - faint) * (1 - distinct)}
            known["sharper"] = lit * (1 - faint) * distinct
            none = np.zeros_like(dark)
            return columns(dict.fromkeys(("dark", "dim", "lit", *CHANGES), none) | known, outcomes)
        both = np.abs(np.log(np.maximum(self.brightness, 1e-3) / np.maximum(other, 1e-3))) < np.log(2)
        sharper = np.where(dark > 0.5, 0.0, distinct)
        # A lamp that is plainly darker than on the other place is neither the same nor sharper.
        known = {
            "same": np.where(both, 1 - sharper, 0.5 * (1 - sharper)),
            "sharper": np.where(both, sharper, sharper + 0.5 * (1 - sharper)),
        }
        return np.stack([known.get(name, np.zeros_like(dark)) for name in outcomes], axis=1)

    def in_numbers(self) -> str:
        """Light and changes of the first car."""
        return (
            f"the lamp gives {float(self.brightness[0]):.0%} of its light on the battery, "
            f"its changes are {float(self.index[0]):.1f} times what an eye just notices, "
            f"{float(self.feed_index[0]):.1f} on the feed"
        )


def _changes(bright: Floats, still: Floats, distinct: Floats, offered: Sequence[str]) -> dict[str, Floats]:
    """Shares of what is said of the changes of a lamp that gives light."""
    waver = 1 - distinct
    parts = {"blinking": distinct, "flickering": waver * (1 - still), "steady": waver * still}
    for missing in [name for name in parts if name not in offered]:
        for name in NEAREST[missing]:
            if name in offered:
                parts[name] = parts[name] + parts.pop(missing)
                break
    return {name: bright * parts[name] for name in offered}


@once
def _light(
    systems: Systems, situation: Situation, across: tuple[str, str], lamp: Lamp
) -> tuple[Floats, Floats]:
    """Mean light and visibility index for every mechanism of the situation, shape ``(mechanisms * n,)`` each."""
    engine, unplugged = situation.engine, situation.unplugged
    lights, indices = [], []
    for rows in portions(systems, situation):
        index = np.zeros(rows.count)
        if not situation.turning:
            volts, _, _ = steady(rows, engine, unplugged, across, lamp)
            light = np.abs(volts) / 12 if lamp == METER else brightness_of(lamp, np.abs(volts))
        else:
            waves = turn(rows, engine, unplugged, across, lamp)
            if waves.light is None:
                light = np.clip(np.abs(waves.mean_v) / 12, 0, None)
            else:
                light, index = waves.light.mean(axis=1), eye.index_of(waves.light, waves.period)
        lights.append(light)
        indices.append(index)
    return np.concatenate(lights), np.concatenate(indices)


class FilamentLamp(InstrumentModel):
    """A lamp on two points of the circuit.

    Args:
        name: Name in ``terms.yaml``.
        bulb: Its bulb; None for the test lamp, in whose place the caller puts one.
        outcomes: Its possible outcomes.
    """

    probes = True
    missed = "dark"

    def __init__(
        self,
        name: str,
        bulb: Lamp | None = None,
        outcomes: tuple[str, ...] = ("dark", "dim", "lit", *CHANGES, *COMPARED),
    ) -> None:
        super().__init__(name)
        self.outcomes = outcomes
        self._bulb = bulb

    def check(self, circuit: Circuit, measure: Measurement) -> None:
        """On two points of the circuit, none of which carries a logic signal."""
        check_points(circuit, measure)

    def bulb(self, lamp: Lamp) -> Lamp:
        """Its own bulb, or the one in the test lamp's place."""
        return self._bulb or lamp

    def look(self, case: Probing) -> Observed:
        """Light and changes, relative to the same lamp on the battery posts."""
        lamp = self.bulb(case.lamp)
        light, index = _light(case.systems, case.situation, case.across, lamp)
        posts = case.situation._replace(unplugged=())
        whole, surge = _light(case.systems, posts, ("battery-positive", GROUND), lamp)
        whole = np.maximum(whole, 1e-12)
        brightness = (light / whole)[case.rows]
        against = surge[case.rows]
        compared = None
        if case.measure.compared_with is not None:
            place = (case.measure.compared_with, case.across[1])
            other, other_index = _light(case.systems, case.situation, place, lamp)
            compared = (other / whole)[case.rows]
            against = np.where(compared < eye.DARK, 0.0, other_index[case.rows])
        index = np.where(brightness < eye.DARK, 0.0, index[case.rows])
        return Observed(Glow(brightness, index, against, compared))

    def nothing(self, count: int) -> Observed:
        """A dark lamp."""
        none = np.zeros(count)
        return Observed(Glow(none, none, np.ones(count)))


MODELS = (
    FilamentLamp("test-lamp"),
    FilamentLamp("heavy-lamp", lamp_named(HEAVY_LAMP), ("dark", "dim", "lit")),
)
