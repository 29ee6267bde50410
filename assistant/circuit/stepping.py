"""Time stepping in three phases: the driver is on (`dwell`), it switches off (`flyback`), it is off (`rest`).

The circuit between two events has one inductor, so its current follows an exponential that is known in closed
form; only the flyback, where the winding's capacitance matters, is stepped in microseconds.
The lamp's heat is stepped with the mean square voltage of each step, energy of the flyback included.

All arrays have the shape ``(rows,)``.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.circuit.cars import Car, Loaded
    from assistant.circuit.moving import Kept, Moving

    Floats = NDArray[np.float64]

DWELL_STEPS = 16
FLYBACK_FINE_STEPS = 40
FLYBACK_FINE_S = 4e-6
FLYBACK_FINE_GROUPS = 8
FLYBACK_GROUPS = 10
FLYBACK_GROUP_STEPS = 4
FLYBACK_S = 4e-3
"""After the fine steps: longer than a spark of the default system burns."""
REST_STEPS = 30
"""For one surge of the starter."""
CLAMP_OHM = 0.5
"""Of the clamp and of the reverse diode; chosen, not fitted."""
DIODE_V = -0.8
"""Below this the driver's reverse diode conducts."""
LIMIT_CHECK_S = 1e-3


# --- the driver is on ----------------------------------------------------------------------------------


class _On(NamedTuple):
    """The network while the driver is on.

    Attributes:
        load: It, with the observer.
        lamp_v: Voltage across the unloaded observer without the starter's part.
        pull: Ampere through the driver for a volt across it and its resistance.
        r_on: Resistance that the coil's current sees, in ohm.
        r_off: The same without the driver.
    """

    load: Loaded
    lamp_v: Floats
    pull: Floats
    r_on: Floats
    r_off: Floats


def _on(car: Car, conductance: Floats) -> _On:
    load = car.loaded(conductance)
    pull = 1 / (car.driver.on_ohm - load.dd)
    resistance = car.coil.resistance
    return _On(
        load,
        car.at_lamp.battery + car.driver.lamp_v,
        pull,
        resistance - load.pp - load.pd * pull * load.dp,
        resistance - load.pp,
    )


def dwell(car: Car, now: Moving, kept: Kept | None) -> Floats:
    """Step through the time in which the driver is on, or would be.

    Args:
        car: The cars.
        now: The moving state.
        kept: Takes the results of this period; None if nobody needs them.

    Returns:
        When the driver switches off, in s after it was switched on.
    """
    on = _on(car, now.conductance)
    zero = np.zeros(car.count)
    starter = car.surge.at(zero)
    now.used, now.level = now.conductance, zero
    before = car.at_lamp.battery + car.at_lamp.starter * starter
    now.volts = (before + car.at_lamp.coil * now.current) * on.load.scale
    if kept:
        kept.note(zero, now)
        kept.step(zero, starter, zero, now.current, now)
    now.level = car.driver.trigger
    off = _switching_off(car, on, now.current, starter)
    fractions = (np.arange(DWELL_STEPS + 1) / DWELL_STEPS) ** 1.5
    for first, second in itertools.pairwise(fractions):
        starter = car.surge.at(off * ((first + second) / 2))
        driver = _dwell_step(car, on, now, kept, starter, (off * first, off * (second - first)))
        if kept:
            kept.note(off * second, now)
            kept.step(off * second, starter, driver, now.current, now)
    return off


def _switching_off(car: Car, on: _On, current: Floats, starter: Floats) -> Floats:
    """When the driver switches off: at the end of the dwell, or earlier to protect itself."""
    driver, load = car.driver, on.load
    b_d, b_p = car.driven(load, starter, on.lamp_v + car.at_lamp.starter * starter)
    final = (b_p + load.pd * on.pull * (b_d - driver.saturation)) / on.r_on
    at_check = final + (current - final) * np.exp(-LIMIT_CHECK_S * on.r_on / car.coil.inductance)
    quick = on.pull * (b_d - driver.saturation + load.dp * at_check) > driver.limit
    dwell_s = car.surge.dwell
    return np.where(driver.commanded & quick, np.minimum(dwell_s, driver.protection_s), dwell_s)


def _dwell_step(
    car: Car, on: _On, now: Moving, kept: Kept | None, starter: Floats, during: tuple[Floats, Floats]
) -> Floats:
    """One step, which begins at a time and lasts for another; returns the driver's current at its end."""
    load, cap, inductance = on.load, car.driver.cap, car.coil.inductance
    begin_s, step = during
    b_l = on.lamp_v + car.at_lamp.starter * starter
    b_d, b_p = car.driven(load, starter, b_l)
    pull, per_ampere = on.pull * (b_d - car.driver.saturation), on.pull * load.dp
    before = now.current
    final = (b_p + load.pd * pull) / on.r_on
    after = final + (before - final) * np.exp(-step * on.r_on / inductance)
    driver = pull + per_ampere * after
    limited = car.driver.commanded & (driver > cap)
    if kept:
        # The current of this step is an exponential, so that the moment of the limit is known exactly.
        at_limit = (cap - pull) / per_ampere
        with np.errstate(divide="ignore", invalid="ignore"):
            into = -inductance / on.r_on * np.log((final - at_limit) / (final - before))
        met = begin_s + np.clip(np.nan_to_num(into), 0.0, step)
        kept.limit_s = np.where(limited & np.isinf(kept.limit_s), met, kept.limit_s)
    by_hand = limited | ~car.driver.commanded | (driver < 0)
    fixed = np.where(limited, cap, 0.0)
    final = (b_p + load.pd * fixed) / on.r_off
    held = final + (before - final) * np.exp(-step * on.r_off / inductance)
    now.current = np.where(by_hand, held, after)
    first_driver = pull + per_ampere * before
    # If the limit is met within the step: the share of the step before that, saturated.
    crossing = limited & (first_driver < cap)
    rise = np.where(crossing, driver - first_driver, 1.0)
    early = np.where(crossing, (cap - first_driver) / rise, 0.0)
    begin = np.where(by_hand & ~crossing, fixed, first_driver)
    driver = np.where(by_hand, fixed, driver)
    v_0 = (b_l + car.at_lamp.driver * begin + car.at_lamp.coil * before) * load.scale
    now.volts = volts = (b_l + car.at_lamp.driver * driver + car.at_lamp.coil * now.current) * load.scale
    smooth = (v_0 * v_0 + v_0 * volts + volts * volts) / 3
    now.heat(np.where(crossing, early * v_0 * v_0 + (1 - early) * volts * volts, smooth), step)
    if kept:
        mean_v = np.where(crossing, early * v_0 + (1 - early) * volts, 0.5 * (v_0 + volts))
        # A trigger is high while the driver is on.
        kept.span(volts, now.current, top=car.circuit.kind == "built-in")
        kept.charge += 0.5 * (before + now.current) * step
        kept.area += mean_v * step
    return driver


# --- the driver switches off: capacitance, spark, clamp ------------------------------------------------


class _Swing:
    """The state of a flyback: the winding's voltage, and whether a spark burns.

    Args:
        car: The cars.
    """

    def __init__(self, car: Car) -> None:
        self.winding = np.zeros(car.count)
        self.burns = car.coil.shorted.copy()


class _Off(NamedTuple):
    """The network for some steps after the driver switched off, with the observer as it is then.

    Attributes:
        load: It.
        lamp_v: Voltage across the unloaded observer.
        b_d: Voltage at the driver without currents of its own and the coil's.
        b_p: The same at the coil.
        clamping: Siemens of the clamp or the diode with the network.
        u_clamp: Voltage that the winding swings about while the clamp conducts.
        u_diode: The same for the diode.
        g_off: Siemens that load the winding while neither conducts.
        g_clamp: The same while one does.
        step: Duration of a step in s.
        fine: Steps conserve the energy of the swing; coarse ones are damped and take any step.
    """

    load: Loaded
    lamp_v: Floats
    b_d: Floats
    b_p: Floats
    clamping: Floats
    u_clamp: Floats
    u_diode: Floats
    g_off: Floats
    g_clamp: Floats
    step: float
    fine: bool


def _off(car: Car, conductance: Floats, starter: Floats, *, fine: bool) -> _Off:
    load = car.loaded(conductance)
    lamp_v = car.at_lamp.battery + car.at_lamp.starter * starter
    b_d, b_p = car.driven(load, starter, lamp_v)
    resistance = car.coil.resistance
    clamping = 1 / (CLAMP_OHM - load.dd)
    drive = load.pd * clamping
    return _Off(
        load,
        lamp_v,
        b_d,
        b_p,
        clamping,
        b_p + drive * (b_d - car.driver.clamp),
        b_p + drive * (b_d - DIODE_V),
        1 / (resistance - load.pp),
        1 / (resistance - load.pp - load.pd * clamping * load.dp),
        FLYBACK_FINE_S if fine else FLYBACK_S / (FLYBACK_GROUPS * FLYBACK_GROUP_STEPS),
        fine,
    )


def flyback(car: Car, now: Moving, kept: Kept | None, off: Floats) -> Floats:
    """Step through some milliseconds after the driver has switched off.

    Args:
        car: The cars.
        now: The moving state.
        kept: Takes the results of this period; None if nobody needs them.
        off: When the driver switched off, in s after it was switched on.

    Returns:
        The time at the end, in s after the driver was switched on.
    """
    time = off
    now.level = np.zeros(car.count)
    swing = _Swing(car)
    starter = car.surge.at(off)
    for group in range(FLYBACK_FINE_GROUPS + FLYBACK_GROUPS):
        fine = group < FLYBACK_FINE_GROUPS
        now.used = now.conductance
        network = _off(car, now.conductance, starter, fine=fine)
        for _ in range(FLYBACK_FINE_STEPS // FLYBACK_FINE_GROUPS if fine else FLYBACK_GROUP_STEPS):
            driver, coil = _flyback_step(car, network, now, swing)
            time = time + network.step
            if kept:
                kept.area += now.volts * network.step
                kept.step(time, starter, driver, coil, now)
        if kept and group >= FLYBACK_FINE_GROUPS - 1:
            kept.note(time, now)
    return time


def _flyback_step(car: Car, net: _Off, now: Moving, swing: _Swing) -> tuple[Floats, Floats]:
    """One step; returns the currents through the driver and at the coil's terminals at its end."""
    coil, clamp, step = car.coil, car.driver.clamp, net.step
    farads = coil.capacitance / step
    damped = 0.0 if net.fine else step / coil.inductance
    spark = np.where(swing.burns, coil.spark, 0.0)
    push = farads * swing.winding - now.current - spark * coil.burning
    load = farads + damped + spark
    turned = (push + net.b_p * net.g_off) / (load + net.g_off)
    branch = (net.b_p - turned) * net.g_off
    node = net.b_d + net.load.dp * branch
    under = node < DIODE_V
    over = (node > clamp) | under
    u_held = np.where(under, net.u_diode, net.u_clamp)
    clamped = (push + u_held * net.g_clamp) / (load + net.g_clamp)
    swing.winding = np.where(over, clamped, turned)
    branch = np.where(over, (u_held - clamped) * net.g_clamp, branch)
    held_at = np.where(under, DIODE_V, clamp)
    driver = np.where(over, net.clamping * (net.b_d - held_at + net.load.dp * branch), 0.0)
    now.current = now.current + step / coil.inductance * swing.winding
    v_0 = now.volts
    now.volts = volts = (
        net.lamp_v + car.at_lamp.driver * driver + car.at_lamp.coil * branch
    ) * net.load.scale
    across_gap = -swing.winding
    np.maximum(now.available, across_gap * coil.ratio, out=now.available)
    ends = swing.burns & (coil.spark * (across_gap - coil.burning) < coil.hold)
    swing.burns = (swing.burns & ~ends) | (across_gap > coil.breakdown)
    now.heat(volts * volts if net.fine else (v_0 * v_0 + v_0 * volts + volts * volts) / 3, step)
    return driver, branch


# --- the driver is off ---------------------------------------------------------------------------------


def rest(car: Car, now: Moving, kept: Kept | None, begin: Floats) -> None:
    """Step through the rest of the period.

    Args:
        car: The cars.
        now: The moving state.
        kept: Takes the results of this period; None if nobody needs them.
        begin: When it begins, in s after the driver was switched on.
    """
    count = REST_STEPS * car.circuit.surges
    step = (car.surge.period - begin) / count
    zero = np.zeros(car.count)
    lamp, coil = car.at_lamp, car.at_coil
    for number in range(count):
        time = begin + step * (number + 1)
        starter = car.surge.at(time - 0.5 * step)
        lamp_v = lamp.battery + lamp.starter * starter
        now.used = now.conductance
        k = now.conductance / (1 - now.conductance * lamp.lamp)
        p = coil.lamp * k
        ohm = car.coil.resistance - coil.coil - p * lamp.coil
        final = (coil.battery + coil.starter * starter + p * lamp_v) / ohm
        now.current = final + (now.current - final) * np.exp(-step * ohm / car.coil.inductance)
        now.volts = volts = (lamp_v + lamp.coil * now.current) * (k / now.conductance)
        now.heat(volts * volts, step)
        if kept:
            kept.span(volts, now.current, top=True)
            np.minimum(kept.least, now.current, out=kept.least)
            kept.charge += now.current * step
            kept.area += volts * step
            kept.note(time, now)
            kept.step(time, starter, zero, now.current, now)
