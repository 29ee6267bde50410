"""Checks of the circuit model against what others published, and against ngspice.

Each check names its source.  ngspice shares the element laws: it checks how they are solved, not the physics.
"""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.circuit import eye
from assistant.circuit.catalogue import CIRCUITS, mechanism_named
from assistant.circuit.lamps import LAMPS, NO_OBSERVER, filament, lamp_named, tungsten_heat
from assistant.circuit.moving import Steps
from assistant.circuit.netlist import Beginning, cranking_netlist
from assistant.circuit.network import GROUND, rows_of
from assistant.circuit.parameters import PARAMETERS, Systems
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.stepping import DWELL_STEPS
from assistant.circuit.turning import turn
from assistant.core.library.procedure import Engine

if TYPE_CHECKING:
    from pathlib import Path

COIL = CIRCUITS["coil-with-external-driver"]
FILAMENTS = [name for name, lamp in LAMPS.items() if lamp.filament]


@pytest.mark.parametrize("dwell", [4e-3, 8e-3, 20e-3])
def test_current_rises_as_the_closed_form_says(dwell: float) -> None:
    """Source: i = V/R (1 - exp(-t R/L)). Within 0.3 % of the final current, and the ripple's voltage beside it."""
    systems = Systems.typical(dwell=dwell, current_limit=100, starter_swing=0, polarisation=0)
    rows = rows_of(COIL, (mechanism_named(COIL.name, "none"),), systems)
    record = Steps()
    turn(rows, Engine.CRANKING, (), ("battery-positive", GROUND), NO_OBSERVER, record)
    value = {name: float(entry[0]) for name, entry in rows.values.items()}
    # Other loads on the battery are parts of the network: a source behind the battery's resistance.
    feed = value["feed-wire"] + value["fuse"]
    upstream = value["relay-link"] + value["relay"]
    posts = value["battery-voltage"] - value["battery-resistance"] * value["starter-current"]
    bus = value["other-ignition-loads"]
    source = posts * bus / (bus + upstream + value["battery-resistance"])
    inner = 1 / (1 / bus + 1 / (upstream + value["battery-resistance"]))
    ohm = inner + feed + value["primary-resistance"] + value["control-wire"]
    ohm += value["driver-resistance"] + value["module-ground"]
    final = (source - value["driver-saturation"]) / ohm
    wanted = final * (1 - np.exp(-dwell * ohm / value["primary-inductance"]))
    assert float(record.coil[DWELL_STEPS][0]) == pytest.approx(wanted, abs=0.003 * final)


@pytest.mark.parametrize("name", FILAMENTS)
def test_re_rating_exponents_are_those_of_lamp_makers(name: str) -> None:
    """Source: published re-rating laws of miniature lamps: current 0.55, power 1.6, light 3.4 to 3.5.

    Current and power agree within 0.06 and 0.1.  Light does not: the model's exponent is 3.6 to 4.3, because a
    black body's light is taken and the efficacy's change of a real lamp with its gas and supports is not.
    """
    lamp, tables = LAMPS[name], filament(LAMPS[name])
    volts = np.array([0.9, 1.1]) * lamp.volts
    kelvin = tables.steady_kelvin(volts)
    ampere = volts * np.interp(kelvin, tables.kelvin, tables.conductance)

    def exponent(value: np.ndarray) -> float:
        return float(np.log(value[1] / value[0]) / np.log(volts[1] / volts[0]))

    assert exponent(ampere) == pytest.approx(0.55, abs=0.06)
    assert exponent(ampere * volts) == pytest.approx(1.6, abs=0.1)
    assert 3.5 < exponent(tables.light_at(kelvin)) < 4.3


@pytest.mark.parametrize(
    ("name", "rated", "low"), [("53", 25, 34), ("194", 45, 61), ("89", 49, 61), ("1156", 76, 92)]
)
def test_time_constants_are_those_of_the_first_implementation(name: str, rated: float, low: float) -> None:
    """Source: the trade's notes, computed by another implementation; at rated voltage and 10.5 V, within 4 %."""
    lamp, tables = LAMPS[name], filament(LAMPS[name])
    for volts, wanted in ((lamp.volts, rated), (10.5, low)):
        kelvin = tables.steady_kelvin(np.array([volts]))
        place = tables.place(kelvin)
        power = volts**2 * tables.conductance[place]
        slope = (1.2 * power / kelvin + tables.loss_slope[place]) * tables.heat[place]
        assert float(1e3 / slope[0]) == pytest.approx(wanted, rel=0.04)


def test_tungsten_holds_the_heat_that_tables_say() -> None:
    """Source: tungsten's specific heat at room temperature, 132 J/(kg K), from memory of handbooks; within 3 %."""
    assert float(tungsten_heat(np.array([300.0]))[0]) == pytest.approx(132, rel=0.03)


def test_a_rated_lamp_gives_its_rated_current_and_light() -> None:
    """Source: catalogue values of miniature lamps."""
    for name in FILAMENTS:
        lamp, tables = LAMPS[name], filament(LAMPS[name])
        kelvin = tables.steady_kelvin(np.array([lamp.volts]))
        assert float(kelvin[0]) == pytest.approx(lamp.design_k, abs=1)
        assert float(tables.light_at(kelvin)[0]) == pytest.approx(1, rel=0.01)


def _weighted(light: np.ndarray, period: float) -> float:
    """Root mean square of relative light after IEC TR 61547-1's weighting of luminous changes.

    That report feeds light, not voltage, into the flicker meter of IEC 61000-4-15 with the lamp taken out: a high
    pass of 0.05 Hz, a sixth-order low pass of 35 Hz, and the eye's filter multiplied by the inverse of the 60 W
    reference lamp's low pass.  Coefficients of the eye's filter are those of IEC 61000-4-15 for 230 V, 50 Hz.
    The lamp's response is taken as its first-order stand-in with the same corner, so only ratios are compared.
    """
    relative = light / light.mean() - 1
    hertz = np.arange(len(light) // 2 + 1) / period
    s = 2j * np.pi * hertz
    k, damping = 1.74802, 2 * np.pi * 4.05981
    w1, w2, w3, w4 = (2 * np.pi * value for value in (9.15494, 2.27979, 1.22535, 21.9))
    eye_part = k * w1 * s / (s**2 + 2 * damping * s + w1**2) * (1 + s / w2) / ((1 + s / w3) * (1 + s / w4))
    lamp = 1 / (1 + s * 19e-3)
    low_pass = 1 / np.sqrt(1 + (hertz / 35) ** 12)
    spectrum = np.fft.rfft(relative) * eye_part / lamp * low_pass
    return float(np.sqrt(np.mean(np.fft.irfft(spectrum, n=len(light)) ** 2)))


def test_the_ratio_of_control_to_surge_is_that_of_the_standard_weighting() -> None:
    """Source: IEC TR 61547-1 (light through the flicker meter without its lamp). Ratios agree within 40 %.

    The notes have 21.2/9.0 = 2.4 by the standard against 21.5/7.1 = 3.0 by the visibility index.
    """
    waves = {}
    for fault in ("none", "driver-dead"):
        rows = rows_of(COIL, (mechanism_named(COIL.name, fault),), Systems.typical())
        waves[fault] = turn(rows, Engine.CRANKING, (), ("switched", GROUND), lamp_named("194"))
    lights = {fault: wave.light for fault, wave in waves.items()}
    assert all(light is not None for light in lights.values())
    standard = _weighted(lights["none"][0], 0.3) / _weighted(lights["driver-dead"][0], 0.3)  # type: ignore[index]
    ours = float(
        eye.index_of(lights["none"], np.array([0.3]))[0]
        / eye.index_of(lights["driver-dead"], np.array([0.3]))[0]  # type: ignore[arg-type]
    )
    assert ours == pytest.approx(3.0, abs=0.2)
    assert standard == pytest.approx(ours, rel=0.4)


def test_the_eye_is_most_sensitive_near_ten_hertz() -> None:
    """Source: temporal contrast sensitivity peaks at 8 to 15 Hz in bright light (Watson 1986, Kelly 1961)."""
    hertz = np.linspace(0.5, 60, 1200)
    gain = np.abs(eye.response(hertz))
    assert 6 < hertz[gain.argmax()] < 15
    assert gain.max() == pytest.approx(eye.PEAK_SENSITIVITY, rel=1e-3)
    assert gain[-1] < 0.1 * gain.max()


def _copper(gauge: int) -> float:
    """Resistance of annealed copper at 20 C, in ohm per metre: ASTM B258 diameter and 0.017241 ohm mm2/m."""
    millimetres = 0.127 * 92 ** ((36 - gauge) / 39)
    return 0.017241 / (np.pi / 4 * millimetres**2)


def test_wires_have_the_resistance_of_copper_and_faults_do_not() -> None:
    """Source: ASTM B258 and NBS Handbook 100. The control wire is some metres of AWG 18; a fault is no wire."""
    assert _copper(18) == pytest.approx(20.9e-3, rel=0.01)
    assert _copper(12) == pytest.approx(5.21e-3, rel=0.01)
    control = PARAMETERS["control-wire-resistance"]
    assert 1 < control.low / _copper(18) < control.high / _copper(18) < 5
    # 2 ohm would be about 100 m of AWG 18: resistance of that size is a bad contact.
    assert 2.0 / _copper(18) > 90


NGSPICE = shutil.which("ngspice")
CASES = [
    ("none", "switched", "194"),
    ("none", "feed", "1156"),
    ("shorted-primary", "switched", "194"),
    ("high-resistance-control-wire", "driver-end", "194"),
    ("high-resistance-feed", "switched", "194"),
    ("driver-dead", "switched", "194"),
    ("control-wire-to-ground", "feed", "194"),
]


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed (Debian package ngspice)")
@pytest.mark.parametrize(("fault", "node", "lamp"), CASES, ids=["-".join(case) for case in CASES])
def test_ngspice_agrees(fault: str, node: str, lamp: str, tmp_path: Path) -> None:
    """Source: ngspice, coil as a coupled pair with k = 0.99, no spark path.

    Bounds: node voltage in the dwell 0.025 V, peak current 0.3 % (1 % for a shorted primary, whose winding
    capacitance makes a little overshoot that the model leaves out), light over the period 0.7 % rms (2 % where a
    380 V pulse of some 80 us heats the lamp).
    """
    mechanism = mechanism_named(COIL.name, fault)
    mechanism = replace(mechanism, flags=mechanism.flags | {"no-spark-path"})
    rows = rows_of(COIL, (mechanism,), Systems.typical())
    record = Steps()
    waves = turn(rows, Engine.CRANKING, (), (node, GROUND), lamp_named(lamp), record)
    time = np.concatenate(record.time)
    off = float(time[DWELL_STEPS])
    begin = Beginning(float(record.kelvin[0][0]), float(record.coil[0][0]), off)
    output = tmp_path / "out.txt"
    netlist = tmp_path / "circuit.cir"
    netlist.write_text(cranking_netlist(rows, (), (node, GROUND), lamp, begin, str(output)), "ascii")
    done = subprocess.run(
        [str(NGSPICE), "-b", str(netlist)], capture_output=True, text=True, check=False, timeout=60
    )
    assert output.exists(), done.stdout + done.stderr
    spice_time, volts, ampere, kelvin = np.loadtxt(output).T
    assert spice_time[-1] == pytest.approx(float(waves.period[0]), rel=1e-6), done.stdout + done.stderr
    dwell = (time > 0.5e-3) & (time < 0.99 * off)
    ours = np.concatenate(record.lamp_v)[dwell]
    assert np.abs(np.interp(time[dwell], spice_time, volts) - ours).max() < 0.025
    peak = float(ampere[spice_time <= off].max())
    if peak > 1:
        bound = 0.01 if fault == "shorted-primary" else 0.003
        assert float(np.concatenate(record.coil)[time <= off].max()) == pytest.approx(peak, rel=bound)
    assert waves.light is not None
    even = (np.arange(waves.light.shape[1]) + 0.5) / waves.light.shape[1] * waves.period[0]
    light = filament(lamp_named(lamp)).light_at(np.interp(even, spice_time, kelvin))
    pulse = fault == "none" and node == "switched"
    assert float(np.sqrt(np.mean((light / waves.light[0] - 1) ** 2))) < (0.02 if pulse else 0.007)


def test_a_netlist_is_refused_where_it_would_not_be_the_same_circuit() -> None:
    """Several systems, no filament, or a driver in the coil."""
    rows = rows_of(COIL, (mechanism_named(COIL.name, "none"),), Systems.random(2, 1))
    with pytest.raises(CircuitProblem, match="one system"):
        cranking_netlist(rows, (), ("feed", GROUND), "194", Beginning(2000, 0, 4e-3), "x")
