"""The picture of a captured ramp."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import pytest
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.tracing import trace
from assistant.circuit.winding import peak_current
from assistant.meter.dwells import CurrentCapture
from assistant.meter.ramp_picture import expected, svg

SVG = "{http://www.w3.org/2000/svg}"


def words(picture: str) -> list[str]:
    """Everything that is written in it."""
    return [one.text or "" for one in ET.fromstring(picture).iter(f"{SVG}text")]  # noqa: S314  our own


def test_the_sound_coil_and_the_suspected_fault_stand_beside_the_capture() -> None:
    """Each expectation has a panel of its own with the capture, and the text for who cannot see it names both."""
    one = trace(CIRCUIT, mechanism_named(CIRCUIT, "shorted-primary"), MEASURED, Systems.typical())
    capture = captured(one, Clamp(), np.random.default_rng(1))
    picture = svg(capture, expected(CIRCUIT, [("shorted-primary", "shorted turns")]))
    written = words(picture)
    assert 2 == written.count("captured")
    assert "sound coil" in written
    assert "shorted turns" in written
    about = ET.fromstring(picture).find(f"{SVG}desc")  # noqa: S314  our own
    assert about is not None
    assert "sound coil and shorted turns" in (about.text or "")


@pytest.mark.parametrize("values", [np.zeros(30000), np.full(30000, 8.0), np.zeros(10)])
def test_a_capture_without_dwells_is_drawn_too(values: np.ndarray) -> None:
    """No current, and one that never stops, are lines; it is said that there are no dwells."""
    picture = svg(CurrentCapture(values, 20000.0), [])
    assert any("no dwells" in line for line in words(picture))


def test_the_expected_peak_is_that_of_the_model() -> None:
    """The curve of the sound coil reaches the current of the closed form."""
    (sound,) = expected(CIRCUIT)
    closed = float(peak_current(Systems.typical().values)[0])
    assert closed == pytest.approx(sound.ampere.max(), rel=0.1)


def test_a_fault_that_the_circuit_cannot_have_is_told() -> None:
    """An unknown fault is a problem in words."""
    with pytest.raises(CircuitProblem):
        expected(CIRCUIT, [("no-such-fault", "nothing")])
