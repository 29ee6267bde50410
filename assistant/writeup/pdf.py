"""The write-up as PDF: WeasyPrint sets the same page, with page number, order and record hash on each sheet.

Nothing else needs WeasyPrint and Debian's Pango, so they are an extra (``bay-assistant[pdf]``) and are loaded
only here.
"""

from __future__ import annotations

import contextlib
import io
import logging
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, cast

from assistant.errors import UsageProblem
from assistant.packages import PANGO, installing

if TYPE_CHECKING:
    from collections.abc import Iterator

Progress = Callable[[float, float], None]
"""Called with how much is done, and of how much."""

_STEP = re.compile(r"Step (\d)(?:.* Page (\d+))?")
_BEFORE = {"2": 0.11, "3": 0.12, "4": 0.28, "5": 0.32, "6": 0.76}
"""Shares of the time after which WeasyPrint begins these steps, measured on one processor core with write-ups of 16 to
352 results in 2026; step 5 lays out the pages and step 6 writes the file."""

_SIGNS_A_PAGE = 16_000
"""Signs of HTML that make a page on paper, measured with the same (13,000 to 20,000)."""

_DPI, _QUALITY = 200, 85
"""A photo is set with so many dots an inch, as JPEG of this quality; the whole one stays in the session."""


def lacking() -> str:
    """The sentences for a machine without WeasyPrint or its library."""
    return (
        "For a PDF, WeasyPrint and Pango are needed. WeasyPrint: pip install 'bay-assistant[pdf]'. "
        f"Pango: {installing(PANGO)}. Without them, open the page of --html in a browser and print it."
    )


def pdf(page: str, progress: Progress = lambda _done, _all: None) -> bytes:
    """A page of `assistant.writeup.page.html`, set on A4 sheets.

    Args:
        page: The page.
        progress: Called with about how much is done, and of how much.

    Raises:
        UsageProblem: WeasyPrint or its library is not installed.
    """
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            import weasyprint  # noqa: PLC0415
    except (ImportError, OSError) as error:
        raise UsageProblem(lacking()) from error
    logging.getLogger("weasyprint").setLevel(logging.CRITICAL)  # hints about CSS for the screen
    with _steps_told(progress, len(page) / _SIGNS_A_PAGE):
        document = weasyprint.HTML(string=page, url_fetcher=_fetcher(weasyprint))
        written = document.write_pdf(optimize_images=True, jpeg_quality=_QUALITY, dpi=_DPI)
    return bytes(written or b"")


@contextlib.contextmanager
def _steps_told(progress: Progress, pages: float) -> Iterator[None]:
    """Tell the steps and pages that WeasyPrint logs (its documented logger of progress) as shares of the work."""

    class _Telling(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            found = _STEP.match(record.getMessage())
            if found is None or found[1] not in _BEFORE:
                return
            begins, ends = _BEFORE[found[1]], _BEFORE["6"]
            laid_out = min((int(found[2] or 1) - 1) / max(pages, 1.0), 1.0)
            progress(begins + (laid_out * (ends - begins) if found[1] == "5" else 0.0), 1.0)

    logger, telling = logging.getLogger("weasyprint.progress"), _Telling()
    before = logger.level, logger.propagate
    logger.addHandler(telling)
    logger.setLevel(logging.INFO)
    logger.propagate = False
    try:
        yield
    finally:
        logger.removeHandler(telling)
        logger.setLevel(before[0])
        logger.propagate = before[1]


def _fetcher(weasyprint: Any) -> Callable[[str], Any]:
    """What fetches the photos, which are in the page itself, and nothing from elsewhere."""
    kind = getattr(weasyprint.urls, "URLFetcher", None)
    if kind is not None:
        return cast("Callable[[str], Any]", kind(allowed_protocols=("data",)))

    def fetch(url: str) -> Any:  # before version 68
        if not url.startswith("data:"):
            raise ValueError(f"a write-up needs nothing from elsewhere, but names {url}")
        return weasyprint.default_url_fetcher(url)

    return fetch
