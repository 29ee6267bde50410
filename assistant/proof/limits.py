"""What each observer may come to in a proof, as shares of the cars that count.

Misreading and skipping have no limit here: what the dialogue asks again is not in the walk (`bench rehearsal`), and a
test that was skipped is named as not done in the write-up.
"""

from __future__ import annotations

CAUTION = "These figures come from a model with no bench measurement behind it."

MOST_PART = 0.01
"""Largest share of the cars with one fault of which an observer may be told that a good part is bad."""
MOST_PART_MISSING = 0.02
"""The same for one who misses a pin now and then, or probes the wrong end of the control wire once."""
MOST_WRONG_PATH = 0.05
"""Largest share of the cars with one fault that an honest observer may be told another fault of, and no good part.
Chosen: it costs a further test."""
MOST_UNDECIDED = 0.05
"""Largest share of the cars with one fault that an honest observer may leave undecided, circles included."""

LIMITS: dict[str, dict[str, float]] = {
    "honest": {"wrong_part": MOST_PART, "wrong_path": MOST_WRONG_PATH, "undecided": MOST_UNDECIDED},
    "without values": {"wrong_part": MOST_PART, "wrong_path": MOST_WRONG_PATH, "undecided": MOST_UNDECIDED},
    "mean clamp": {"wrong_part": MOST_PART},
    "no clamp": {"wrong_part": MOST_PART},
    "misses contact": {"wrong_part": MOST_PART_MISSING},
    "wrong end": {"wrong_part": MOST_PART_MISSING},
    "nobody cranks": {"wrong_part": MOST_PART},
}
"""What each observer may come to, as shares of the cars that count, for each way in which a fault comes about."""

FULL = ("honest", "without values")
PART_ONLY = (
    "mean clamp",
    "no clamp",
    "misses contact",
    "wrong end",
    "nobody cranks",
    "misreading",
    "skipping",
)
"""Observers of whom a table gives all figures, and those of whom it gives the good parts that were named."""
