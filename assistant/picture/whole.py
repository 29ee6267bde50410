"""One sheet: the circuit with the instrument on it, what would be answered, and the curves over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assistant.core import wording
from assistant.errors import UsageProblem
from assistant.picture import connection, plots, symbols
from assistant.picture.plots import Curve, Panel
from assistant.picture.svg import LEAD, SOFT, Box, Canvas, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.core.procedure import Library, Procedure, Step

    Floats = NDArray[np.float64]

WIDTH = connection.WIDTH
MODEL_ONLY = (
    "From a circuit model. No bench or vehicle measurement stands behind it; its values were chosen, not fitted."
)
"""Stands on every picture that shows curves or answers of the model."""

AXIS_V = (-2.0, 16.0)
"""The axis of voltage ends here: the flyback of some hundred volts would flatten everything else."""
_REPEATED_S = 0.6
"""A shorter trace of a turning engine is drawn twice, because one blink alone shows no rhythm."""


class Trace(Protocol):
    """Curves of one system, each of shape ``(t,)``; None where there is nothing, such as light without a lamp."""

    @property
    def time(self) -> Floats:
        """Seconds, increasing."""

    @property
    def probe_v(self) -> Floats | None:
        """At the probe, in V, from the battery's negative post."""

    @property
    def feed_v(self) -> Floats | None:
        """At the feed side of the coil, in V."""

    @property
    def current_a(self) -> Floats | None:
        """Through the primary, in A."""

    @property
    def light(self) -> Floats | None:
        """Of the lamp, relative to the same lamp on the battery."""

    @property
    def feed_light(self) -> Floats | None:
        """Of the same lamp on the feed."""

    @property
    def seen(self) -> Floats | None:
        """What the eye makes of the light, in thresholds."""

    @property
    def feed_seen(self) -> Floats | None:
        """The same at the feed."""


@dataclass(frozen=True)
class Said:
    """What the model says about a step.

    Attributes:
        fault: The fault and how it came about, in words.
        wrong: Elements and flags that the fault has changed.
        shares: Share of observers who would give each answer, in the order of the step's choices.
        value: What a meter shows; None without one.
        trace: Curves; None where nothing changes with time.
        steady_index: Below this visibility index a lamp looks steady.
        setting: Which system and which lamp, in words.
    """

    fault: str
    wrong: tuple[str, ...]
    shares: tuple[float, ...]
    value: float | None
    trace: Trace | None
    steady_index: float
    setting: str


def sheet(library: Library, procedure: Procedure, step: Step, said: Said) -> Canvas:
    """The sheet of a step.

    Raises:
        UsageProblem: The step is looked at, not measured, or its circuit has no drawing.
    """
    schematic = connection.drawn(procedure.circuit, step.measure, library.terms, said.wrong, said.fault)
    curves = _panels(library, step, said)
    # The height is known once everything is placed: draw on a tall canvas, then cut it.
    canvas = Canvas(WIDTH, 4000)
    y = 8.0
    for number, line in enumerate(_heading(library, procedure, step)):
        for part in wrapped(line, WIDTH - 24, 17, bold=number == 0):
            canvas.text(8, y + 18, part, size=17, bold=number == 0)
            y += 24
    canvas.place(schematic, 0, y + 4)
    y = _answers(canvas, y + connection.HEIGHT + 10, library, step, said)
    if curves and said.trace is not None:
        times, panels = curves
        y = plots.draw(canvas, y + 14, times, panels)
    for part in wrapped(f"{MODEL_ONLY} {said.setting}", WIDTH - 24, 14):
        canvas.text(8, y + 22, part, size=14, colour=SOFT)
        y += 19
    canvas.height = y + 16
    return canvas


def about(library: Library, procedure: Procedure, step: Step, said: Said) -> str:
    """The sheet in sentences, for a person who cannot see it."""
    best = max(range(len(said.shares)), key=said.shares.__getitem__)
    choice = step.choices()[best]
    seen = wording.seen(library, step, choice.outcome, None, None) if step.reading is None else _shown(step, said)
    return (
        f"{procedure.title}. {connection.about(step.measure, library.terms)} {said.fault}. "
        f"Most would answer: {seen}. {MODEL_ONLY}"
    )


def _heading(library: Library, procedure: Procedure, step: Step) -> list[str]:
    return [procedure.title, connection.about(step.measure, library.terms)]


def _shown(step: Step, said: Said) -> str:
    """What a meter shows, with its unit."""
    unit = step.reading.unit if step.reading else ""
    if said.value is None or not np.isfinite(said.value):
        return "over range"
    return f"{number(said.value)} {unit}"


def number(value: float) -> str:
    """A reading as a meter shows it: three figures, no exponent, at most two places."""
    size = abs(value)
    places = 2 if size < 10 else 1 if size < 100 else 0
    return f"{value:,.{places}f}".replace("-", "\N{MINUS SIGN}")


# --- the answers ----------------------------------------------------------------------------------


def _answers(canvas: Canvas, y: float, library: Library, step: Step, said: Said) -> float:
    """A box for each answer with the share of observers who would give it, in words, figures and length."""
    choices = step.choices()
    head = "What would be answered, each look counted alone"
    if step.reading is not None:
        head = f"The meter shows {_shown(step, said)}"
    canvas.text(8, y + 15, head, bold=True)
    gap = 8.0
    width = (WIDTH - 16 - gap * (len(choices) - 1)) / len(choices)
    best = max(said.shares)
    words = []
    for choice in choices:
        text = library.terms.outcomes[choice.outcome].spoken if choice.outcome in library.terms.outcomes else ""
        if step.reading is not None:
            band = next(one for one in step.reading.bands if one.outcome == choice.outcome)
            text = f"{wording.limits(band, step.reading.unit)}: {band.seen}"
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
            canvas.text(left + 8, box.top + 18 + 18 * row, line, size=14, bold=chosen and step.reading is None)
        base = box.bottom - 10
        canvas.text(left + 8, base, f"{100 * share:.0f} %", size=14, bold=chosen)
        if share > 0.005:
            bar = Box(left + 56, base - 10, left + 56 + max(2.0, (width - 66) * share), base - 1)
            canvas.rectangle(bar, fill=LEAD if chosen else SOFT, width=0)
        if good:
            canvas.text(left + width - 8, box.bottom + 17, "good system", anchor="end", size=13, colour=SOFT)
    return y + 24 + height + (22 if step.good else 8)


# --- the curves -----------------------------------------------------------------------------------


def _panels(library: Library, step: Step, said: Said) -> tuple[Floats, list[Panel]] | None:
    """Time and panels of the trace; None where there is nothing that runs over time."""
    trace, measure = said.trace, step.measure
    if trace is None or len(trace.time) < 2 or measure.instrument == "ohmmeter":
        return None
    time = np.asarray(trace.time, float)
    again = 1
    span = float(time[-1] - time[0])
    if measure.engine.value in ("cranking", "running") and span < _REPEATED_S:
        again = 2
    pause = span / max(1, len(time) - 1)
    times = np.concatenate([time + number * (span + pause) for number in range(again)])

    def long(values: Floats) -> Floats:
        return np.tile(np.asarray(values, float), again)

    place = library.terms.places[measure.probe].short
    feed = library.terms.places["feed"].short
    panels: list[Panel] = []
    clamp = measure.instrument == "current-clamp"
    if trace.probe_v is not None and not clamp:
        panels.append(_voltage(long(trace.probe_v), trace.feed_v, place, feed, measure.probe, long))
    elif clamp and trace.feed_v is not None:
        panels.append(Panel("Voltage (V)", (Curve(long(trace.feed_v), feed),), 0, 14, AXIS_V[1], AXIS_V[0], "V"))
    if trace.current_a is not None:
        current = long(trace.current_a)
        panels.append(
            Panel(
                f"Current in the primary (A), highest {number(float(current.max()))} A",
                (Curve(current, "primary"),),
                0,
                10,
                height=90,
            )
        )
    if trace.light is not None:
        light = [Curve(100 * long(trace.light), place)]
        if trace.feed_light is not None and measure.probe != "feed":
            light.insert(0, Curve(100 * long(trace.feed_light), feed, compared=True))
        panels.append(Panel("Light of the lamp (% of the same lamp on the battery)", tuple(light), 0, 120, 250, unit="%"))
    if trace.seen is not None:
        seen = [Curve(long(trace.seen), place)]
        if trace.feed_seen is not None and measure.probe != "feed":
            seen.insert(0, Curve(long(trace.feed_seen), feed, compared=True))
        limit = said.steady_index
        panels.append(
            Panel(
                "What the eye sees of its changes (1 = just visible in a laboratory)",
                tuple(seen),
                -3 * limit,
                3 * limit,
                bands=((limit, "steady within"), (-limit, "steady within")),
            )
        )
    return (times, panels) if panels else None


def _voltage(probe: Floats, feed_v: Floats | None, place: str, feed: str, name: str, long: object) -> Panel:
    """The voltage panel; a drop of less than a volt gets an axis of its own, without the feed."""
    if not callable(long):
        raise TypeError(long)
    if float(np.abs(probe).max()) < 1.5 and name in ("engine-block", "driver-ground"):
        return Panel("Voltage (V)", (Curve(probe, place),), 0, max(0.25, 1.2 * float(probe.max())))
    curves = [Curve(probe, place)]
    if feed_v is not None and name != "feed":
        curves.insert(0, Curve(long(feed_v), feed, compared=True))
    return Panel("Voltage (V)", tuple(curves), 0, 14, AXIS_V[1], AXIS_V[0], "V", height=130)


# --- to a file ------------------------------------------------------------------------------------


def png(svg: str, scale: float = 2.0) -> bytes:
    """The picture as PNG, two dots for each unit.

    Raises:
        UsageProblem: The package that draws it is not installed, or lacks its system library.
    """
    try:
        import cairosvg  # noqa: PLC0415  an optional extra
    except (ImportError, OSError) as error:
        raise UsageProblem(
            "A PNG file needs the package cairosvg and Debian's libcairo2: pip install 'bay-assistant[picture]'. "
            f"An SVG file needs neither; write it with --out FILE.svg. ({error})"
        ) from error
    return bytes(cairosvg.svg2png(bytestring=svg.encode(), scale=scale))


__all__ = ["MODEL_ONLY", "Said", "Sequence", "Trace", "about", "number", "png", "sheet", "symbols"]
