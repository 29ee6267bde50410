"""The light in the coil's place, the leak tests, the proof of the clamp and the drop of the control wire."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
from leading import COIL, alone, with_ohm
from spice import NGSPICE, needed

from assistant.circuit.catalogue import NONE
from assistant.circuit.instruments.clamp import LAMP_LEAD_OHM, PEAK_CLAMP_S, lamp_inrush
from assistant.circuit.instruments.lamp import Glow
from assistant.circuit.instruments.led_light import Flashes
from assistant.circuit.lamps import (
    COLDEST_K,
    LAMPS,
    LOSS_EXPONENT,
    RESISTANCE_EXPONENT,
    ROOM_K,
    filament,
    lamp_named,
)
from assistant.circuit.observing import observe
from assistant.circuit.parameters import Systems
from assistant.core.library.procedure import Engine, Measurement

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.circuit.catalogue import Mechanism

TYPICAL = Systems.typical()
NEGATIVE, POSITIVE = "battery-negative", "battery-positive"
LED = Measurement("led-light", "feed", "switched", Engine.CRANKING, ("coil",))
LED_AT_MODULE = Measurement("led-light", "feed", "driver-end", Engine.CRANKING, ("coil",))
LEAK_LAMP = Measurement("test-lamp", POSITIVE, "switched", Engine.KEY_OFF, ("coil",))
LEAK_OHMS = Measurement("ohmmeter", NEGATIVE, "switched", Engine.KEY_OFF, ("coil",))
CONTROL_DROP = Measurement("control-drop-meter", "driver-end", "switched", Engine.KEY_ON, ("module",))


def said(mechanism: Mechanism, measure: Measurement, systems: Systems = TYPICAL) -> dict[str, float]:
    """What is said of the light, mean over the cars."""
    named = observe(COIL, mechanism, measure, systems).shows(Flashes).shares
    return {name: float(share.mean()) for name, share in named.items()}


# --- the light in the coil's place --------------------------------------------------------------------


def test_the_light_follows_every_pulse_of_the_driver_whatever_the_coil_is_like() -> None:
    """A diode conducts while the driver is on and is dark while it is off; the coil is not in the circuit."""
    cars = Systems.random(12, 4)
    for fault in ((NONE, "sound"), ("coil-secondary", "winding-open"), ("shorted-primary", "full")):
        assert said(alone(*fault), LED, cars)["blinking"] > 0.99
    for fault in (("driver-dead", "never-switches"), ("no-inputs", "crank-signal-missing")):
        assert said(alone(*fault), LED, cars)["dark"] > 0.99
    assert said(with_ohm("driver-shorted", "transistor", 0.05), LED)["steady"] > 0.99
    assert said(with_ohm("control-wire-to-ground", "wire", 0.05), LED)["steady"] > 0.99


def test_the_light_conducts_by_ohms_law_behind_an_open_wire() -> None:
    """Source: Ohm's law: (12 V - threshold - driver) through 1 kilohm and the wire; 10 mA is the full light.

    A hundred ohm in the control wire, which carry no spark, are next to nothing beside that; ten megohm leave it dark
    at the coil's end, and bright at the module's.
    """
    led = LAMPS["led"]
    ampere = (12 - led.threshold - 1.0) / (led.resistance + 100)
    assert 0.8 < ampere / 10e-3 < 1.0
    assert said(with_ohm("control-wire-open", "wire", 100.0), LED)["blinking"] > 0.99
    broken = with_ohm("control-wire-open", "wire", 10e6)
    assert said(broken, LED)["dark"] > 0.99
    assert said(broken, LED_AT_MODULE)["blinking"] > 0.99


# --- leaks of the control terminal --------------------------------------------------------------------


@pytest.mark.parametrize(("ohm", "share"), [(2.0, 0.83), (10.0, 0.40), (20.0, 0.15), (30.0, 0.05)])
def test_the_light_of_the_lamp_behind_a_leak_is_that_of_ngspice(ohm: float, share: float) -> None:
    """Source: independent ngspice netlist, 2026: light of a 194 from battery positive through a leak to ground."""
    light = observe(COIL, with_ohm("control-wire-to-ground", "wire", ohm), LEAK_LAMP, TYPICAL)
    assert float(light.shows(Glow).brightness[0]) == pytest.approx(share, abs=0.05)


def test_a_terminal_that_does_not_leak_keeps_the_lamp_dark_and_the_ohmmeter_over_its_range() -> None:
    """Of every random sound car: a driver that is off passes too little for lamp and ohms."""
    cars = Systems.random(20, 9)
    sound = alone(NONE, "sound")
    light, ohm = (observe(COIL, sound, measure, cars) for measure in (LEAK_LAMP, LEAK_OHMS))
    assert light.shows(Glow).brightness.max() == pytest.approx(0, abs=1e-6)
    assert ohm.value is not None
    assert ohm.value.min() > 1000


@pytest.mark.parametrize("ohm", [0.05, 5.0, 200.0])
def test_an_ohmmeter_reads_a_leak_as_it_is(ohm: float) -> None:
    """Source: Ohm's law: the leak alone is between terminal and post, a megohm of a driver beside it at most."""
    for fault, name in (("control-wire-to-ground", "wire"), ("accessory-to-ground", "rev-counter-lead")):
        value = observe(COIL, with_ohm(fault, name, ohm), LEAK_OHMS, TYPICAL).value
        assert value is not None
        assert float(value[0]) == pytest.approx(ohm, rel=0.02, abs=1e-3)


def test_a_leak_that_goes_with_a_plug_belongs_to_what_was_unplugged() -> None:
    """Unplugged one after the other, module, accessory and wire each take their own leak away, and no other one's."""
    leaks = {
        "module": ("driver-shorted", "transistor"),
        "accessory": ("accessory-to-ground", "rev-counter-lead"),
        "wire": ("control-wire-to-ground", "wire"),
    }
    for owner, fault in leaks.items():
        for unplugged in (("coil",), ("coil", "module"), ("coil", "module", "accessory")):
            measure = Measurement("ohmmeter", NEGATIVE, "switched", Engine.KEY_OFF, unplugged)
            value = observe(COIL, with_ohm(*fault, 5.0), measure, TYPICAL).value
            assert value is not None
            assert bool(value[0] < 1000) is (owner not in unplugged), (owner, unplugged)


# --- the proof of the clamp -----------------------------------------------------------------------------


def test_a_cold_filament_draws_its_inrush_and_then_its_own_current() -> None:
    """Source: Ohm's law with the cold filament, V / (R + lead), at most; later the lamp's catalogue current.

    The cold resistance is the rated one times (T_room / T_design) to the exponent of the model's filament.  A
    millisecond heats it a little, so the first millisecond's mean lies between half of that and all of it.
    """
    cars = Systems.random(10, 6)
    heavy = lamp_named("1156")
    volt = cars.values["battery-voltage"] + cars.values["polarisation"]
    cold = heavy.volts / heavy.amperes * (ROOM_K / heavy.design_k) ** RESISTANCE_EXPONENT
    most = volt / (cold + LAMP_LEAD_OHM)
    peak, slow = lamp_inrush(cars)
    assert (peak < most * 1.02).all()
    assert (peak > 0.5 * most).all()
    assert PEAK_CLAMP_S == 1e-3
    assert COLDEST_K <= ROOM_K
    # Steady: the current that holds the filament's heat at this voltage.
    heavy = filament(lamp_named("1156"))
    steady = np.interp(volt, heavy.volts, heavy.volts * heavy.conductance)
    assert (slow > steady).all()
    assert (slow < peak).all()
    assert (peak > 3 * steady).all()


def test_only_a_clamp_that_holds_the_peak_shows_the_inrush() -> None:
    """The same look: one clamp reads the peak, and one that shows the mean a third of it or less."""
    measure = Measurement("current-clamp", None, "heavy-lamp-lead", Engine.KEY_OFF)
    found = observe(COIL, alone(NONE, "sound"), measure, TYPICAL)
    assert found.value is not None
    assert found.mean is not None
    assert found.mean[0] < 0.5 * found.value[0]


# --- the control wire under current ---------------------------------------------------------------------


def drop(mechanism: Mechanism) -> float:
    """The control wire's drop with the heavy lamp from the driver's end to ground."""
    value = observe(COIL, mechanism, CONTROL_DROP, TYPICAL).value
    assert value is not None
    return abs(float(value[0]))


def test_a_sound_control_wire_drops_its_own_ohms_times_the_lamps_current() -> None:
    """Source: Ohm's law: 0.05 ohm at about 2 A of the lamp through the coil are a tenth of a volt."""
    assert drop(alone(NONE, "sound")) == pytest.approx(0.05 * 2.0, rel=0.15)


@needed
@pytest.mark.parametrize("ohm", [0.2, 1.0, 5.0])
def test_the_drop_of_a_control_wire_under_load_is_that_of_ngspice(ohm: float, tmp_path: Path) -> None:
    """A netlist of its own, from the parameters alone: battery, feed, coil, wire, lamp; the filament in balance."""
    value = {name: float(entry[0]) for name, entry in TYPICAL.values.items()}
    heavy = lamp_named("1156")
    # Electric power in is heat out; the temperature is the voltage of node "hot".
    room, design = ROOM_K, heavy.design_k
    lamp_ohm = f"({heavy.volts / heavy.amperes}*pow(v(hot)/{design},{RESISTANCE_EXPONENT}))"
    power = LOSS_EXPONENT
    radiated = f"((pow(v(hot),{power})-pow({room},{power}))/(pow({design},{power})-pow({room},{power})))"
    conducted = f"((v(hot)-{room})/{design - room})"
    lost = f"({1 - heavy.conduction}*{radiated}+{heavy.conduction}*{conducted})"
    loss = f"{heavy.volts * heavy.amperes}*{lost}"
    out = tmp_path / "out.txt"
    text = f"""control wire under load
Vb e 0 {value["battery-voltage"] + value["polarisation"]}
Rb e bat {value["battery-resistance"]}
Rf bat feed {value["feed-resistance"]}
Ro bat 0 {value["other-ignition-loads"]}
Rc feed sw {value["primary-resistance"]}
Rw sw end {ohm}
Blamp end 0 I=v(end)/{lamp_ohm}
Bheat 0 hot I=v(end)*v(end)/{lamp_ohm}-{loss}
Chot hot 0 1e-3 IC={design}
.tran 1m 2 0 1m uic
.control
run
wrdata {out} v(sw)-v(end)
quit
.endc
.end
"""
    (tmp_path / "wire.cir").write_text(text, "ascii")
    done = subprocess.run(
        [str(NGSPICE), "-b", str(tmp_path / "wire.cir")],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert out.exists(), done.stdout + done.stderr
    wanted = abs(float(np.loadtxt(out)[-1, 1]))
    assert drop(with_ohm("high-resistance-control-wire", "wire", ohm)) == pytest.approx(wanted, rel=0.03)


def test_a_contact_that_is_bad_under_current_alone_drops_under_load_and_reads_good_in_ohms() -> None:
    """Which is why the wire is loaded: an ohmmeter passes what the coil's current does not."""
    bad = with_ohm("high-resistance-control-wire", "under-current", 3.0)
    ohms = Measurement("ohmmeter", "switched", "driver-end", Engine.KEY_OFF, ("coil", "module"))
    value = observe(COIL, bad, ohms, TYPICAL).value
    assert value is not None
    assert float(value[0]) < 0.3
    assert drop(bad) > 0.3
