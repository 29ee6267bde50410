"""Parts of a circuit and instruments, drawn as in the trade's diagrams (after IEC 60617, simplified)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from assistant.picture.svg import ALARM, INK, LEAD, SOFT, Box, Label

if TYPE_CHECKING:
    from assistant.picture.svg import Canvas, Point


def battery(canvas: Canvas, x: float, y: float) -> None:
    """Two cells upright, the positive post above; 40 high around the centre."""
    for offset, half, width in ((-15, 20, 2.5), (-5, 11, 5), (5, 20, 2.5), (15, 11, 5)):
        canvas.line((x - half, y + offset), (x + half, y + offset), width=width)
    canvas.line((x + 22, y - 28), (x + 32, y - 28))
    canvas.line((x + 27, y - 33), (x + 27, y - 23))
    canvas.line((x + 22, y + 28), (x + 32, y + 28))


def ground(canvas: Canvas, x: float, y: float, size: float = 14) -> None:
    """Three bars that get shorter, below a point."""
    canvas.line((x, y), (x, y + 8))
    for number, half in enumerate((size, size * 0.62, size * 0.25)):
        canvas.line((x - half, y + 8 + 5 * number), (x + half, y + 8 + 5 * number), width=2.5)


def contact(canvas: Canvas, x: float, y: float, length: float, *, closed: bool) -> None:
    """A switch in a level wire, from its left end."""
    end = x + length
    canvas.line((x, y), (end, y) if closed else (end - 3, y - 20), width=3)
    canvas.circle((x, y), 3.5)
    canvas.circle((end, y), 3.5)


def fuse(canvas: Canvas, x: float, y: float, length: float) -> None:
    """A fuse in a level wire, from its left end."""
    canvas.rectangle(Box(x, y - 9, x + length, y + 9))
    canvas.line((x, y), (x + length, y), width=1.5)


def winding(
    canvas: Canvas, x: float, top: float, bottom: float, *, turns: int = 4, left: bool = False
) -> None:
    """A winding upright, its bumps to the right or to the left."""
    step = (bottom - top) / turns
    sweep = 0 if left else 1
    bumps = "".join(f"a{step / 2:.1f} {step / 2:.1f} 0 0 {sweep} 0 {step:.1f}" for _ in range(turns))
    canvas.path(f"M{x:.1f} {top:.1f}{bumps}", width=2.5)


def core(canvas: Canvas, x: float, top: float, bottom: float) -> None:
    """The iron between two windings."""
    canvas.line((x - 3, top), (x - 3, bottom), width=2)
    canvas.line((x + 3, top), (x + 3, bottom), width=2)


def transistor(canvas: Canvas, x: float, y: float, *, left: bool = False) -> None:
    """A switching transistor; collector at (x, y - 24), emitter at (x, y + 24), control from the right or left."""
    way = -1 if left else 1
    canvas.line((x, y - 24), (x, y - 12), (x + 20 * way, y - 5), width=2.5)
    canvas.line((x, y + 24), (x, y + 12), (x + 20 * way, y + 5), width=2.5)
    canvas.line((x + 20 * way, y - 15), (x + 20 * way, y + 15), width=3.5)
    canvas.line((x + 20 * way, y), (x + 34 * way, y), width=2.5)
    canvas.area(((x + 2 * way, y + 12), (x + 13 * way, y + 12.5), (x + 9 * way, y + 4)))


def spark_gap(canvas: Canvas, x: float, y: float) -> None:
    """A spark plug in a level wire from the left; its other side goes to ground."""
    canvas.line((x - 16, y), (x - 4, y), width=2.5)
    canvas.area(((x - 8, y - 6), (x - 8, y + 6), (x, y)))
    canvas.area(((x + 16, y - 6), (x + 16, y + 6), (x + 8, y)))
    canvas.line((x + 12, y), (x + 26, y), (x + 26, y + 6), width=2.5)
    ground(canvas, x + 26, y + 4, 10)


def motor(canvas: Canvas, x: float, y: float) -> None:
    """A motor; the letter in it is the symbol."""
    canvas.circle((x, y), 30, width=2.5)
    canvas.text(x, y + 8, "M", anchor="middle", size=22, bold=True)


def sensor(canvas: Canvas, x: float, y: float) -> None:
    """A sensor: a ring with a pulse in it."""
    canvas.circle((x, y), 15)
    canvas.line(
        (x - 9, y + 5),
        (x - 4, y + 5),
        (x - 4, y - 5),
        (x + 4, y - 5),
        (x + 4, y + 5),
        (x + 9, y + 5),
        width=1.8,
    )


def node(canvas: Canvas, x: float, y: float) -> None:
    """A point that can be probed."""
    canvas.circle((x, y), 4, width=1.5)


def lamp(canvas: Canvas, x: float, y: float, radius: float = 25, *, on_the_car: bool = False) -> None:
    """A lamp: a ring with a cross; thinner if it is not the instrument but a fixed part of the circuit."""
    colour, width = (INK, 2.0) if on_the_car else (LEAD, 3.0)
    canvas.circle((x, y), radius, colour=colour, width=width)
    reach = radius * math.sqrt(0.5)
    canvas.line((x - reach, y - reach), (x + reach, y + reach), colour=colour, width=width)
    canvas.line((x - reach, y + reach), (x + reach, y - reach), colour=colour, width=width)


def light_diode(canvas: Canvas, x: float, y: float, radius: float = 25) -> None:
    """A light-emitting diode in a ring, with two arrows for its light."""
    canvas.circle((x, y), radius, colour=LEAD, width=3)
    canvas.line((x - radius, y), (x + radius, y), colour=LEAD, width=2)
    canvas.area(((x - 9, y - 11), (x - 9, y + 11), (x + 9, y)), LEAD)
    canvas.line((x + 9, y - 12), (x + 9, y + 12), colour=LEAD, width=3)
    for start in (x + 4, x + 15):
        tip_at = (start + 13, y - radius - 15)
        canvas.line((start, y - radius + 2), tip_at, colour=LEAD, width=2)
        canvas.area((tip_at, (tip_at[0] - 9, tip_at[1] + 4), (tip_at[0] - 3, tip_at[1] + 9)), LEAD)


def meter(canvas: Canvas, x: float, y: float, letter: str) -> None:
    """A meter with the letter of its unit; without one, the trace of a signal."""
    canvas.rectangle(Box(x - 44, y - 28, x + 44, y + 28), colour=LEAD, width=3, round_=7)
    if letter:
        canvas.text(x, y + 8, letter, anchor="middle", size=22, bold=True, colour=LEAD)
        return
    points: list[Point] = [(x - 30, y + 10)]
    for start in (-22, 2):
        points += [
            (x + start, y + 10),
            (x + start, y - 10),
            (x + start + 12, y - 10),
            (x + start + 12, y + 10),
        ]
    canvas.line(*points, (x + 30, y + 10), colour=LEAD, width=2.5)


def clip(canvas: Canvas, at: Point) -> None:
    """The jaws of a clip: a square."""
    x, y = at
    canvas.rectangle(Box(x - 7, y - 7, x + 7, y + 7), colour=LEAD, width=3)


def tip(canvas: Canvas, at: Point, towards: Point, *, filled: bool = True) -> None:
    """The tip of a probe, pointing at its place; hollow if it is only held there for comparison."""
    angle = math.atan2(at[1] - towards[1], at[0] - towards[0])

    def turned(along: float, across: float) -> Point:
        return (
            at[0] + along * math.cos(angle) - across * math.sin(angle),
            at[1] + along * math.sin(angle) + across * math.cos(angle),
        )

    corners = (turned(0, 0), turned(-20, 7), turned(-20, -7))
    if filled:
        canvas.area(corners, LEAD)
    else:
        data = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in corners) + "Z"
        canvas.path(data, colour=LEAD, width=2, fill="#fff")


def jaws(canvas: Canvas, at: Point) -> None:
    """The jaws of a current clamp around a level wire."""
    x, y = at
    canvas.path(f"M{x - 5:.1f} {y + 17:.1f}A11 17 0 1 1 {x + 5:.1f} {y + 17:.1f}", colour=LEAD, width=4)


def fault_mark(canvas: Canvas, at: Point) -> None:
    """The mark of a fault: a ring with a cross, thicker than anything else; it counts as a label."""
    x, y = at
    canvas.labels.append(Label("(fault)", Box(x - 13, y - 13, x + 13, y + 13)))
    canvas.circle(at, 13, colour=ALARM, width=3)
    canvas.line((x - 6, y - 6), (x + 6, y + 6), colour=ALARM, width=4)
    canvas.line((x - 6, y + 6), (x + 6, y - 6), colour=ALARM, width=4)


def badge(canvas: Canvas, x: float, y: float, text: str, *, alarm: bool = False) -> float:
    """Words in a frame whose top left is at a point; returns the start of the next."""
    mark = 32 if alarm else 0
    colour = ALARM if alarm else INK
    box = canvas.text(x + 10 + mark, y + 18, text, bold=alarm, colour=colour)
    if alarm:
        fault_mark(canvas, (x + 20, y + 13))
    frame = Box(x, y, box.right + 10, y + 26)
    canvas.rectangle(
        frame, colour=colour if alarm else SOFT, width=2 if alarm else 1.2, fill="none", round_=4
    )
    return frame.right + 10
