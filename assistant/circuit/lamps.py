"""Observers of a voltage: filament lamps with their heat, and those without a filament.

A filament is one temperature: ``C(T) dT/dt = V^2/R - loss(T)`` with ``R = R_d (T/T_d)^1.2`` and a loss that is
mostly radiation, ``(T^a - T0^a)`` with a = 4.5, and for a share f conduction through leads and gas.
The heat capacity is tungsten's; light is Planck's law weighted by the eye's sensitivity to wavelength.
Rated volts, amperes and candle power are catalogue values of miniature lamps; design temperature, mass and f are
chosen so that rated efficacy comes out, not fitted to a measured lamp.
The light's exponent in voltage is 3.7 to 4.3 here, where re-rating tables of lamp makers say 3.4 to 3.5.

A filament does not go out in 4 ms: its time constant is 25 to 90 ms, so practice's "the lamp goes out" is, in
this model, a dip of 10 to 30 % in light.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.problems import CircuitProblem
from assistant.core.nearest import among

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ROOM_K = 300.0
COLDEST_K = 280.0
HOTTEST_K = 3660.0
"""Tungsten melts at 3695 K; the model holds a filament just below and lets it live."""

GRID_PER_K = 4
LOSS_EXPONENT = 4.5
RESISTANCE_EXPONENT = 1.2


@dataclass(frozen=True)
class Lamp:
    """One observer of voltage that can take the place of the test lamp.

    Attributes:
        name: Miniature lamp number, or another name.
        about: Description in words.
        volts: Rated voltage; 0 for one without a filament.
        amperes: Rated current.
        design_k: Filament temperature at rated voltage, in kelvin.
        heat: Heat capacity of the filament at that temperature, in joule per kelvin.
        conduction: Share of the loss that is conduction.
        resistance: Of an observer without a filament, in ohm.
        threshold: Voltage below which an observer without a filament shows nothing.
        diode: It is a light-emitting diode, whose threshold opposes the current.
        level: It shows whether the voltage is above its threshold, and nothing in between.
    """

    name: str
    about: str
    volts: float = 0.0
    amperes: float = 0.0
    design_k: float = 0.0
    heat: float = 0.0
    conduction: float = 0.0
    resistance: float = 0.0
    threshold: float = 0.0
    # Left out of the text form from which the model's version is computed.
    diode: bool = field(default=False, repr=False)
    level: bool = field(default=False, repr=False)

    @property
    def filament(self) -> bool:
        """Whether it has one."""
        return self.volts > 0


LAMPS: dict[str, Lamp] = {
    lamp.name: lamp
    for lamp in (
        Lamp("53", "small lamp, 0.12 A", 14.4, 0.12, 2341, 0.097e-3, 0.12),
        Lamp("194", "test lamp, 0.27 A", 14.0, 0.27, 2306, 0.394e-3, 0.12),
        Lamp("89", "lamp of 0.6 A", 13.0, 0.58, 2511, 0.756e-3, 0.2),
        Lamp("1156", "heavy lamp, 2.1 A", 12.8, 2.1, 2756, 3.68e-3, 0.2),
        Lamp(
            "led",
            "test light with a light-emitting diode, 1 kilohm in series",
            resistance=1e3,
            threshold=1.8,
            diode=True,
        ),
        Lamp("high-impedance-meter", "digital meter, 10 megohm", resistance=10e6),
        Lamp(
            "logic-probe",
            "logic probe, 1 megohm, high above 2.5 V",
            resistance=1e6,
            threshold=2.5,
            level=True,
        ),
    )
}
TEST_LAMP = "194"
HEAVY_LAMP = "1156"
METER = LAMPS["high-impedance-meter"]
NO_OBSERVER = Lamp("nothing", "nothing connected", resistance=1e9)


def lamp_named(name: str) -> Lamp:
    """The lamp of this name.

    Raises:
        CircuitProblem: There is none; the message names the known ones.
    """
    if name not in LAMPS:
        raise CircuitProblem(f"There is no lamp '{name}'. {among(name, LAMPS)}.")
    return LAMPS[name]


def tungsten_heat(kelvin: Floats) -> Floats:
    """Specific heat of tungsten, in J/(kg K): White and Minges' form, from memory, good to about 2 %."""
    ratio = np.maximum(1 - 4805.0 / kelvin**2, 0.5)
    return np.asarray((24.943 * ratio + 1.674e-3 * kelvin + 4.25e-10 * kelvin**3) / 0.18384)


def visible_light(kelvin: Floats) -> Floats:
    """Light of a black body as the eye weights it, in arbitrary units.

    Planck's law times the day sight function V(wavelength), here the usual Gaussian stand-in
    ``1.019 exp(-285.4 (micrometre - 0.559)^2)``.
    """
    wavelength = np.linspace(0.38, 0.78, 81)
    weight = 1.019 * np.exp(-285.4 * (wavelength - 0.559) ** 2)
    radiance = wavelength[:, None] ** -5 / np.expm1(14387.77 / (wavelength[:, None] * kelvin[None, :]))
    return np.asarray((weight[:, None] * radiance).sum(axis=0))


@dataclass(frozen=True)
class Filament:
    """A lamp's filament as tables over temperature, `GRID_PER_K` entries a kelvin from `COLDEST_K`.

    Attributes:
        kelvin: Temperature.
        conductance: Of the filament, in siemens.
        loss: Power lost at this temperature, in watt.
        loss_slope: Its derivative, in watt per kelvin.
        heat: One over the heat capacity, in kelvin per joule.
        light: Light relative to rated light.
        volts: Steady voltage that holds this temperature.
    """

    kelvin: Floats
    conductance: Floats
    loss: Floats
    loss_slope: Floats
    heat: Floats
    light: Floats
    volts: Floats

    def place(self, kelvin: Floats) -> NDArray[np.intp]:
        """Indices of these temperatures in the tables."""
        return ((kelvin - COLDEST_K) * GRID_PER_K + 0.5).astype(np.intp)

    def steady_kelvin(self, volts: Floats) -> Floats:
        """Temperature that a steady voltage holds."""
        return np.interp(np.abs(volts), self.volts, self.kelvin)

    def light_at(self, kelvin: Floats) -> Floats:
        """Light relative to rated light at these temperatures."""
        return np.interp(kelvin, self.kelvin, self.light)


@cache
def filament(lamp: Lamp) -> Filament:
    """The tables of a lamp with a filament; computed once for each lamp."""
    kelvin = np.arange(COLDEST_K, HOTTEST_K + 1, 1 / GRID_PER_K)
    rated = lamp.volts / lamp.amperes
    conductance = 1 / (rated * (kelvin / lamp.design_k) ** RESISTANCE_EXPONENT)
    radiated = (kelvin**LOSS_EXPONENT - ROOM_K**LOSS_EXPONENT) / (
        lamp.design_k**LOSS_EXPONENT - ROOM_K**LOSS_EXPONENT
    )
    conducted = (kelvin - ROOM_K) / (lamp.design_k - ROOM_K)
    loss = lamp.volts * lamp.amperes * ((1 - lamp.conduction) * radiated + lamp.conduction * conducted)
    design = np.array([lamp.design_k])
    heat = lamp.heat * tungsten_heat(kelvin) / tungsten_heat(design)
    light = visible_light(kelvin) / visible_light(design)
    volts = np.sqrt(np.maximum(loss, 0) / conductance)
    return Filament(kelvin, conductance, loss, np.gradient(loss, kelvin), 1 / heat, light, volts)


def tables_of(lamp: Lamp) -> Filament | None:
    """A lamp's tables, or None without a filament."""
    return filament(lamp) if lamp.filament else None


def brightness_of(lamp: Lamp, volts: Floats) -> Floats:
    """Light of a steady lamp at these voltages, relative to rated light, or to 10 mA for a light-emitting diode."""
    if lamp.filament:
        tables = filament(lamp)
        return tables.light_at(tables.steady_kelvin(volts))
    if lamp.level:
        return (volts > lamp.threshold).astype(float)
    return np.maximum(volts - lamp.threshold, 0) / lamp.resistance / 0.01
