"""Small pieces of HTML that the parts of the page share."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def listed(title: str, items: Iterable[str], kind: str = "") -> str:
    """A titled list of ready HTML; nothing if there are no items."""
    body = "".join(f"<li>{item}</li>" for item in items)
    return (
        f"<section><h2>{title}</h2><ul{f' class={kind!r}' if kind else ''}>{body}</ul></section>"
        if body
        else ""
    )


def paragraphs(sentences: Iterable[str]) -> str:
    """Sentences as paragraphs of HTML."""
    return "".join(f"<p>{escape(one)}</p>" for one in sentences)
