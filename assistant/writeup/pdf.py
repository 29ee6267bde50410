"""The write-up as PDF: WeasyPrint sets the same page, with page number, order and record hash on each sheet.

Nothing else needs WeasyPrint and Debian's Pango, so they are an extra (``bay-assistant[pdf]``) and are loaded
only here.
"""

from __future__ import annotations

import contextlib
import io
import logging

from assistant.errors import UsageProblem

MISSING = (
    "For a PDF, WeasyPrint and Pango are needed: pip install 'bay-assistant[pdf]' and "
    "apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-liberation. "
    "Without them, open the page of --html in a browser and print it."
)


def pdf(page: str) -> bytes:
    """A page of `assistant.writeup.page.html`, set on A4 sheets.

    Raises:
        UsageProblem: WeasyPrint or its library is not installed.
    """
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            import weasyprint  # noqa: PLC0415
    except (ImportError, OSError) as error:
        raise UsageProblem(MISSING) from error
    logging.getLogger("weasyprint").setLevel(logging.CRITICAL)  # hints about CSS for the screen
    written = weasyprint.HTML(string=page, url_fetcher=_nothing_from_elsewhere).write_pdf()
    return bytes(written or b"")


def _nothing_from_elsewhere(url: str) -> dict[str, object]:
    raise ValueError(f"a write-up needs nothing from elsewhere, but names {url}")
