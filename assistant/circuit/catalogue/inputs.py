"""Reasons why the driver gets no command: missing signals and supplies, the immobilizer."""

from __future__ import annotations

from assistant.circuit.catalogue.circuits import WITH_COIL
from assistant.circuit.catalogue.mechanism import (
    Mechanism,
    flags,
)

MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism(
        "no-inputs",
        "crank-signal-missing",
        "no crank signal: the driver does not switch",
        flags=flags("driver-off", "crank-signal-missing"),
    ),
    Mechanism(
        "no-inputs",
        "crank-signal-missing-relay-drops-out",
        "no crank signal: the control computer lets the feed relay drop out",
        flags=flags("driver-off", "crank-signal-missing", "relay-drops-out", "relay-control-drops-out"),
    ),
    Mechanism(
        "no-inputs",
        "sensor-not-supplied",
        "the crank sensor has no supply: no crank signal, the driver does not switch",
        flags=flags("driver-off", "crank-signal-missing", "sensor-supply-missing"),
    ),
    Mechanism(
        "no-inputs",
        "cam-signal-missing",
        "no cam signal: the driver does not switch",
        flags=flags("driver-off", "cam-signal-missing"),
    ),
    Mechanism(
        "no-inputs",
        "command-missing",
        "the control computer sends the igniter no command",
        flags=flags("driver-off", "command-missing"),
        circuits=WITH_COIL,
    ),
    Mechanism(
        "no-inputs",
        "immobilizer",
        "the immobilizer holds the driver; the security lamp shows it",
        flags=flags("driver-off", "security-lamp"),
    ),
)
