"""The parts of a circuit as they are drawn: battery, supply, coil, driver module, starter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine
from assistant.picture import symbols
from assistant.picture.marks import BUILT_IN, COILS, COMMAND, CONTROL, EARTH, LOAD, POST, RAIL, SUPPLY
from assistant.picture.spots import LOW, OTHER_COILS
from assistant.picture.svg import Box, Canvas

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.procedure import Measurement

_PLUG, _PIN = 400, 460
"""Left edge of the coil's plug, and of the coil if it is unplugged."""
_MODULE, _MODULE_PIN = 540, 590
_GROUND = 365
"""Height of the driver module's ground terminal."""
_RIGHT_OF_COIL, _RIGHT_OF_MODULE, _MODULE_RIGHT_PIN = 668, 676, 650


def _battery(canvas: Canvas) -> None:
    canvas.line((POST, RAIL), (POST, 240))
    canvas.line((POST, 270), (POST, EARTH))
    symbols.battery(canvas, POST, 255)
    canvas.text(96, 260, "battery")


def heavy_lamp(canvas: Canvas) -> None:
    """The heavy lamp on the battery's posts: a known current, for trying a clamp."""
    canvas.line((POST, 185), (165, 185), (165, 325), (POST, 325))
    symbols.lamp(canvas, 165, 215, 15, on_the_car=True)
    canvas.text(142, 220, "heavy lamp", anchor="end", size=14)


def accessory(canvas: Canvas, measure: Measurement) -> None:
    """An accessory on the control wire, such as a rev counter; its wire is broken if it is unplugged."""
    canvas.line((385, CONTROL), (385, 345 if "accessory" in measure.unplugged else 366))
    canvas.circle((385, 374), 8)
    canvas.text(372, 380, "accessory", anchor="end", size=14)


def computer(canvas: Canvas) -> None:
    """The control computer that commands the driver, if there is one."""
    canvas.line((_RIGHT_OF_MODULE, COMMAND), (728, COMMAND))
    canvas.rectangle(Box(728, COMMAND - 11, 798, COMMAND + 11))
    canvas.text(763, COMMAND + 5, "computer", anchor="middle", size=14)


def starter(canvas: Canvas, measure: Measurement) -> None:
    """Battery, cables, starter and engine block, with nothing else."""
    _battery(canvas)
    canvas.line((POST, RAIL), (330, RAIL), width=4)
    turning = measure.engine is Engine.CRANKING
    symbols.contact(canvas, 330, RAIL, 60, closed=turning)
    canvas.text(360, 66, "starter switch", anchor="middle")
    canvas.line((390, RAIL), (560, RAIL), (560, 185), width=4)
    symbols.motor(canvas, 560, 215)
    canvas.text(604, 220, "starter, turning" if turning else "starter, at rest")
    canvas.line((560, 245), (560, 300), width=4)
    canvas.rectangle(Box(440, 300, 690, 350), fill="#eee")
    canvas.text(565, 331, "engine", anchor="middle")
    canvas.line((565, 350), (565, EARTH), (POST, EARTH), width=4)
    canvas.text(220, 430, "ground cable", anchor="middle")


def supply(canvas: Canvas, measure: Measurement) -> None:
    """Battery, ignition relay, fuse and feed cable above; ground below."""
    _battery(canvas)
    canvas.line((POST, RAIL), (120, RAIL))
    symbols.contact(canvas, 120, RAIL, 48, closed=measure.engine is not Engine.KEY_OFF)
    canvas.text(144, 66, "ignition relay", anchor="middle")
    canvas.rectangle(Box(128, 125, 160, 139))
    out = "fuse" in measure.unplugged
    if out:
        canvas.line((168, RAIL), (200, RAIL))
        canvas.line((250, RAIL), (_PLUG, RAIL))
    else:
        canvas.line((168, RAIL), (_PLUG, RAIL))
    symbols.fuse(canvas, 204, RAIL - 22 if out else RAIL, 42)
    if out:  # beside it, because its name would touch the relay's
        canvas.text(200, 54, _named("fuse", apart=out))
    else:
        canvas.text(225, 76, "fuse", anchor="middle")
    canvas.line((POST, EARTH), (520, EARTH))
    symbols.ground(canvas, 100, EARTH)
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


def coil(canvas: Canvas, circuit: str, measure: Measurement) -> None:
    """The coil or another load with its plug, drawn apart if it is unplugged."""
    apart = "coil" in measure.usual().unplugged
    load = circuit == LOAD
    left = _PIN if apart else _PLUG + 12
    canvas.line((_PLUG, LOW), (385, LOW), (385, CONTROL), (_MODULE, CONTROL))
    words = (
        ("load" if apart else "load: injector, solenoid or relay")
        if load
        else OTHER_COILS.get(measure.probe, "ignition coil")
    )
    canvas.text(560, 66, _named(words, apart=apart), anchor="middle")
    canvas.rectangle(
        Box(left, RAIL - 20, _RIGHT_OF_COIL, LOW + 13), fill="#f6f6f3", dash="7 4" if apart else ""
    )
    _plug(canvas, _PLUG, RAIL - 10, LOW + 10)
    _pins(canvas, _PLUG, left, (RAIL, LOW), apart=apart)
    primary = 540
    if circuit == BUILT_IN:
        canvas.line((left, RAIL), (primary, RAIL), (primary, 98))
        symbols.winding(canvas, primary, 98, 138)
        symbols.transistor(canvas, primary, 162, left=True)
        canvas.line((left, LOW), (506, LOW), (506, 162))
        symbols.ground(canvas, primary, 186, 9)
        canvas.text(522, 124, "primary", anchor="end", size=14)
        canvas.text(554, 180, "driver", size=14)
        top, bottom = 98, 138
    else:
        canvas.line((left, RAIL), (primary, RAIL), (primary, 105))
        symbols.winding(canvas, primary, 105, 190)
        canvas.line((primary, 190), (primary, LOW), (left, LOW))
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


def module(canvas: Canvas, circuit: str, measure: Measurement) -> None:
    """The driver module with its supply, its ground and the sensors that time it."""
    apart = "module" in measure.unplugged
    left = _MODULE_PIN if apart else _MODULE + 12
    right = _MODULE_RIGHT_PIN - 14 if apart else _RIGHT_OF_MODULE - 12
    canvas.text(476, 323, "control wire" if circuit != BUILT_IN else "trigger wire", anchor="middle")
    canvas.line((_MODULE, SUPPLY), (510, SUPPLY), (510, 280))
    canvas.area(((504, 284), (516, 284), (510, 272)))
    canvas.text(522, 271, "supply", size=14)
    canvas.line((_MODULE, _GROUND), (520, _GROUND), (520, EARTH))
    symbols.ground(canvas, 520, EARTH)
    canvas.rectangle(Box(left, 278, right, 388), fill="#f6f6f3", dash="7 4" if apart else "")
    canvas.text(540, 407, _named("driver module", apart=apart))
    _plug(canvas, _MODULE, 280, 380)
    _pins(canvas, _MODULE, left, (SUPPLY, CONTROL, _GROUND), apart=apart)
    middle = (left + right) / 2 - (16 if apart else 6)
    symbols.transistor(canvas, middle, 347)
    canvas.line((left, CONTROL), (middle - 14, CONTROL), (middle - 14, 323), (middle, 323))
    canvas.line((left, _GROUND), (middle - 14, _GROUND), (middle - 14, 371), (middle, 371))
    # The part that makes the driver switch, fed by the sensors.
    canvas.rectangle(Box(middle + 30, 286, right - 4, 364), width=1.5)
    # The sensors' wires end in a plug of their own on the right.
    for height, words, x in ((SUPPLY, "crank", 760), (CONTROL, "cam", 760)):
        canvas.line((_RIGHT_OF_MODULE, height), (x - 15, height))
        symbols.sensor(canvas, x, height)
        canvas.text(
            796, height - 58 if words == "crank" else height + 28, f"{words} sensor", anchor="end", size=14
        )
        canvas.line((right - 4, height), (right + (14 if apart else 4), height), width=5)
    canvas.line((760, SUPPLY - 14), (760, 266))  # the crank sensor's own supply
    if circuit in COILS:
        canvas.line((right - 4, COMMAND), (right + (14 if apart else 4), COMMAND), width=5)
    bottom = 387 if circuit in COILS else 344
    canvas.rectangle(
        Box(_RIGHT_OF_MODULE - 12, 282, _RIGHT_OF_MODULE, bottom), fill="#ddd", width=1.5, round_=3
    )
