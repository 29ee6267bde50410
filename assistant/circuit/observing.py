"""What an instrument shows on a circuit with a fault, and what an honest observer would say of it.

`observe` turns a measurement of a procedure into numbers; nothing else about a step is needed.
`outcome_shares` and `reading_shares` turn those numbers into shares of the answers that the step has.
The limits of the classes are chosen, not fitted, and no observer was measured.

How it is judged:
- *dark*, *dim*, *lit* by light relative to the same lamp on the battery posts in the same engine state;
- *steady*, *flickering*, *blinking* by the visibility index against that of the surge, which is the same lamp on
  the posts, or, when two places are compared, the lamp on the other place;
- a test light with a diode or a logic probe takes the test lamp's place with ``lamp="led"`` and the like.

All mechanisms of a circuit are computed together the first time that one is asked for, and kept as long as the
systems are.
"""

from __future__ import annotations

import weakref
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from assistant.circuit import eye, makers
from assistant.circuit.beginning import battery_of
from assistant.circuit.catalogue import (
    _ALL,
    CIRCUITS,
    NONE,
    Circuit,
    Mechanism,
    at_one_coil,
    circuit_named,
    mechanisms,
)
from assistant.circuit.lamps import HEAVY_LAMP, LAMPS, Lamp, lamp_named
from assistant.circuit.network import GROUND, Rows, feed_ohm, nodes_of, reduce, rows_of
from assistant.circuit.parameters import PARAMETERS, Systems, fingerprint
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.solving import brightness_of, resistance_between, settled, steady, tables_of, turn
from assistant.core.library.procedure import (
    CLAMPS,
    COPPER_PER_KELVIN,
    FILAMENTS,
    Engine,
    Limit,
    Measurement,
    Reading,
    Specified,
    Step,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Booleans = NDArray[np.bool_]

_Value = TypeVar("_Value")
_SOUND = _ALL[0]


class Group(tuple[Mechanism, ...]):  # noqa: SLOT001 - it keeps its hash
    """Mechanisms that are computed together; its hash is computed once, because it stands in every key."""

    _hash: int

    def __hash__(self) -> int:
        """The hash of the tuple."""
        if "_hash" not in self.__dict__:
            self._hash = tuple.__hash__(self)
        return self._hash

    def __eq__(self, other: object) -> bool:
        """Whether both hold the same."""
        return self is other or tuple.__eq__(self, other)


_GROUPS: dict[str, Group] = {}
_COMPANY: dict[Mechanism, tuple[Mechanism, ...]] = {}
"""Mechanisms that were put together by a caller, with all those that are computed with each."""


def together(company: Sequence[Mechanism]) -> None:
    """Have mechanisms that are not in the catalogue computed with each other, which is quicker than one by one."""
    of_all = Group(company)
    _COMPANY.clear()
    _PLACES.clear()
    _COMPANY.update(dict.fromkeys(of_all, of_all))


SIGNALS = {
    "crank-signal": ("crank-signal-missing",),
    "cam-signal": ("cam-signal-missing",),
    "command": ("command-missing", "crank-signal-missing", "cam-signal-missing", "security-lamp"),
}
"""Signals at the driver, each with the flags that take it away: no computer sends a command without its inputs."""
SUPPLIES = {"sensor-supply": "sensor-supply-missing"}
"""Supplies of sensors, which only a meter measures: the flag that takes each away."""
ITEMS = ("security-lamp", "engine-speed", "outside-air")
CABLES = ("feed-wire", "starter-cable", "heavy-lamp-lead")
PARTS = ("coil", "module", "fuse", "accessory")
PULSE_INSTRUMENTS = ("signal-meter", "logic-probe")
LOADS = {
    "loaded-voltmeter": ("feed", GROUND),
    "ground-drop-meter": ("battery-positive", "driver-ground"),
    "control-drop-meter": ("driver-end", GROUND),
}
"""Voltmeters with the heavy lamp as load, and where that lamp is."""
NODE_INSTRUMENTS = (*FILAMENTS, "led-light", "voltmeter", *LOADS, "ohmmeter", *PULSE_INSTRUMENTS)
INSTRUMENTS = (*NODE_INSTRUMENTS, *CLAMPS, "spark-tester", "eyes", "diagram")
SPARK_PLACES = ("plug-lead", "both-towers", "swapped-coil", "sound-coil", "old-coil")
OVER_RANGE_OHM = 2e6
"""From here on the meter is taken to show no number; most have ranges up to tens of megohm, and an open circuit
of the model is 10 megohm beside whatever leaks."""

ROWS_AT_ONCE = 2500
"""Rows that are stepped together: their arrays fit a processor's cache."""

METER = lamp_named("high-impedance-meter")
NO_OBSERVER = Lamp("nothing", "nothing connected", resistance=1e9)


@dataclass(frozen=True, eq=False)
class Spark:
    """What a grounded spark tester gets; arrays of shape ``(n,)``.

    Attributes:
        kilovolts: Secondary voltage that is available.
        joules: Energy of the primary when the driver switches off.
        several: Of the cars, the share that has other coils, which spark: a half for the fault of one coil, because
            the model is of cars with one coil and with several; else none.
    """

    kilovolts: Floats
    joules: Floats
    several: float | Floats


@dataclass(frozen=True, eq=False)
class Ramp:
    """What a scope shows of the primary's current; arrays of shape ``(n,)``.

    Attributes:
        peak: Greatest current in A.
        least: Least current in A while the driver is off.
        limit_s: Seconds until the driver limits; infinite where it does not.
        flat_s: Seconds for which it limits.
    """

    peak: Floats
    least: Floats
    limit_s: Floats
    flat_s: Floats


@dataclass(frozen=True, eq=False)
class Observed:
    """What the instrument shows, one entry for each system; None where the instrument does not show it.

    Attributes:
        brightness: Light of the lamp relative to the same lamp held on the battery posts, same engine state.
        index: Visibility index of its changes; 0 where nothing turns or the lamp is dark.
        feed_index: Index that it is judged against: of the same lamp on the place that it is compared with, else
            on the battery posts, where only the starter's surge is seen.
        value: A meter's reading in V, A or ohm (the peak for the clamp); infinite: over range.
        shown: Whether a signal is there, or the warning lamp is on.
        compared: Light on the place of comparison, relative to the posts; None without one.
        spark: What a spark tester shows.
        ramp: What a scope shows of the primary's current.
        facts: What the person knows of each car beside a reading: the maker's values, leads, temperature.
        kinds: Shares of what is answered of a thing that the model has in several kinds.
        named: Shares of what is answered, by name, each with shape ``(n,)``.
        mean: What a clamp shows that cannot hold a peak, in A.
    """

    brightness: Floats | None = None
    index: Floats | None = None
    feed_index: Floats | None = None
    value: Floats | None = None
    shown: Booleans | None = None
    compared: Floats | None = None
    spark: Spark | None = None
    ramp: Ramp | None = None
    facts: dict[str, Floats] | None = None
    kinds: Mapping[str, float | Floats] | None = None
    named: dict[str, Floats] | None = None
    mean: Floats | None = None


def joined(parts: Sequence[Observed]) -> Observed:
    """What the same instrument shows on the cars of several mechanisms, one after the other."""
    first = parts[0]
    if len(parts) == 1:
        return first

    def arrays(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        return None if values[0] is None else np.concatenate(values)

    def tables(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        if values[0] is None:
            return None
        return {key: np.concatenate([value[key] for value in values]) for key in values[0]}

    spark = ramp = kinds = None
    if first.spark is not None:
        sparks = [part.spark for part in parts if part.spark is not None]
        spark = Spark(
            np.concatenate([one.kilovolts for one in sparks]),
            np.concatenate([one.joules for one in sparks]),
            np.concatenate([np.broadcast_to(one.several, one.joules.shape) for one in sparks]),
        )
    if first.ramp is not None:
        ramps = [part.ramp for part in parts if part.ramp is not None]
        ramp = Ramp(
            *(
                np.concatenate([getattr(one, field) for one in ramps])
                for field in ("peak", "least", "limit_s", "flat_s")
            )
        )
    if first.kinds is not None:
        known = [
            (part.kinds, part.shown) for part in parts if part.kinds is not None and part.shown is not None
        ]
        kinds = {
            key: np.concatenate([np.broadcast_to(kind[key], shown.shape) for kind, shown in known])
            for key in first.kinds
        }
    plain = ("brightness", "index", "feed_index", "value", "shown", "compared", "mean")
    return Observed(
        **{name: arrays(name) for name in plain},
        spark=spark,
        ramp=ramp,
        kinds=kinds,
        facts=tables("facts"),
        named=tables("named"),
    )


_kept: weakref.WeakKeyDictionary[Systems, dict[object, object]] = weakref.WeakKeyDictionary()


def observe(
    circuit: str, mechanism: Mechanism, measure: Measurement, systems: Systems, lamp: str = "194"
) -> Observed:
    """What a measurement shows on each system with this fault.

    Args:
        circuit: Name of a circuit.
        mechanism: What is wrong; any of the catalogue that the circuit can have.
        measure: The measurement, as a procedure states it.
        systems: The cars.
        lamp: What takes the test lamp's place; the heavy lamp is always the 1156.

    Raises:
        CircuitProblem: The circuit cannot have this measurement, mechanism or lamp.
    """
    known = circuit_named(circuit)
    measure = measure.usual()
    check(known, measure)
    lamp_named(lamp)
    found = _observed(known, mechanism, measure, systems, lamp)
    return found if found.value is None else replace(found, facts=makers.known(known, systems))


def _observed(
    known: Circuit, mechanism: Mechanism, measure: Measurement, systems: Systems, lamp: str
) -> Observed:
    if "terminals-swapped" in mechanism.flags:
        measure = _swapped(measure)
    group, number = _place(known, mechanism)
    begin, end = number * systems.count, (number + 1) * systems.count
    instrument = measure.instrument
    state = (known.name, group, measure.engine, tuple(sorted(measure.unplugged)))
    if instrument == "eyes":
        return Observed(shown=np.full(systems.count, _is_seen(mechanism, measure)))
    if instrument == "diagram":
        return Observed(
            shown=np.zeros(systems.count, dtype=bool), kinds=_kinds(known, mechanism, measure.probe)
        )
    if instrument == "spark-tester":
        spark = _all_spark(systems, state, sound_coil=measure.probe == "sound-coil")
        return Observed(spark=_spark(mechanism, measure, *(part[begin:end] for part in spark)))
    if instrument in PULSE_INSTRUMENTS:
        turning = measure.engine in (Engine.CRANKING, Engine.RUNNING)
        if measure.probe in SIGNALS:
            there = turning and not mechanism.flags & set(SIGNALS[measure.probe])
            return Observed(shown=np.full(systems.count, there))
        seen = _all_volts(systems, state, (measure.probe, _clip(measure)), METER)
        return Observed(shown=(seen["top"] - seen["low"] > TRIGGER_SIGNAL_V)[begin:end])
    if instrument in ("clamp-scope", "ramp-timer"):
        ramp = _all_ramp(systems, state)
        shown = Ramp(*(part[begin:end] for part in (ramp.peak, ramp.least, ramp.limit_s, ramp.flat_s)))
        return Observed(value=shown.limit_s) if instrument == "ramp-timer" else Observed(ramp=shown)
    if instrument == "current-clamp":
        if measure.probe == "starter-cable":
            drawn = [battery_of(rows, measure.engine)[1] for rows in _chunks(systems, state)]
            return Observed(value=np.concatenate(drawn)[begin:end])
        if measure.probe == "heavy-lamp-lead":
            quick, averaged = _inrush(systems)
            return Observed(value=quick, mean=averaged)
        current = _all_current(systems, state)[begin:end]
        slow = _all_mean(systems, state)[begin:end] if _turning(state) else current
        return Observed(value=current, mean=slow)
    if instrument == "led-light":
        flash = _all_flash(systems, state, (measure.probe, _clip(measure)))
        return Observed(named={name: shares[begin:end] for name, shares in flash.items()})
    if instrument == "ohmmeter":
        ohm = _all_ohm(systems, state, (measure.probe, _clip(measure)))[begin:end]
        return Observed(value=np.where(ohm > OVER_RANGE_OHM, np.inf, ohm))
    if instrument == "voltmeter" and measure.probe in SUPPLIES:
        there = measure.engine is not Engine.KEY_OFF and SUPPLIES[measure.probe] not in mechanism.flags
        return Observed(value=systems.values["sensor-supply"] * there)
    if instrument in LOADS:
        lit = LOADS[instrument]
        if instrument == "ground-drop-meter":
            lit = (
                lit[0],
                measure.probe,
            )  # the lamp loads the ground that is measured, a coil's own one as well
        drops = _all_drops(systems, state, (measure.probe, _clip(measure)), lit)
        return Observed(value=drops[begin:end])
    if instrument == "voltmeter":
        return Observed(
            value=_all_volts(systems, state, (measure.probe, _clip(measure)), METER)["mean"][begin:end]
        )
    chosen = lamp_named(HEAVY_LAMP if instrument == "heavy-lamp" else lamp)
    light, index = _all_light(systems, state, (measure.probe, _clip(measure)), chosen)
    posts = (known.name, group, measure.engine, ())
    whole, surge = _all_light(systems, posts, ("battery-positive", GROUND), chosen)
    brightness = (light / np.maximum(whole, 1e-12))[begin:end]
    against = surge[begin:end]
    compared = None
    if measure.compared_with is not None:
        other, other_index = _all_light(systems, state, (measure.compared_with, _clip(measure)), chosen)
        compared = (other / np.maximum(whole, 1e-12))[begin:end]
        against = np.where(compared < eye.DARK, 0.0, other_index[begin:end])
    return Observed(
        brightness=brightness,
        index=np.where(brightness < eye.DARK, 0.0, index[begin:end]),
        feed_index=against,
        compared=compared,
    )


def _swapped(measure: Measurement) -> Measurement:
    """The measurement that is in truth made where the two wires in the coil's plug are in each other's place.

    The coil itself, unplugged and measured on its own pins, has no wires.
    """
    other = {"feed": "switched", "switched": "feed"}
    if measure.instrument == "ohmmeter" and {measure.clip, measure.probe} == set(other):
        return measure
    return replace(
        measure,
        clip=other.get(measure.clip or "", measure.clip),
        probe=other.get(measure.probe, measure.probe),
        compared_with=other.get(measure.compared_with or "", measure.compared_with),
    )


TRIGGER_SIGNAL_V = 2.0
"""A signal meter on an ordinary node shows a signal from this swing on; chosen, not fitted."""


def _is_seen(mechanism: Mechanism, measure: Measurement) -> bool:
    """What a look shows: the security lamp on, an engine speed in the live data, frost outside (never: 20 Celsius)."""
    if measure.probe == "engine-speed":
        turning = measure.engine in (Engine.CRANKING, Engine.RUNNING)
        return turning and "crank-signal-missing" not in mechanism.flags
    return (
        measure.probe == "security-lamp"
        and measure.probe in mechanism.flags
        and measure.engine is not Engine.KEY_OFF
    )


def check(circuit: Circuit, measure: Measurement) -> None:
    """Refuse a measurement that the circuit cannot have.

    Raises:
        CircuitProblem: What is wrong, and what would be right.
    """
    nodes = (GROUND, *nodes_of(circuit))
    instrument = measure.instrument
    if instrument not in INSTRUMENTS:
        raise CircuitProblem(
            f"The circuit model has no instrument '{instrument}'. Known are: {', '.join(INSTRUMENTS)}."
        )
    for part in measure.unplugged:
        if part not in PARTS:
            raise CircuitProblem(
                f"'{part}' cannot be unplugged in the circuit model, only {' and '.join(PARTS)}."
            )
    if instrument == "diagram":
        if measure.probe not in DIAGRAMS[circuit.kind]:
            raise CircuitProblem(
                f"The circuit model has no diagram of '{measure.probe}' in the circuit '{circuit.name}'. "
                f"It has: {', '.join(DIAGRAMS[circuit.kind])}."
            )
        return
    if instrument == "spark-tester":
        if circuit.kind == "load":
            raise CircuitProblem(f"The circuit '{circuit.name}' makes no spark.")
        if measure.probe not in SPARK_PLACES:
            raise CircuitProblem(
                f"A spark tester goes to {', '.join(SPARK_PLACES)}, and '{measure.probe}' is none of them."
            )
        if measure.engine is not Engine.CRANKING or measure.unplugged:
            raise CircuitProblem("A spark tester shows something only while cranking, with all plugged in.")
        return
    if instrument == "eyes":
        if measure.probe not in ITEMS:
            raise CircuitProblem(f"The circuit has nothing to look at that is called '{measure.probe}'.")
        return
    if instrument in CLAMPS:
        if instrument != "current-clamp" and (
            measure.probe != "feed-wire" or measure.engine not in (Engine.CRANKING, Engine.RUNNING)
        ):
            raise CircuitProblem("A ramp is seen on the coil's feed cable, with the engine turning.")
        if measure.probe not in CABLES:
            raise CircuitProblem(
                f"A current clamp closes around a cable ({', '.join(CABLES)}), and '{measure.probe}' is none."
            )
        if measure.probe == "heavy-lamp-lead":
            return
        if measure.probe == "feed-wire" and "coil" in measure.unplugged:
            raise CircuitProblem("The coil is unplugged, so its feed cable carries no current to measure.")
        return
    probed = [measure.probe] if measure.compared_with is None else [measure.probe, measure.compared_with]
    for place in probed:
        if place in SIGNALS:
            if instrument not in PULSE_INSTRUMENTS:
                raise CircuitProblem(
                    f"'{place}' is a sensor's signal, and a {instrument} would load it. Use the signal-meter."
                )
            if "module" in measure.unplugged:
                raise CircuitProblem(f"'{place}' is probed at the module, and the module is unplugged.")
        elif place in SUPPLIES:
            if instrument != "voltmeter":
                raise CircuitProblem(
                    f"'{place}' is a sensor's supply, and a {instrument} would load it. Use the voltmeter."
                )
        elif place in CABLES:
            raise CircuitProblem(f"'{place}' is a cable; only the current-clamp measures there.")
        elif place not in nodes:
            raise CircuitProblem(
                f"The circuit '{circuit.name}' has no point '{place}'. Known are: {', '.join(nodes)}."
            )
    if measure.clip is None:
        raise CircuitProblem(f"The {instrument} has two leads, and the measurement names no clip.")
    if measure.clip not in nodes:
        raise CircuitProblem(
            f"The circuit '{circuit.name}' has no point '{measure.clip}'. Known are: {', '.join(nodes)}."
        )
    if measure.clip in probed:
        raise CircuitProblem(f"Clip and probe are both on '{measure.clip}', where nothing can be measured.")
    if instrument == "loaded-voltmeter" and (
        measure.engine is not Engine.KEY_ON or set(measure.unplugged) - {"coil"}
    ):
        raise CircuitProblem(
            "A drop under the heavy lamp is measured with the key on and nothing but the coil unplugged."
        )
    if instrument == "control-drop-meter" and (
        measure.engine is not Engine.KEY_ON or measure.unplugged != ("module",)
    ):
        raise CircuitProblem(
            "A control wire's drop under the heavy lamp is measured with the key on and the module unplugged."
        )
    if instrument == "ground-drop-meter" and (measure.engine is not Engine.KEY_OFF or measure.unplugged):
        raise CircuitProblem(
            "A ground's drop under the heavy lamp is measured with the key off, all plugged in."
        )
    if instrument == "ohmmeter" and measure.engine is not Engine.KEY_OFF:
        raise CircuitProblem("Resistance is measured with the key off; a live circuit spoils the reading.")


def _clip(measure: Measurement) -> str:
    return measure.clip or GROUND


_PLACES: dict[tuple[str, int], tuple[Mechanism, tuple[Mechanism, ...], int]] = {}
"""Group and number of each mechanism by the object itself: comparing some dozens by value takes its time."""


def _place(circuit: Circuit, mechanism: Mechanism) -> tuple[tuple[Mechanism, ...], int]:
    """The mechanisms that are computed together with this one, and which of them it is."""
    key = (circuit.name, id(mechanism))
    if key not in _PLACES or _PLACES[key][0] is not mechanism:
        group = _group(circuit, mechanism)
        _PLACES[key] = (mechanism, group, group.index(mechanism))
    return _PLACES[key][1:]


def _group(circuit: Circuit, mechanism: Mechanism) -> tuple[Mechanism, ...]:
    """Mechanisms that are computed together with this one."""
    if circuit.name not in _GROUPS:
        _GROUPS[circuit.name] = Group(mechanisms(circuit.name))
    group = _GROUPS[circuit.name]
    if mechanism in group:
        return group
    if mechanism in _COMPANY:
        return _COMPANY[mechanism]
    if circuit.only and mechanism in _ALL:
        # A procedure for battery and starter is also met by a car with another fault.
        return _GROUPS.setdefault("", Group(_ALL))
    if mechanism.fault in circuit.without:
        raise CircuitProblem(f"The circuit '{circuit.name}' cannot have the fault '{mechanism.fault}'.")
    # A mechanism that a caller made: on its own.
    return (mechanism,)


State = tuple[str, tuple[Mechanism, ...], Engine, tuple[str, ...]]


def _chunks(systems: Systems, state: State) -> list[Rows]:
    """Rows in portions that fit a processor's cache, mechanism by mechanism."""
    kept = _kept.setdefault(systems, {})
    key = ("rows", state[0], state[1])
    if key not in kept:
        each = max(1, ROWS_AT_ONCE // systems.count)
        group = state[1]
        kept[key] = [
            rows_of(CIRCUITS[state[0]], group[begin : begin + each], systems)
            for begin in range(0, len(group), each)
        ]
    found = kept[key]
    assert isinstance(found, list)  # noqa: S101 - one dictionary holds values of several types
    return found


def _turning(state: State) -> bool:
    return state[2] in (Engine.CRANKING, Engine.RUNNING)


def _all_light(systems: Systems, state: State, across: tuple[str, str], lamp: Lamp) -> tuple[Floats, Floats]:
    """Mean light and visibility index for every mechanism of the state, shape ``(mechanisms * n,)`` each."""
    kept = _kept.setdefault(systems, {})
    key = ("light", state, across, lamp.name)
    if key not in kept:
        lights, indices = [], []
        for rows in _chunks(systems, state):
            if _turning(state):
                waves = turn(rows, state[2], state[3], across, lamp)
                if waves.light is None:
                    light = np.clip(np.abs(waves.mean_v) / 12, 0, None)
                    index = np.zeros(rows.count)
                else:
                    light = waves.light.mean(axis=1)
                    index = eye.index_of(waves.light, waves.period)
            else:
                volts, _, _ = steady(rows, state[2], state[3], across, lamp)
                light = np.abs(volts) / 12 if lamp.name == METER.name else brightness_of(lamp, np.abs(volts))
                index = np.zeros(rows.count)
            lights.append(light)
            indices.append(index)
        kept[key] = (np.concatenate(lights), np.concatenate(indices))
    found = kept[key]
    assert isinstance(found, tuple)  # noqa: S101 - one dictionary holds values of several types
    return found[0], found[1]


def _all_volts(systems: Systems, state: State, across: tuple[str, str], lamp: Lamp) -> dict[str, Floats]:
    """Mean, greatest and least voltage between two nodes, for every mechanism of the state."""
    kept = _kept.setdefault(systems, {})
    key = ("volts", state, across, lamp.name)
    if key not in kept:
        parts: list[tuple[Floats, Floats, Floats]] = []
        for rows in _chunks(systems, state):
            if _turning(state):
                waves = turn(rows, state[2], state[3], across, lamp)
                parts.append((waves.mean_v, waves.top_v, waves.low_v))
            else:
                volts, _, _ = steady(rows, state[2], state[3], across, lamp)
                parts.append((volts, volts, volts))
        kept[key] = {
            name: np.concatenate([part[number] for part in parts])
            for number, name in enumerate(("mean", "top", "low"))
        }
    found = kept[key]
    assert isinstance(found, dict)  # noqa: S101 - one dictionary holds values of several types
    return found


def _all_current(systems: Systems, state: State) -> Floats:
    """Peak current of the feed cable, for every mechanism of the state."""
    if _turning(state):
        return _all_ramp(systems, state).peak
    kept = _kept.setdefault(systems, {})
    key = ("current", state)
    if key not in kept:
        parts = []
        for unsettled in _chunks(systems, state):
            across = ("battery-positive", GROUND)
            rows = settled(unsettled, state[2], state[3], across, NO_OBSERVER)
            ports = reduce(
                rows, state[2], state[3], {"lamp": across, "wire": ("fuse-load", "feed")}, steady=True
            )
            emf, starter = battery_of(rows, state[2])
            drop = ports.gain["wire"]["battery"] * emf + ports.gain["wire"]["starter"] * starter
            parts.append(np.abs(drop) / feed_ohm(rows, state[2]))
        kept[key] = np.concatenate(parts)
    found = kept[key]
    assert isinstance(found, np.ndarray)  # noqa: S101 - one dictionary holds values of several types
    return found


SLOW_CLAMP_S = 0.1
"""A clamp without a peak hold shows the mean over this time; from memory of ordinary meters."""
PEAK_CLAMP_S = 1e-3
"""What a clamp with a peak hold catches; chosen: a millisecond, as asked of it."""


def lamp_inrush(systems: Systems) -> tuple[Floats, Floats]:
    """What a quick and a slow clamp show when someone taps the heavy lamp on the battery: its cold filament draws most.

    The greatest mean current over `PEAK_CLAMP_S` and over `SLOW_CLAMP_S`, in A, each of shape ``(n,)``; the lead of
    the lamp has 0.1 ohm (chosen).  The filament is stepped as in the rest of the model.
    """
    tables = tables_of(lamp_named(HEAVY_LAMP))
    assert tables is not None  # noqa: S101 - the heavy lamp has a filament
    volt = systems.values["battery-voltage"] + systems.values["polarisation"]
    kelvin = np.full(systems.count, 300.0)
    step = PEAK_CLAMP_S / 20
    drawn = []
    for _ in range(round(SLOW_CLAMP_S / step)):
        conductance = np.interp(kelvin, tables.kelvin, tables.conductance)
        ampere = volt * conductance / (1 + LAMP_LEAD_OHM * conductance)
        place = tables.place(kelvin)
        power = ampere**2 / conductance
        kelvin = np.clip(
            kelvin + step * (power - tables.loss[place]) * tables.heat[place], 300.0, tables.kelvin[-1]
        )
        drawn.append(ampere)
    whole = np.stack(drawn)
    return whole[: round(PEAK_CLAMP_S / step)].mean(axis=0), whole.mean(axis=0)


def _inrush(systems: Systems) -> tuple[Floats, Floats]:
    """`lamp_inrush`, computed once for these cars."""
    kept = _kept.setdefault(systems, {})
    if "inrush" not in kept:
        kept["inrush"] = lamp_inrush(systems)
    found = kept["inrush"]
    assert isinstance(found, tuple)  # noqa: S101 - one dictionary holds values of several types
    return found[0], found[1]


LAMP_LEAD_OHM = 0.1


def _all_mean(systems: Systems, state: State) -> Floats:
    """Mean current of the feed cable over a period, for every mechanism of the state."""
    kept = _kept.setdefault(systems, {})
    key = ("mean current", state)
    if key not in kept:
        waves = (
            turn(rows, state[2], state[3], ("battery-positive", GROUND), NO_OBSERVER)
            for rows in _chunks(systems, state)
        )
        kept[key] = np.concatenate([one.mean_a for one in waves])
    found = kept[key]
    assert isinstance(found, np.ndarray)  # noqa: S101 - one dictionary holds values of several types
    return found


FLASH = 0.2
"""Light of a light-emitting diode that is seen, against its light at 10 mA; chosen: in a bay, not in the sun."""
FLASH_SPREAD = 0.3


def _all_flash(systems: Systems, state: State, across: tuple[str, str]) -> dict[str, Floats]:
    """Shares of what is said of a light-emitting diode, which follows every pulse, for every mechanism."""
    kept = _kept.setdefault(systems, {})
    key = ("flash", state, across)
    if key not in kept:
        parts: list[tuple[Floats, Floats]] = []
        chosen = lamp_named("led")
        for rows in _chunks(systems, state):
            if _turning(state):
                light = turn(rows, state[2], state[3], across, chosen).light
                assert light is not None  # noqa: S101 - a diode gives light
                parts.append((light.max(axis=1), light.min(axis=1)))
            else:
                still = brightness_of(chosen, steady(rows, state[2], state[3], across, chosen)[0])
                parts.append((still, still))
        most, least = (np.concatenate([part[number] for part in parts]) for number in (0, 1))
        dark = _below(most, FLASH, FLASH_SPREAD)
        calm = (1 - dark) * (1 - _below(least, 0.5 * most, FLASH_SPREAD))
        kept[key] = {"dark": dark, "steady": calm, "blinking": 1 - dark - calm}
    found = kept[key]
    assert isinstance(found, dict)  # noqa: S101 - one dictionary holds values of several types
    return found


def _all_ramp(systems: Systems, state: State) -> Ramp:
    """The primary's current on a scope, for every mechanism of the state."""
    kept = _kept.setdefault(systems, {})
    key = ("ramp", state)
    if key not in kept:
        parts: list[tuple[Floats, ...]] = []
        for rows in _chunks(systems, state):
            waves = turn(rows, state[2], state[3], ("battery-positive", GROUND), NO_OBSERVER)
            # Where the driver's current is not the coil's, the coil's has no top.
            reached = waves.peak_a > 0.8 * rows.values["current-limit"]
            limit_s = np.where(reached, waves.limit_s, np.inf)
            flat_s = np.where(np.isfinite(limit_s), waves.on_s - np.minimum(limit_s, waves.on_s), 0.0)
            parts.append((waves.peak_a, waves.least_a, limit_s, flat_s))
        kept[key] = Ramp(*(np.concatenate(part) for part in zip(*parts, strict=True)))
    found = kept[key]
    assert isinstance(found, Ramp)  # noqa: S101 - one dictionary holds values of several types
    return found


DIAGRAMS: dict[str, dict[str, str]] = {
    "coil": {
        "coils": "",
        "coil-driver": "separate",
        "switching": "ground-side",
        "driver-command": "",
        "ballast": "",
    },
    "built-in": {"coil-driver": "built-in"},
    "load": {"part-switching": "ground-side"},
}
"""What the maker's diagram tells in each kind of circuit; "" where its cars are of several kinds."""

NOT_SHOWN = (
    "built-in",
    "separate",
    "capacitive",
    "contact-points",
    "ground-side",
    "power-side",
    "direct-injection",
    "unknown",
)
"""Answers to a diagram that a car of the model has or has not."""


def _kinds(circuit: Circuit, mechanism: Mechanism, probe: str) -> dict[str, float]:
    """What the maker's diagram tells of a car with this fault; with one coil for all plugs none is silent alone."""
    only = DIAGRAMS[circuit.kind][probe]
    if only:
        return {name: float(name == only) for name in NOT_SHOWN}
    if probe == "ballast":
        there = float(any(change.name == "ballast" for change in mechanism.changes))
        return {"found": there, "absent": 1 - there, "unknown": 0.0}
    if probe == "driver-command":
        commanded = 1.0 if "command-missing" in mechanism.flags else 0.5
        return {"found": commanded, "absent": 1 - commanded, "unknown": 0.0}
    if at_one_coil(mechanism) and mechanism.fault != "lead-or-plug":
        return {"coil-per-plug": 0.5, "waste-spark": 0.5, "distributor": 0.0}
    return {"coil-per-plug": 1 / 3, "waste-spark": 1 / 3, "distributor": 1 / 3}


INSIDE_V = 5e3
"""A secondary that breaks down below this does so inside coil, lead or plug, also with a spark tester on it; chosen."""


COIL_VALUES = ("primary-resistance", "primary-inductance", "breakdown-voltage", "burning-voltage")
"""What another coil brings with it; that of a car without a fault."""
COIL_FLAGS = ("coil-driver-off", "no-spark-path")


def _with_sound_coil(rows: Rows, systems: Systems) -> Rows:
    """The same cars with a sound coil in the place of theirs."""
    times = rows.count // systems.count
    values = {name: np.tile(systems.values[name], times) for name in COIL_VALUES}
    if rows.circuit.kind == "load":
        values = {}
    sound = {name: np.zeros(rows.count, dtype=bool) for name in COIL_FLAGS}
    values["shorted-turns"] = np.full(rows.count, np.inf)
    return replace(rows, values={**rows.values, **values}, flags={**rows.flags, **sound})


def _all_spark(systems: Systems, state: State, *, sound_coil: bool = False) -> tuple[Floats, Floats]:
    """Available secondary voltage in kV and energy of the primary in J, with a tester in the plug's place."""
    kept = _kept.setdefault(systems, {})
    key = ("spark", state, sound_coil)
    if key not in kept:
        parts: list[tuple[Floats, Floats]] = []
        for chunk in _chunks(systems, state):
            rows = _with_sound_coil(chunk, systems) if sound_coil else chunk
            outside = rows.values["breakdown-voltage"] > INSIDE_V
            tested = replace(rows, flags={**rows.flags, "no-spark-path": outside})
            waves = turn(tested, state[2], state[3], ("battery-positive", GROUND), NO_OBSERVER)
            energy = 0.5 * rows.values["primary-inductance"] * waves.peak_a**2
            parts.append((waves.available_v / 1e3, energy))
        kept[key] = tuple(np.concatenate(part) for part in zip(*parts, strict=True))
    found = kept[key]
    assert isinstance(found, tuple)  # noqa: S101 - one dictionary holds values of several types
    return found[0], found[1]


LEAD_FLAGS = frozenset({"no-spark-path", "lead-to-ground"})
"""What is wrong behind the coil: no spark at the end of the lead, and one at the coil's tower."""
COIL_CHANGES = frozenset({"primary-resistance", "primary-inductance", "shorted-turns"})


def _spark(mechanism: Mechanism, measure: Measurement, kilovolts: Floats, joules: Floats) -> Spark:
    """What comes to the tester's place: behind a bad lead nothing, in another coil's place what that one has."""
    bad_lead = bool(mechanism.flags & LEAD_FLAGS)
    changed = {change.name for change in mechanism.changes}
    inside = "breakdown-voltage" in changed and not mechanism.flags & {"lead-to-ground", "wide-gap"}
    coils_own = (
        inside
        or bool(changed & COIL_CHANGES)
        or bool(mechanism.flags & {"secondary-open", "coil-driver-off"})
    )
    several = 0.5 if at_one_coil(mechanism) else 0.0
    if measure.probe == "sound-coil":
        return Spark(kilovolts, joules, several)
    # Shorted turns give no secondary voltage; the resistance that stands for them is only meant for the lamp.
    if (
        "shorted-turns" in changed
        or "secondary-open" in mechanism.flags
        or (measure.probe == "plug-lead" and bad_lead)
    ):
        kilovolts = np.zeros_like(kilovolts)
    elif "lead-to-ground" in mechanism.flags:
        kilovolts = np.full_like(kilovolts, 30.0)  # at the tower, without the lead
    if measure.probe == "swapped-coil" and not coils_own:
        kilovolts, joules = np.full_like(kilovolts, 30.0), np.full_like(joules, 0.1)
    return Spark(kilovolts, joules, several)


SPARK = Measurement("spark-tester", "engine-block", "plug-lead", Engine.CRANKING)
POSTS = Measurement("voltmeter", GROUND, "battery-positive", Engine.CRANKING)
FLOOR_V = 9.6
"""Posts of a battery below this while cranking are too low (from memory after BCI)."""
WORKING_SHARE = 0.6
"""A load that gets less than this share of a sound car's current does not work; chosen."""


MOSTLY = 0.75
"""A spark is weak or missing where this share of observers would call it so; chosen."""


def bad_spark(circuit: str, mechanism: Mechanism, systems: Systems) -> Booleans:
    """The cars in which this fault matters, shape ``(n,)``: their spark is weak or missing, by the spark model.

    Of the cars without a fault those count that spark well.

    A switched load makes none: there the current is too small, or never stops.  Posts below the cranking floor
    matter whatever the spark.
    """
    everything = np.ones(systems.count, dtype=bool)
    known = circuit_named(circuit)
    if known.only or (mechanism.fault == NONE and known.kind == "load"):
        return everything  # a weak battery or a poor cable is looked for whatever the spark
    if known.kind == "load":
        clamp = Measurement("clamp-scope", None, "feed-wire", Engine.CRANKING)
        ramp = _observed(known, mechanism, clamp, systems, "194").ramp
        sound = _observed(known, _SOUND, clamp, systems, "194").ramp
        assert ramp is not None  # noqa: S101
        assert sound is not None  # noqa: S101
        return np.asarray((ramp.peak < WORKING_SHARE * sound.peak) | (ramp.least > NO_CURRENT_A))
    posts = _observed(known, mechanism, POSTS, systems, "194").value
    assert posts is not None  # noqa: S101 - a voltmeter shows a number
    spark = _observed(known, mechanism, SPARK, systems, "194").spark
    assert spark is not None  # noqa: S101 - a spark tester shows a spark
    none = _below(spark.kilovolts, GAP_KV, GAP_SPREAD)
    weak = _below(spark.joules, THIN_J, THIN_SPREAD)
    bad = (1 - (1 - none) * (1 - weak) > MOSTLY) | (posts < FLOOR_V)
    if "wide-gap" in mechanism.flags:
        gap = systems.values["breakdown-voltage"] * next(
            change.value for change in mechanism.changes if change.name == "breakdown-voltage"
        )
        bad = bad | (spark.kilovolts * 1e3 < gap)
    if mechanism.fault == NONE:
        # A car without a fault sparks well, and not just so: one of another kind that does not is no such car.
        return np.asarray(
            (spark.kilovolts > 1.15 * GAP_KV) & (spark.joules > 1.3 * THIN_J) & (posts >= FLOOR_V)
        )
    return np.asarray(bad)


def _all_drops(systems: Systems, state: State, across: tuple[str, str], lit: tuple[str, str]) -> Floats:
    """Voltage between two nodes with the heavy lamp between two others, for every mechanism of the state."""
    kept = _kept.setdefault(systems, {})
    key = ("drops", state, across, lit)
    if key not in kept:
        heavy = lamp_named(HEAVY_LAMP)
        tables = tables_of(heavy)
        assert tables is not None  # noqa: S101 - the heavy lamp has a filament
        parts = []
        for unsettled in _chunks(systems, state):
            rows = settled(unsettled, state[2], state[3], lit, heavy)
            volts, kelvin, _ = steady(rows, state[2], state[3], lit, heavy)
            drawn = np.interp(kelvin, tables.kelvin, tables.conductance) * volts
            emf, starter = battery_of(rows, state[2])
            gain = reduce(rows, state[2], state[3], {"lamp": lit, "drop": across}, steady=True).gain["drop"]
            parts.append(gain["battery"] * emf + gain["starter"] * starter + gain["lamp"] * drawn)
        kept[key] = np.concatenate(parts)
    found = kept[key]
    assert isinstance(found, np.ndarray)  # noqa: S101 - one dictionary holds values of several types
    return found


def _all_ohm(systems: Systems, state: State, across: tuple[str, str]) -> Floats:
    """Resistance between two nodes; with the coil unplugged, between its own terminals."""
    kept = _kept.setdefault(systems, {})
    key = ("ohm", state, across)
    if key not in kept:
        parts = []
        for rows in _chunks(systems, state):
            if "coil" in state[3] and set(across) == {"feed", "switched"} and rows.circuit.kind != "built-in":
                parts.append(rows.values["primary-resistance"])
            else:
                parts.append(resistance_between(rows, state[2], state[3], across))
        kept[key] = np.concatenate(parts)
    found = kept[key]
    assert isinstance(found, np.ndarray)  # noqa: S101 - one dictionary holds values of several types
    return found


def _below(value: Floats, limit: float | Floats, spread: float) -> Floats:
    """Share of observers who put a value below a limit, on a logarithmic scale; exact far away from it."""
    distance = (np.log(np.maximum(value, 1e-9)) - np.log(np.maximum(limit, 1e-9))) / spread
    return np.asarray(1 / (1 + np.exp(np.clip(2.5 * distance, -50, 50))))


DARK_SPREAD = 0.5
DIM_SPREAD = 0.15
STEADY_SPREAD = 0.25
"""Widths of the borders between classes, in natural logarithm; chosen, not fitted."""


def outcome_shares(observed: Observed, outcomes: Sequence[str], misreading: float = 0.0) -> Floats:
    """Shares in which honest observers would give each of these answers.

    Args:
        observed: What the instrument shows.
        outcomes: The answers to choose from.
        misreading: Share of answers that are any of the other answers, by mistake.

    Returns:
        Shape ``(n, len(outcomes))``; rows sum to 1.

    Raises:
        CircuitProblem: No answer, or one that this instrument cannot show.
    """
    if not outcomes:
        raise CircuitProblem("There is no answer to choose from.")
    shares = _honest(observed, outcomes)
    total = shares.sum(axis=1, keepdims=True)
    shares = np.where(total > 0, shares / np.maximum(total, 1e-12), 1 / len(outcomes))
    return mistaken(shares, misreading)


def mistaken(shares: Floats, misreading: float) -> Floats:
    """Shares of answers when some are another answer by mistake, any of the others alike.

    Raises:
        CircuitProblem: The share of mistakes is no share.
    """
    if not 0 <= misreading <= 1:
        raise CircuitProblem(f"A share of misread answers lies between 0 and 1, not at {misreading:g}.")
    others = shares.shape[1] - 1
    if misreading == 0 or others == 0:
        return shares
    return np.asarray((1 - misreading) * shares + misreading * (1 - shares) / others)


def _honest(observed: Observed, outcomes: Sequence[str]) -> Floats:
    """Shares before they are made to sum to 1."""
    if observed.kinds is not None and observed.shown is not None:
        return np.stack(
            [
                np.broadcast_to(_of(observed.kinds, name), observed.shown.shape).astype(float)
                for name in outcomes
            ],
            axis=1,
        )
    if observed.named is not None:
        return _columns(observed.named, outcomes)
    if observed.spark is not None:
        return _columns(_sparks(observed.spark, outcomes), outcomes)
    if observed.ramp is not None:
        return _columns(_ramps(observed.ramp), outcomes)
    if observed.shown is not None:
        pairs = {"present": "missing", "lamp-on": "lamp-off", "cold": "mild"}
        shows = {**dict.fromkeys(pairs, True), **dict.fromkeys(pairs.values(), False)}
        return np.stack([(observed.shown == _of(shows, name)).astype(float) for name in outcomes], axis=1)
    if observed.brightness is None or observed.index is None or observed.feed_index is None:
        raise CircuitProblem("This instrument shows a number, and the answers to choose from are words.")
    dark = _below(observed.brightness, eye.DARK, DARK_SPREAD)
    dim = (1 - dark) * _below(observed.brightness, eye.DIM, DIM_SPREAD)
    bright = 1 - dark - dim
    ratio = observed.index / np.maximum(observed.feed_index, eye.STEADY_INDEX / 2)
    distinct = np.clip(
        np.log(np.maximum(ratio, 1e-6) / eye.LIKE_FEED) / np.log(eye.DISTINCT / eye.LIKE_FEED), 0, 1
    )
    still = _below(observed.index, eye.STEADY_INDEX, STEADY_SPREAD)
    # A blink that cannot be seen is none, however much more it is than the surge.
    distinct = distinct * (1 - still)
    zero = np.zeros_like(dark)
    if "same" in outcomes or "sharper" in outcomes:
        other = np.ones_like(dark) if observed.compared is None else observed.compared
        both = np.abs(np.log(np.maximum(observed.brightness, 1e-3) / np.maximum(other, 1e-3))) < np.log(2)
        sharper = np.where(dark > 0.5, 0.0, distinct)
        # A lamp that is plainly darker than on the other place is neither the same nor sharper.
        known: dict[str, Floats] = {
            "same": np.where(both, 1 - sharper, 0.5 * (1 - sharper)),
            "sharper": sharper,
        }
        known["sharper"] = np.where(both, sharper, sharper + 0.5 * (1 - sharper))
        return np.stack([known.get(name, zero) for name in outcomes], axis=1)
    known = {"dark": dark, "dim": dim, "lit": zero, "steady": zero, "flickering": zero, "blinking": zero}
    for name in outcomes:
        _of(known, name)
    states = [name for name in ("steady", "flickering", "blinking") if name in outcomes]
    if states and "dim" not in outcomes:
        # A lamp behind a winding is dim and blinks all the same; where dim is no answer, only that is told.
        bright, known["dim"] = bright + dim, zero
    if not states:
        known["lit"] = bright
    else:
        waver = 1 - distinct
        parts = {"blinking": distinct, "flickering": waver * (1 - still), "steady": waver * still}
        for missing in [name for name in parts if name not in states]:
            nearest = {"steady": ("flickering", "blinking"), "flickering": ("steady", "blinking")}
            for name in nearest.get(missing, ("flickering", "steady")):
                if name in states:
                    parts[name] = parts[name] + parts.pop(missing)
                    break
        for name in states:
            known[name] = bright * parts[name]
        if "lit" in outcomes:
            # Who sees no blink says "lit" as readily as "steady".
            calm = known["steady"]
            known["lit"], known["steady"] = 0.5 * calm, 0.5 * calm
    if "dim" not in outcomes:
        # The nearest answer: lit enough to see is lit, when nothing between is offered.
        target = "lit" if "lit" in outcomes else (states[0] if states else "dark")
        known[target] = known[target] + known["dim"]
    if "dark" not in outcomes:
        target = "dim" if "dim" in outcomes else ("lit" if "lit" in outcomes else "steady")
        known[target] = known[target] + known["dark"]
    return np.stack([known[name] for name in outcomes], axis=1)


NEEDLE_KV = (0.0, 10.0, 20.0, 25.0, 30.0, 40.0)
NEEDLE_MM = (0.0, 8.5, 17.5, 22.0, 26.9, 38.1)
"""Breakdown of air between needle points (table of the AIEE, secondary source); a plug under compression needs less
gap for the same voltage, and other shapes of electrodes need more voltage for the same gap."""


def needle_kv(millimetres: float) -> float:
    """Peak voltage in kV that jumps a gap between needle points, in mm; between the entries of the table straight.

    Raises:
        CircuitProblem: The gap is not one of the table's, 0 to 38.1 mm.
    """
    if not 0 <= millimetres <= NEEDLE_MM[-1]:
        raise CircuitProblem(
            f"The table of needle gaps ends at {NEEDLE_MM[-1]} mm; {millimetres:g} mm is outside it."
        )
    return float(np.interp(millimetres, NEEDLE_MM, NEEDLE_KV))


TESTER_MM = 17.5
"""Gap of the spark tester, in mm between points; chosen: an ignition that cannot make 20 kV is weak."""
GAP_KV = needle_kv(TESTER_MM)
THIN_J = 35e-3
"""Energy below which a spark looks thin; chosen, not fitted."""
GAP_SPREAD = 0.1
THIN_SPREAD = 0.3
NO_CURRENT_A = 0.5
AT_ONCE_S = 1e-3
FLAT_S = 0.3e-3
"""A top is seen to be flat from this long on; chosen, not fitted."""
RAMP_SPREAD = 0.15
"""Widths of these borders, in natural logarithm, and the borders of a ramp; chosen, not fitted."""


def _columns(known: dict[str, Floats], outcomes: Sequence[str]) -> Floats:
    known = dict(known)
    if "blinking" in known and "blinking" not in outcomes and "lit" in outcomes:
        known["lit"] = known["steady"] + known["blinking"]
    for name in outcomes:
        _of(known, name)
    return np.stack([known[name] for name in outcomes], axis=1)


def _sparks(spark: Spark, outcomes: Sequence[str]) -> dict[str, Floats]:
    """Shares of what is said of a spark; of one coil of several, the others spark where they may be named."""
    none = _below(spark.kilovolts, GAP_KV, GAP_SPREAD)
    weak = (1 - none) * _below(spark.joules, THIN_J, THIN_SPREAD)
    several = spark.several if "some-cylinders" in outcomes else 0.0
    return {
        "strong-spark": 1 - none - weak,
        "weak-spark": weak * (1 - several),
        "no-spark": none * (1 - several),
        "some-cylinders": (weak + none) * several,
        "one-tower": np.zeros_like(none),
    }


def _ramps(ramp: Ramp) -> dict[str, Floats]:
    """Shares of what is said of the primary's current on a scope."""
    none = _below(ramp.peak, NO_CURRENT_A, RAMP_SPREAD)
    constant = (1 - none) * (1 - _below(ramp.least, NO_CURRENT_A, RAMP_SPREAD))
    switched = 1 - none - constant
    at_once = switched * _below(np.minimum(ramp.limit_s, 1.0), AT_ONCE_S, RAMP_SPREAD)
    flat = (switched - at_once) * (1 - _below(ramp.flat_s, FLAT_S, RAMP_SPREAD))
    return {
        "no-current": none,
        "constant": constant,
        "at-once": at_once,
        "flat-top": flat,
        "slow-ramp": switched - at_once - flat,
    }


def _of(known: Mapping[str, _Value], name: str) -> _Value:
    if name not in known:
        raise CircuitProblem(f"The instrument cannot show '{name}'. It shows: {', '.join(known)}.")
    return known[name]


ERRORS = {"V": (0.01, 0.005), "A": (0.15, 0.03), "ohm": (0.08, 0.01), "s": (0.1e-3, 0.03)}
"""Standard error of a reading: a fixed part (of the ohmmeter: leads and contacts, after they were subtracted) and
a share of the value; chosen, not fitted."""
CONTACT_OHM = 0.03
"""The fixed part for an ohmmeter whose leads were measured and are subtracted: contacts remain; chosen."""
UNITS = {
    "ms": ("s", 1e-3),
    "mV": ("V", 1e-3),
    "V": ("V", 1.0),
    "A": ("A", 1.0),
    "ohm": ("ohm", 1.0),
    "kilohm": ("ohm", 1e3),
    "megohm": ("ohm", 1e6),
}

VERSION = fingerprint(
    PARAMETERS,
    LAMPS,
    [(entry.fault, entry.name, entry.changes, sorted(entry.flags)) for entry in _ALL],
    CIRCUITS,
    (eye.DARK, eye.DIM, eye.STEADY_INDEX, eye.LIKE_FEED, eye.DISTINCT),
    (DARK_SPREAD, DIM_SPREAD, STEADY_SPREAD, ERRORS, CONTACT_OHM),
    (GAP_KV, THIN_J, GAP_SPREAD, THIN_SPREAD, NO_CURRENT_A, AT_ONCE_S, FLAT_S, RAMP_SPREAD, INSIDE_V),
    (makers.RESISTANCE_TOLERANCE, makers.CURRENT_TOLERANCE, makers.TIME_TOLERANCE, makers.DEFAULT_TIME_S),
    "solving 4",
)
"""Changes with parameters, lamps, faults, circuits and classes; caches are keyed with it.

The last part is counted up by hand when the solving itself changes its results.
"""


def answer_shares(observed: Observed, step: Step, *, blank: bool = False) -> Floats:
    """What would be answered at a step, shape ``(n, ways)``, in the order of `Step.ways`.

    Args:
        observed: What the instrument shows.
        step: The step.
        blank: The person leaves every value of the maker blank.
    """
    if step.reading is not None:
        return reading_shares(observed, step.reading, blank=blank)
    return outcome_shares(observed, [answer.outcome for answer in step.answers])


def reading_shares(observed: Observed, reading: Reading, *, blank: bool = False) -> Floats:
    """Shares in which a reading falls into each band, with the meter's error.

    A reading is what the meter shows, its leads included, and is judged as a session judges it: leads and
    temperature as the person gave them, limits from the car's maker.

    Returns:
        Shape ``(n, bands)``, with one column more where the reading may be unjudged; rows sum to 1.  A reading
        beyond the plausible range counts to the nearest band.

    Raises:
        CircuitProblem: The instrument shows no number, the unit is not known, or the model has no value for a fact.
    """
    if observed.value is None:
        raise CircuitProblem("This instrument shows no number, and the step asks for a reading.")
    if reading.unit not in UNITS:
        raise CircuitProblem(f"The circuit model does not know the unit '{reading.unit}'.")
    kind, size = UNITS[reading.unit]
    fixed, share = ERRORS[kind]
    if reading.subtract:
        # What is subtracted was in the reading before, so only the error of the contacts is left of it.
        makers.fact(observed.facts, reading.subtract)
        fixed = CONTACT_OHM
    over = np.isinf(observed.value)
    value = np.where(over, 1e12, observed.value)
    error = fixed + share * np.abs(value)
    if reading.at_20_celsius:
        warmer = 1 + float(COPPER_PER_KELVIN) * (makers.fact(observed.facts, reading.at_20_celsius) - 20)
        value, error = value / warmer, error / warmer
    last = len(reading.bands) - 1
    parts = []
    for number, band in enumerate(reading.bands):
        low = _limit(None if number == 0 else band.low, -np.inf, size, observed, blank=blank)
        high = _limit(None if number == last else band.high, np.inf, size, observed, blank=blank)
        if low is None or high is None:
            parts.append(np.zeros_like(value))
            continue
        part = _normal((high - value) / error) - _normal((low - value) / error)
        parts.append(np.where(over, float(number == last), part))
    if reading.unjudged is not None:
        parts.append(np.clip(1 - sum(parts), 0.0, 1.0))
    return np.stack(parts, axis=1)


def _limit(
    limit: Limit | None, none: float, size: float, observed: Observed, *, blank: bool
) -> Floats | float | None:
    """A limit in the base unit; None where it is the maker's and was left blank."""
    if limit is None:
        return none
    if isinstance(limit, Specified):
        return None if blank else makers.fact(observed.facts, limit.fact)
    return float(limit) * size


def _normal(distance: Floats) -> Floats:
    """The normal distribution, by Abramowitz and Stegun 7.1.26 (error below 1.5e-7)."""
    size = np.minimum(np.abs(distance) / np.sqrt(2), 10.0)
    t = 1 / (1 + 0.3275911 * size)
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    error = 1 - poly * np.exp(-size * size)
    return np.asarray(0.5 * (1 + np.sign(distance) * error))
