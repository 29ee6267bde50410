"""The circuit as a schematic, with the instrument of one measurement on it.

The drawing is a pure function of the circuit's name and the `Measurement`, so it cannot contradict the spoken
instruction.
Each point of the circuit has one `Spot` (`assistant.picture.spots`); `assistant.picture.parts` draws what is between.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import CLAMPS, HEAVY_LAMP_BETWEEN, SENSES
from assistant.core.words import placing
from assistant.errors import UsageProblem
from assistant.picture import loading, marks, parts, symbols
from assistant.picture.marks import BUILT_IN, COILS, LOAD, STARTER
from assistant.picture.spots import LAMP_LEAD, on_the_coil, spots_of
from assistant.picture.svg import LEAD, Canvas, Point

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.procedure import Measurement
    from assistant.core.library.terms import Instrument, Terms
    from assistant.picture.spots import Spot

WIDTH, HEIGHT = 800, 478

CIRCUITS = (*COILS, BUILT_IN, LOAD, STARTER)
"""Circuits that can be drawn."""

GENERAL = "The circuit is drawn in general; the vehicle's own diagram rules."
"""Note beside every drawing of a circuit in a write-up."""

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


def nodes(circuit: str) -> tuple[str, ...]:
    """Points of a circuit to which a lead can be drawn.

    Raises:
        UsageProblem: The circuit cannot be drawn; the message names those that can.
    """
    if circuit not in CIRCUITS:
        raise UsageProblem(
            f"The circuit '{circuit}' has no drawing. There are drawings of: {', '.join(CIRCUITS)}."
        )
    return tuple(spots_of(circuit))


def can_draw(circuit: str, measure: Measurement) -> bool:
    """Whether the connection of this measurement can be drawn on this circuit."""
    touched = {measure.clip, measure.probe, measure.compared_with} - {None}
    return circuit in CIRCUITS and touched <= set(spots_of(circuit)) and measure.instrument not in SENSES


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
    spots = spots_of(circuit)
    if placing.on_the_part(measure) and measure.unplugged:
        spots = {name: on_the_coil(name, spot) for name, spot in spots.items()}
    _badges(canvas, measure, terms)
    if measure.probe == LAMP_LEAD:
        parts.heavy_lamp(canvas)
    if circuit == STARTER:
        parts.starter(canvas, measure)
    else:
        parts.supply(canvas, measure)
        parts.coil(canvas, circuit, measure)
        parts.module(canvas, circuit, measure)
        if circuit in COILS:
            parts.accessory(canvas, measure)
            parts.computer(canvas)
    for name, spot in spots.items():
        if name not in ("feed-wire", LAMP_LEAD):
            symbols.node(canvas, *spot.at)
    for at in marks.places(wrong, circuit):
        symbols.fault_mark(canvas, at)
    _instrument(canvas, measure, terms, spots)
    if measure.instrument in HEAVY_LAMP_BETWEEN:
        loading.heavy_lamp(canvas, measure)
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
    words = placing.connection(terms, measure)
    return f"{words[:1].upper()}{words[1:]}; {placing.engine_words(measure.engine)}."


def _badges(canvas: Canvas, measure: Measurement, terms: Terms) -> None:
    """Engine state and unplugged parts, in frames along the upper edge."""
    engine = placing.engine_words(measure.engine)
    after = symbols.badge(canvas, 8, 8, f"{engine[:1].upper()}{engine[1:]}")
    if measure.unplugged:
        unplugged = placing.listed([terms.places[part].short for part in measure.unplugged])
        symbols.badge(canvas, after, 8, f"Unplugged: {unplugged}")


# --- the instrument -------------------------------------------------------------------------------


_LITTLE = (" to", " on", " around", " at")
_BEFORE_THE_TOOL = ("clip", "clamp", "ground")


def _roles(instrument: Instrument) -> tuple[str, str]:
    """Words for the fixed lead and the free end, taken from the instruction: "clip", "red lead", "back-probe"."""

    def short(words: str) -> str:
        role = words.partition("{place}")[0].strip().lower()
        for little in _LITTLE:
            role = role.removesuffix(little)
        first = role.partition(" ")[0]
        if first not in _BEFORE_THE_TOOL or role in ("ground clip", "ground lead"):
            return role
        return "ground clip" if first == "ground" else first

    return short(instrument.clip), short(instrument.probe)


def _instrument(canvas: Canvas, measure: Measurement, terms: Terms, spots: dict[str, Spot]) -> None:
    """The instrument in the middle, its leads, their ends, and their names."""
    instrument = terms.instruments[measure.instrument]
    close = placing.on_the_part(measure) and bool(measure.unplugged)
    led = measure.instrument == "led-light"
    lamp = instrument.filament or led
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
