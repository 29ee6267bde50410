"""The first page: what a warranty clerk and a customer read, and nothing that they have no use for."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pypdf
import pytest
from hypothesis import given, settings, strategies as st
from recorded import BAD_COIL, OPEN_CONTROL_WIRE, folder, library, scripted, session as recorded, wandering
from small_shop import Story, reading, small_library, whole_story

from assistant.core.values.entries import ProcedureEntered, VerdictReached
from assistant.writeup import draft, drafted, text, write_pdf, write_text
from assistant.writeup.reviewing import WantedReview, record_review
from assistant.writeup.wording import APPENDIX

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.writeup import Draft

LIBRARY = small_library()
REVIEW = WantedReview(
    "J. Okoye",
    "Spliced the control wire at the firewall.",
    ("control-wire-open",),
    ("butt splice; 2; 3.10; BS-1618",),
    ("wire repair; 0.8; 96.00",),
    "Road test 12 miles.",
    sign=True,
    codes=("P0351",),
    location="control wire, at the firewall grommet",
)


def first_page(made: Draft) -> str:
    """The text form up to the appendix."""
    return text(made).partition(APPENDIX.upper())[0]


@pytest.fixture(scope="module")
def repaired(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session with an open control wire, reviewed and signed."""
    place = folder(tmp_path_factory.mktemp("front"), scripted(*OPEN_CONTROL_WIRE))
    record_review(place, REVIEW)
    return place


def test_a_signed_review_fills_the_first_page(repaired: Path) -> None:
    """Repair, cause for the customer, part number and quantity, codes, failed location, labor, name: all on it."""
    page = " ".join(first_page(drafted(repaired)[0]).split())
    for words in (
        "Done: Spliced the control wire at the firewall.",
        library().terms.faults["control-wire-open"].customer,
        "butt splice | BS-1618 | 2 | 3.10",
        "P0351",
        "control wire, at the firewall grommet",
        "wire repair | 0.8 | 96.00",
        "Signed by J. Okoye",
    ):
        assert words in page
    assert "Recommended" not in page


def test_the_first_page_of_the_pdf_is_one_sheet(repaired: Path, tmp_path: Path) -> None:
    """From title to notice it fits on one Letter sheet, as a draft and signed; the appendix begins on the second."""
    for place in (
        repaired,
        folder(tmp_path / "draft", scripted(*OPEN_CONTROL_WIRE)),
        folder(tmp_path / "coil", scripted(*BAD_COIL)),
    ):
        sheets = pypdf.PdfReader(io.BytesIO(write_pdf(place))).pages
        words = [" ".join(sheet.extract_text().split()) for sheet in sheets]
        assert (612, 792) == (round(sheets[0].mediabox.width), round(sheets[0].mediabox.height))
        assert drafted(place)[0].closing[-1] in words[0]
        assert words[1].startswith(APPENDIX)


def test_no_checksum_and_no_percentage_on_the_first_page(repaired: Path) -> None:
    """A clerk cannot use either; both stay in the appendix."""
    made = drafted(repaired)[0]
    page, _, rest = write_text(repaired).partition(APPENDIX.upper())
    (sheet, *_) = pypdf.PdfReader(io.BytesIO(write_pdf(repaired))).pages
    for shown in (page, sheet.extract_text()):
        assert not re.search(r"[0-9a-f]{16}|SHA|[0-9]\s*%", shown)
    assert made.record in "".join(rest.split())


@given(st.integers(0, 100_000))
@settings(max_examples=30)
def test_nothing_is_open_that_the_tests_excluded(seed: int) -> None:
    """In any session the first page lists no fault as possible that a result rules out."""
    made = draft(recorded(wandering(seed)), library())
    excluded = {one.fault for one in made.ruled_out}
    assert not excluded & set(made.open_faults.text.split("; "))


def test_a_verdict_of_several_faults_leaves_those_that_its_tests_did_not_exclude() -> None:
    """Of three named faults one is ruled out, so two are open; when only one is left, none is listed as open."""
    coil = LIBRARY.procedures["coil"]
    named = ("open-feed", "shorted-primary", "coil-secondary")
    shorted = replace(coil.verdicts["coil-shorted"], faults=named)

    def made(faults: tuple[str, ...]) -> Draft:
        verdicts = {**coil.verdicts, "coil-shorted": replace(shorted, faults=faults)}
        changed = {**LIBRARY.procedures, "coil": replace(coil, verdicts=verdicts)}
        return draft(whole_story().session(), replace(LIBRARY, procedures=changed))

    assert "shorted coil primary; coil secondary, lead or plug" == made(named).open_faults.text
    assert not made(named[:2]).open_faults
    assert "open feed" not in first_page(made(named[:2])).lower()


def test_deciding_readings_stand_with_their_limits_and_sources() -> None:
    """The failed ones come first; each has its test, its value, pass or fail, the limits and where they are from."""
    rows = draft(recorded(scripted(*OPEN_CONTROL_WIRE)), library()).deciding
    assert ["failed", "failed", "passed"] == [row.before_judged for row in rows]
    wire = next(row for row in rows if row.test.startswith("Ohmmeter"))
    assert wire.before.startswith("40 ohm")
    assert "below 0.3 ohm" == wire.good
    assert "ASTM B258" in wire.source
    assert ("", 0, "") == (wire.after, wire.after_test, wire.after_judged)


def test_the_same_measurement_after_the_verdict_stands_beside_the_one_before() -> None:
    """Before 0.1 ohm failed, after 0.6 ohm passed, whichever procedure asked for it the second time."""
    story = (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(1, reading(1, "coil", "primary", "shorted", "0.1", "ohm", "verdict:coil-shorted"))
        .add(2, VerdictReached("coil", "coil-shorted", affirmed=True))
        .add(30, ProcedureEntered("check", "coil"))
        .add(31, reading(2, "check", "primary", "normal", "0.6", "ohm", "verdict:no-control"))
    )
    check = replace(LIBRARY.procedures["coil"], name="check", circuit="none")
    made = draft(story.session(), replace(LIBRARY, procedures={**LIBRARY.procedures, "check": check}))
    (row,) = made.deciding
    assert ("0.1 ohm, below the usual range", 1, "failed") == (row.before, row.before_test, row.before_judged)
    assert ("0.6 ohm, normal", 2, "passed") == (row.after, row.after_test, row.after_judged)
    assert "After repair:  0.6 ohm, normal: passed" in first_page(made)


def test_without_a_cause_no_reading_decided() -> None:
    """Nothing is presented as deciding when nothing was decided."""
    made = draft(Story().add(0, ProcedureEntered("coil")).session(), LIBRARY)
    assert () == made.deciding
    assert "None yet, because the cause was not found." in first_page(made)
