"""The state that the steps of a turning engine change, and the results that are kept; arrays of shape ``(rows,)``."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.lamps import Lamp, brightness_of, tables_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.beginning import Start

    Floats = NDArray[np.float64]


class Moving:
    """The state that the steps change.

    Args:
        lamp: The observer.
        start: The first moment.
    """

    def __init__(self, lamp: Lamp, start: Start) -> None:
        self.lamp = lamp
        self.tables = tables_of(lamp)
        self.conductance = start.conductance
        self.kelvin = start.kelvin
        self.current = start.current
        nothing = np.zeros(start.rows.count)
        self.volts = nothing
        """Across the observer."""
        self.used = start.conductance
        """Conductance with which `volts` was computed."""
        self.level = nothing
        """Voltage that the module gives the trigger of a driver in the coil."""
        self.available = np.zeros(start.rows.count)
        """Greatest secondary voltage so far."""

    def heat(self, square: Floats, step: Floats | float) -> None:
        """One step of the lamp's heat with a mean square voltage, second order in the step."""
        tables = self.tables
        if tables is None:
            return
        place = tables.place(self.kelvin)
        power = square * tables.conductance[place]
        rise = tables.heat[place]
        slope = (1.2 * power / self.kelvin + tables.loss_slope[place]) * rise
        kelvin = self.kelvin + step * (power - tables.loss[place]) * rise / (1 + 0.5 * step * slope)
        np.minimum(kelvin, tables.kelvin[-1], out=kelvin)
        np.maximum(kelvin, tables.kelvin[0], out=kelvin)
        self.kelvin = kelvin
        self.conductance = tables.conductance[tables.place(kelvin)]


@dataclass
class Steps:
    """Every step of the kept period, for a picture; lists of arrays of shape ``(rows,)``.

    `coil` is the current at the coil's terminals: in the flyback it is not that which the magnetic field holds.
    """

    time: list[Floats] = field(default_factory=list)
    starter: list[Floats] = field(default_factory=list)
    coil: list[Floats] = field(default_factory=list)
    driver: list[Floats] = field(default_factory=list)
    lamp: list[Floats] = field(default_factory=list)
    trigger: list[Floats] = field(default_factory=list)
    lamp_v: list[Floats] = field(default_factory=list)
    kelvin: list[Floats] = field(default_factory=list)


class Kept:
    """Results of the last period.

    Args:
        count: Number of rows.
        steps: Takes every step; None if nobody draws them.
    """

    def __init__(self, count: int, steps: Steps | None) -> None:
        self.steps = steps
        self.times: list[Floats] = []
        self.lights: list[Floats] = []
        """Temperature of a filament, or brightness of another light, at `times`."""
        self.area = np.zeros(count)
        """Voltage across the observer, over time, in Vs."""
        self.charge = np.zeros(count)
        """Current through the coil, over time, in As."""
        self.peak = np.zeros(count)
        self.least = np.full(count, np.inf)
        self.limit_s = np.full(count, np.inf)
        self.top = np.full(count, -np.inf)
        self.low = np.full(count, np.inf)

    def span(self, volts: Floats, current: Floats, *, top: bool) -> None:
        """Widen the span of voltages and currents to these; the greatest voltage only if `top`."""
        np.maximum(self.peak, current, out=self.peak)
        np.minimum(self.low, volts, out=self.low)
        if top:
            np.maximum(self.top, volts, out=self.top)

    def note(self, time: Floats, now: Moving) -> None:
        """The light at this moment."""
        self.times.append(time)
        if now.tables is not None:
            self.lights.append(now.kelvin)
        elif now.lamp.diode or now.lamp.level:
            self.lights.append(brightness_of(now.lamp, np.abs(now.volts)))

    def step(self, time: Floats, starter: Floats, driver: Floats, coil: Floats, now: Moving) -> None:
        """The end of a step, for a picture."""
        if self.steps is None:
            return
        self.steps.time.append(np.array(time))
        self.steps.starter.append(np.array(starter))
        self.steps.coil.append(np.array(coil))
        self.steps.driver.append(np.array(driver))
        self.steps.lamp.append(now.volts * now.used)
        self.steps.trigger.append(now.level)
        self.steps.lamp_v.append(np.array(now.volts))
        self.steps.kelvin.append(np.array(now.kelvin))
