"""The write-up for the repair order: what was done and seen, from the record and nothing else."""

from __future__ import annotations

from assistant.writeup.draft import Draft, draft
from assistant.writeup.page import clips_to_embed, html
from assistant.writeup.plain import text

__all__ = ["Draft", "clips_to_embed", "draft", "html", "text"]
