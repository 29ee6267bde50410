"""The page in a real browser: Debian's Chromium, led by Playwright.

Outside checks: Deque's axe-core for names, roles, landmarks and contrast, and WCAG's own formula of contrast.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.board.access import Role
from assistant.board.trial import BoardTrial
from assistant.core.values.entries import ResultTaken
from assistant.core.values.events import KeyPressed, Note
from assistant.record import Facts, read_session
from assistant.record.replaying import replay
from assistant.screen.terminal import LineScreen
from assistant.writeup import write_text

pytest.importorskip("starlette", reason="the extra 'board' is not installed")
playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="Chromium is not installed (Debian's package 'chromium')"
)

Page = Any

TABLETS = {"portrait": (800, 1280), "landscape": (1280, 800), "phone": (390, 844)}
FINGER = 120
"""Pixels of 20 mm on a tablet of ten inches with 800 by 1280 of them: 149 to the inch."""

HOSTILE = "<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """The browser."""
    with playwright.sync_playwright() as started:
        chromium = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()


@pytest.fixture
def trial(tmp_path: Path) -> Iterator[BoardTrial]:
    """A silent session with its board."""
    facts = Facts(order="4711", complaint=HOSTILE, technician="JD")
    with BoardTrial(tmp_path, LineScreen(io.StringIO()), facts=facts) as trial:
        yield trial


@pytest.fixture
def tablet(trial: BoardTrial, browser: Any) -> Iterator[Page]:
    """A tablet that presses; what its console complains about fails the test."""
    yield from _tablet(trial.door.address(), browser)


def _tablet(address: str, browser: Any, size: tuple[int, int] = TABLETS["portrait"]) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(address)
    page.wait_for_selector("#headline:not(:empty)")
    yield page
    context.close()
    expected = ("WebSocket connection", "net::ERR", "Executing inline script violates")
    assert [] == [text for text in complaints if not any(one in text for one in expected)]


def until(page: Page, condition: str, seconds: float = 10.0) -> None:
    """Wait for a condition in the page; its own policy forbids the browser to be asked to wait (no `eval`)."""
    end = time.monotonic() + seconds
    while not page.evaluate(condition):
        assert time.monotonic() < end, condition
        page.wait_for_timeout(15)


def settled(page: Page) -> None:
    """Wait until a tap counts for what is shown (the page takes an earlier one as meant for the board before)."""
    until(page, "performance.now() - changedAt > SETTLE_MS")


def tap(page: Page, name: str) -> None:
    """Tap the button of this name and wait for what it changes."""
    settled(page)
    before = page.evaluate("JSON.stringify([board.question, board.typed])")
    page.get_by_role("button", name=name, exact=True).first.click()
    until(page, f"JSON.stringify([board.question, board.typed]) !== {json.dumps(before)}")


def names(page: Page, place: str = "#answer") -> list[str]:
    """The names of the buttons that are shown there."""
    buttons = page.locator(f"{place} button:visible").all()
    return [one.get_attribute("aria-label") or one.inner_text() for one in buttons]


def key_numbers(page: Page, number: str) -> None:
    """Key a number on the page, and its end."""
    for sign in number:
        tap(page, sign)
    tap(page, "done")


def to_question(page: Page) -> None:
    """Acknowledge cautions until something is asked."""
    for _ in range(10):
        mode = page.evaluate("board.mode")
        if mode == "acknowledging":
            tap(page, "ready")
        elif mode == "cautioning":
            until(page, "board.mode !== 'cautioning'")
        else:
            return


def test_a_whole_session_by_tapping_ends_in_a_verdict_and_is_recorded_as_by_tablet(
    trial: BoardTrial, tablet: Page
) -> None:
    """Everything from the first caution to closing can be done with a finger, and the record says so."""
    to_question(tablet)
    key_numbers(tablet, "11.4")
    assert "BATTERY: 11.4 V" == tablet.locator("#headline").inner_text()
    tap(tablet, "yes")
    for _ in range(60):
        to_question(tablet)
        mode, shown = tablet.evaluate("board.mode"), names(tablet, "#choices")
        if mode == "concluding":
            break
        if tablet.evaluate("board.asks") == "number" and mode != "reading back":
            low, high = map(float, tablet.evaluate("board.plausible"))
            key_numbers(tablet, f"{low + (high - low) / 2:.1f}")
        elif mode == "resting":
            tap(tablet, next(one for one in shown if "go anyway" in one))
        else:
            tap(tablet, shown[0])
    assert "concluding" == tablet.evaluate("board.mode")
    assert tablet.locator("body.verdict").count()
    verdict = tablet.locator("#headline").bounding_box()
    assert verdict["height"] >= 0.7 * FINGER
    for _ in range(3):
        if "close" in names(tablet):
            break
        tap(tablet, "yes")
    settled(tablet)
    tablet.get_by_role("button", name="close", exact=True).first.click()
    until(tablet, "board.mode === 'finished' || board.question > 0")
    trial.end()
    lines = read_session(trial.log.folder).lines
    taken = [
        action.entry
        for line in lines
        for action in line.actions
        if isinstance(action, Note) and isinstance(action.entry, ResultTaken)
    ]
    assert taken
    assert {"tablet"} == {entry.how for entry in taken}
    assert {"tablet"} == {line.event.source.value for line in lines if isinstance(line.event, KeyPressed)}
    assert "By tablet" in write_text(trial.log.folder)
    assert [] == replay(trial.log.folder)


def test_seconds_count_down_by_the_pages_own_clock(tablet: Page) -> None:
    """Between two boards the countdown goes on; no board is needed for each second."""
    to_question(tablet)
    tap(tablet, "done")  # without digits: the engine turns
    tablet.wait_for_selector("#clock:visible")
    first, sent = int(tablet.locator("#seconds").inner_text()), tablet.evaluate("board.countdown.seconds")
    until(tablet, f"Number(document.getElementById('seconds').textContent) <= {first - 2}", 4.0)
    assert sent == tablet.evaluate("board.countdown.seconds")
    assert "crank" == tablet.locator("#clock-name").inner_text()


def test_a_lost_connection_is_told_within_three_seconds_and_nothing_can_be_tapped(
    trial: BoardTrial, tablet: Page
) -> None:
    """A board that no longer hears its session says so and disables its buttons."""
    trial.server.close()
    tablet.wait_for_selector("#lost:visible", timeout=3000)
    assert "connection is lost" in tablet.locator("#lost").inner_text()
    assert [] == tablet.locator("#answer button:not([disabled]), #stop:not([disabled])").all()


def test_a_silent_line_is_told_as_well(trial: BoardTrial, tablet: Page) -> None:
    """A line that is open and brings nothing (a network that swallows it) is told within three seconds."""
    tablet.evaluate(
        """() => { socket.onmessage = null;
        new MutationObserver(() => { globalThis.silentFor = performance.now() - heardAt; })
        .observe(document.getElementById('lost'), { attributes: true }); }"""
    )
    tablet.evaluate(
        "() => { globalThis.WebSocket = class { close() {} }; }"
    )  # no new line is to be had either
    tablet.wait_for_selector("#lost:visible", timeout=20_000)
    assert tablet.evaluate("silentFor") <= 3000
    assert tablet.locator("#stop").is_disabled()


def test_the_page_comes_back_by_itself(trial: BoardTrial, tablet: Page) -> None:
    """After a short loss the same tablet presses again."""
    tablet.evaluate("socket.close()")
    tablet.wait_for_selector("#lost:visible", timeout=3000)
    tablet.wait_for_selector("#lost", state="hidden", timeout=5000)
    to_question(tablet)
    assert "7" in names(tablet, "#number")


def test_a_tap_just_after_a_new_question_is_taken_for_the_old_one(trial: BoardTrial, tablet: Page) -> None:
    """A finger that was on its way when the board changed answers nothing, and the page says so."""
    to_question(tablet)
    settled(tablet)
    # The answer of somebody else changes the question; within the same frame a finger comes down.
    tablet.evaluate(
        """() => new Promise(done => {
            const take = show; let taps = 0;
            globalThis.show = (now) => { take(now); };
            const wait = setInterval(() => {
                if (board.mode === 'standing by') {
                    clearInterval(wait);
                    document.querySelector('#choices button').click();
                    done();
                }
            }, 1);
            send('slash');
        })"""
    )
    until(tablet, "document.getElementById('message').textContent.includes('late')")
    assert "standing by" == tablet.evaluate("board.mode")


def test_two_tablets_one_presses_the_other_watches_and_takes_over(
    trial: BoardTrial, tablet: Page, browser: Any
) -> None:
    """The second one sees the same board without answers, until it takes the keys."""
    for second in _tablet(trial.door.address(), browser):
        second.wait_for_selector("#hands:visible")
        assert tablet.locator("#headline").inner_text() == second.locator("#headline").inner_text()
        assert [] == names(second)
        assert second.locator("#stop").is_visible()
        second.get_by_role("button", name="Take the keys").click()
        second.wait_for_selector("#answer button:visible")
        tablet.wait_for_selector("#hands:visible")
        assert [] == names(tablet)
        to_question(second)
        assert "done" in names(second)


def test_a_watcher_has_no_buttons_that_press(trial: BoardTrial, browser: Any) -> None:
    """With the address to watch there is neither an answer nor stop, and the drawing and results can be seen."""
    for page in _tablet(trial.door.address(Role.WATCH), browser):
        page.wait_for_selector("#hands:visible")
        assert [] == names(page)
        assert not page.locator("#stop").is_visible()
        assert not page.locator("#take").is_visible()


def test_a_wrong_token_shows_a_sentence(trial: BoardTrial, browser: Any) -> None:
    """A person reads what to do; nothing of the session is there."""
    context = browser.new_context()
    page = context.new_page()
    answer = page.goto(f"{trial.door.place.address}/in/wrong")
    assert 403 == answer.status
    assert "Scan the code" in page.locator("body").inner_text()
    context.close()


def test_a_hostile_complaint_runs_nothing(trial: BoardTrial, tablet: Page) -> None:
    """Text from outside stays text wherever the page shows it."""
    trial.hub.notice(HOSTILE, 0.0)
    until(tablet, "document.getElementById('message').textContent.includes('<script>')")
    assert 0 == tablet.locator("#message script, #message img").count()
    assert "taken" != tablet.title()


def test_the_policy_stops_an_inline_script(tablet: Page) -> None:
    """Even if markup got into the page, the browser would not run it."""
    ran = tablet.evaluate(
        """() => { const one = document.createElement('script'); one.textContent = "globalThis.ran = true";
        document.body.append(one); return globalThis.ran === true; }"""
    )
    assert not ran


def test_the_pad_of_a_keyboard_works_on_the_page(tablet: Page) -> None:
    """A pad or keyboard at the tablet presses the same keys."""
    settled(tablet)
    tablet.keyboard.press("Enter")
    tablet.wait_for_selector("#number button:visible")
    settled(tablet)
    for key in ("1", "2", ".", "4"):
        tablet.keyboard.press(key)
    until(tablet, "board.typed === '12.4'")
    assert "12.4" == tablet.locator("#digits").inner_text()
    tablet.keyboard.press("Escape")
    until(tablet, "board.mode === 'standing by'")


def test_everything_has_a_name_for_a_screen_reader(tablet: Page) -> None:
    """Each button is named by its words, the drawing has its sentence, and cautions and messages are announced."""
    to_question(tablet)
    tablet.get_by_role("button", name="More").click()
    tree = tablet.locator("body").aria_snapshot()
    assert not re.search(r"^\s*- button\s*$", tree, re.MULTILINE)
    for named in (
        'button "STOP"',
        'button "done"',
        'button "delete a digit"',
        'heading "BATTERY" [level=1]',
        'img "Voltmeter from',
    ):
        assert named in tree
    assert "en" == tablet.locator("html").get_attribute("lang")
    assert "status" == tablet.locator("#message").get_attribute("role")
    assert 1 == tablet.locator("h1").count()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_at_a_caution_at_a_question_and_under_more(tablet: Page, scheme: str) -> None:
    """Deque's rules for screen readers, contrast and landmarks hold in each of these states."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-core is not installed"
    ).Axe()
    tablet.emulate_media(color_scheme=scheme)
    reports = [axe.run(tablet)]
    to_question(tablet)
    reports.append(axe.run(tablet))
    tablet.get_by_role("button", name="More").click()
    reports.append(axe.run(tablet))
    for report in reports:
        assert report.response["passes"]
        assert 0 == report.violations_count, report.generate_report()


@pytest.mark.parametrize("shape", TABLETS)
def test_answers_are_as_large_as_a_finger_and_nothing_runs_over(
    trial: BoardTrial, browser: Any, shape: str
) -> None:
    """Answers and stop are at least 20 mm both ways, stop is whole on the page, and no line is cut off at the side."""
    for page in _tablet(trial.door.address(), browser, TABLETS[shape]):
        for _ in range(3):
            boxes = [one.bounding_box() for one in page.locator("#choices button, #stop").all()]
            assert boxes
            for box in boxes:
                assert min(box["width"], box["height"]) >= FINGER
            stop = page.locator("#stop").bounding_box()
            assert stop["y"] + stop["height"] <= TABLETS[shape][1]
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
            assert page.evaluate(
                "(tell => tell.scrollWidth <= tell.clientWidth + 1)(document.getElementById('tell'))"
            )
            to_question(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground(tablet: Page, scheme: str) -> None:
    """Contrast is at least 7 to 1 for what is read at two metres (WCAG 2.2, success criterion 1.4.6)."""
    tablet.emulate_media(color_scheme=scheme)
    for place in ("#headline", "#lines", "#choices button", "#stop", "#signal"):
        ink, ground = tablet.evaluate(
            """place => { const one = document.querySelector(place); let at = one;
            const clear = (colour) => colour === 'rgba(0, 0, 0, 0)';
            while (clear(getComputedStyle(at).backgroundColor) && at.parentElement) at = at.parentElement;
            return [getComputedStyle(one).color, getComputedStyle(at).backgroundColor]; }""",
            place,
        )
        least = 4.5 if place == "#signal" else 7.0  # the colours of a signal word are the standard's
        assert contrast(ink, ground) >= least, (place, ink, ground)


def contrast(ink: str, ground: str) -> float:
    """Contrast of two colours by WCAG 2.2's formulas of relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        shares = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
        red, green, blue = (
            one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in shares
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    lighter, darker = sorted((luminance(ink), luminance(ground)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
