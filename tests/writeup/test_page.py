"""The write-up as a page."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING
from urllib.parse import unquote

import numpy as np
import pytest
from hypothesis import given, settings
from small_shop import FACTS, Story, skipped_story, small_library, whole_story
from test_draft import stories

from assistant.core.values.entries import ResultTaken, VoiceNoteTaken
from assistant.core.values.events import Heard, NoMatch, Note, NoteRecorded
from assistant.core.values.result import Result
from assistant.errors import RecordBroken, RecordProblem
from assistant.record import Facts, SessionLog
from assistant.resources import directory
from assistant.writeup import connections_to_embed, draft, html, text, write_html, write_text

if TYPE_CHECKING:
    from pathlib import Path

LIBRARY = small_library()
VOID = {"meta", "br", "col"}


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


def test_each_test_has_a_picture_of_its_connection() -> None:
    """A drawing for each connection, with a title and a description that says it; tests that share one name it."""
    for story in (whole_story(), skipped_story()):
        session = story.session()
        made = draft(session, LIBRARY)
        connections = connections_to_embed(session, LIBRARY)
        assert sorted(test.number for test in made.tests) == sorted(
            n for numbers in connections for n in numbers
        )
        page = Page(html(made, {}, connections))
        drawings = [attributes for name, attributes in page.elements if name == "svg"]
        assert len(connections) == len(drawings)
        for numbers, attributes in zip(connections, drawings, strict=True):
            assert "img" == attributes["role"]
            names = {attributes["id"] for _, attributes in page.elements if "id" in attributes}
            assert names >= set((attributes["aria-labelledby"] or "").split())
            tests = [test for test in made.tests if test.number in numbers]
            assert 1 == len({(test.connection, test.engine) for test in tests})
            assert any(words.startswith(f"{tests[0].connection}; ") for words in page.words)
    assert (3, 4) in connections_to_embed(whole_story().session(), LIBRARY)


def test_a_circuit_without_a_drawing_is_told_in_words_only() -> None:
    """Somebody's own procedure on a circuit that has no drawing is written up all the same."""
    coil = replace(LIBRARY.procedures["coil"], circuit="capacitive-discharge")
    library = replace(LIBRARY, procedures={**LIBRARY.procedures, "coil": coil})
    session = skipped_story().session()
    made = draft(session, library)
    assert {} == connections_to_embed(session, library)
    assert made.tests[0].connection in html(made)


def test_typed_words_are_words_not_html() -> None:
    """Typed text is shown as typed."""
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
        statements = [one.text for one in (made.concern, made.cause or made.no_verdict, made.correction)]
        statements += [one.text for one in (*made.findings, *made.verify, *made.cranking, made.time)]
        statements += [one.connection for one in made.tests] + [one.seen for one in made.tests]
        statements += [one.captured for one in made.tests] + [one.says for one in made.moments]
        statements += [one.took for one in made.tests] + [one.fault for one in made.ruled_out]
        statements += [one.text for one in (*made.not_ruled_out, *made.not_reached, *made.integrity)]
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
    """A session with a result, a voice note and an overheard remark, with the procedures of this package."""
    with SessionLog.create(tmp_path / "sessions", FACTS, directory("procedures")) as log:
        quiet = np.zeros(1600, np.int16)
        answer, remark, note = (log.keep_clip(quiet + number) for number in range(3))
        taken = ResultTaken(
            1, "coil-control", "feed-and-switched", "same", None, None, "voice", "same", 0.9, 12.0, "read back",
            answer.file, "procedure:coil-and-driver",
        )  # fmt: skip
        log.append(Heard(1.0, "same", Result(outcome="same"), 0.9, answer), (Note(taken),))
        log.append(NoMatch(2.0, "hm", 0.2, remark), ())
        kept = VoiceNoteTaken(note.file, note.duration_s, "coil-control", "feed-and-switched")
        log.append(NoteRecorded(3.0, note), (Note(kept),))
    return log.folder


def test_sound_that_the_write_up_names_is_embedded(recorded: Path) -> None:
    """Asked for, results and voice notes carry their sound byte by byte; what was only overheard does not get out."""
    page = Page(write_html(recorded, embed=True))
    sources = [attributes["src"] or "" for name, attributes in page.elements if name == "audio"]
    files = [(recorded / "clips" / name).read_bytes() for name in ("0001.flac", "0003.flac")]
    assert files == [base64.b64decode(source.partition(",")[2]) for source in sources]
    assert "clips/0002.flac" not in page.words


def test_sound_is_linked_from_where_the_page_lies(recorded: Path, tmp_path: Path) -> None:
    """A player and a link for each clip lead to the file itself, from the session folder and from another one."""
    other = tmp_path / "office & desk"
    other.mkdir()
    for place in (recorded, other):
        page = Page(write_html(recorded, beside=place))
        links = [attributes["href"] for name, attributes in page.elements if name == "a"]
        players = [attributes["src"] for name, attributes in page.elements if name == "audio"]
        assert links == players
        found = [(place / unquote(link or "")).resolve() for link in links]
        assert [(recorded / "clips" / name).resolve() for name in ("0001.flac", "0003.flac")] == found


def test_on_paper_sound_is_named() -> None:
    """The printed page has no player and no link."""
    made = draft(whole_story().session(), LIBRARY)
    page = Page(html(made, paper=True))
    assert not {"a", "audio"} & {name for name, _ in page.elements}
    assert any("clips/0005.flac" in words for words in page.words)


def test_a_session_folder_is_written_up_with_its_own_procedures(recorded: Path) -> None:
    """Text and page come from the procedures copied into the session; altered ones are refused."""
    assert "Test lamp clipped to battery negative" in " ".join(write_text(recorded).split())
    assert 1 == write_html(recorded).count("<svg ")
    extra = recorded / "procedures" / "extra.yaml"
    extra.write_text("procedure: extra\n")
    with pytest.raises(RecordBroken, match=r"extra\.yaml was put in after"):
        write_text(recorded)
    extra.unlink()
    terms = recorded / "procedures" / "terms.yaml"
    terms.write_text(terms.read_text().replace("the feed side of the coil", "the feed side of this coil"))
    for write in (write_text, write_html):
        with pytest.raises(RecordBroken, match=r"procedures/terms\.yaml was altered"):
            write(recorded)


def test_altered_or_missing_sound_is_not_embedded(recorded: Path) -> None:
    """A voice note that is not what was recorded never gets into a write-up."""
    note = recorded / "clips" / "0003.flac"
    note.write_bytes(note.read_bytes() + b"x")
    with pytest.raises(RecordBroken, match=r"clips/0003\.flac was altered"):
        write_html(recorded)
    note.unlink()
    with pytest.raises(RecordProblem, match="does not exist"):
        write_html(recorded)
