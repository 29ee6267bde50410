"""Errors of the circuit model."""

from __future__ import annotations

from assistant.errors import BayAssistantError


class CircuitProblem(BayAssistantError):
    """The circuit cannot have this measurement, fault, lamp or parameter; the text says what it can have.

    A caller that read the measurement from a file puts ``file:line:`` before the sentence.
    """
