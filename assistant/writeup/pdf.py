"""The write-up as PDF: WeasyPrint sets the same page, with page number, order and record hash on each sheet.

Nothing else needs WeasyPrint and Debian's Pango, so they are an extra (``bay-assistant[pdf]``) and are loaded
only here.
"""

from __future__ import annotations

import contextlib
import io
import logging
from typing import TYPE_CHECKING, Any, cast

from assistant.errors import UsageProblem
from assistant.packages import PANGO, installing

if TYPE_CHECKING:
    from collections.abc import Callable

_DPI, _QUALITY = 200, 85
"""A photo is set with so many dots an inch, as JPEG of this quality; the whole one stays in the session."""


def lacking() -> str:
    """The sentences for a machine without WeasyPrint or its library."""
    return (
        "For a PDF, WeasyPrint and Pango are needed. WeasyPrint: pip install 'bay-assistant[pdf]'. "
        f"Pango: {installing(PANGO)}. Without them, open the page of --html in a browser and print it."
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
        raise UsageProblem(lacking()) from error
    logging.getLogger("weasyprint").setLevel(logging.CRITICAL)  # hints about CSS for the screen
    document = weasyprint.HTML(string=page, url_fetcher=_fetcher(weasyprint))
    written = document.write_pdf(optimize_images=True, jpeg_quality=_QUALITY, dpi=_DPI)
    return bytes(written or b"")


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
