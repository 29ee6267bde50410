"""`run --board` as a shop starts it: its address in the terminal, the session on a tablet, the review, and the end."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from assistant.record import read_reviews

pytest.importorskip("starlette", reason="the extra 'board' is not installed")
playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="Chromium is not installed (Debian's package 'chromium')"
)

RUN = (
    "run",
    "coil-control",
    "--keys-only",
    "--silent",
    "--plain",
    "--order",
    "4711",
    "--board-address",
    "127.0.0.1",
)


class Started:
    """A program with its output in a file; its input stays open, because no pad is at hand."""

    def __init__(self, folder: Path, *options: str) -> None:
        self._output = folder / "output"
        with self._output.open("w") as output:
            self.program = subprocess.Popen(
                [sys.executable, "-m", "assistant", *RUN, "--sessions", str(folder / "sessions"), *options],
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=subprocess.STDOUT,
            )

    def said(self, pattern: str, seconds: float = 30.0) -> str:
        """The first group of a pattern, once the output has it."""
        end = time.monotonic() + seconds
        while not (found := re.search(pattern, self._output.read_text(encoding="utf-8"))):
            assert self.program.poll() is None, self._output.read_text(encoding="utf-8")
            assert time.monotonic() < end, self._output.read_text(encoding="utf-8")
            time.sleep(0.05)
        return found.group(1)


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Started]:
    """The session with a board."""
    one = Started(tmp_path, "--board")
    yield one
    one.program.kill()
    one.program.wait()


def test_a_session_is_closed_reviewed_and_signed_on_the_tablet(started: Started, tmp_path: Path) -> None:
    """From the address in the terminal to a signed write-up nothing is typed on the machine."""
    address = started.said(r"Board: (http://127\.0\.0\.1:\d+/in/[\w-]+)")
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, "PNG")
    taken = out.getvalue()
    with playwright.sync_playwright() as opened:
        browser = opened.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 800, "height": 1280})
        page.goto(address)
        for _ in range(2):  # the first time stands by, the second closes
            page.wait_for_selector("#choices button")
            page.wait_for_timeout(400)
            page.get_by_role("button", name="More").click()
            page.locator('#pad button[data-names="close"]').click()
            page.wait_for_timeout(300)
        page.wait_for_url("**/sessions/*", timeout=20_000)
        assert "Diagnosis and repair" in page.frame_locator("iframe").locator("body").inner_text()
        axe = pytest.importorskip(
            "axe_playwright_python.sync_playwright", reason="axe-core is not installed"
        ).Axe()
        report = axe.run(page)
        assert 0 == report.violations_count, report.generate_report()
        page.get_by_role("button", name="Show a code on the machine").click()
        page.get_by_label("Code").fill(started.said(r"sign in at the board: (\d{6})"))
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_label("What did you fix?").fill("Cleaned the ground.")
        page.get_by_label("Photos", exact=True).set_input_files(
            files=[{"name": "pin.png", "mimeType": "image/png", "buffer": taken}]
        )
        page.get_by_label("What the photos show").fill("pin 4")
        page.get_by_label("Your name").fill("J. Okoye")
        page.get_by_label("I sign").check()
        page.get_by_role("button", name="Keep the review").click()
        page.wait_for_selector("text=Review 1 is kept, signed by J. Okoye.")
        shown = page.frame_locator("iframe").locator("figure.photo img")
        shown.scroll_into_view_if_needed()
        assert 40 == shown.evaluate("image => image.decode().then(() => image.naturalWidth)")
        page.get_by_role("button", name="Close the board").click()
        page.wait_for_selector("text=The board is closed.")
        browser.close()
    assert 0 == started.program.wait(timeout=10)
    (session,) = (tmp_path / "sessions").glob("2*")
    (review,) = read_reviews(session)
    assert "Cleaned the ground." == review.done
    assert ["pin 4"] == [photo.caption for photo in review.details.photos]


def test_an_address_that_is_not_the_machines_is_refused_before_there_is_a_session(tmp_path: Path) -> None:
    """The sentence says what to change, and no folder is left behind."""
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "run", "--keys-only", "--silent", "--board", "--board-address",
         "192.0.2.77", "--sessions", str(tmp_path)],
        capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert 2 == done.returncode
    assert "--board-address" in done.stderr
    assert [] == list(tmp_path.iterdir())
