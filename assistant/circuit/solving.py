"""Time stepping: one period of blinks, for all rows at once.

The circuit between two events has one inductor, so its current follows an exponential that is known in closed
form; only the flyback, where the winding's capacitance matters, is stepped in microseconds.
The lamp's heat is stepped with the mean square voltage of each step, energy of the flyback included.
Two periods are computed and the second is kept: a filament forgets the first by then.
What a car does and this does not is listed in `deviations.STATED`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import contacts
from assistant.circuit.beginning import (
    battery_of as battery_of,  # noqa: PLC0414 - others take it from here
    held_ohm,
    lifted_cap,
    speed_of as speed_of,  # noqa: PLC0414 - others take it from here
    start_of,
    swing_of,
    with_held,
)
from assistant.circuit.lamps import Lamp, brightness_of, filament
from assistant.circuit.network import CYLINDERS, HELD_ON, TRIGGER_THRESHOLD_V, Ports, Rows, reduce
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

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
SAMPLES = 128
"""Equally spaced samples of light for one surge."""
CLAMP_OHM = 0.5
"""Of the clamp and of the reverse diode; chosen, not fitted."""
DIODE_V = -0.8
"""Below this the driver's reverse diode conducts."""
LIMIT_CHECK_S = 1e-3
PERIODS = 2
FIXED_POINT_ROUNDS = 60


@dataclass
class Record:
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


@dataclass(frozen=True, eq=False)
class Waves:
    """What one simulation gives.

    Attributes:
        light: Equally spaced samples over a period, shape ``(rows, samples)``; None without a light.
        mean_v: Mean voltage across the observer, shape ``(rows,)``.
        peak_a: Greatest current through the coil, shape ``(rows,)``.
        top_v: Greatest voltage across the observer outside the flyback, shape ``(rows,)``.
        low_v: Least.
        period: Duration of a period in seconds, shape ``(rows,)``.
        available_v: Greatest secondary voltage reached, shape ``(rows,)``.
        least_a: Least current through the coil while the driver is off, shape ``(rows,)``.
        limit_s: Time from switching on until the driver limits the current; infinite where it does not.
        on_s: For how long the driver was on; 0 where it was never.
        mean_a: Mean current through the coil.
    """

    light: Floats | None
    mean_v: Floats
    peak_a: Floats
    top_v: Floats
    low_v: Floats
    period: Floats
    available_v: Floats
    least_a: Floats
    limit_s: Floats
    on_s: Floats
    mean_a: Floats


def steady_voltage(lamp: Lamp, source: Floats, resistance: Floats) -> tuple[Floats, Floats]:
    """Voltage across a lamp behind a resistance on direct current, and its temperature or 0.

    A filament starts cold, so of several possible states the coldest is taken.
    """
    if lamp.diode:
        # The diode's own voltage opposes the source; below it no current flows.
        drop = np.minimum(np.abs(source), lamp.threshold)
        ampere = (np.abs(source) - drop) / (resistance + lamp.resistance)
        return np.sign(source) * (drop + ampere * lamp.resistance), np.zeros_like(source)
    if not lamp.filament:
        return source / (1 + resistance / lamp.resistance), np.zeros_like(source)
    tables = filament(lamp)
    kelvin = np.full_like(source, 300.0)
    volts = source
    for _ in range(FIXED_POINT_ROUNDS):
        conductance = np.interp(kelvin, tables.kelvin, tables.conductance)
        volts = source / (1 + resistance * conductance)
        kelvin = tables.steady_kelvin(volts)
    return volts, kelvin


def turn(
    rows: Rows,
    engine: Engine,
    unplugged: Sequence[str],
    across: tuple[str, str],
    lamp: Lamp,
    record: Record | None = None,
) -> Waves:
    """Simulate a turning engine with an observer between two nodes.

    Args:
        rows: Systems with their faults.
        engine: Cranking or running.
        unplugged: Parts that are unplugged.
        across: Nodes of the observer, positive first.
        lamp: The observer.
        record: Where every step of the last period goes, for a picture.
    """
    start = start_of(rows, engine, unplugged, across, lamp)
    rows, gain = start.rows, start.gain
    values = rows.values
    built_in = rows.circuit.kind == "built-in"
    emf, mean_starter = battery_of(rows, engine)
    tables = filament(lamp) if lamp.filament else None

    surge = speed_of(rows, engine) * CYLINDERS / 120
    period = rows.circuit.surges / surge
    omega = 2 * np.pi * surge
    half_swing = swing_of(rows, engine)

    a_l, a_d, a_p = (gain[port]["battery"] * emf for port in ("lamp", "driver", "coil"))
    s_l, s_d, s_p = (gain[port]["starter"] for port in ("lamp", "driver", "coil"))
    z_ll, z_ld, z_lp = (gain["lamp"][source] for source in ("lamp", "driver", "coil"))
    z_dl, z_dd, z_dp = (gain["driver"][source] for source in ("lamp", "driver", "coil"))
    z_pl, z_pd, z_pp = (gain["coil"][source] for source in ("lamp", "driver", "coil"))

    coil_in = "coil" not in unplugged
    resistance = values["primary-resistance"] if coil_in else np.full(rows.count, 1e8)
    inductance = values["primary-inductance"]
    ratio = values["turns-ratio"]
    breakdown = np.where(rows.flags["no-spark-path"], np.inf, values["breakdown-voltage"] / ratio)
    if rows.circuit.kind == "load":
        breakdown = np.full(rows.count, np.inf)
    # Shorted turns take the place of the spark: a resistance across the winding, from the first moment on.
    shorted = np.isfinite(values["shorted-turns"])
    burning = np.where(shorted, 0.0, values["burning-voltage"] / ratio)
    spark_g = np.where(shorted, 1 / values["shorted-turns"], ratio**2 / values["secondary-resistance"])
    hold = np.where(shorted, -np.inf, values["holding-current"] * ratio)
    capacitance = values["winding-capacitance"]
    saturation, on_ohm = values["driver-saturation"], values["driver-resistance"]
    limit, clamp = values["current-limit"], values["clamp-voltage"]

    conductance, kelvin, current = start.conductance, start.kelvin, start.current
    commanded, trigger, cap = start.commanded, start.trigger, start.cap
    t_l = gain["lamp"]["trigger"] * trigger

    dwell = values["dwell"]
    delay = values["spark-delay"] / 6 / speed_of(rows, engine)

    def starter_at(time: Floats) -> Floats:
        phase = omega * (time - dwell + delay)
        cosine = np.cos(phase)
        return np.asarray(mean_starter + half_swing * (cosine + 0.25 * (2 * cosine * cosine - 1)))

    times: list[Floats] = []
    kelvins: list[Floats] = []
    lights: list[Floats] = []
    area = np.zeros(rows.count)
    charge = np.zeros(rows.count)
    peak = np.zeros(rows.count)
    least = np.full(rows.count, np.inf)
    limit_s = np.full(rows.count, np.inf)
    top = np.full(rows.count, -np.inf)
    low_v = np.full(rows.count, np.inf)
    available = np.zeros(rows.count)
    volts = np.zeros(rows.count)
    lit = lamp.diode or lamp.level

    def heat(square: Floats, step: Floats | float) -> None:
        """One step of the lamp's heat, second order in the step."""
        nonlocal kelvin, conductance
        if tables is None:
            return
        place = tables.place(kelvin)
        power = square * tables.conductance[place]
        rise = tables.heat[place]
        slope = (1.2 * power / kelvin + tables.loss_slope[place]) * rise
        kelvin = kelvin + step * (power - tables.loss[place]) * rise / (1 + 0.5 * step * slope)
        np.minimum(kelvin, tables.kelvin[-1], out=kelvin)
        np.maximum(kelvin, tables.kelvin[0], out=kelvin)
        conductance = tables.conductance[tables.place(kelvin)]

    for number in range(PERIODS):
        kept = number == PERIODS - 1

        def note(time: Floats) -> None:
            if not kept:  # noqa: B023
                return
            times.append(time)
            if tables is not None:
                kelvins.append(kelvin)
            elif lit:
                lights.append(brightness_of(lamp, np.abs(volts)))  # noqa: B023

        def keep(time: Floats, starter: Floats, driver: Floats, coil: Floats) -> None:
            if record is None or not kept:  # noqa: B023
                return
            record.time.append(np.array(time))
            record.starter.append(np.array(starter))
            record.coil.append(np.array(coil))
            record.driver.append(np.array(driver))
            record.lamp.append(volts * used)  # noqa: B023
            record.trigger.append(level)  # noqa: B023
            record.lamp_v.append(np.array(volts))  # noqa: B023
            record.kelvin.append(np.array(kelvin))

        # Dwell: the driver is on.
        used = conductance
        k = conductance / (1 - conductance * z_ll)
        scale = 1 / (1 - conductance * z_ll)
        d_dd, d_dp = z_dd + z_dl * k * z_ld, z_dp + z_dl * k * z_lp
        d_pd, d_pp = z_pd + z_pl * k * z_ld, z_pp + z_pl * k * z_lp
        through = 1 / (on_ohm - d_dd)
        r_on = resistance - d_pp - d_pd * through * d_dp
        r_off = resistance - d_pp
        starter = starter_at(np.zeros(rows.count))
        b_l = a_l + t_l + s_l * starter
        b_d = a_d + s_d * starter + z_dl * k * b_l
        b_p = a_p + s_p * starter + z_pl * k * b_l
        zero = np.zeros(rows.count)
        level = zero
        volts = (a_l + s_l * starter + z_lp * current) * scale
        note(zero)
        keep(zero, starter, zero, current)
        level = trigger
        final = (b_p + d_pd * through * (b_d - saturation)) / r_on
        at_check = final + (current - final) * np.exp(-LIMIT_CHECK_S * r_on / inductance)
        quick = through * (b_d - saturation + d_dp * at_check) > limit
        off = np.where(commanded & quick, np.minimum(dwell, values["protection-time"]), dwell)
        driver = zero
        fractions = (np.arange(DWELL_STEPS + 1) / DWELL_STEPS) ** 1.5
        for first, second in itertools.pairwise(fractions):
            step = off * (second - first)
            starter = starter_at(off * ((first + second) / 2))
            b_l = a_l + t_l + s_l * starter
            b_d = a_d + s_d * starter + z_dl * k * b_l
            b_p = a_p + s_p * starter + z_pl * k * b_l
            pull = through * (b_d - saturation)
            final = (b_p + d_pd * pull) / r_on
            after = final + (current - final) * np.exp(-step * r_on / inductance)
            driver = pull + through * d_dp * after
            limited = commanded & (driver > cap)
            if kept:
                # The current of this step is an exponential, so that the moment of the limit is known exactly.
                at_limit = (cap - pull) / (through * d_dp)
                with np.errstate(divide="ignore", invalid="ignore"):
                    into = -inductance / r_on * np.log((final - at_limit) / (final - current))
                met = off * first + np.clip(np.nan_to_num(into), 0.0, step)
                limit_s = np.where(limited & np.isinf(limit_s), met, limit_s)
            idle = ~commanded | (driver < 0)
            fixed = np.where(limited, cap, 0.0)
            by_hand = limited | idle
            final = (b_p + d_pd * fixed) / r_off
            held = final + (current - final) * np.exp(-step * r_off / inductance)
            before = current
            current = np.where(by_hand, held, after)
            first_driver = pull + through * d_dp * before
            # Where the limit is met within the step: the share of the step before that, saturated.
            crossing = limited & (first_driver < cap)
            rise = np.where(crossing, driver - first_driver, 1.0)
            early = np.where(crossing, (cap - first_driver) / rise, 0.0)
            begin = np.where(by_hand & ~crossing, fixed, first_driver)
            driver = np.where(by_hand, fixed, driver)
            v_0 = (b_l + z_ld * begin + z_lp * before) * scale
            volts = (b_l + z_ld * driver + z_lp * current) * scale
            smooth = (v_0 * v_0 + v_0 * volts + volts * volts) / 3
            heat(np.where(crossing, early * v_0 * v_0 + (1 - early) * volts * volts, smooth), step)
            if kept:
                np.maximum(peak, current, out=peak)
                if built_in:  # a trigger is high while the driver is on
                    np.maximum(top, volts, out=top)
                np.minimum(low_v, volts, out=low_v)
                charge += 0.5 * (before + current) * step
                area += np.where(crossing, early * v_0 + (1 - early) * volts, 0.5 * (v_0 + volts)) * step
            note(off * second)
            keep(off * second, starter, driver, current)

        # The driver switches off: capacitance, spark, clamp.
        time = off
        level = zero
        winding = np.zeros(rows.count)
        spark = shorted.copy()
        starter = starter_at(off)
        b_raw = a_l + s_l * starter
        for group in range(FLYBACK_FINE_GROUPS + FLYBACK_GROUPS):
            fine = group < FLYBACK_FINE_GROUPS
            step = FLYBACK_FINE_S if fine else FLYBACK_S / (FLYBACK_GROUPS * FLYBACK_GROUP_STEPS)
            used = conductance
            k = conductance / (1 - conductance * z_ll)
            scale = 1 / (1 - conductance * z_ll)
            d_dd, d_dp = z_dd + z_dl * k * z_ld, z_dp + z_dl * k * z_lp
            d_pd, d_pp = z_pd + z_pl * k * z_ld, z_pp + z_pl * k * z_lp
            b_d = a_d + s_d * starter + z_dl * k * b_raw
            b_p = a_p + s_p * starter + z_pl * k * b_raw
            g_off = 1 / (resistance - d_pp)
            clamping = 1 / (CLAMP_OHM - d_dd)
            drive = d_pd * clamping
            u_clamp, u_diode = b_p + drive * (b_d - clamp), b_p + drive * (b_d - DIODE_V)
            g_clamp = 1 / (resistance - d_pp - d_pd * clamping * d_dp)
            farads = capacitance / step
            # Fine steps conserve the energy of the swing; coarse ones are damped and take any step.
            damped = 0.0 if fine else step / inductance
            for _ in range(FLYBACK_FINE_STEPS // FLYBACK_FINE_GROUPS if fine else FLYBACK_GROUP_STEPS):
                spark_part = np.where(spark, spark_g, 0.0)
                push = farads * winding - current - spark_part * burning
                load = farads + damped + spark_part
                turned = (push + b_p * g_off) / (load + g_off)
                branch = (b_p - turned) * g_off
                node = b_d + d_dp * branch
                under = node < DIODE_V
                over = (node > clamp) | under
                u_held = np.where(under, u_diode, u_clamp)
                clamped = (push + u_held * g_clamp) / (load + g_clamp)
                winding = np.where(over, clamped, turned)
                branch = np.where(over, (u_held - clamped) * g_clamp, branch)
                held_at = np.where(under, DIODE_V, clamp)
                driver = np.where(over, clamping * (b_d - held_at + d_dp * branch), 0.0)
                current = current + step / inductance * winding
                v_0 = volts
                volts = (b_raw + z_ld * driver + z_lp * branch) * scale
                across_gap = -winding
                np.maximum(available, across_gap * ratio, out=available)
                ends = spark & (spark_g * (across_gap - burning) < hold)
                spark = (spark & ~ends) | (across_gap > breakdown)
                square = volts * volts if fine else (v_0 * v_0 + v_0 * volts + volts * volts) / 3
                heat(square, step)
                time = time + step
                if kept:
                    area += volts * step
                keep(time, starter, driver, branch)
            if group >= FLYBACK_FINE_GROUPS - 1:
                note(time)

        # The rest of the period: the driver is off.
        count = REST_STEPS * rows.circuit.surges
        step = (period - time) / count
        begin_rest = time
        for number_of_step in range(count):
            time = begin_rest + step * (number_of_step + 1)
            starter = starter_at(time - 0.5 * step)
            b_raw = a_l + s_l * starter
            used = conductance
            k = conductance / (1 - conductance * z_ll)
            final = (a_p + s_p * starter + z_pl * k * b_raw) / (resistance - z_pp - z_pl * k * z_lp)
            rest = np.exp(-step * (resistance - z_pp - z_pl * k * z_lp) / inductance)
            current = final + (current - final) * rest
            volts = (b_raw + z_lp * current) * (k / conductance)
            heat(volts * volts, step)
            if kept:
                np.maximum(peak, current, out=peak)
                np.minimum(least, current, out=least)
                np.maximum(top, volts, out=top)
                np.minimum(low_v, volts, out=low_v)
                charge += current * step
                area += volts * step
            note(time)
            keep(time, starter, zero, current)

    samples = SAMPLES * rows.circuit.surges
    light: Floats | None = None
    if tables is not None:
        light = _even(times, [tables.light_at(entry) for entry in kelvins], period, samples)
    elif lit:
        light = _even(times, lights, period, samples)
    on_s = np.where(commanded, off, 0.0)
    return Waves(
        light, area / period, peak, top, low_v, period, available, least, limit_s, on_s, charge / period
    )


def _even(times: list[Floats], light: list[Floats], period: Floats, samples: int) -> Floats:
    """Values at unequal times of each row, as equally spaced samples of shape ``(rows, samples)``."""
    known = np.stack(times, axis=1) / period[:, None]
    rows = np.arange(known.shape[0])[:, None] * 2.0
    wanted = (np.arange(samples) + 0.5) / samples + rows
    found = np.interp(wanted.ravel(), (known + rows).ravel(), np.stack(light, axis=1).ravel())
    return found.reshape(wanted.shape)


def steady(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str], lamp: Lamp
) -> tuple[Floats, Floats, Ports]:
    """Direct current: voltage across the observer, its temperature (0 without a filament), and the ports."""
    return _steady(settled(rows, engine, unplugged, across, lamp), engine, unplugged, across, lamp, {})


def _steady(
    rows: Rows,
    engine: Engine,
    unplugged: Sequence[str],
    across: tuple[str, str],
    lamp: Lamp,
    extra: dict[str, tuple[str, str]],
) -> tuple[Floats, Floats, Ports]:
    emf, starter = battery_of(rows, engine)
    ports = reduce(
        rows, engine, unplugged, {"lamp": across, "feed-wire": ("fuse-load", "feed"), **extra}, steady=True
    )
    source = ports.gain["lamp"]["battery"] * emf + ports.gain["lamp"]["starter"] * starter
    volts, kelvin = steady_voltage(lamp, source, -ports.gain["lamp"]["lamp"])
    return volts, kelvin, ports


def settled(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str], lamp: Lamp
) -> Rows:
    """The same rows, with contacts that fail under current and drivers that are held on as plain resistances.

    For whoever solves the network on their own with `network.reduce`; twice is the same as once.
    """
    worn = contacts.there(rows)
    built_in = rows.circuit.kind == "built-in" and "coil" not in unplugged
    if not worn and not built_in:
        return rows
    if engine in (Engine.CRANKING, Engine.RUNNING):
        return start_of(rows, engine, unplugged, across, lamp).rows
    emf, starter = battery_of(rows, engine)
    extra = {"trigger": ("switched", "coil-ground")} if built_in else {}
    if worn:
        extra |= contacts.ports()
    volts, _, ports = _steady(rows, engine, unplugged, across, lamp, extra)
    gain = ports.gain
    source = gain["lamp"]["battery"] * emf + gain["lamp"]["starter"] * starter
    drawn = (source - volts) / -gain["lamp"]["lamp"]
    sources = {"battery": emf, "starter": starter, "lamp": drawn}
    if built_in:
        seen = sum((gain["trigger"][name] * value for name, value in sources.items()), np.zeros(rows.count))
        held = (seen > TRIGGER_THRESHOLD_V) & ~rows.flags["coil-driver-off"] & np.isinf(rows.values[HELD_ON])
        if bool(held.any()):
            whole = reduce(rows, engine, unplugged, {"lamp": across, **extra}).gain
            cap = np.minimum(rows.values["current-limit"], lifted_cap(whole, seen))
            rows = with_held(rows, held, held_ohm(rows, whole, emf, starter, drawn, cap))
            return settled(rows, engine, unplugged, across, lamp)
    if worn:
        ampere = contacts.currents(rows, engine, gain, sources)
        return contacts.failed(rows, ampere, np.zeros(rows.count, dtype=bool))
    return rows


def resistance_between(
    rows: Rows, engine: Engine, unplugged: Sequence[str], across: tuple[str, str]
) -> Floats:
    """Resistance between two nodes with no source, in ohm, shape ``(rows,)``."""
    ports = reduce(rows, engine, unplugged, {"lamp": across}, steady=True)
    return -ports.gain["lamp"]["lamp"]
