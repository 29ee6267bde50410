"""The limits for each observer in a proof, as shares of the cars that count.

Misreading and skipping have no limit here: the walk leaves out the dialogue's second questions (`bench rehearsal`
plays them), and the write-up names skipped tests.
"""

from __future__ import annotations

CAUTION = "These figures come from a model with no bench measurement behind it."

MOST_PART = 0.01
"""Largest share of the cars with one fault in which an observer may hear that a good part is bad."""
MOST_PART_MISSING = 0.02
"""The same for an observer who misses a pin now and then, or probes the wrong end of the control wire once."""
MOST_WRONG_PATH = 0.05
"""Largest share of the cars with one fault in which an honest observer may hear of another fault, but no good
part. Chosen: it costs a further test.
"""
MOST_UNDECIDED = 0.05
"""Largest share of the cars with one fault that may stay undecided for an honest observer, circles included."""

LIMITS: dict[str, dict[str, float]] = {
    "honest": {"wrong_part": MOST_PART, "wrong_path": MOST_WRONG_PATH, "undecided": MOST_UNDECIDED},
    "without values": {"wrong_part": MOST_PART, "wrong_path": MOST_WRONG_PATH, "undecided": MOST_UNDECIDED},
    "mean clamp": {"wrong_part": MOST_PART},
    "no clamp": {"wrong_part": MOST_PART},
    "misses contact": {"wrong_part": MOST_PART_MISSING},
    "wrong end": {"wrong_part": MOST_PART_MISSING},
    "nobody cranks": {"wrong_part": MOST_PART},
}
"""The limits for each observer, as shares of the cars that count, for each way in which a fault comes about."""

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
"""Observers whose figures a table gives in full, and those for whom it gives only the good parts that were named."""
