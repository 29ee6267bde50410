"""Tablets that only watch, made in software for measuring: each reads everything that comes over its line.

    python -m assistant.board.watching HOST PORT TOKEN COUNT

They run in a process of their own until that is ended, and print "watching" when all are on the line.
"""

from __future__ import annotations

import http.client
import selectors
import socket
import sys

from wsproto import ConnectionType, WSConnection
from wsproto.events import AcceptConnection, Request

_MOST = 1 << 16


def on_the_line(host: str, port: int, token: str) -> tuple[socket.socket, WSConnection]:
    """Exchange the token for a cookie and open a line.

    Raises:
        OSError: The board does not answer.
    """
    asking = http.client.HTTPConnection(host, port, timeout=5)
    asking.request("GET", f"/in/{token}")
    cookie = (asking.getresponse().headers["set-cookie"] or "").partition(";")[0]
    asking.close()
    line = socket.create_connection((host, port), timeout=5)
    protocol = WSConnection(ConnectionType.CLIENT)
    place = f"{host}:{port}"
    headers = [(b"cookie", cookie.encode()), (b"origin", f"http://{place}".encode())]
    line.sendall(protocol.send(Request(host=place, target="/live", extra_headers=headers)))
    while True:
        protocol.receive_data(line.recv(_MOST) or None)
        for event in protocol.events():
            if isinstance(event, AcceptConnection):
                return line, protocol


def main() -> None:
    """Watch until the process is ended."""
    host, port, token, count = sys.argv[1], int(sys.argv[2]), sys.argv[3], int(sys.argv[4])
    waiting = selectors.DefaultSelector()
    for _ in range(count):
        line, protocol = on_the_line(host, port, token)
        waiting.register(line, selectors.EVENT_READ, protocol)
    print("watching", flush=True)
    while True:
        for key, _ in waiting.select():
            assert isinstance(key.fileobj, socket.socket)  # noqa: S101
            data = key.fileobj.recv(_MOST)
            if not data:
                return
            key.data.receive_data(data)
            for _event in key.data.events():
                pass


if __name__ == "__main__":
    main()
