"""Voice notes as a technician would speak them, for measuring only: nothing was tuned on them.

They were written for this purpose, with readings, units, colors, positions and trade words, and without anybody's
name. Numbers are written as they are spoken.
"""

from __future__ import annotations

NOTES = (
    "The feed wire to the coil is green at the connector, I will clean it and try again.",
    "Battery reads twelve point four volts, and nine point eight while cranking.",
    "Found a broken wire in the harness, about four inches behind the throttle body.",
    "Pin three of the module connector is pushed back.",
    "Somebody spliced the red wire to the ignition switch with a wire nut.",
    "The customer says it happens only when it rains.",
    "Coil primary measures zero point seven ohms cold.",
    "There is oil in the spark plug well of cylinder two.",
    "Ground strap from the engine to the body is loose, I tightened it.",
    "Main relay clicks, but there is no voltage at its output.",
    "Fuse seventeen is blown, fifteen amps, and it blows again with the key on.",
    "The crank sensor has a gap of one point two millimeters and the ring is rusty.",
    "I wiggled the connector and the test lamp went out.",
    "The car was jump started yesterday by the owner.",
    "The alarm light is flashing quickly, it may be the immobilizer.",
    "Coolant is leaking onto the crank sensor connector.",
    "Order a new coil and a set of four spark plugs.",
    "The secondary coil reads nine thousand four hundred ohms.",
    "Spark jumps ten millimeters, blue and loud.",
    "Voltage drop on the ground side is two hundred millivolts while cranking.",
    "The starter draws one hundred and eighty amps, and the engine turns slowly.",
    "Check the timing belt, the cam does not turn.",
    "Rodents chewed the harness under the intake manifold.",
    "Odometer shows ninety eight thousand two hundred miles.",
    "The scan tool shows no engine speed while cranking.",
    "I left the battery charger on for thirty minutes before this test.",
    "The clip of the test lamp slipped off, so do not trust the last answer.",
    "Injector plug number four was not fully seated.",
    "The key was stuck in the lock cylinder and the switch feels worn.",
    "Talked to the service writer, the customer approved one hour of diagnosis.",
)
"""The notes, each of one sentence."""
