"""The server's answers: who is refused, with which headers, and what comes over the line to a tablet."""

from __future__ import annotations

import io
import json
import re
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.board.access import Role
from assistant.board.trial import HOME, BoardTrial
from assistant.core.values.events import KeyPressed, KeySource
from assistant.record import Facts, read_session
from assistant.screen.terminal import LineScreen
from assistant.session.settings import BoardOptions

httpx = pytest.importorskip("httpx", reason="httpx, which sends the requests, is not installed")
testclient = pytest.importorskip("starlette.testclient", reason="the extra 'board' is not installed")
TestClient, WebSocketDisconnect = testclient.TestClient, testclient.WebSocketDisconnect
Client = Any

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&"


@pytest.fixture
def trial(tmp_path: Path) -> Iterator[BoardTrial]:
    """A silent session with its board."""
    with BoardTrial(
        tmp_path, LineScreen(io.StringIO()), facts=Facts(order="4711", complaint=HOSTILE)
    ) as trial:
        yield trial


@pytest.fixture
def client(trial: BoardTrial) -> Iterator[Client]:
    """A browser that was not admitted yet."""
    with httpx.Client(base_url=trial.door.place.address, follow_redirects=True) as client:
        yield client


@pytest.fixture
def inside(trial: BoardTrial) -> Iterator[Client]:
    """The application itself, for lines; admitted as one that may press."""
    from assistant.board.app import app  # noqa: PLC0415
    from assistant.board.served import Served  # noqa: PLC0415

    served = Served(
        trial.door.place, trial.server.admission, trial.hub, trial.server.pressing, trial.log.folder
    )
    address = trial.door.place.address
    with TestClient(app(served), base_url=address, headers={"origin": address}) as client:
        assert 200 == client.get(f"/in/{trial.door.tokens.press}").status_code
        yield client


def unused_port() -> int:
    """A port that nobody listens at, chosen by the system."""
    with socket.create_server((HOME, 0)) as probe:
        return int(probe.getsockname()[1])


def live(inside: Client) -> str:
    """Address of the line."""
    return f"ws://{inside.base_url.netloc.decode()}/live"


def told(line: Any, kind: str) -> dict[str, Any]:
    """The next message of this kind."""
    for _ in range(200):
        message: dict[str, Any] = json.loads(line.receive_text())
        if message["kind"] == kind:
            return message
    raise AssertionError(kind)


def test_without_its_address_nobody_sees_the_board(trial: BoardTrial, client: Client) -> None:
    """No page, no drawing, for one who has no cookie; a wrong token gives none."""
    for path in ("/", "/drawings/0000.svg", "/in/wrong", f"/in/{trial.door.tokens.press}x"):
        answer = client.get(path)
        assert 403 == answer.status_code
        assert not answer.cookies
        assert trial.door.tokens.press not in answer.text


def test_a_token_is_exchanged_for_a_cookie_at_once(trial: BoardTrial, client: Client) -> None:
    """The address that a browser keeps has no token; no script can read the cookie."""
    answer = client.get(trial.door.address(Role.PRESS))
    assert "/" == answer.url.path
    (first,) = answer.history
    assert re.search(
        r"^bay-board-\d+=[^;]{20,}; HttpOnly; Path=/; SameSite=lax$", first.headers["set-cookie"]
    )
    assert 'src="/board.js"' in answer.text


def test_every_answer_forbids_what_is_not_its_own(trial: BoardTrial, client: Client) -> None:
    """Refusals carry the same headers as pages."""
    for path in ("/", trial.door.address(), "/board.js", "/nothing-here"):
        headers = client.get(path).headers
        assert headers["content-security-policy"].startswith("default-src 'none'; script-src 'self'")
        assert "nosniff" == headers["x-content-type-options"]
        assert "same-origin" == headers["referrer-policy"]
        assert "uvicorn" not in str(headers).lower()


def test_the_page_has_nothing_inline_and_nothing_from_elsewhere() -> None:
    """The files of the page name no other server, hold no inline script or style, and never write markup."""
    page = Path(__file__).parents[2] / "assistant" / "board" / "page"
    for file in page.iterdir():
        text = file.read_text(encoding="utf-8")
        assert not re.search(r"https?://", text), file.name
        assert "innerHTML" not in text, file.name
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=", text), file.name


@pytest.mark.parametrize("host", ["evil.example", "localhost:8470", "127.0.0.1"])
def test_another_host_gets_nothing(client: Client, host: str) -> None:
    """A rebound name is refused before anything else is looked at."""
    assert 421 == client.get("/board.css", headers={"host": host}).status_code


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example"])
def test_a_request_from_elsewhere_changes_nothing(
    trial: BoardTrial, client: Client, origin: str | None
) -> None:
    """Whatever is not a reading request needs our own origin, also with a cookie."""
    client.get(trial.door.address())
    headers = {"origin": origin} if origin else {}
    assert 403 == client.post("/", headers=headers).status_code


@pytest.mark.parametrize(
    "headers", [{"origin": "http://evil.example"}, {"origin": "null"}, {"host": "evil.example"}]
)
def test_a_line_from_elsewhere_is_refused(inside: Client, headers: dict[str, str]) -> None:
    """Browsers send cookies with lines from any page; the origin tells (RFC 6455, 10.2)."""
    with pytest.raises(WebSocketDisconnect), inside.websocket_connect(live(inside), headers=headers):
        pass


def test_a_line_without_a_cookie_is_refused(inside: Client) -> None:
    """Our own origin alone admits nobody."""
    inside.cookies.clear()
    with pytest.raises(WebSocketDisconnect), inside.websocket_connect(live(inside)):
        pass


def test_a_tap_presses_a_key_by_tablet_and_a_late_one_presses_none(trial: BoardTrial, inside: Client) -> None:
    """The record has the tap with its source; a tap on an older board is answered with "late" and recorded nowhere."""
    with inside.websocket_connect(live(inside)) as line:
        board = told(line, "board")
        while not board["choices"]:
            board = told(line, "board")
        assert [("enter", "ready")] == [(one["names"], one["words"]) for one in board["choices"]]
        line.send_text(json.dumps({"names": "enter", "question": board["question"]}))
        after = told(line, "board")
        while after["question"] == board["question"]:
            after = told(line, "board")
        line.send_text(json.dumps({"names": "minus", "question": board["question"]}))
        told(line, "late")
    trial.end()
    pressed = [one.event for one in read_session(trial.log.folder).lines if isinstance(one.event, KeyPressed)]
    assert [("enter", KeySource.TABLET)] == [(event.key, event.source) for event in pressed]


def test_a_watcher_sees_the_board_and_presses_nothing(trial: BoardTrial, inside: Client) -> None:
    """Neither a key, nor stop, nor taking the keys over works with the token to watch."""
    inside.cookies.clear()
    inside.get(f"/in/{trial.door.tokens.watch}")
    with inside.websocket_connect(live(inside)) as line:
        board = told(line, "board")
        assert "watch" == told(line, "hands")["may"]
        for message in (
            {"names": "enter", "question": board["question"]},
            {"names": "stop", "question": board["question"]},
            {"take": True},
        ):
            line.send_text(json.dumps(message))
        told(line, "beat")
    trial.end()
    pressed = [one.event for one in read_session(trial.log.folder).lines if isinstance(one.event, KeyPressed)]
    assert [] == pressed


NO_MESSAGES = (
    "", "{", "[]", "null", '"enter"', '{"names": 1}', '{"names": "enter"}', '{"names":"enter","question":true}',
    '{"names":"rm -rf","question":1}', "[" * 1900, '{"names":"' + "9 " * 900 + '","question":1}', "9" * 5000,
)  # fmt: skip


def test_what_is_no_message_of_ours_is_ignored(trial: BoardTrial, inside: Client) -> None:
    """A broken or hostile page neither presses a key nor ends the line."""
    with inside.websocket_connect(live(inside)) as line:
        told(line, "beat")
        for text in NO_MESSAGES:
            line.send_text(text)
        told(line, "beat")
    trial.end()
    assert not any(isinstance(one.event, KeyPressed) for one in read_session(trial.log.folder).lines)


def test_two_tablets_one_presses_and_the_other_takes_over(trial: BoardTrial, inside: Client) -> None:
    """Only the one that has the keys is heard, but each of them can stop."""
    with inside.websocket_connect(live(inside)) as first:
        told(first, "board")
        inside.get(f"/in/{trial.door.tokens.press}")  # another cookie: another tablet
        with inside.websocket_connect(live(inside)) as second:
            assert "take" == told(second, "hands")["may"]
            second.send_text(json.dumps({"names": "stop", "question": -1}))
            board = told(second, "board")
            while board["mode"] != "standing by":
                board = told(second, "board")
            second.send_text(json.dumps({"take": True}))
            while told(second, "hands")["may"] != "press":
                pass
            while told(first, "hands")["may"] != "take":
                pass


def test_a_hostile_complaint_reaches_the_page_as_text_only(trial: BoardTrial, inside: Client) -> None:
    """What a customer said is data in JSON; no answer has it as markup."""
    with inside.websocket_connect(live(inside)) as line:
        told(line, "board")
    assert HOSTILE not in inside.get("/").text


def test_the_drawing_is_that_of_the_write_up(trial: BoardTrial, inside: Client) -> None:
    """The step's connection comes as SVG, with its words for those who cannot see it."""
    with inside.websocket_connect(live(inside)) as line:
        board = told(line, "board")
        while board["drawing"] is None:
            board = told(line, "board")
    answer = inside.get(board["drawing"]["address"])
    assert "image/svg+xml" == answer.headers["content-type"]
    assert board["drawing"]["words"] in answer.text
    assert 404 == inside.get("/drawings/0000000000000000.svg").status_code


def test_after_the_end_the_port_is_free_again(tmp_path: Path) -> None:
    """A board that was closed answers nobody."""
    # A port of its own: another session, of a test beside this one, can take the usual one at once.
    options = BoardOptions(address=HOME, port=unused_port())
    with BoardTrial(tmp_path, LineScreen(io.StringIO()), options=options) as trial:
        address = trial.door.place.address
        assert 200 == httpx.get(f"{address}/board.css").status_code
    time.sleep(0.1)
    with pytest.raises(httpx.TransportError):
        httpx.get(f"{address}/board.css", timeout=2.0)
