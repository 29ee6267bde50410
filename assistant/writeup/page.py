"""The write-up as one self-contained HTML page that prints on Letter and A4 and also makes the PDF.

It has no script and loads nothing from elsewhere; sound and photos are linked beside the page or, on request,
embedded.
The first page is for the customer and the warranty clerk: complaint, cause, correction, the deciding readings before
and after the repair, parts and labor, signature; everything else follows on pages of its own.
Nothing depends on colour alone: a result that was taken back is struck through *and* labelled.
"""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING

from assistant.writeup.embedding import ShownSound, shown_photos
from assistant.writeup.evidence import EvidencePictures, evidence
from assistant.writeup.front import front
from assistant.writeup.statement import printable
from assistant.writeup.style import style

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.writeup.contents import Draft

# A number and its unit stay on one line.
_UNIT = re.compile(r"(?<=[0-9]) (?=(?:m?V|A|(?:kil|meg)?ohms?|s|min|h|dB|rpm|ms|km|miles)\b)")
_NO_BREAK = "&nbsp;"


def html(
    draft: Draft,
    clips: Mapping[str, bytes] | None = None,
    connections: Mapping[tuple[int, ...], str] | None = None,
    *,
    photos: Mapping[str, bytes] | None = None,
    ramps: Mapping[int, str] | None = None,
    beside: str = "",
    paper: bool = False,
) -> str:
    """The page.

    Args:
        draft: The write-up's contents.
        clips: FLAC files to embed, by their name in the session folder; all others are linked.
        connections: Connections as SVG, by the numbers of their tests.
        photos: Photos to embed, by their name in the session folder; all others are linked.
        ramps: Captured current ramps as SVG, by the numbers of their tests.
        beside: Path from the page's folder to the session folder, for the links; "" if the page lies in it.
        paper: Whether it is for the PDF, which names sound and does not link it.
    """
    title = f"Diagnosis and repair {draft.box('Repair order') or draft.session}"
    head = (
        "<!doctype html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        (
            '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
            "style-src 'unsafe-inline'; img-src data: 'self' file:; media-src data: 'self' file:\">"
        ),
        f"<title>{escape(title)}</title>",
        f"<style>{style(draft, paper=paper)}</style>",
        "</head>",
    )
    sound = ShownSound(clips or {}, beside, paper=paper)
    pictures = EvidencePictures(connections or {}, ramps or {}, shown_photos(draft, photos or {}, beside))
    body = (
        "<body>",
        *front(draft),
        f'<div class="evidence">{evidence(draft, pictures, sound)}</div>',
        "</body>",
        "</html>",
    )
    return f"{_lines(head)}{_UNIT.sub(_NO_BREAK, _lines(body))}"


def _lines(parts: Iterable[str]) -> str:
    return printable("\n".join(parts)) + "\n"
