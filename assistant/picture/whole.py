"""One sheet: the circuit with the instrument on it, the likely answers, and the curves over time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.words import reporting
from assistant.errors import UsageProblem
from assistant.packages import CAIRO, installing
from assistant.picture import connection, curves, plots, symbols
from assistant.picture.curves import shown
from assistant.picture.svg import LEAD, SOFT, Box, Canvas, wrapped

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step
    from assistant.picture.curves import Prediction

WIDTH = connection.WIDTH
MODEL_ONLY = (
    "From a circuit model. No bench or vehicle measurement stands behind it; "
    "its values were chosen, not fitted."
)
"""Note on every picture that shows curves or answers of the model."""


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
    for times, panels, unit in curves.panels(library, procedure.circuit, step, said):
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
        else shown(step, said)
    )
    return (
        f"{procedure.title}. {connection.about(step.measure, library.terms)} {said.fault}. "
        f"Most would answer: {seen}. {MODEL_ONLY}"
    )


def _heading(library: Library, procedure: Procedure, step: Step) -> list[str]:
    return [procedure.title, connection.about(step.measure, library.terms)]


# --- the answers ----------------------------------------------------------------------------------


def _answers(canvas: Canvas, y: float, library: Library, step: Step, said: Prediction) -> float:
    """A box for each answer, with the share of observers who would give it in words, figures and length."""
    choices = step.choices()
    head = "What would be answered"
    if step.reading is not None:
        head = f"The meter shows {shown(step, said)}"
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
            "A PNG file needs the package cairosvg (pip install 'bay-assistant[picture]') and Cairo. "
            f"{installing(CAIRO)}. An SVG file needs neither; write it with --out FILE.svg. ({error})"
        ) from error
    return bytes(cairosvg.svg2png(bytestring=svg.encode(), scale=scale))
