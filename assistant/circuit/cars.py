"""Some cars with a turning engine, as the steps need them: all that stays the same from one step to the next.

The network is reduced to three ports, which belong to the observer ("lamp"), the driver and the coil.
All arrays have the shape ``(rows,)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from assistant.circuit.catalogue import Circuit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Booleans = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Port:
    """The voltage at one port: its parts.

    Attributes:
        battery: The battery's part, in V.
        starter: For an ampere of the starter, in ohm.
        lamp: For an ampere through the observer.
        driver: For an ampere through the driver.
        coil: For an ampere through the coil.
    """

    battery: Floats
    starter: Floats
    lamp: Floats
    driver: Floats
    coil: Floats


@dataclass(frozen=True, eq=False)
class Surge:
    """The starter's current, in A, which swings with each compression.

    Attributes:
        period: Duration of a period of blinks, in s.
        omega: Angular frequency of the surges.
        mean: Mean current.
        half_swing: Half of peak to valley.
        dwell: For how long the driver is commanded on, in s.
        delay: From the peak of the current to the spark, in s.
    """

    period: Floats
    omega: Floats
    mean: Floats
    half_swing: Floats
    dwell: Floats
    delay: Floats

    def at(self, time: Floats) -> Floats:
        """The current at a time in s after the driver was switched on."""
        phase = self.omega * (time - self.dwell + self.delay)
        cosine = np.cos(phase)
        return np.asarray(self.mean + self.half_swing * (cosine + 0.25 * (2 * cosine * cosine - 1)))


@dataclass(frozen=True, eq=False)
class Coil:
    """The primary, with the secondary seen from its side.

    Attributes:
        resistance: In ohm; an open circuit if it is unplugged.
        inductance: In H.
        ratio: Turns of the secondary for one of the primary.
        breakdown: Voltage across the winding at which a spark begins; infinite if none can.
        burning: Voltage across the winding while it burns.
        spark: Conductance of a spark, or of shorted turns, in siemens.
        hold: Current below which a spark ends.
        capacitance: Of the secondary, in F.
        shorted: Turns are shorted.
    """

    resistance: Floats
    inductance: Floats
    ratio: Floats
    breakdown: Floats
    burning: Floats
    spark: Floats
    hold: Floats
    capacitance: Floats
    shorted: Booleans


@dataclass(frozen=True, eq=False)
class Driver:
    """The transistor.

    Attributes:
        saturation: Voltage across it while it is on, in V.
        on_ohm: Resistance beside that.
        limit: Current in A that it lets through at most.
        clamp: Voltage at which it conducts while it is off.
        protection_s: After this it switches off if the limit comes too soon.
        commanded: It is switched on and off.
        cap: Current in A above which it lets no more through here.
        trigger: Voltage that the module gives a driver in the coil while that is on.
        lamp_v: Voltage that this puts across the observer.
    """

    saturation: Floats
    on_ohm: Floats
    limit: Floats
    clamp: Floats
    protection_s: Floats
    commanded: Booleans
    cap: Floats
    trigger: Floats
    lamp_v: Floats


class Loaded(NamedTuple):
    """The network with the observer in it: volts at driver (d) and coil (p) for a volt or an ampere elsewhere.

    Attributes:
        conductance: Ampere through the observer for a volt across it unloaded.
        scale: Share of the unloaded voltage that is left under it.
        d: Volts at the driver for a volt across the unloaded observer.
        p: The same at the coil.
        dd: Volts at the driver for an ampere through it, in ohm.
        dp: At the driver for an ampere through the coil.
        pd: At the coil for an ampere through the driver.
        pp: At the coil for an ampere through it.
    """

    conductance: Floats
    scale: Floats
    d: Floats
    p: Floats
    dd: Floats
    dp: Floats
    pd: Floats
    pp: Floats


@dataclass(frozen=True, eq=False)
class Car:
    """Some cars, as the steps need them."""

    count: int
    circuit: Circuit
    at_lamp: Port
    at_driver: Port
    at_coil: Port
    coil: Coil
    driver: Driver
    surge: Surge

    def loaded(self, conductance: Floats) -> Loaded:
        """The network with an observer of this conductance."""
        lamp, driver, coil = self.at_lamp, self.at_driver, self.at_coil
        share = 1 - conductance * lamp.lamp
        through = conductance / share
        d, p = driver.lamp * through, coil.lamp * through
        return Loaded(
            through,
            1 / share,
            d,
            p,
            driver.driver + d * lamp.driver,
            driver.coil + d * lamp.coil,
            coil.driver + p * lamp.driver,
            coil.coil + p * lamp.coil,
        )

    def driven(self, load: Loaded, starter: Floats, lamp_v: Floats) -> tuple[Floats, Floats]:
        """Voltage at driver and coil without currents of their own, and with this one across the unloaded observer."""
        driver, coil = self.at_driver, self.at_coil
        return (
            driver.battery + driver.starter * starter + load.d * lamp_v,
            coil.battery + coil.starter * starter + load.p * lamp_v,
        )
