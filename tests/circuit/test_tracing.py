"""Curves over time of many faults at once."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from assistant.circuit.catalogue import CIRCUITS, mechanisms
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import trace, traces
from assistant.core.library.procedure import Engine, Measurement

TYPICAL = Systems.typical()


@pytest.mark.parametrize("circuit", [name for name, one in CIRCUITS.items() if not one.only])
def test_faults_traced_together_are_those_traced_alone(circuit: str) -> None:
    """Each curve of each fault is the same to twelve digits, whatever it is computed beside."""
    every = mechanisms(circuit)
    turning = Measurement("test-lamp", "battery-negative", "feed", Engine.CRANKING)
    for measure in (turning, replace(turning, instrument="voltmeter", engine=Engine.KEY_ON)):
        together = traces(circuit, every, measure, TYPICAL)
        assert len(every) == len(together)
        for mechanism, found in list(zip(every, together, strict=True))[::9]:
            alone = trace(circuit, mechanism, measure, TYPICAL)
            for part in fields(alone):
                one, other = getattr(alone, part.name), getattr(found, part.name)
                assert np.allclose(one, other, rtol=1e-12, atol=1e-12), (mechanism, part.name)
