"""What a picture states is what it plots, and what loads the circuit stands in it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from shipped import shipped_library

from assistant.circuit.catalogue import mechanisms
from assistant.commands import picturing
from assistant.core.library.vocabulary import CLAMPS, HEAVY_LAMP_BETWEEN, NO_CIRCUIT, SENSES
from assistant.picture import connection, curves, loading

if TYPE_CHECKING:
    from assistant.core.library.procedure import Procedure, Step

LIBRARY = shipped_library()
MEASURED = [
    (procedure, step)
    for procedure in LIBRARY.procedures.values()
    for step in procedure.steps.values()
    if step.measure.instrument not in SENSES and procedure.circuit != NO_CIRCUIT
]
STEPS = [pytest.param(*pair, id=f"{pair[0].name}-{pair[1].name}") for pair in MEASURED]
READ = [
    param
    for param, (_, step) in zip(STEPS, MEASURED, strict=True)
    if step.reading is not None and step.reading.unit in ("V", "A")
]


def some(procedure: Procedure) -> list:  # type: ignore[type-arg]
    """Every fifth way in which a fault comes about on this circuit, the sound car first."""
    return mechanisms(procedure.circuit)[::5]


@pytest.mark.parametrize(("procedure", "step"), READ)
def test_the_stated_number_is_that_of_the_curve(procedure: Procedure, step: Step) -> None:
    """A voltmeter shows the mean of what is plotted, a clamp its peak, a starter's its steady draw; each is a line."""
    wanted = some(procedure)
    for mechanism, said in zip(wanted, picturing.each_said(LIBRARY, procedure, step, wanted), strict=True):
        assert said.value is not None
        assert said.trace is not None
        values = curves.read_off(step, said)
        assert values is not None
        if step.reading is not None and step.reading.unit == "V":
            time = said.trace.time
            read = float(np.trapezoid(values, time) / (time[-1] - time[0]))
            near = 0.02
        elif step.measure.probe == "starter-cable":
            read, near = float(np.median(values)), 0.15 * said.value
        elif step.measure.probe == "heavy-lamp-lead":
            read, near = float(values[: len(values) // 100].mean()), 0.01
        else:
            read, near = float(values.max()), 0.02
        assert read == pytest.approx(said.value, rel=0.02, abs=near), mechanism
        (_, panels, _), *_ = curves.panels(LIBRARY, procedure.circuit, step, said)
        stated = re.search(r": (?:the meter shows|peak|steady) (\S+) (?:V|A)", panels[0].title)
        assert stated
        assert stated.group(1) == curves.number(said.value)
        assert any(np.allclose(curve.values, said.value) for curve in panels[0].curves)


@pytest.mark.parametrize(("procedure", "step"), STEPS)
def test_the_quantity_of_the_answer_is_plotted(procedure: Procedure, step: Step) -> None:
    """Volts for a voltmeter, amperes for a clamp, light for a lamp; each title names its unit, each limit is a line."""
    (said,) = picturing.each_said(LIBRARY, procedure, step, mechanisms(procedure.circuit)[:1])
    groups = curves.panels(LIBRARY, procedure.circuit, step, said)
    panels = [panel for _, group, _ in groups for panel in group]
    titles = " | ".join(panel.title for panel in panels)
    if step.measure.instrument == "ohmmeter":
        assert not panels
        return
    assert all("(" in panel.title for panel in panels)
    if step.measure.instrument in CLAMPS:
        assert "(A)" in titles
    if step.measure.instrument == "led-light" or LIBRARY.terms.instruments[step.measure.instrument].filament:
        assert "Light of the" in titles
    if step.reading is not None and step.reading.unit in ("V", "A"):
        assert f"({step.reading.unit})" in panels[0].title
        numbers = {float(limit) for limit in curves.limits_of(step)}
        assert numbers <= set(panels[0].limits)


@pytest.mark.parametrize(("procedure", "step"), STEPS)
def test_the_load_of_a_drop_is_drawn_and_plotted(procedure: Procedure, step: Step) -> None:
    """Where the heavy lamp loads the circuit, it stands there on its two points, and its current is plotted."""
    measure = step.measure
    canvas = connection.drawn(procedure.circuit, measure, LIBRARY.terms)
    labels = [label.text for label in canvas.labels]
    loads = measure.instrument in HEAVY_LAMP_BETWEEN
    assert loads == (
        loading.NAME in labels and measure.probe != "heavy-lamp-lead" and measure.instrument != "heavy-lamp"
    )
    assert len(canvas.leads) == 2 * loads + len(
        [p for p in (measure.clip, measure.probe, measure.compared_with) if p]
    )
    if loads:
        (said,) = picturing.each_said(LIBRARY, procedure, step, mechanisms(procedure.circuit)[:1])
        assert said.trace is not None
        assert 1.0 < float(said.trace.load_a.mean()) < 3.0
        titles = [
            panel.title
            for _, group, _ in curves.panels(LIBRARY, procedure.circuit, step, said)
            for panel in group
        ]
        assert any("heavy lamp (A)" in title for title in titles)


@pytest.mark.parametrize(("procedure", "step"), STEPS)
def test_no_word_of_a_template_is_left_in_a_drawing(procedure: Procedure, step: Step) -> None:
    """The words for the leads are whole words, with nothing to be filled in."""
    canvas = connection.drawn(procedure.circuit, step.measure, LIBRARY.terms)
    assert not [label.text for label in canvas.labels if set("{}") & set(label.text)]
