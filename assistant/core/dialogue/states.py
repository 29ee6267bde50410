"""The dialogue's states, and groups of them that share a way in."""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """The dialogue's state."""

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
"""States on the way from the cautions to the question."""

STEP_STARTS = RELEASED | {State.INQUIRING, State.CONFIRMING, State.READING_BACK}
"""States that entering a step may lead to."""

RETURNS = STEP_STARTS | {State.CONCLUDING}
"""States that a result, or going on with the work, may lead to."""
