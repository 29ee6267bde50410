"""The answers of the board's server: who is refused, the page and its parts, and the line to a tablet."""

from __future__ import annotations

from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute

from assistant.board.access import policy
from assistant.board.after import After
from assistant.board.live import Lines
from assistant.board.served import sentence

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.requests import Request
    from starlette.types import ASGIApp, Message, Receive, Scope, Send
    from starlette.websockets import WebSocket

    from assistant.board.access import ServedAt
    from assistant.board.served import Served

PAGE = Path(__file__).with_name("page")
_FILES = {"board.css": "text/css", "board.js": "text/javascript", "papers.css": "text/css"}

NOT_ADMITTED = (
    "This board admits only who has its address. Scan the code on the machine, or type what stands below it."
)
WRONG_ADDRESS = (
    "That address admits nobody now. Scan the code that the machine shows; each session has its own."
)


class BoardAnswers:
    """The answers to requests.

    Args:
        served: What the server needs to know.
    """

    def __init__(self, served: Served) -> None:
        self._served = served
        self._lines = Lines(served.hub, served.pressing)

    @asynccontextmanager
    async def lifespan(self, _app: Starlette) -> AsyncIterator[None]:
        """From the server's begin to its end."""
        self._lines.begin()
        yield

    async def admit(self, request: Request) -> Response:
        """Exchange a token for a cookie, and lead to an address without a token."""
        served = self._served
        cookie = served.admission.admit(request.path_params["token"])
        if cookie is None:
            return sentence(WRONG_ADDRESS, 403)
        answer = RedirectResponse("/", 303)
        secure = served.place.scheme == "https"
        answer.set_cookie(served.cookie, cookie, httponly=True, samesite="lax", secure=secure, path="/")
        return answer

    async def board(self, request: Request) -> Response:
        """The page."""
        if self._served.tablet(request) is None:
            return sentence(NOT_ADMITTED, 403)
        return HTMLResponse((PAGE / "board.html").read_bytes())

    async def drawing(self, request: Request) -> Response:
        """The drawing of a connection."""
        if self._served.tablet(request) is None:
            return sentence(NOT_ADMITTED, 403)
        svg = self._served.hub.pictures.svg(request.path_params["name"])
        if svg is None:
            return sentence("There is no such drawing.", 404)
        return Response(svg, media_type="image/svg+xml", headers={"cache-control": "private, max-age=3600"})

    async def file(self, request: Request) -> Response:
        """A part of the page; it holds nothing secret."""
        name = request.url.path.removeprefix("/")
        return Response((PAGE / name).read_bytes(), media_type=_FILES[name])

    async def live(self, socket: WebSocket) -> None:
        """The line to a tablet."""
        tablet = self._served.tablet(socket)
        if tablet is None:
            await socket.close(4403)
            return
        await self._lines.serve(socket, socket.cookies[self._served.cookie], tablet)


def app(served: Served) -> Starlette:
    """The application."""
    answers = BoardAnswers(served)
    starlette = Starlette(
        routes=[
            Route("/in/{token}", answers.admit),
            Route("/", answers.board),
            Route("/drawings/{name}.svg", answers.drawing),
            WebSocketRoute("/live", answers.live),
            *(Route(f"/{name}", answers.file) for name in _FILES),
            *After(served).routes(),
        ],
        lifespan=answers.lifespan,
    )
    starlette.add_middleware(Guard, place=served.place)
    return starlette


class Guard:
    """Refuses what comes for another host or from another origin, and sets the headers of every answer.

    Args:
        app: What answers.
        place: Where it is served.
    """

    def __init__(self, app: ASGIApp, place: ServedAt) -> None:
        self._app = app
        self._place = place

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one line (ASGI)."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        host, origin = headers.get(b"host"), headers.get(b"origin")
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if not self._place.is_host(host):
            await _refused(scope, receive, send, 421, "This machine has no such name.")
            return
        if changes and not self._place.is_origin(origin, host):
            await _refused(scope, receive, send, 403, "This request does not come from the board's own page.")
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                names = {name.lower() for name, _ in message["headers"]}
                for name, value in _headers(self._place, host or ""):
                    if name not in names:
                        message["headers"].append((name, value))
            await send(message)

        await self._app(scope, receive, send_with_headers)


def _headers(place: ServedAt, host: str) -> tuple[tuple[bytes, bytes], ...]:
    """The headers of an answer that sets none of them itself."""
    return (
        (b"content-security-policy", policy(place, host).encode("latin-1")),
        (b"x-content-type-options", b"nosniff"),
        (b"referrer-policy", b"same-origin"),  # with "no-referrer" browsers hide the origin of our own forms
        (b"cross-origin-resource-policy", b"same-origin"),
        (b"cross-origin-opener-policy", b"same-origin"),
        (b"cache-control", b"no-store"),
    )


async def _refused(scope: Scope, receive: Receive, send: Send, status: int, words: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4403})
        return
    await Response(words, status, media_type="text/plain")(scope, receive, send)
