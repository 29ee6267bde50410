"""The write-up as PDF, read back by another program."""

from __future__ import annotations

import builtins
import io
import logging
from typing import TYPE_CHECKING, Any

import pypdf
import pytest
from recorded import BAD_COIL, OPEN_CONTROL_WIRE, folder, scripted

from assistant.errors import UsageProblem
from assistant.record import add_review
from assistant.writeup import drafted, write_pdf
from assistant.writeup.pdf import lacking, pdf

if TYPE_CHECKING:
    from pathlib import Path


def read(written: bytes) -> list[str]:
    """The words of each page."""
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(written)).pages]


def test_each_page_has_its_number_the_order_and_the_hash(tmp_path: Path) -> None:
    """`pypdf` reads what is printed: page 1 for the customer without the checksum, the appendix after it."""
    place = folder(tmp_path, scripted(*OPEN_CONTROL_WIRE))
    made = drafted(place)[0]
    pages = [
        " ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(write_pdf(place))).pages
    ]
    assert 2 <= len(pages) <= 7
    for number, words in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in words
        assert "Repair order 4711" in words
        assert (f"Record SHA-256 {made.record}" in words) is (number > 1)
    for statement in (made.concern, made.cause, made.correction):
        assert statement.text in pages[0]
    assert "TESTS, IN ORDER" not in pages[0].upper()
    assert "TESTS, IN ORDER" in pages[1].upper()


def test_a_signed_review_is_on_paper(tmp_path: Path) -> None:
    """Name, time and checksums stand where the lines for the signature were."""
    place = folder(tmp_path, scripted(*BAD_COIL))
    review = add_review(place, reviewer="J. Okoye", done="Fitted a coil.", sign="the write-up")
    words = " ".join(
        " ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(write_pdf(place))).pages
    )
    assert "Reviewed and signed by J. Okoye" in words
    assert "Fitted a coil." in words
    assert review.signed is not None
    assert review.signed.writeup in words.replace(" ", "")


def test_the_typesetters_own_steps_are_told(tmp_path: Path) -> None:
    """WeasyPrint logs what it does; that becomes a share that never falls, and nothing listens afterwards."""
    told: list[tuple[float, float]] = []
    logger = logging.getLogger("weasyprint.progress")
    before = list(logger.handlers), logger.level, logger.propagate
    write_pdf(folder(tmp_path, scripted(*OPEN_CONTROL_WIRE)), lambda *one: told.append(one))
    shares = [done / of for done, of in told]
    assert len(shares) > 5
    assert shares == sorted(shares)
    assert 0 < shares[0] < shares[-1] < 1
    assert before == (list(logger.handlers), logger.level, logger.propagate)


def test_without_weasyprint_a_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra and Debian's package are named, and the way without them."""
    real = builtins.__import__

    def missing(name: str, *rest: Any) -> Any:
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(UsageProblem, match="pip install") as caught:
        pdf("<p>page</p>")
    assert lacking() == str(caught.value)
