"""The write-up as a page."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from small_shop import FACTS, Story, skipped_story, small_library, whole_story
from test_draft import stories

from assistant.core.events import NoMatch, NoteRecorded
from assistant.errors import RecordBroken, RecordProblem
from assistant.record import Facts, SessionLog, read_session
from assistant.writeup import clips_to_embed, draft, html, text

if TYPE_CHECKING:
    from pathlib import Path

LIBRARY = small_library()
VOID = {"meta", "br"}


class Page(HTMLParser):
    """Reads a page strictly: every element is closed in order."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)
        self.close()
        assert [] == self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Remember an element."""
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """It must be the one that was opened last."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Text outside the style sheet."""
        if self.open and self.open[-1] != "style":
            self.words.append(data)


@given(stories())
@settings(max_examples=40)
def test_the_page_is_whole_and_needs_nothing_from_elsewhere(story: Story) -> None:
    """Any session gives well-formed HTML without script, style sheet, picture or font from another place."""
    page = Page(html(draft(story.session(), LIBRARY)))
    names = {name for name, _ in page.elements}
    assert not names & {"script", "link", "img", "iframe", "object", "form"}
    for _, attributes in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("href", "src"):
                assert re.fullmatch(r"clips/[0-9]+\.flac|data:audio/flac;base64,[A-Za-z0-9+/=]*", value or "")
    assert "url(" not in html(draft(story.session(), LIBRARY))


def test_typed_words_are_words_not_html() -> None:
    """What a person typed is shown as typed."""
    page = Page(html(draft(whole_story().session(), LIBRARY)))
    assert FACTS.complaint in page.words
    evil = Facts(order="<script>1</script>", vehicle='" onload="x', complaint="</style></p><b>")
    Page(html(draft(whole_story().session(evil), LIBRARY)))


def test_page_and_text_say_the_same() -> None:
    """Each statement of the draft is in both."""
    for story in (whole_story(), skipped_story()):
        made = draft(story.session(), LIBRARY)
        shown = " ".join(" ".join(Page(html(made)).words).split())
        plain = " ".join(text(made).split())
        statements = [
            made.concern,
            made.cause or made.no_verdict,
            made.correction,
            *made.verify,
            *made.cranking,
        ]
        statements += [one.connection for one in made.tests] + [one.seen for one in made.tests]
        statements += [one.captured for one in made.tests] + [one.says for one in made.moments]
        statements += [*made.not_ruled_out, *made.integrity]
        for statement in statements:
            assert " ".join(statement.split()) in shown
            assert " ".join(statement.split()) in plain


def test_what_was_taken_back_is_struck_out_and_labelled() -> None:
    """Struck through for the eye, and said in words for print without it."""
    page = html(draft(whole_story().session(), LIBRARY))
    assert re.search(
        r'<del><span class="seen">lamp blinking</span></del> <span class="taken-back">taken back', page
    )
    assert 1 == page.count("<del>")


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """A session with a voice note and an utterance, on disk."""
    (tmp_path / "library").mkdir()
    with SessionLog.create(tmp_path / "sessions", FACTS, tmp_path / "library") as log:
        quiet = np.zeros(1600, np.int16)
        log.append(NoMatch(1.0, "hm", 0.2, log.keep_clip(quiet)), ())
        log.append(NoteRecorded(2.0, log.keep_clip(quiet + 1)), ())
    return log.folder


def test_sound_is_embedded_when_asked_for(recorded: Path) -> None:
    """Voice notes are embedded byte by byte; utterances too when asked for; others are linked."""
    session = read_session(recorded)
    notes = clips_to_embed(session)
    assert ["clips/0002.flac"] == list(notes)
    assert ["clips/0001.flac", "clips/0002.flac"] == list(clips_to_embed(session, notes_only=False))
    made = draft(whole_story().session(), LIBRARY)
    page = Page(html(made, {"clips/0005.flac": notes["clips/0002.flac"]}))
    (source, *_) = [attributes["src"] for name, attributes in page.elements if name == "audio"]
    assert notes["clips/0002.flac"] == base64.b64decode((source or "").partition(",")[2])
    assert "clips/0001.flac" in [attributes.get("href") for name, attributes in page.elements if name == "a"]
    assert {} == clips_to_embed(whole_story().session())


def test_altered_or_missing_sound_is_not_embedded(recorded: Path) -> None:
    """A voice note that is not what was recorded never gets into a write-up."""
    session = read_session(recorded)
    note = recorded / "clips" / "0002.flac"
    note.write_bytes(note.read_bytes() + b"x")
    with pytest.raises(RecordBroken, match=r"clips/0002\.flac was altered"):
        clips_to_embed(session)
    note.unlink()
    with pytest.raises(RecordProblem, match="does not exist"):
        clips_to_embed(session)
