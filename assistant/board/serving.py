"""The address of the board, its socket, and the server on a thread of its own."""

from __future__ import annotations

import contextlib
import errno
import importlib
import io
import socket
import ssl
import threading
import time
from typing import TYPE_CHECKING, Any

from assistant.board.access import Admission, Role, ServedAt, Tokens
from assistant.board.pressing import Pressing
from assistant.errors import GearProblem, UsageProblem

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.board.hub import Hub
    from assistant.session.settings import BoardOptions

PORT = 8470
"""Used unless another one is asked for; if something else has it, the system chooses."""

_STARTS_S = 10.0
_ELSEWHERE = "192.0.2.1"
"""An address for documentation (RFC 5737), to which nobody is connected: nothing is ever sent to it."""


def own_address() -> str:
    """This machine's address in its network; the one of the machine itself if it is in none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((_ELSEWHERE, 9))  # chooses the way, and sends nothing
            found: str = probe.getsockname()[0]
        except OSError:
            return "127.0.0.1"
    return found


def packages() -> None:
    """See that the packages are installed.

    Raises:
        GearProblem: One is missing.
    """
    for name in ("starlette", "uvicorn", "wsproto", "segno", "python_multipart"):
        try:
            importlib.import_module(name)
        except ImportError as error:
            raise GearProblem(
                f"The board needs the package '{name}'. Install it with: pip install 'bay-assistant[board]'"
            ) from error


def code(address: str) -> str:
    """The address as a QR code of block characters, two modules in a character (ISO/IEC 18004, by segno)."""
    import segno  # noqa: PLC0415  only with a board

    out = io.StringIO()
    # The lowest level of correction: on a screen nothing is scratched, and it fits beside 44 columns of text.
    segno.make(address, error="l", micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()


class Door:
    """The open socket and the address; nothing is answered before `Server`.

    Opened before the session is made, so that an address that cannot be had is refused at once.

    Args:
        options: How the board is served.

    Raises:
        GearProblem: The address or the port cannot be had, or a package is missing.
        UsageProblem: The certificate cannot be used.
    """

    def __init__(self, options: BoardOptions) -> None:
        packages()
        self.certificate = options.certificate
        if options.certificate is not None:
            _check(options.certificate)
        name = options.address or own_address()
        self.socket = _bound(name, options.port)
        bound = self.socket.getsockname()
        scheme = "http" if options.certificate is None else "https"
        usual = 80 if scheme == "http" else 443
        port = "" if bound[1] == usual else f":{bound[1]}"
        hosts = dict.fromkeys(_host(one) + port for one in (name.lower(), bound[0]))
        self.place = ServedAt(scheme, tuple(hosts))
        self.tokens = Tokens.drawn(watch=options.watch)

    def address(self, role: Role = Role.PRESS) -> str:
        """The address that admits a tablet."""
        token = self.tokens.press if role is Role.PRESS else self.tokens.watch
        return f"{self.place.address}/in/{token}"

    def close(self) -> None:
        """Give the socket back."""
        self.socket.close()


def _host(name: str) -> str:
    return f"[{name}]" if ":" in name else name


def _bound(name: str, port: int) -> socket.socket:
    try:
        family, _, _, _, where = socket.getaddrinfo(
            name, port or PORT, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (OSError, UnicodeError) as error:
        raise GearProblem(
            f"The board cannot be served at '{name}': this machine does not know that name ({error})."
        ) from error
    tries = (port,) if port else (PORT, 0)
    problem: OSError | None = None
    for tried in tries:
        bound = socket.socket(family, socket.SOCK_STREAM)
        try:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind((where[0], tried, *where[2:]))
            bound.listen(64)
        except OSError as error:
            bound.close()
            problem = error
            if error.errno != errno.EADDRINUSE:
                break
        else:
            return bound
    raise GearProblem(
        f"The board cannot be served at {name}, port {tries[0]} ({problem.strerror if problem else 'no port'}). "
        "Name another port with --board-port, or another address of this machine with --board-address."
    ) from problem


def _check(certificate: Path) -> None:
    """See that a certificate and its key can be used.

    Raises:
        UsageProblem: They cannot.
    """
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, password=lambda: b"")
    except (OSError, ValueError, ssl.SSLError) as error:
        raise UsageProblem(
            f"{certificate} cannot be used ({error}). --board-cert wants one PEM file with the certificate, those "
            "above it, and the key without a password."
        ) from error


class Server:
    """Serves the board on a thread of its own until it is closed.

    Args:
        door: Where.
        hub: The session.
        sessions: Folder of the sessions.
    """

    def __init__(self, door: Door, hub: Hub, sessions: Path) -> None:
        import uvicorn  # noqa: PLC0415  only with a board

        from assistant.board.app import app  # noqa: PLC0415
        from assistant.board.served import Served  # noqa: PLC0415

        self.admission = Admission(door.tokens, time.monotonic)
        self.pressing = Pressing()
        given: dict[str, Any] = {}
        if door.certificate is not None:
            given["ssl_certfile"] = str(door.certificate)
        self._door = door
        self._server = uvicorn.Server(
            uvicorn.Config(
                app(Served(door.place, self.admission, hub, self.pressing, sessions)),
                ws="wsproto",
                ws_max_size=4096,
                log_config=None,
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=1,
                limit_concurrency=300,
                h11_max_incomplete_event_size=16 * 1024,
                **given,
            )
        )
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)
        self._thread.start()
        until = time.monotonic() + _STARTS_S
        while not self._server.started:
            if not self._thread.is_alive() or time.monotonic() > until:
                raise GearProblem("The board's server did not start. Start the session without --board.")
            time.sleep(0.01)

    @property
    def tablets(self) -> int:
        """Number of tablets on the line."""
        return self.pressing.tablets

    def idle_s(self) -> float:
        """Seconds since a tablet asked for something; endless if none ever did."""
        return time.monotonic() - self.pressing.asked_at

    def finished(self) -> bool:
        """Whether somebody closed the board on its page, after the session."""
        return self.pressing.finished

    def _run(self) -> None:
        with contextlib.suppress(SystemExit):
            self._server.run(sockets=[self._door.socket])

    def close(self) -> None:
        """Stop serving; safe to call twice."""
        self._server.should_exit = True
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=3.0)
        self._door.close()
