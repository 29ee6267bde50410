"""Names in the procedures that the program itself knows: of instruments, points and circuits."""

from __future__ import annotations

OVER_RANGE = "over-range"
"""Reading of an ohmmeter on an open circuit: not a number; it falls into the highest band of the step."""


SENSES = ("eyes", "ears", "check", "diagram", "told")
"""Instruments that touch nothing: looking, listening, confirming that something was done, reading the maker's diagram,
and telling what is already known.  They are used on things, not on points of the circuit."""

FILAMENTS = ("test-lamp", "heavy-lamp")
"""Filament lamps of copies of ``terms.yaml`` that were made before the file itself said so (`Instrument.filament`)."""

CLAMPS = ("current-clamp", "clamp-scope", "ramp-timer")
"""Instruments that close around a cable."""

FIRED = ("runs", "dies")
"""Outcomes of an engine that has started: its starter is let go, and nobody is told to stop cranking."""

HEAVY_LAMP_BETWEEN: dict[str, tuple[str, str | None]] = {
    "loaded-voltmeter": ("feed", "battery-negative"),
    # The lamp loads the ground that is measured, a coil's own one as well.
    "ground-drop-meter": ("battery-positive", None),
    "control-drop-meter": ("driver-end", "battery-negative"),
}
"""The two points of the heavy lamp that loads the circuit for a meter, positive first; None is the probed point."""

NAMED_BY = {"vin": "order"}
"""Facts that nobody is asked for once another one is known: the repair order names the car, so that its number need not
be spelled as well."""

ONLY_WRITTEN = ("odometer",)
"""Facts that are numbers and that only the write-up needs: no reading and no lamp is judged by them."""

CYLINDERS = "cylinders"
"""The fact that makes a cranking speed of the compressions that the ear counts."""

HUMS = "hums"
"""The outcome of a fuel pump that is heard."""

BY_SPEED = ("slow", "too-fast")
"""Outcomes that the ear can tell by the cranking speed: a step that has both asks how the engine cranks."""

CHANGED, UNCHANGED = "changed", "unchanged"
"""The two answers of a step that is watched: chosen by the changes that were told, and not said themselves."""

WATCHED = ("went-out", "came-back", "dim")
"""The changes of a lamp or a meter that a technician can call out in a watched step, in the order of their keys."""

UNJUDGED = "unjudged"
"""Outcome of a reading that cannot be judged: its limit was to come from the vehicle maker and was not given."""

NO_CIRCUIT = "none"
"""Circuit of a procedure about nothing electrical: it has nothing to weigh or to prove."""

LOAD_CIRCUIT = "ground-switched-load"
"""Circuit whose part is not an ignition coil, so the catalogue's words for a coil's faults do not fit."""

SAME_POINT = {
    "load-feed": "feed",
    "load-switched": "switched",
    "load": "coil",
    "trigger": "switched",
    "trigger-source": "driver-end",
}
"""Names that a point or part of the circuit has in another kind of circuit, with the name that it has in a coil's."""

LOGIC_IN = {"built-in-driver-coil": ("switched", "driver-end")}
"""Points that carry a logic signal in one kind of circuit, by the names that they have in a coil's (`SAME_POINT`)."""

PLACED = ("feed-dark", "feed-dim", "switched-dark")
"""Outcomes of a comparison whose own words name the place: no other place is listened for beside them."""

COMPARISONS = ("same", "sharper", *PLACED)
"""Outcomes of a comparison of two places; they are not said at other steps."""

AFTER_REPAIR = "after-repair"
"""The procedure that proves a repair; results from before the repair no longer count."""

ALL_BACK = "putting-back"
"""The place of the check that everything is plugged in and every test lead off."""
