"""The points of a circuit in its drawing: the position of each, the way of a lead to it, the position of its name."""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.core.library.vocabulary import SAME_POINT
from assistant.picture.marks import (
    BUILT_IN,
    COILS,
    COMMAND,
    CONTROL,
    EARTH,
    LOAD,
    POST,
    RAIL,
    STARTER,
    SUPPLY,
)
from assistant.picture.svg import Point

LOW = 205
"""Height of the coil's switched terminal."""

LAMP_LEAD = "heavy-lamp-lead"

OTHER_COILS = {"sound-coil": "sound coil, borrowed", "old-coil": "old coil, refitted"}
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


def spots_of(circuit: str) -> dict[str, Spot]:
    """Every point of a circuit."""
    own, post = None, 155
    posts = {
        "battery-positive": Spot(
            (POST, 185), ((post, own), (post, 185)), (74, 173), left=True, always=circuit == STARTER
        ),
        "battery-negative": Spot(
            (POST, 325), ((post, own), (post, 325)), (74, 360), left=True, always=circuit == STARTER
        ),
    }
    if circuit == STARTER:
        block = Spot((440, 325), ((own, own), (own, 325)), (430, 362), "end", always=True)
        motor = Spot((560, 140), ((own, own), (500, own), (500, 140)), (574, 132), role=17)
        cable = Spot((300, RAIL), ((300, own),), (215, 78), "end")
        return {**posts, "engine-block": block, "starter-terminal": motor, "starter-cable": cable}
    found = {
        **posts,
        LAMP_LEAD: Spot((112, 325), ((300, own), (300, 405), (112, 405), (112, 325)), (124, 372)),
        "engine-block": Spot((200, EARTH), ((300, own), (300, 395), (200, 395)), (214, 428)),
        "relay-supply": Spot((95, RAIL), ((300, own), (300, 158), (95, 158)), (107, 140)),
        "relay-coil-supply": Spot((128, 132), ((300, own), (300, 156), (128, 156)), (192, 138)),
        "relay-control": Spot((160, 132), ((300, own), (300, 156), (160, 156)), (192, 138)),
        "fuse-supply": Spot((188, RAIL), ((300, own), (300, 158), (188, 158)), (200, 140)),
        "fuse-load": Spot((262, RAIL), ((330, own), (330, 112), (262, 112)), (290, 190), "end"),
        "feed-wire": Spot((310, RAIL), ((310, own),), (290, 140), "end"),
        "feed": Spot((380, RAIL), ((own, own), (own, 130), (380, 130)), (398, 78), "end", always=True),
        "switched": Spot((385, LOW), ((own, own), (own, LOW)), (395, 239), role=17, always=True),
        "driver-end": Spot(
            (420, CONTROL), ((300, own), (300, 405), (420, 405)), (429, 350), role=17, always=True
        ),
        "driver-supply": Spot((510, SUPPLY), ((own, own), (own, SUPPLY)), (500, 280), "end"),
        "driver-ground": Spot((520, 395), ((300, own), (300, 395)), (510, 415), "end", 17),
        "crank-signal": Spot((702, SUPPLY), ((300, own), (300, 422), (702, 422)), (702, 445), "end", 17),
        "sensor-supply": Spot(
            (760, 266), ((300, own), (300, 422), (714, 422), (714, 266)), (717, 445), "end", 17
        ),
        "cam-signal": Spot((690, CONTROL), ((300, own), (300, 422), (690, 422)), (690, 445), "end", 17),
    }
    if circuit != LOAD:
        tower = Spot((700, 100), ((310, own), (310, 44), (700, 44)), (794, 190), "end", 17)
        found |= dict.fromkeys(("plug-lead", "both-towers", "swapped-coil", *OTHER_COILS), tower)
    if circuit in COILS:
        found["command"] = Spot((714, COMMAND), ((300, own), (300, 422), (714, 422)), (714, 445), "end", 17)
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


def on_the_coil(name: str, spot: Spot) -> Spot:
    """The coil's own terminal, in the gap between coil and plug; the lead runs past the plug."""
    own = None
    if SAME_POINT.get(name, name) == "feed":
        return replace(spot, at=(444, RAIL), via=((own, own), (own, 128), (444, 128)), name=(440, 78))
    if SAME_POINT.get(name, name) == "switched":
        return replace(spot, at=(444, LOW), via=((own, own), (own, 172), (444, 172)))
    return spot
