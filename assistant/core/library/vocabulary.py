"""Names that procedures share with the program: instruments, points and circuits that something is known of."""

from __future__ import annotations

OVER_RANGE = "over-range"
"""What an ohmmeter shows on an open circuit: no number, and the highest band of the step."""


SENSES = ("eyes", "ears", "check", "diagram", "told")
"""Instruments that touch nothing: a look, a listen, a deed that is confirmed, what the maker's diagram shows, and
what is known already.  They are used on things, not on points of the circuit."""

FILAMENTS = ("test-lamp", "heavy-lamp")
"""Instruments that load what they touch with a filament."""

CLAMPS = ("current-clamp", "clamp-scope", "ramp-timer")
"""Instruments that close around a cable."""

UNJUDGED = "unjudged"
"""Outcome of a reading that cannot be judged: its limit was to come from the vehicle maker and was not given."""

NO_CIRCUIT = "none"
"""Circuit of a procedure about nothing electrical: there is nothing to weigh or to prove in it."""

LOAD_CIRCUIT = "ground-switched-load"
"""Circuit whose part is no ignition coil: what the catalogue says of a fault in a coil's words does not fit there."""

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

COMPARISONS = ("same", "sharper")
"""Outcomes of a comparison of two places; at other steps nobody says them."""
