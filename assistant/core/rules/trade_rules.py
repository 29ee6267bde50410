"""Rules of the trade for every step: how an instrument must be used so that it shows something.

Each rule holds for any circuit, so procedures that are written later must keep it, too.
A rule that does not follow from the circuit is common practice without a source, and says so.
Rules about limits and verdicts are in `assistant.core.rules.verdict_rules`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine, Leads
from assistant.core.library.vocabulary import CLAMPS, LOGIC_IN
from assistant.core.rules import verdict_rules
from assistant.core.values.finding import Finding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Procedure, Step

TURNING = (Engine.CRANKING, Engine.RUNNING)

BLINKS = ("blinking", "flickering", "sharper", "same")
"""Outcomes of a lamp that needs something to switch."""

PULSES = (*CLAMPS, "spark-tester", "logic-probe", "signal-meter")
"""Instruments for signals that only a turning engine makes."""

STEADY_LOADS = ("heavy-lamp-lead",)
"""Leads whose current does not depend on the engine: a clamp is tried there."""

GROUNDS = ("driver-ground", "coil-ground")
"""Ground terminals."""

SUPPLIES = ("feed", "driver-supply", "fuse-supply", "fuse-load", "relay-supply", "relay-coil-supply")
"""Points that get battery voltage, in the words of a coil's circuit."""

CONTROL_WIRE = ("switched", "driver-end")
"""Both ends of the control wire, in the words of a coil's circuit."""

UNPLUGGED_FOR = {"feed": "coil", "switched": "coil", "driver-end": "module"}
"""Part to unplug so that an ohmmeter there measures the part or wire alone."""

POSTS = ("battery-positive", "battery-negative")

LOADS = ("heavy-lamp", "loaded-voltmeter", "ground-drop-meter")
"""Instruments that draw some amperes through what they are on."""

SMALL_DROP = 1
"""Border in volts below which a reading is a drop over a good path and not a supply."""

NEEDED_CAUTIONS = (
    ("spark-tester", "spark-tester"),
    ("injectors", "spark-tester"),
)
"""Cautions, by name, that an instrument needs besides those for its hazards."""


def findings(library: Library) -> Iterator[Finding]:
    """All findings, procedure by procedure, then those that compare procedures."""
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            for rule in STEP_RULES:
                told = rule(library, procedure, step)
                if told is not None:
                    yield Finding(procedure.file, step.line, f"step '{step.name}' {told[0]}", told[1])
    yield from verdict_rules.findings(library)
    yield from _same_cautions(library)


def uncautioned(library: Library) -> Iterator[Finding]:
    """Only the steps that lack a caution which their instrument or point needs."""
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            told = needed_cautions(library, procedure, step)
            if told is not None:
                yield Finding(procedure.file, step.line, f"step '{step.name}' {told[0]}", told[1])


Told = tuple[str, str]
"""The mistake, in words that follow the step's name, and its cure."""


# --- lamps ----------------------------------------------------------------------------------------


def blinks_while_turning(_library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """A lamp blinks only where something switches it, and nothing does while the engine stands."""
    blinks = [answer.outcome for answer in step.answers if answer.outcome in BLINKS]
    if blinks and step.measure.engine not in TURNING:
        return (
            f"listens for '{blinks[0]}' with {step.measure.engine}, when nothing is switched",
            "Let it crank, or leave that answer out",
        )
    return None


def lamp_clip(library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """A lamp lights between two sides: a ground is tested from battery positive, a supply from battery negative.

    A supply that is cut off at the fuse is tested for a short from battery positive, as a control wire is.
    """
    measure = step.measure.usual()
    if not library.terms.instruments[measure.instrument].filament:
        return None
    if measure.probe in GROUNDS and measure.clip != "battery-positive":
        return (
            f"tests the ground '{step.measure.probe}' with a lamp on {measure.clip}: it cannot light",
            "Clip the lamp to battery-positive",
        )
    if measure.probe in SUPPLIES and measure.clip != "battery-negative" and "fuse" not in measure.unplugged:
        return (
            f"tests the supply '{step.measure.probe}' with a lamp on {measure.clip}: a good supply leaves it dark",
            "Clip the lamp to battery-negative, or unplug the fuse to test for a short",
        )
    if measure.clip == "battery-negative" and measure.engine is Engine.KEY_OFF:
        return (
            "has a lamp on battery-negative with the key off: nothing is fed",
            "Switch the key on, or clip the lamp to battery-positive to look for ground",
        )
    turning = measure.engine in TURNING
    if measure.clip == "battery-positive" and measure.probe in CONTROL_WIRE and turning:
        return (
            f"has a lamp from battery-positive to '{step.measure.probe}' while the engine turns: the driver lights it",
            "Do not crank, or clip the lamp to battery-negative to see the driver switch",
        )
    return None


def heavy_lamp_loads(_library: Library, procedure: Procedure, step: Step) -> Told | None:
    """Ground and supply of a driver, and a coil's own ground, are loaded: a small lamp hides two ohms.

    The small lamp of 0.25 A drops 0.5 V over two ohms, which no eye sees; the driver drops several volts there.
    If the heavy lamp is used on the same terminal, the small one may touch it as well.
    """
    if step.measure.probe not in (*GROUNDS, "driver-supply") or step.measure.instrument != "test-lamp":
        return None
    others = [other.measure for other in procedure.steps.values()]
    if not any(one.instrument in LOADS and one.probe == step.measure.probe for one in others):
        return (
            f"tests '{step.measure.probe}' with the small lamp, which hides some ohms",
            "Use the heavy-lamp",
        )
    return None


def wire_is_free(_library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """A control wire that is looked at for a touch has nothing at either end that could be taken for one.

    With the module off and the coil on, battery positive reaches ground through coil and feed.
    """
    measure = step.measure.usual()
    places = (measure.clip, measure.probe)
    if not any(place in CONTROL_WIRE for place in places) or not any(place in POSTS for place in places):
        return None
    if "module" in measure.unplugged and "coil" not in measure.unplugged:
        return (
            f"has the module unplugged and the {_own(step.measure, 'coil')} not, through which the feed is seen",
            f"Unplug the {_own(step.measure, 'coil')} as well",
        )
    return None


def _own(measure: Measurement, part: str) -> str:
    """The part's name in the circuit that this measurement speaks of."""
    own = (measure.clip or "", measure.probe)
    return "load" if part == "coil" and any(place.startswith("load-") for place in own) else part


# --- meters and clamps ----------------------------------------------------------------------------


def pulses_while_turning(_library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """Current, signal and spark are there only while the engine turns; a clamp may be tried on a load that stays."""
    if step.measure.probe in STEADY_LOADS:
        return None
    if step.measure.instrument in PULSES and step.measure.engine not in TURNING:
        return (
            f"uses the {step.measure.instrument} with {step.measure.engine}: there is nothing to see",
            "Let it crank",
        )
    return None


def ohms_alone(_library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """An ohmmeter is used with the key off, on a part that is unplugged: else it measures the rest, or breaks.

    A wire that is measured to ground keeps its module where a leak of the driver is looked for.
    """
    measure = step.measure.usual()
    if not step.reading or step.reading.unit != "ohm":
        return None
    if measure.engine is not Engine.KEY_OFF:
        return f"measures ohms with {measure.engine}", "Switch the key off"
    places = (measure.clip or "", measure.probe)
    needed = {UNPLUGGED_FOR[place] for place in places if place in UNPLUGGED_FOR}
    if any(place in POSTS for place in places) and any(place in CONTROL_WIRE for place in places):
        needed = {"coil"}
    missing = sorted(needed - set(measure.unplugged))
    if missing:
        own = _own(step.measure, missing[0])
        return f"measures ohms with the {own} plugged in, and sees all that hangs on it", f"Unplug the {own}"
    return None


def drop_under_load(_library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """A drop is measured while current flows: a meter alone reads nothing over a wire that carries nothing."""
    reading, measure = step.reading, step.measure
    if reading is None or measure.instrument != "voltmeter" or measure.engine in TURNING or measure.unplugged:
        return None
    borders = [number for number, _ in verdict_rules.borders(reading)]
    if reading.unit == "V" and borders and min(borders) < SMALL_DROP:
        return (
            f"judges {min(borders)} V without a load, where a bad wire shows nothing",
            "Use the loaded-voltmeter or the ground-drop-meter, or let it crank",
        )
    return None


def load_on_its_side(_library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """The heavy lamp that stays on loads the side that is measured: supply or ground."""
    measure = step.measure.usual()
    if measure.instrument == "loaded-voltmeter" and measure.probe in GROUNDS:
        return f"measures the ground '{measure.probe}' with a load on the feed", "Use the ground-drop-meter"
    if measure.instrument == "ground-drop-meter" and measure.probe not in GROUNDS:
        return (
            f"measures '{measure.probe}', which is not a ground, with the lamp as load on a ground",
            "Use the loaded-voltmeter",
        )
    if measure.instrument == "loaded-voltmeter" and measure.engine is Engine.KEY_OFF:
        return "loads the feed with the key off, when no current flows", "Switch the key on"
    return None


def clamp_can_be_skipped(_library: Library, procedure: Procedure, step: Step) -> Told | None:
    """Not everybody has a clamp: its test can be skipped, unless only those come to it who have just used one."""
    if step.measure.instrument not in CLAMPS or step.if_skipped is not None:
        return None
    before = [
        (other, skipped)
        for other in procedure.steps.values()
        for target, skipped in (
            *((answer.target, False) for answer in other.ways()),
            *(((other.if_skipped, True),) if other.if_skipped else ()),
        )
        if target.leads is Leads.STEP and target.name == step.name
    ]
    used = [other.measure.instrument in CLAMPS and not skipped for other, skipped in before]
    if procedure.start != step.name and used and all(used):
        return None
    return (
        f"needs the {step.measure.instrument} and cannot be skipped, and not everybody has one",
        "Add 'if_skipped: {…}': the way by ohms, or a verdict that names no part",
    )


BUILT_IN_CIRCUIT = "built-in-driver-coil"
"""Circuit of a coil with its driver inside, on whose trigger no filament may go."""


def kind_fits(library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """A car with a built-in driver is not led to the tests of a coil with an external one, nor the other way round."""
    for answer in step.answers:
        if answer.outcome not in ("built-in", "separate") or answer.target.leads is not Leads.PROCEDURE:
            continue
        built_in = library.procedures[answer.target.name].circuit == BUILT_IN_CIRCUIT
        if built_in != (answer.outcome == "built-in"):
            return (
                f"leads '{answer.outcome}' to '{answer.target.name}', which is for the other kind of coil",
                "Lead it to the procedure for this kind of coil",
            )
    return None


# --- names ----------------------------------------------------------------------------------------


def name_keeps_its_word(library: Library, _procedure: Procedure, step: Step) -> Told | None:
    """A step that is named by how it is measured is measured so: people who change it later rely on the name."""
    measure = step.measure
    parts = [place.name for place in library.terms.places.values() if place.kind == "part"]
    missing = [part for part in parts if f"without-{part}" in step.name and part not in measure.unplugged]
    for says, kept, so in (
        ("under-load", measure.instrument in LOADS, "a load"),
        ("small-lamp", measure.instrument == "test-lamp", "the test-lamp"),
        ("while-cranking", measure.engine is Engine.CRANKING, "a cranking engine"),
        ("key-on", measure.engine is Engine.KEY_ON, "the key on"),
        ("key-off", measure.engine is Engine.KEY_OFF, "the key off"),
        ("unplugged", bool(measure.unplugged), "something unplugged"),
        ("without-", not missing, f"the {' and the '.join(missing)} unplugged"),
    ):
        if says in step.name and not kept:
            return (
                f"is not measured with {so}, as its name says",
                "Correct the measurement, or the step's name",
            )
    return None


# --- cautions -------------------------------------------------------------------------------------


def needed_cautions(library: Library, procedure: Procedure, step: Step) -> Told | None:
    """A caution names the harm that an instrument or point can do, also if it hurts no person.

    No filament lamp goes on a sensor, a data line or a logic signal; a lamp at a module goes on power and ground alone;
    a lamp that is driven by a shorted driver or wire heats the coil as long as the key is on.  Common practice.
    """
    measure = step.measure
    needed = [
        (caution, caution) for caution, instrument in NEEDED_CAUTIONS if measure.instrument == instrument
    ]
    filament = library.terms.instruments[measure.instrument].filament
    loads = filament or measure.instrument == "ground-drop-meter"
    if loads and measure.probe in (*GROUNDS, "driver-supply"):
        needed.append(("lamp-on-powers-only", "lamp-on-powers-only"))
    place = library.terms.places.get(measure.probe)
    logic = place is not None and place.kind == "node" and place.logic
    if (logic or measure.probe in LOGIC_IN.get(procedure.circuit, ())) and not measure.unplugged:
        needed.append(("no-lamp-on-", "no-lamp-on-sensors"))
    usual = measure.usual()
    reversed_lamp = filament and measure.clip == "battery-positive"
    if reversed_lamp and usual.probe in CONTROL_WIRE and measure.engine is Engine.KEY_ON:
        needed.append(("keep-key-on-short", "keep-key-on-short"))
    for beginning, name in needed:
        known = any(caution.startswith(beginning) for caution in library.cautions)
        if known and not any(caution.startswith(beginning) for caution in step.cautions):
            return f"is without a caution as '{name}'", f"Add '{name}' to its cautions"
    return None


def _same_cautions(library: Library) -> Iterator[Finding]:
    """The same measurement in the same kind of circuit has the same dangers, so its steps have the same cautions."""
    seen: dict[tuple[str, Measurement], tuple[Procedure, Step]] = {}
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            first_of, first = seen.setdefault((procedure.circuit, step.measure), (procedure, step))
            missing = sorted(set(first.cautions) ^ set(step.cautions))
            if missing:
                poorer = (procedure, step) if missing[0] in first.cautions else (first_of, first)
                richer = (first_of, first) if poorer[1] is step else (procedure, step)
                yield Finding(
                    poorer[0].file,
                    poorer[1].line,
                    f"step '{poorer[1].name}' is without the caution '{missing[0]}', which the same measurement has in "
                    f"'{richer[0].name}', step '{richer[1].name}'",
                    "Give both the same cautions",
                )


STEP_RULES: tuple[Callable[[Library, Procedure, Step], Told | None], ...] = (
    blinks_while_turning,
    lamp_clip,
    heavy_lamp_loads,
    wire_is_free,
    pulses_while_turning,
    ohms_alone,
    drop_under_load,
    load_on_its_side,
    clamp_can_be_skipped,
    kind_fits,
    name_keeps_its_word,
    needed_cautions,
)
