"""The dialogue's states, and the groups of them that one thing leads to."""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """What the dialogue waits for."""

    UNOPENED = "unopened"
    INQUIRING = "inquiring"
    CONFIRMING = "confirming"
    CAUTIONING = "cautioning"
    ACKNOWLEDGING = "acknowledging"
    RESTING = "resting"
    ASKING = "asking"
    CRANKING = "cranking"
    READING_BACK = "reading back"
    SKIPPING = "skipping"
    NOTING = "noting"
    CHOOSING = "choosing"
    STANDING_BY = "standing by"
    CONCLUDING = "concluding"
    FINISHED = "finished"


RELEASED = frozenset({State.CAUTIONING, State.ACKNOWLEDGING, State.RESTING, State.ASKING})
"""What the way from the cautions to the question may lead to."""

STEP_STARTS = RELEASED | {State.INQUIRING, State.CONFIRMING, State.READING_BACK}
"""What entering a step may lead to."""

RETURNS = STEP_STARTS | {State.CONCLUDING}
"""What taking a result, or going on with the work, may lead to."""
