"""A captured ramp drawn with what the circuit model expects of the sound coil and of a suspected fault."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import traces
from assistant.core.library.procedure import Engine, Measurement
from assistant.meter.dwells import dwells
from assistant.picture import plots
from assistant.picture.curves import number
from assistant.picture.plots import Curve, Panel
from assistant.picture.svg import SOFT, Canvas, wrapped
from assistant.picture.whole import MODEL_ONLY, WIDTH

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.meter.dwells import CurrentCapture, Dwells

    Floats = NDArray[np.float64]

_BEFORE_S = 1e-3
_AFTER_S = 2e-3
_LONGEST_S = 20e-3
_POINTS = 700
_HEIGHT = 130
_NOTHING_A = 0.1
_MEASURED = Measurement("clamp-scope", None, "feed-wire", Engine.CRANKING)


@dataclass(frozen=True, eq=False)
class ExpectedRamp:
    """A ramp of the circuit model.

    Attributes:
        name: A few words beside the curve: "sound coil".
        time: Seconds from the moment the driver is switched on, shape ``(t,)``.
        ampere: Current in A.
    """

    name: str
    time: Floats
    ampere: Floats


def expected(circuit: str, suspected: Sequence[tuple[str, str]] = ()) -> list[ExpectedRamp]:
    """What the model expects of a typical car: the sound coil, then each suspected fault.

    Args:
        circuit: Name of a circuit.
        suspected: Faults by the names of terms.yaml, each with a few words to stand beside its curve.

    Raises:
        CircuitProblem: The circuit cannot have the fault, or has no such measurement.
    """
    named = [("none", "sound coil"), *suspected]
    ways = [mechanism_named(circuit, fault) for fault, _ in named]
    found = traces(circuit, ways, _MEASURED, Systems.typical())
    return [
        ExpectedRamp(words, np.asarray(one.time, float), np.asarray(one.current_a, float))
        for (_, words), one in zip(named, found, strict=True)
    ]


def svg(
    ramp: CurrentCapture, expectations: Sequence[ExpectedRamp], *, key: str = "ramp", inline: bool = True
) -> str:
    """The captured dwells, laid over each other, and the expectations beside them, as SVG.

    Args:
        ramp: The capture.
        expectations: As `expected` gives them; dashed.
        key: Prefix of the names of its parts, unique on the page.
        inline: Whether it goes into a page and so has no size of its own.
    """
    found = dwells(ramp)
    begin = _foot(found.time, found.ampere) if found.count else 0.0
    lasting = [float(found.time[-1]) - begin] if found.count else []
    lasting += [_end(one) for one in expectations]
    last = min(_LONGEST_S, max([*lasting, 5e-3]) + _AFTER_S)
    time = np.linspace(-_BEFORE_S, last, _POINTS)
    taken, told = _captured(ramp, found, begin, time)
    first = f"Current at the clamp (A): {told}"
    if not expectations:
        panels = [_panel(first, taken)]
    else:
        panels = [
            _panel(
                f"{first}; dashed: {one.name}" if place == 0 else f"The same (A); dashed: {one.name}",
                taken,
                Curve(_again(time, one), one.name, compared=True),
            )
            for place, one in enumerate(expectations)
        ]
    canvas = Canvas(WIDTH, 2000)
    y = plots.draw(canvas, 8, 1000 * time, panels, "ms")
    notes = f"Dashed: expected of a typical car. {MODEL_ONLY}" if expectations else ""
    for line in wrapped(notes, WIDTH - 24, 14):
        canvas.text(8, y + 22, line, size=14, colour=SOFT)
        y += 19
    canvas.height = y + 16
    beside = " and ".join(one.name for one in expectations)
    about = f"Current of the coil over time, captured with a clamp: {told}." + (
        f" Beside it, the circuit model's {beside}." if beside else ""
    )
    return canvas.svg("Current ramp of the coil", about, key=key, inline=inline)


def _panel(title: str, taken: Floats, *beside: Curve) -> Panel:
    return Panel(title, (*beside, Curve(taken, "captured")), 0, 1, unit="A", height=_HEIGHT)


def _captured(ramp: CurrentCapture, found: Dwells, begin: float, time: Floats) -> tuple[Floats, str]:
    """The captured current at these times from the beginning of the rise, and what is told of it."""
    if found.count == 0:
        some = ramp.ampere[: max(2, round((time[-1] - time[0]) * ramp.rate))]
        taken = np.interp(time - time[0], np.arange(len(some)) / ramp.rate, some)
        return np.asarray(taken, float), f"no dwells, {number(found.level)} A"
    whole = np.concatenate([found.ampere, found.tail])
    step = float(found.time[1] - found.time[0])
    at = found.time[0] - begin + step * np.arange(len(whole))
    taken = found.level + np.interp(time, at, whole, right=float("nan"))
    taken = np.where(np.isnan(taken), found.level, taken)
    peak = float(found.level + found.ampere.max())
    return np.asarray(taken, float), f"mean of {found.count} dwells, up to {number(peak)} A"


def _again(time: Floats, one: ExpectedRamp) -> Floats:
    """The expected current at these times; it repeats."""
    return np.asarray(np.interp(time, one.time, one.ampere, period=float(one.time[-1] - one.time[0])), float)


def _foot(time: Floats, ampere: Floats) -> float:
    """When the rise begins."""
    low = np.flatnonzero(ampere < 0.05 * ampere.max())
    return float(time[low[-1]] if len(low) else time[0])


def _end(one: ExpectedRamp) -> float:
    """When the driver switches off; 0 if the current does not rise."""
    top = float(one.ampere.max())
    early = one.time < _LONGEST_S
    high = np.flatnonzero(early & (one.ampere > 0.5 * top))
    return float(one.time[high[-1]]) if top > _NOTHING_A and len(high) else 0.0
