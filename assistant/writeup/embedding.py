"""The parts of the page besides words: the sound of the answers, photos, and drawings of the connections."""

from __future__ import annotations

import base64
from html import escape
from typing import TYPE_CHECKING
from urllib.parse import quote

from assistant.core.values.entries import ResultRepeated
from assistant.errors import RecordBroken
from assistant.picture.connection import inline
from assistant.record.contents import read_inside
from assistant.record.course import course_of
from assistant.record.photos import LARGEST
from assistant.record.reading import read_clip
from assistant.record.recorded import clips_of
from assistant.record.storage import sha256

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement
    from assistant.record.recorded import RecordedSession
    from assistant.writeup.contents import Draft


def clips_to_embed(session: RecordedSession, draft: Draft) -> dict[str, bytes]:
    """The sound that the write-up names, by file name, each checked against its checksum in the log.

    It leaves out sound that was overheard and not taken.

    Raises:
        RecordProblem: A clip is missing or may not be read.
        RecordBroken: A clip was altered.
    """
    if session.folder is None:
        return {}
    named = {test.clip for test in draft.tests} | {note.clip for note in draft.notes}
    named |= {fact.clip for fact in (*draft.conditions, *draft.specifications)}
    return {
        clip.file: read_clip(session.folder, clip)
        for line in session.lines
        for clip in clips_of(line.event)
        if clip.file in named
    }


def photos_to_embed(session: RecordedSession, draft: Draft) -> dict[str, bytes]:
    """The photos of the reviews, by file name, each checked against its checksum in the review.

    Raises:
        RecordProblem: A photo is missing or may not be read.
        RecordBroken: A photo was altered.
    """
    if session.folder is None:
        return {}
    found = {}
    for photo in draft.photos:
        data = read_inside(session.folder, photo.file, LARGEST)
        if sha256(data) != photo.sha256:
            raise RecordBroken(f"The photo {photo.file} is not the one that was attached to the review.")
        found[photo.file] = data
    return found


def shown_photos(draft: Draft, embedded: Mapping[str, bytes], beside: str) -> str:
    """The photos as figures: embedded, or linked beside the page."""
    figures = []
    for photo in draft.photos:
        kind = "png" if photo.file.endswith(".png") else "jpeg"
        target = escape(quote(f"{beside}/{photo.file}" if beside else photo.file))
        if photo.file in embedded:
            target = f"data:image/{kind};base64,{base64.b64encode(embedded[photo.file]).decode('ascii')}"
        caption = escape(photo.caption)
        figures.append(
            f'<figure class="photo"><img src="{target}" alt="{caption}"><figcaption>{caption} '
            f"({escape(photo.file)})<small>SHA-256 {photo.sha256}</small></figcaption></figure>"
        )
    body = "".join(figures)
    return f'<section><h2>Photos</h2><div class="photos">{body}</div></section>' if body else ""


def connections_to_embed(session: RecordedSession, library: Library) -> dict[tuple[int, ...], str]:
    """The connections of the tests as SVG, by the numbers of the tests; those without a drawing are left out.

    Args:
        session: The session.
        library: The procedures that were copied into it.
    """
    tests: dict[tuple[str, Measurement], list[int]] = {}
    course = course_of(session)
    for taken in course.results:
        result = taken.result
        of = course.numbered(result.repeats) if isinstance(result, ResultRepeated) else result
        circuit = library.procedures[of.procedure].circuit
        measure = library.step(of.procedure, of.step).measure
        tests.setdefault((circuit, measure), []).append(result.number)
    drawings = {
        tuple(numbers): inline(circuit, measure, library.terms, f"test-{numbers[0]}")
        for (circuit, measure), numbers in tests.items()
    }
    return {numbers: drawing for numbers, drawing in drawings.items() if drawing}


class ShownSound:
    """Shows a clip: a player if it is embedded or lies beside the page, its name on paper."""

    def __init__(self, clips: Mapping[str, bytes], beside: str, *, paper: bool) -> None:
        self._clips = clips
        self._beside = beside
        self._paper = paper

    def show(self, name: str) -> str:
        """Show the clip of this name."""
        shown = escape(name)
        if self._paper:
            return shown
        if name in self._clips:
            data = base64.b64encode(self._clips[name]).decode("ascii")
            return (
                f'{shown}<audio controls preload="none" aria-label="{shown}" '
                f'src="data:audio/flac;base64,{data}"></audio>'
            )
        target = escape(quote(f"{self._beside}/{name}" if self._beside else name))
        return (
            f'<a href="{target}">{shown}</a>'
            f'<audio controls preload="none" aria-label="{shown}" src="{target}"></audio>'
        )
