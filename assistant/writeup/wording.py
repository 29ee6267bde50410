"""Words of the first page that text and page share."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.writeup.contents import Compared, Draft

BEFORE_REPAIR = "Before repair"
AFTER_REPAIR = "After repair"
NOT_REPEATED = "not repeated"
APPENDIX = "Appendix: all tests and how they were recorded"


def shown_seen(seen: str, judged: str) -> str:
    """An outcome with whether it passed: "40 ohm, above the limit: failed"."""
    return f"{seen}: {judged}" if judged else seen


def good_is(row: Compared) -> str:
    """The limits, or a word if no one outcome is good."""
    return row.good or "for comparison"


def part_words(draft: Draft) -> str:
    """The part that the verdict names, or that it names none."""
    return f"Part: {draft.part.text}" if draft.part else "No part to replace."


def open_words(draft: Draft) -> str:
    """The faults of the verdict that its tests leave."""
    return f"One of these: {draft.open_faults.text}."


def photos_words(draft: Draft) -> str:
    """The photos by their captions."""
    return "; ".join(f"{one.caption} ({one.file})" for one in draft.photos)


def signatures(draft: Draft) -> list[str]:
    """Names and times of the signed reviews, without their checksums."""
    return [f"{one.signed.partition('. SHA-256')[0]}." for one in draft.reviews if one.signed != "Not signed"]
