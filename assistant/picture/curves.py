"""The curves under the drawing of a step: the quantity that is stated, what loads the circuit, and what the eye sees.

A reading is stated as a number and drawn as the curve that the meter sees, with that number and the limits of the step
across it. What loads the circuit stands below: the coil's current, the heavy lamp's, or the starter's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.tracing import Trace
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import HEAVY_LAMP_BETWEEN
from assistant.core.words import placing
from assistant.picture import marks
from assistant.picture.plots import Curve, Panel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step

    Floats = NDArray[np.float64]

AXIS_V = (-2.0, 16.0)
"""The voltage axis ends here, because a flyback of some hundred volts would flatten everything else."""
_SHOWN_S = 0.9
"""The period of a turning engine is repeated until this much time is filled: one blink alone shows no rhythm."""
_ENLARGED_S = (-2e-3, 16e-3)
_SWITCHED_A = 0.5
"""A coil current that rises by less, or only wavers with the surge, gets no close-up."""
_FEW_V = 1.5
"""A voltage that stays below this gets an axis of its own."""

Group = tuple["Floats", list[Panel], str]
"""Panels that share a time, the time, and its unit."""


@dataclass(frozen=True)
class Prediction:
    """The model's prediction for a step.

    Attributes:
        fault: The fault and the way in which it came about, in words.
        wrong: Elements and flags that the fault has changed.
        shares: Share of observers who would give each answer, in the order of the step's choices.
        value: Reading of the meter, in the unit of the step; None if there is no meter.
        trace: Curves; None if nothing changes with time.
        steady_index: Below this visibility index a lamp looks steady.
        setting: System and lamp, in words.
    """

    fault: str
    wrong: tuple[str, ...]
    shares: tuple[float, ...]
    value: float | None
    trace: Trace | None
    steady_index: float
    setting: str


def shown(step: Step, said: Prediction) -> str:
    """The reading of a meter with its unit."""
    unit = step.reading.unit if step.reading else ""
    if said.value is None or not np.isfinite(said.value):
        return "no flat top" if unit == "ms" else "over range"
    return f"{number(said.value)} {unit}"


def number(value: float) -> str:
    """A reading in a meter's form: three figures, no exponent, at most two decimals."""
    size = abs(value)
    places = 2 if size < 10 else 1 if size < 100 else 0
    written = f"{value:,.{places}f}"
    return written.replace("-", "\N{MINUS SIGN}" if written.strip("-0.") else "")


def read_off(step: Step, said: Prediction) -> Floats | None:
    """The curve that the step's meter reads, in its unit; None if the reading is no voltage or current over time."""
    trace, measure = said.trace, step.measure
    if trace is None or step.reading is None:
        return None
    if step.reading.unit == "V":
        if trace.own:
            return np.asarray(trace.probe_v - trace.clip_v, float)
        return np.full(
            len(trace.time), 0.0 if said.value is None else said.value
        )  # a supply, which stands still
    if step.reading.unit == "A":
        around = {"starter-cable": trace.starter_a, "heavy-lamp-lead": trace.load_a}
        return np.asarray(around.get(measure.probe, trace.current_a), float)
    return None


def panels(library: Library, circuit: str, step: Step, said: Prediction) -> list[Group]:
    """Groups of panels, each with its time and the unit of time; none if nothing changes over time."""
    trace, measure = said.trace, step.measure
    if trace is None or measure.instrument == "ohmmeter":
        return []
    turning = measure.engine in (Engine.CRANKING, Engine.RUNNING)
    long = _Long(trace, turning=turning)
    found = [_reading(library, step, said, long) or _voltage(library, step, trace, long)]
    load = _load(circuit, step, trace, long)
    if load is not None:
        found.append(load)
    groups: list[Group] = [(long.time, found, "s")]
    current = trace.current_a
    switched = float(current.min()) + _SWITCHED_A < 0.5 * float(current.max())
    if turning and switched and long.again > 1 and circuit != marks.STARTER:
        groups.append(_enlarged(long, found, step, said))
    if library.terms.instruments[measure.instrument].filament:
        found += _lights(library, step, said, long, turning=turning)
    elif measure.instrument == "led-light":
        light = Curve(100 * long(trace.light), "LED light")
        found.append(
            Panel("Light of the LED (% of its light on the battery)", (light,), 0, 120, top=150, unit="%")
        )
    return groups


class _Long:
    """Curves of one period, repeated until enough time is filled.

    Attributes:
        span: The period in s.
        again: How many times it is repeated.
        time: The whole time in s.
    """

    def __init__(self, trace: Trace, *, turning: bool) -> None:
        time = np.asarray(trace.time, float)
        self.span = float(time[-1] - time[0])
        self.again = max(1, math.ceil(_SHOWN_S / self.span - 1e-6)) if turning else 1
        pause = 1e-6
        self.time = np.concatenate([time + number * (self.span + pause) for number in range(self.again)])

    def __call__(self, values: Floats) -> Floats:
        """These values over the whole time."""
        return np.tile(np.asarray(values, float), self.again)


# --- what is stated -------------------------------------------------------------------------------


def _reading(library: Library, step: Step, said: Prediction, long: _Long) -> Panel | None:
    """The stated quantity as the meter sees it, with the stated number and the limits; None if it is no curve."""
    values, measure = read_off(step, said), step.measure
    if values is None or step.reading is None or said.value is None:
        return None
    unit, stated = step.reading.unit, said.value
    limits = tuple(float(limit) for limit in limits_of(step))
    name = placing.name_of(library.terms, measure) or library.terms.places[measure.probe].short
    how = {"V": "the meter shows", "A": "peak"}[unit]
    if measure.probe == "starter-cable":
        how = "steady"
    told = f"{how} {shown(step, said)}{'; limits dotted' if limits else ''}"
    curves = [Curve(long(values), "at the meter" if unit == "V" else "current")]
    if np.isfinite(stated):
        curves.insert(
            0,
            Curve(
                np.full(len(long.time), stated),
                f"{how.removeprefix('the meter ')} {shown(step, said)}",
                compared=True,
            ),
        )
    highest = max([stated, *limits, float(np.median(values))])
    title = f"{placing.capital(name)} ({unit}): {told}"
    if unit == "V" and highest > _FEW_V:
        return Panel(title, tuple(curves), 0, 14, *AXIS_V, unit="V", limits=limits, height=130)
    top = 1.3 * highest if highest > 0 else 1.0
    if unit == "V":  # pulses of the coil's own current, but not its flyback
        top = max(top, min(1.05 * float(values.max()), AXIS_V[1]))
    low = min(0.0, 1.2 * float(np.percentile(values, 1)))
    return Panel(
        title, tuple(curves), low, top, low, max(top, 1.1 * stated), unit=unit, limits=limits, height=130
    )


def limits_of(step: Step) -> list[Decimal]:
    """The borders between the bands of a reading that are numbers; a maker's limit is not known here."""
    if step.reading is None:
        return []
    ends = {end for band in step.reading.bands for end in (band.low, band.high) if isinstance(end, Decimal)}
    return sorted(ends - set(step.reading.plausible))


def _voltage(library: Library, step: Step, trace: Trace, long: _Long) -> Panel:
    """Probe and feed, or probe and clip if this is not on ground; only the feed if the probe has no curve."""
    measure, places = step.measure, library.terms.places
    feed = Curve(long(trace.feed_v), places["feed"].short)
    if not trace.own:
        return Panel("Voltage of the feed (V)", (feed,), 0, 14, *AXIS_V, unit="V")
    curves = [Curve(long(trace.probe_v), places[measure.probe].short)]
    if measure.clip not in (None, "battery-negative"):
        curves.insert(0, Curve(long(trace.clip_v), places[measure.clip or ""].short, compared=True))
    elif measure.probe != "feed":
        curves.insert(0, replace(feed, compared=True))
    return Panel("Voltage (V)", tuple(curves), 0, 14, *AXIS_V, unit="V", height=130)


# --- what loads the circuit -----------------------------------------------------------------------


def _load(circuit: str, step: Step, trace: Trace, long: _Long) -> Panel | None:
    """The current that loads the circuit; None if the step's reading is that current, or nothing flows."""
    measure = step.measure
    if measure.instrument in HEAVY_LAMP_BETWEEN:
        return _current("Current of the heavy lamp", long(trace.load_a), "heavy lamp", 3)
    if circuit == marks.STARTER:
        if measure.probe == "starter-cable" or not trace.starter_a.any():
            return None
        return _current("Current of the starter", long(trace.starter_a), "starter", 100)
    if (step.reading is not None and step.reading.unit == "A") or not np.abs(trace.current_a).max() > 1e-3:
        return None
    part = "part" if circuit == marks.LOAD else "coil"
    return _current(f"Current in the {part}", long(trace.current_a), f"{part} current", 10)


def _current(what: str, values: Floats, name: str, high: float) -> Panel:
    greatest = float(values[np.argmax(np.abs(values))])
    return Panel(f"{what} (A), greatest {number(greatest)} A", (Curve(values, name),), 0, high, height=90)


def _enlarged(long: _Long, found: list[Panel], step: Step, said: Prediction) -> Group:
    """The panels around one blink, in milliseconds from the moment when the driver switches on."""
    begin, end = long.span + _ENLARGED_S[0], long.span + _ENLARGED_S[1]
    times = long.time
    inside = np.concatenate([[begin], times[(times > begin) & (times < end)], [end]])
    nearer = [
        replace(
            panel,
            title=f"One blink, enlarged: {panel.title[:1].lower()}{_plain(panel.title)[1:]}",
            curves=tuple(
                replace(curve, values=np.interp(inside, times, curve.values)) for curve in panel.curves
            ),
        )
        for panel in found[:2]
    ]
    if step.reading is not None and step.reading.unit == "ms":
        nearer[-1] = replace(nearer[-1], title=f"{nearer[-1].title}; at its limit: {shown(step, said)}")
        if said.value is not None and np.isfinite(said.value):
            nearer[-1] = replace(nearer[-1], at=said.value)
    return 1000 * (inside - long.span), nearer, "ms"


def _plain(title: str) -> str:
    """A title without what it states."""
    return title[: title.index(")") + 1]


# --- what the eye sees ----------------------------------------------------------------------------


def _lights(library: Library, step: Step, said: Prediction, long: _Long, *, turning: bool) -> list[Panel]:
    """The lamp's light, and what the eye sees of it; beside it that of the same lamp on the feed."""
    trace, measure, places = said.trace, step.measure, library.terms.places
    if trace is None:
        return []
    place, feed = places[measure.probe].short, places["feed"].short
    light = [Curve(100 * long(trace.light), place)]
    seen = [Curve(long(trace.seen), place)]
    if measure.probe != "feed" and measure.clip == "battery-negative":
        light.insert(0, Curve(100 * long(trace.feed_light), feed, compared=True))
        seen.insert(0, Curve(long(trace.feed_seen), feed, compared=True))
    found = [Panel("Light of the lamp (% of the same lamp on the battery)", tuple(light), 0, 120, unit="%")]
    if turning:
        title = "What the eye sees of it (in thresholds; steady between the dotted lines)"
        limits = (said.steady_index, -said.steady_index)
        found.append(Panel(title, tuple(seen), -15, 30, limits=limits))
    return found
