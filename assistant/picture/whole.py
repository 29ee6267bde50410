"""One sheet: the circuit with the instrument on it, the likely answers, and the curves over time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.tracing import Trace
from assistant.core.library.procedure import Engine
from assistant.core.words import reporting
from assistant.errors import UsageProblem
from assistant.picture import connection, marks, plots, symbols
from assistant.picture.plots import Curve, Panel
from assistant.picture.svg import LEAD, SOFT, Box, Canvas, wrapped

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step

    Floats = NDArray[np.float64]

WIDTH = connection.WIDTH
MODEL_ONLY = (
    "From a circuit model. No bench or vehicle measurement stands behind it; "
    "its values were chosen, not fitted."
)
"""Note on every picture that shows curves or answers of the model."""

AXIS_V = (-2.0, 16.0)
"""The voltage axis ends here, because a flyback of some hundred volts would flatten everything else."""
_SHOWN_S = 0.9
"""The period of a turning engine is repeated until this much time is filled: one blink alone shows no rhythm."""
_ENLARGED_S = (-2e-3, 16e-3)
_SWITCHED_A = 0.5
"""A coil current that rises by less, or only wavers with the surge, gets no close-up."""
SIGNALS = ("crank-signal", "cam-signal")


@dataclass(frozen=True)
class Prediction:
    """The model's prediction for a step.

    Attributes:
        fault: The fault and the way in which it came about, in words.
        wrong: Elements and flags that the fault has changed.
        shares: Share of observers who would give each answer, in the order of the step's choices.
        value: Reading of the meter; None if there is no meter.
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


def sheet(library: Library, procedure: Procedure, step: Step, said: Prediction) -> Canvas:
    """The sheet of a step.

    Raises:
        UsageProblem: The step is a look, not a measurement, or its circuit has no drawing.
    """
    schematic = connection.drawn(procedure.circuit, step.measure, library.terms, said.wrong)
    # The height is known only once everything is placed: draw on a tall canvas, then cut it.
    canvas = Canvas(WIDTH, 4000)
    y = 8.0
    for number, line in enumerate(_heading(library, procedure, step)):
        for part in wrapped(line, WIDTH - 24, 17, bold=number == 0):
            canvas.text(8, y + 18, part, size=17, bold=number == 0)
            y += 24
    symbols.badge(canvas, 8, y + 10, said.fault, alarm=bool(said.wrong))
    y += 40
    canvas.place(schematic, 0, y)
    y = _answers(canvas, y + connection.HEIGHT + 10, library, step, said)
    for times, panels, unit in _panels(library, procedure.circuit, step, said):
        y = plots.draw(canvas, y + 14, times, panels, unit)
    for part in wrapped(f"{MODEL_ONLY} {said.setting}", WIDTH - 24, 14):
        canvas.text(8, y + 22, part, size=14, colour=SOFT)
        y += 19
    canvas.height = y + 16
    return canvas


def about(library: Library, procedure: Procedure, step: Step, said: Prediction) -> str:
    """The sheet in sentences, for a reader who cannot see it."""
    best = max(range(len(said.shares)), key=said.shares.__getitem__)
    choice = step.choices()[best]
    seen = (
        reporting.seen(library, step, choice.outcome, None, None)
        if step.reading is None
        else _shown(step, said)
    )
    return (
        f"{procedure.title}. {connection.about(step.measure, library.terms)} {said.fault}. "
        f"Most would answer: {seen}. {MODEL_ONLY}"
    )


def _heading(library: Library, procedure: Procedure, step: Step) -> list[str]:
    return [procedure.title, connection.about(step.measure, library.terms)]


def _shown(step: Step, said: Prediction) -> str:
    """The reading of a meter with its unit."""
    unit = step.reading.unit if step.reading else ""
    if said.value is None or not np.isfinite(said.value):
        return "over range"
    return f"{number(said.value)} {unit}"


def number(value: float) -> str:
    """A reading in a meter's form: three figures, no exponent, at most two decimals."""
    size = abs(value)
    places = 2 if size < 10 else 1 if size < 100 else 0
    shown = f"{value:,.{places}f}"
    return shown.replace("-", "\N{MINUS SIGN}" if shown.strip("-0.") else "")


# --- the answers ----------------------------------------------------------------------------------


def _answers(canvas: Canvas, y: float, library: Library, step: Step, said: Prediction) -> float:
    """A box for each answer, with the share of observers who would give it in words, figures and length."""
    choices = step.choices()
    head = "What would be answered"
    if step.reading is not None:
        head = f"The meter shows {_shown(step, said)}"
    canvas.text(8, y + 15, head, bold=True)
    gap = 8.0
    width = (WIDTH - 16 - gap * (len(choices) - 1)) / len(choices)
    best = max(said.shares)
    words = []
    for choice in choices:
        text = (
            library.terms.outcomes[choice.outcome].spoken if choice.outcome in library.terms.outcomes else ""
        )
        if step.reading is not None:
            band = next(one for one in step.reading.bands if one.outcome == choice.outcome)
            text = f"{reporting.limits(band, step.reading.unit)}: {band.seen}"
        words.append(wrapped(text, width - 16, 14))
    rows = max(map(len, words))
    height = 34.0 + 18 * rows
    for place, (choice, lines, share) in enumerate(zip(choices, words, said.shares, strict=True)):
        left = 8 + place * (width + gap)
        chosen = share == best
        box = Box(left, y + 24, left + width, y + 24 + height)
        good = choice.outcome == step.good
        canvas.rectangle(box, width=3 if chosen else 1.2, colour=LEAD if chosen else SOFT, round_=4)
        for row, line in enumerate(lines):
            canvas.text(
                left + 8, box.top + 18 + 18 * row, line, size=14, bold=chosen and step.reading is None
            )
        base = box.bottom - 10
        canvas.text(left + 8, base, f"{100 * share:.0f} %", size=14, bold=chosen)
        if share > 0.005:
            bar = Box(left + 66, base - 10, left + 66 + max(2.0, (width - 76) * share), base - 1)
            canvas.rectangle(bar, fill=LEAD if chosen else SOFT, width=0)
        if good:
            canvas.text(left + width - 8, box.bottom + 17, "good system", anchor="end", size=13, colour=SOFT)
    return y + 24 + height + (22 if step.good else 8)


# --- the curves -----------------------------------------------------------------------------------


def _panels(
    library: Library, circuit: str, step: Step, said: Prediction
) -> list[tuple[Floats, list[Panel], str]]:
    """Groups of panels, each with its time and the unit of time; none if nothing changes over time."""
    trace, measure = said.trace, step.measure
    if trace is None or measure.instrument == "ohmmeter":
        return []
    time = np.asarray(trace.time, float)
    turning = measure.engine in (Engine.CRANKING, Engine.RUNNING)
    span = float(time[-1] - time[0])
    again = max(1, math.ceil(_SHOWN_S / span - 1e-6)) if turning else 1
    pause = 1e-6
    times = np.concatenate([time + number * (span + pause) for number in range(again)])

    def long(values: Floats) -> Floats:
        return np.tile(np.asarray(values, float), again)

    places = library.terms.places
    place, feed = places[measure.probe].short, places["feed"].short
    panels = [_voltage(library, step, trace, long)]
    if circuit == marks.STARTER:
        return [(times, panels, "s")]
    current = long(trace.current_a)
    greatest = float(current[np.argmax(np.abs(current))])
    panels.append(
        Panel(
            f"Current in the coil (A), greatest {number(greatest)} A",
            (Curve(current, "coil current"),),
            0,
            10,
            height=90,
        )
    )
    groups = [(times, panels, "s")]
    if turning and float(current.min()) + _SWITCHED_A < 0.5 * float(current.max()) and again > 1:
        groups.append(_enlarged(times, span, panels))
    if not library.terms.instruments[measure.instrument].filament:
        return groups
    beside = measure.probe != "feed" and measure.clip == "battery-negative"
    light = [Curve(100 * long(trace.light), place)]
    seen = [Curve(long(trace.seen), place)]
    if beside:
        light.insert(0, Curve(100 * long(trace.feed_light), feed, compared=True))
        seen.insert(0, Curve(long(trace.feed_seen), feed, compared=True))
    panels.append(
        Panel("Light of the lamp (% of the same lamp on the battery)", tuple(light), 0, 120, unit="%")
    )
    limit = said.steady_index
    if turning:
        panels.append(
            Panel(
                "What the eye sees of it (in thresholds; steady between the dotted lines)",
                tuple(seen),
                -15,
                30,
                limits=(limit, -limit),
            )
        )
    return groups


def _enlarged(times: Floats, span: float, panels: list[Panel]) -> tuple[Floats, list[Panel], str]:
    """Voltage and current around one blink, in milliseconds from the moment when the driver switches on."""
    begin, end = span + _ENLARGED_S[0], span + _ENLARGED_S[1]
    inside = np.concatenate([[begin], times[(times > begin) & (times < end)], [end]])
    nearer = [
        replace(
            panel,
            title=f"One blink, enlarged: {panel.title[:1].lower()}{panel.title[1:].partition(',')[0]}",
            curves=tuple(
                replace(curve, values=np.interp(inside, times, curve.values)) for curve in panel.curves
            ),
        )
        for panel in panels[:2]
    ]
    return 1000 * (inside - span), nearer, "ms"


def _voltage(library: Library, step: Step, trace: Trace, long: Callable[[Floats], Floats]) -> Panel:
    """The voltage panel: probe and feed, or the clip if it is not on ground.

    A drop of less than a volt gets an axis of its own, without the feed.
    """
    measure, places = step.measure, library.terms.places
    feed = Curve(long(trace.feed_v), places["feed"].short)
    if measure.instrument == "current-clamp" or measure.probe in SIGNALS:
        # The model has no curve of a cable or of a sensor's signal, so only the feed is drawn.
        return Panel("Voltage (V)", (feed,), 0, 14, *AXIS_V, unit="V")
    probe = Curve(long(trace.probe_v), places[measure.probe].short)
    if measure.probe in ("engine-block", "driver-ground") and float(np.abs(probe.values).max()) < 1.5:
        highest = max(0.25, 1.2 * float(probe.values.max()))
        return Panel("Voltage (V)", (probe,), 0, highest)
    curves = [probe]
    if measure.clip not in (None, "battery-negative"):
        curves.insert(0, Curve(long(trace.clip_v), places[measure.clip or ""].short, compared=True))
    elif measure.probe != "feed":
        curves.insert(0, replace(feed, compared=True))
    return Panel("Voltage (V)", tuple(curves), 0, 14, *AXIS_V, unit="V", height=130)


# --- to a file ------------------------------------------------------------------------------------


def png(svg: str, scale: float = 2.0) -> bytes:
    """The picture as PNG, two dots for each unit.

    Raises:
        UsageProblem: The drawing package is not installed or lacks its system library.
    """
    try:
        import cairosvg  # noqa: PLC0415  an optional extra
    except (ImportError, OSError) as error:
        raise UsageProblem(
            "A PNG file needs the package cairosvg and Debian's libcairo2: pip install 'bay-assistant[picture]'. "
            f"An SVG file needs neither; write it with --out FILE.svg. ({error})"
        ) from error
    return bytes(cairosvg.svg2png(bytestring=svg.encode(), scale=scale))
