"""The circuit as a schematic, with the instrument of one measurement on it.

The drawing is a pure function of the circuit's name and the `Measurement`, so it cannot contradict the spoken
instruction.
Each point of the circuit has one `Spot`: its position, the way of a lead to it, and the position of its name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assistant.core.library.procedure import CLAMPS, FILAMENTS, SAME_POINT, SENSES, Engine
from assistant.core.words import wording
from assistant.errors import UsageProblem
from assistant.picture import marks, symbols
from assistant.picture.marks import BUILT_IN, COILS, LOAD, STARTER
from assistant.picture.svg import LEAD, Box, Canvas, Point

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.procedure import Instrument, Measurement, Terms

WIDTH, HEIGHT = 800, 478

CIRCUITS = (*COILS, BUILT_IN, LOAD, STARTER)
"""Circuits that can be drawn."""

GENERAL = "The circuit is drawn in general; the vehicle's own diagram rules."
"""Note beside every drawing of a circuit in a write-up."""

_RAIL, _EARTH, _POST = marks.RAIL, marks.EARTH, marks.POST
_PLUG, _PIN = 400, 460
"""Left edge of the coil's plug, and of the coil if it is unplugged."""
_LOW = 205
"""Height of the coil's switched terminal."""
_MODULE, _MODULE_PIN = 540, 590
_SUPPLY, _CONTROL, _GROUND = marks.SUPPLY, marks.CONTROL, 365
_COMMAND = marks.COMMAND
"""Heights of the driver module's terminals."""
_RIGHT_OF_COIL, _RIGHT_OF_MODULE, _MODULE_RIGHT_PIN = 668, 676, 650

_LETTERS = {
    "voltmeter": "V",
    "loaded-voltmeter": "V",
    "ground-drop-meter": "V",
    "control-drop-meter": "V",
    "ohmmeter": "\N{OHM SIGN}",
    "current-clamp": "A",
    "ramp-timer": "s",
    "spark-tester": "kV",
}
_LAMP_LEAD = "heavy-lamp-lead"
_THIS_COIL = {"sound-coil": "sound coil, borrowed", "old-coil": "old coil, refitted"}
"""Name of the coil if another one, or the old one refitted, is in its place."""


@dataclass(frozen=True)
class Spot:
    """A point that can be probed.

    Attributes:
        at: Its position.
        left: Its lead leaves the instrument on the left side.
        via: Corners of the lead, after the instrument; None means the lead's own column or height.
        name: Base line of its name.
        anchor: Side of the name that `name` places.
        role: Base line of the word for the lead, relative to the name: above or below.
        always: Whether its name shows even if nothing is connected.
    """

    at: Point
    via: tuple[tuple[float | None, float | None], ...]
    name: Point
    anchor: str = "start"
    role: float = -17
    left: bool = False
    always: bool = False


def _spots(circuit: str) -> dict[str, Spot]:
    """Every point of a circuit."""
    own, post = None, 155
    posts = {
        "battery-positive": Spot(
            (_POST, 185), ((post, own), (post, 185)), (74, 173), left=True, always=circuit == STARTER
        ),
        "battery-negative": Spot(
            (_POST, 325), ((post, own), (post, 325)), (74, 360), left=True, always=circuit == STARTER
        ),
    }
    if circuit == STARTER:
        block = Spot((440, 325), ((own, own), (own, 325)), (430, 362), "end", always=True)
        motor = Spot((560, 140), ((own, own), (500, own), (500, 140)), (574, 132), role=17)
        cable = Spot((300, _RAIL), ((300, own),), (215, 78), "end")
        return {**posts, "engine-block": block, "starter-terminal": motor, "starter-cable": cable}
    found = {
        **posts,
        _LAMP_LEAD: Spot((112, 325), ((300, own), (300, 405), (112, 405), (112, 325)), (124, 372)),
        "engine-block": Spot((200, _EARTH), ((300, own), (300, 395), (200, 395)), (214, 428)),
        "relay-supply": Spot((95, _RAIL), ((300, own), (300, 158), (95, 158)), (107, 140)),
        "relay-coil-supply": Spot((128, 132), ((300, own), (300, 156), (128, 156)), (192, 138)),
        "relay-control": Spot((160, 132), ((300, own), (300, 156), (160, 156)), (192, 138)),
        "fuse-supply": Spot((188, _RAIL), ((300, own), (300, 158), (188, 158)), (200, 140)),
        "fuse-load": Spot((262, _RAIL), ((330, own), (330, 112), (262, 112)), (290, 190), "end"),
        "feed-wire": Spot((310, _RAIL), ((310, own),), (290, 140), "end"),
        "feed": Spot((380, _RAIL), ((own, own), (own, 130), (380, 130)), (398, 78), "end", always=True),
        "switched": Spot((385, _LOW), ((own, own), (own, _LOW)), (395, 239), role=17, always=True),
        "driver-end": Spot(
            (420, _CONTROL), ((300, own), (300, 405), (420, 405)), (429, 350), role=17, always=True
        ),
        "driver-supply": Spot((510, _SUPPLY), ((own, own), (own, _SUPPLY)), (500, 280), "end"),
        "driver-ground": Spot((520, 395), ((300, own), (300, 395)), (510, 415), "end", 17),
        "crank-signal": Spot((702, _SUPPLY), ((300, own), (300, 422), (702, 422)), (702, 445), "end", 17),
        "sensor-supply": Spot(
            (760, 266), ((300, own), (300, 422), (714, 422), (714, 266)), (717, 445), "end", 17
        ),
        "cam-signal": Spot((690, _CONTROL), ((300, own), (300, 422), (690, 422)), (690, 445), "end", 17),
    }
    if circuit != LOAD:
        tower = Spot((700, 100), ((310, own), (310, 44), (700, 44)), (794, 190), "end", 17)
        found |= dict.fromkeys(("plug-lead", "both-towers", "swapped-coil", *_THIS_COIL), tower)
    if circuit in COILS:
        found["command"] = Spot((714, _COMMAND), ((300, own), (300, 422), (714, 422)), (714, 445), "end", 17)
    # The same points under the names of their circuit, which always show.
    for name, usual in SAME_POINT.items():
        if (
            usual in found
            and (circuit == BUILT_IN) == name.startswith("trigger")
            and circuit in (BUILT_IN, LOAD)
        ):
            found[name] = found[usual]
            found[usual] = replace(found[usual], always=False)
    if circuit == BUILT_IN:
        found["coil-ground"] = Spot((540, 186), ((own, own), (own, 222), (540, 222)), (548, 239), role=17)
    return found


def _on_the_coil(name: str, spot: Spot) -> Spot:
    """The coil's own terminal, in the gap between coil and plug; the lead runs past the plug."""
    own = None
    if SAME_POINT.get(name, name) == "feed":
        return replace(spot, at=(444, _RAIL), via=((own, own), (own, 128), (444, 128)), name=(440, 78))
    if SAME_POINT.get(name, name) == "switched":
        return replace(spot, at=(444, _LOW), via=((own, own), (own, 172), (444, 172)))
    return spot


def nodes(circuit: str) -> tuple[str, ...]:
    """Points of a circuit to which a lead can be drawn.

    Raises:
        UsageProblem: The circuit cannot be drawn; the message names those that can.
    """
    if circuit not in CIRCUITS:
        raise UsageProblem(
            f"The circuit '{circuit}' has no drawing. There are drawings of: {', '.join(CIRCUITS)}."
        )
    return tuple(_spots(circuit))


def can_draw(circuit: str, measure: Measurement) -> bool:
    """Whether the connection of this measurement can be drawn on this circuit."""
    touched = {measure.clip, measure.probe, measure.compared_with} - {None}
    return circuit in CIRCUITS and touched <= set(_spots(circuit)) and measure.instrument not in SENSES


def drawn(circuit: str, measure: Measurement, terms: Terms, wrong: Iterable[str] = ()) -> Canvas:
    """The schematic with the instrument on it.

    Args:
        circuit: Name of the circuit.
        measure: The measurement.
        terms: Words for places and instruments.
        wrong: Elements and flags of the circuit model that a fault has changed; each gets a mark.

    Raises:
        UsageProblem: The circuit has no drawing, or lacks a point of the measurement, or nothing is connected.
    """
    known = nodes(circuit)
    if measure.instrument in SENSES:
        place = terms.places[measure.probe].spoken
        raise UsageProblem(f"Nothing is connected when {place} is looked at, so there is nothing to draw.")
    for name in (measure.clip, measure.probe, measure.compared_with):
        if name is not None and name not in known:
            raise UsageProblem(
                f"The circuit '{circuit}' has no point '{name}' to draw a lead to. It has: {', '.join(known)}."
            )
    canvas = Canvas(WIDTH, HEIGHT)
    spots = _spots(circuit)
    if wording.on_the_part(measure) and measure.unplugged:
        spots = {name: _on_the_coil(name, spot) for name, spot in spots.items()}
    _badges(canvas, measure, terms)
    if measure.probe == _LAMP_LEAD:
        _heavy_lamp(canvas)
    if circuit == STARTER:
        _starter(canvas, measure)
    else:
        _supply(canvas, measure)
        _coil(canvas, circuit, measure)
        _module(canvas, circuit, measure)
        if circuit in COILS:
            _accessory(canvas, measure)
            _computer(canvas)
    for name, spot in spots.items():
        if name not in ("feed-wire", _LAMP_LEAD):
            symbols.node(canvas, *spot.at)
    for at in marks.places(wrong, circuit):
        symbols.fault_mark(canvas, at)
    _instrument(canvas, measure, terms, spots)
    taken = {
        spots[name].at for name in (measure.clip, measure.probe, measure.compared_with) if name is not None
    }
    for name, spot in spots.items():
        if spot.always and spot.at not in taken:
            canvas.text(
                *spot.name, terms.places[name].short if name in terms.places else name, anchor=spot.anchor
            )
    return canvas


def inline(circuit: str, measure: Measurement, terms: Terms, key: str) -> str:
    """The schematic as SVG for a page; "" if the measurement's connection cannot be drawn.

    Args:
        circuit: Name of the circuit.
        measure: The measurement.
        terms: Words for places and instruments.
        key: A name for this drawing, unique on the page.
    """
    if not can_draw(circuit, measure):
        return ""
    return drawn(circuit, measure, terms).svg("Connection", about(measure, terms), key=key, inline=True)


def about(measure: Measurement, terms: Terms) -> str:
    """The connection in a sentence, in the same words as in a write-up."""
    words = wording.connection(terms, measure)
    return f"{words[:1].upper()}{words[1:]}; {wording.engine_words(measure.engine)}."


# --- the circuit ----------------------------------------------------------------------------------


def _badges(canvas: Canvas, measure: Measurement, terms: Terms) -> None:
    """Engine state and unplugged parts, in frames along the upper edge."""
    engine = wording.engine_words(measure.engine)
    after = symbols.badge(canvas, 8, 8, f"{engine[:1].upper()}{engine[1:]}")
    if measure.unplugged:
        parts = wording.listed([terms.places[part].short for part in measure.unplugged])
        symbols.badge(canvas, after, 8, f"Unplugged: {parts}")


def _battery(canvas: Canvas) -> None:
    canvas.line((_POST, _RAIL), (_POST, 240))
    canvas.line((_POST, 270), (_POST, _EARTH))
    symbols.battery(canvas, _POST, 255)
    canvas.text(96, 260, "battery")


def _heavy_lamp(canvas: Canvas) -> None:
    """The heavy lamp on the battery's posts: a known current, for trying a clamp."""
    canvas.line((_POST, 185), (165, 185), (165, 325), (_POST, 325))
    symbols.lamp(canvas, 165, 215, 15, on_the_car=True)
    canvas.text(142, 220, "heavy lamp", anchor="end", size=14)


def _accessory(canvas: Canvas, measure: Measurement) -> None:
    """An accessory on the control wire, such as a rev counter; its wire is broken if it is unplugged."""
    canvas.line((385, _CONTROL), (385, 345 if "accessory" in measure.unplugged else 366))
    canvas.circle((385, 374), 8)
    canvas.text(372, 380, "accessory", anchor="end", size=14)


def _computer(canvas: Canvas) -> None:
    """The control computer that commands the driver, if there is one."""
    canvas.line((_RIGHT_OF_MODULE, _COMMAND), (728, _COMMAND))
    canvas.rectangle(Box(728, _COMMAND - 11, 798, _COMMAND + 11))
    canvas.text(763, _COMMAND + 5, "computer", anchor="middle", size=14)


def _starter(canvas: Canvas, measure: Measurement) -> None:
    """Battery, cables, starter and engine block, with nothing else."""
    _battery(canvas)
    canvas.line((_POST, _RAIL), (330, _RAIL), width=4)
    turning = measure.engine is Engine.CRANKING
    symbols.contact(canvas, 330, _RAIL, 60, closed=turning)
    canvas.text(360, 66, "starter switch", anchor="middle")
    canvas.line((390, _RAIL), (560, _RAIL), (560, 185), width=4)
    symbols.motor(canvas, 560, 215)
    canvas.text(604, 220, "starter, turning" if turning else "starter, at rest")
    canvas.line((560, 245), (560, 300), width=4)
    canvas.rectangle(Box(440, 300, 690, 350), fill="#eee")
    canvas.text(565, 331, "engine", anchor="middle")
    canvas.line((565, 350), (565, _EARTH), (_POST, _EARTH), width=4)
    canvas.text(220, 430, "ground cable", anchor="middle")


def _supply(canvas: Canvas, measure: Measurement) -> None:
    """Battery, ignition relay, fuse and feed cable above; ground below."""
    _battery(canvas)
    canvas.line((_POST, _RAIL), (120, _RAIL))
    symbols.contact(canvas, 120, _RAIL, 48, closed=measure.engine is not Engine.KEY_OFF)
    canvas.text(144, 66, "ignition relay", anchor="middle")
    canvas.rectangle(Box(128, 125, 160, 139))
    out = "fuse" in measure.unplugged
    if out:
        canvas.line((168, _RAIL), (200, _RAIL))
        canvas.line((250, _RAIL), (_PLUG, _RAIL))
    else:
        canvas.line((168, _RAIL), (_PLUG, _RAIL))
    symbols.fuse(canvas, 204, _RAIL - 22 if out else _RAIL, 42)
    if out:  # beside it, because its name would touch the relay's
        canvas.text(200, 54, _named("fuse", apart=out))
    else:
        canvas.text(225, 76, "fuse", anchor="middle")
    canvas.line((_POST, _EARTH), (520, _EARTH))
    symbols.ground(canvas, 100, _EARTH)
    canvas.text(124, 464, "ground: engine block and body")


def _plug(canvas: Canvas, x: float, top: float, bottom: float) -> None:
    """A harness plug seen from the side."""
    canvas.rectangle(Box(x, top, x + 12, bottom), fill="#ddd", width=1.5, round_=3)


def _pins(canvas: Canvas, plug: float, box: float, heights: Iterable[float], *, apart: bool) -> None:
    """Pins of a part: inside its plug, or bare in the gap before it."""
    for height in heights:
        if apart:
            canvas.line((box - 20, height), (box, height), width=5)
        else:
            canvas.line((plug, height), (plug + 12, height), width=5)


def _named(words: str, *, apart: bool) -> str:
    return f"{words}, unplugged" if apart else words


def _coil(canvas: Canvas, circuit: str, measure: Measurement) -> None:
    """The coil or another load with its plug, drawn apart if it is unplugged."""
    apart = "coil" in measure.usual().unplugged
    load = circuit == LOAD
    left = _PIN if apart else _PLUG + 12
    canvas.line((_PLUG, _LOW), (385, _LOW), (385, _CONTROL), (_MODULE, _CONTROL))
    words = (
        ("load" if apart else "load: injector, solenoid or relay")
        if load
        else _THIS_COIL.get(measure.probe, "ignition coil")
    )
    canvas.text(560, 66, _named(words, apart=apart), anchor="middle")
    canvas.rectangle(
        Box(left, _RAIL - 20, _RIGHT_OF_COIL, _LOW + 13), fill="#f6f6f3", dash="7 4" if apart else ""
    )
    _plug(canvas, _PLUG, _RAIL - 10, _LOW + 10)
    _pins(canvas, _PLUG, left, (_RAIL, _LOW), apart=apart)
    primary = 540
    if circuit == BUILT_IN:
        canvas.line((left, _RAIL), (primary, _RAIL), (primary, 98))
        symbols.winding(canvas, primary, 98, 138)
        symbols.transistor(canvas, primary, 162, left=True)
        canvas.line((left, _LOW), (506, _LOW), (506, 162))
        symbols.ground(canvas, primary, 186, 9)
        canvas.text(522, 124, "primary", anchor="end", size=14)
        canvas.text(554, 180, "driver", size=14)
        top, bottom = 98, 138
    else:
        canvas.line((left, _RAIL), (primary, _RAIL), (primary, 105))
        symbols.winding(canvas, primary, 105, 190)
        canvas.line((primary, 190), (primary, _LOW), (left, _LOW))
        canvas.text(522, 152, "winding" if load else "primary", anchor="end", size=14)
        top, bottom = 105, 190
    if load:
        return
    secondary = 584
    symbols.core(canvas, 562, top, bottom)
    symbols.winding(canvas, secondary, top, bottom, turns=7, left=True)
    canvas.text(590, (top + bottom) / 2 + 5, "secondary", size=14)
    canvas.line((secondary, top), (secondary, top - 5), (700, top - 5))
    if circuit == COILS[0]:
        canvas.line((secondary, bottom), (secondary, bottom + 5), (700, bottom + 5))
        symbols.spark_gap(canvas, 716, top - 5)
        symbols.spark_gap(canvas, 716, bottom + 5)
        canvas.text(794, 160, "two plugs", anchor="end")
        return
    canvas.line((secondary, bottom), (secondary, bottom + 5), (640, bottom + 5))
    symbols.ground(canvas, 640, bottom + 1, 9)
    if circuit == "distributor":
        canvas.rectangle(Box(690, 80, 712, 120))
        canvas.text(794, 66, "distributor", anchor="end")
        canvas.line((712, top - 5), (720, top - 5))
        symbols.spark_gap(canvas, 734, top - 5)
    else:
        symbols.spark_gap(canvas, 716, top - 5)
    canvas.text(794, 160, "plug", anchor="end")


def _module(canvas: Canvas, circuit: str, measure: Measurement) -> None:
    """The driver module with its supply, its ground and the sensors that time it."""
    apart = "module" in measure.unplugged
    left = _MODULE_PIN if apart else _MODULE + 12
    right = _MODULE_RIGHT_PIN - 14 if apart else _RIGHT_OF_MODULE - 12
    canvas.text(476, 323, "control wire" if circuit != BUILT_IN else "trigger wire", anchor="middle")
    canvas.line((_MODULE, _SUPPLY), (510, _SUPPLY), (510, 280))
    canvas.area(((504, 284), (516, 284), (510, 272)))
    canvas.text(522, 271, "supply", size=14)
    canvas.line((_MODULE, _GROUND), (520, _GROUND), (520, _EARTH))
    symbols.ground(canvas, 520, _EARTH)
    canvas.rectangle(Box(left, 278, right, 388), fill="#f6f6f3", dash="7 4" if apart else "")
    canvas.text(540, 407, _named("driver module", apart=apart))
    _plug(canvas, _MODULE, 280, 380)
    _pins(canvas, _MODULE, left, (_SUPPLY, _CONTROL, _GROUND), apart=apart)
    middle = (left + right) / 2 - (16 if apart else 6)
    symbols.transistor(canvas, middle, 347)
    canvas.line((left, _CONTROL), (middle - 14, _CONTROL), (middle - 14, 323), (middle, 323))
    canvas.line((left, _GROUND), (middle - 14, _GROUND), (middle - 14, 371), (middle, 371))
    # The part that makes the driver switch, fed by the sensors.
    canvas.rectangle(Box(middle + 30, 286, right - 4, 364), width=1.5)
    # The sensors' wires end in a plug of their own on the right.
    for height, words, x in ((_SUPPLY, "crank", 760), (_CONTROL, "cam", 760)):
        canvas.line((_RIGHT_OF_MODULE, height), (x - 15, height))
        symbols.sensor(canvas, x, height)
        canvas.text(
            796, height - 58 if words == "crank" else height + 28, f"{words} sensor", anchor="end", size=14
        )
        canvas.line((right - 4, height), (right + (14 if apart else 4), height), width=5)
    canvas.line((760, _SUPPLY - 14), (760, 266))  # the crank sensor's own supply
    if circuit in COILS:
        canvas.line((right - 4, _COMMAND), (right + (14 if apart else 4), _COMMAND), width=5)
    bottom = 387 if circuit in COILS else 344
    canvas.rectangle(
        Box(_RIGHT_OF_MODULE - 12, 282, _RIGHT_OF_MODULE, bottom), fill="#ddd", width=1.5, round_=3
    )


# --- the instrument -------------------------------------------------------------------------------


def _roles(instrument: Instrument) -> tuple[str, str]:
    """Words for the fixed lead and the free end, taken from the instruction: "clip", "red lead"."""

    def short(words: str) -> str:
        first = words.removesuffix(" to").strip()
        return first.split()[0].lower() if first.lower().startswith("clip ") else first.lower()

    return short(instrument.clip), short(instrument.probe)


def _instrument(canvas: Canvas, measure: Measurement, terms: Terms, spots: dict[str, Spot]) -> None:
    """The instrument in the middle, its leads, their ends, and their names."""
    instrument = terms.instruments[measure.instrument]
    close = wording.on_the_part(measure) and bool(measure.unplugged)
    led = measure.instrument == "led-light"
    lamp = measure.instrument in FILAMENTS or led
    centre = (235.0, 150.0 if close else 265.0)
    half = 25.0 if lamp else 44.0
    clip_words, probe_words = _roles(instrument)
    ends = [
        (name, words, kind)
        for name, words, kind in (
            (measure.clip, clip_words, "clip"),
            (measure.probe, "clamp" if measure.instrument in CLAMPS else probe_words, "probe"),
            (measure.compared_with, "compare", "compare"),
        )
        if name is not None
    ]
    for left in (True, False):
        side = [end for end in ends if spots[end[0]].left is left]
        side.sort(key=lambda end: spots[end[0]].at[1])
        for number, (name, words, kind) in enumerate(side):
            offset = 0.0 if len(side) == 1 else (-14.0, 14.0)[number]
            spot = spots[name]
            start = (
                centre[0] + (-half if left else half) * (0.83 if lamp and offset else 1),
                centre[1] + offset,
            )
            own_x = 345.0 if offset >= 0 else 322.0
            corners = [(own_x if x is None else x, start[1] if y is None else y) for x, y in spot.via]
            path = (start, *corners, spot.at)
            _lead(canvas, path, kind, clamp=measure.instrument in CLAMPS)
            place = terms.places[name].short
            canvas.text(*spot.name, place, anchor=spot.anchor, bold=True, colour=LEAD)
            canvas.text(
                spot.name[0], spot.name[1] + spot.role, words, anchor=spot.anchor, colour=LEAD, size=15
            )
    if led:
        symbols.light_diode(canvas, *centre)
    elif lamp:
        symbols.lamp(canvas, *centre)
    else:
        symbols.meter(canvas, *centre, _LETTERS.get(measure.instrument, ""))
    # The sentence beside the drawing mentions the lamp that loads a wire for a meter.
    name = instrument.short.partition(" and ")[0]
    canvas.text(centre[0], centre[1] + 46, name, anchor="middle", bold=True, colour=LEAD)


def _lead(canvas: Canvas, path: tuple[Point, ...], kind: str, *, clamp: bool) -> None:
    """A lead with its clip, tip or jaws."""
    canvas.leads.append(path)
    if clamp:
        at = path[-1]
        canvas.line(*path[:-1], (at[0], at[1] + 17), colour=LEAD, width=4, corner=16, halo=True)
        symbols.jaws(canvas, at)
        return
    canvas.line(*path, colour=LEAD, width=4, corner=16, halo=True, dash="9 6" if kind == "compare" else "")
    if kind == "clip":
        symbols.clip(canvas, path[-1])
    else:
        symbols.tip(canvas, path[-1], path[-2], filled=kind == "probe")
