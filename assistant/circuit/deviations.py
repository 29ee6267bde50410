"""Known differences between the circuit model and a car, in sentences that are printed with the figures.

Each was compared with a netlist (``tests/circuit/test_against_ngspice.py``) or follows from the model's construction.
The list leaves out points in which the model now agrees with the netlist.
"""

from __future__ import annotations

STATED: tuple[str, ...] = (
    (
        "No figure was compared with a bench or a car; netlists share the model's laws and check how they are "
        "solved."
    ),
    (
        "The secondary has no leakage inductance. With 2 per cent of leakage a netlist makes a fifth more voltage "
        "where the driver clamps; near the spark tester's 20 kV it is 2 per cent less to 6 per cent more, within "
        "that border's own width."
    ),
    (
        "After switching off without a spark the primary rings, and a netlist with leakage shows 10 to 12 A for "
        "some microseconds; peak currents of the model are those of the time in which the driver is on."
    ),
    "The coil's core does not saturate.",
    (
        "A driver that is held on, or limits for long, does not shut down softly: a shut-down of the maker's is "
        "not modelled, and a held-on driver in a coil carries its limit for ever."
    ),
    (
        "A driver in the coil whose ground is lifted is taken to regulate at its trigger's threshold; one with "
        "hysteresis would switch on and off there."
    ),
    (
        "The coil's own ground, where the driver is in the coil, is at the battery's post in all cars; only the "
        "module's is at the engine block in a third of them."
    ),
    (
        "The relay's contact does not depend on its winding's voltage: a winding that gets too little is a fault "
        "that opens the contact by itself, and a relay that chatters at low voltage is not modelled."
    ),
    (
        "A contact that is bad under current is bad from half an ampere on and stays so during the test; the "
        "inrush of a cold lamp does not make it bad."
    ),
    (
        "A ballast resistor's bypass carries the current from behind the same fuse, not from the starter's "
        "solenoid."
    ),
    (
        "The lamp is called steady below visibility index 4, which was chosen: by an independent computation that "
        "is 3 to 7 times the threshold of IEC TR 61547-1 up to 15 Hz, so a person may see a blink that the model "
        "calls steady."
    ),
    (
        "The battery is a voltage behind one resistance and the starter one current with a swing: neither cold, "
        "age nor the inrush when the starter engages is in them."
    ),
)
"""One sentence or two each, as `prove` prints them."""
