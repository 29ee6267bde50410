"""Access to the board: a token in the address, a cookie after that, and what each request must show.

An address that holds a token is used once by each tablet: the token is exchanged for a cookie and leaves the
address bar. A request that changes anything needs the cookie, a `Host` that is ours and an `Origin` that is ours
(OWASP Cross-Site Request Forgery Prevention Cheat Sheet, "Verifying Origin With Standard Headers"; the check of
`Host` is what keeps a rebound name out).
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from collections.abc import Callable

TOKEN_BYTES = 16
"""128 bits from the system's source of randomness: nobody guesses that while a session lasts."""

MOST_TABLETS = 200
"""So many cookies are kept; then the oldest is forgotten, so that nobody fills the memory."""

CODE_DIGITS = 6
CODE_S = 300.0
CODE_TRIES = 5
MOST_CODES = 20
"""Codes of one board: with five tries each, guessing all of them has one chance in ten thousand."""


class Role(StrEnum):
    """The rights of a tablet."""

    PRESS = "press"
    WATCH = "watch"


@dataclass(frozen=True)
class Tokens:
    """The two secrets of a session that admit tablets; `watch` is "" if nobody is to watch only."""

    press: str
    watch: str

    @classmethod
    def drawn(cls, *, watch: bool) -> Tokens:
        """New random ones."""
        return cls(secrets.token_urlsafe(TOKEN_BYTES), secrets.token_urlsafe(TOKEN_BYTES) if watch else "")

    def role(self, token: str) -> Role | None:
        """What a token admits to; None if it is none of them. It takes the same time for every wrong one."""
        given = token.encode("utf-8", "replace")
        press = secrets.compare_digest(given, self.press.encode())
        watch = secrets.compare_digest(given, self.watch.encode()) and bool(self.watch)
        return Role.PRESS if press else Role.WATCH if watch else None


@dataclass
class Tablet:
    """A browser that was admitted.

    Attributes:
        role: What it may do.
        signs: Whether somebody signed in for it at the machine, so that it may review and sign.
    """

    role: Role
    signs: bool = False


class Admission:
    """Exchanges tokens for cookies, and knows the tablets by their cookies.

    Args:
        tokens: The secrets that admit.
        now: A clock in seconds, for the age of a sign-in code.
    """

    def __init__(self, tokens: Tokens, now: Callable[[], float]) -> None:
        self._tokens = tokens
        self._now = now
        self._tablets: dict[str, Tablet] = {}
        self._code = ""
        self._until = 0.0
        self._tries = 0
        self._codes = 0

    def admit(self, token: str) -> str | None:
        """The new cookie for a token; None for a wrong one."""
        role = self._tokens.role(token)
        if role is None:
            return None
        while len(self._tablets) >= MOST_TABLETS:
            del self._tablets[next(iter(self._tablets))]
        cookie = secrets.token_urlsafe(TOKEN_BYTES)
        self._tablets[cookie] = Tablet(role)
        return cookie

    def tablet(self, cookie: str | None) -> Tablet | None:
        """The tablet that shows this cookie; None if we gave none like it."""
        return self._tablets.get(cookie) if cookie else None

    def new_code(self) -> str:
        """A code to sign in with, for the machine's own screen; an earlier one no longer counts.

        "" when as many were shown as one board may have.
        """
        self._codes += 1
        if self._codes > MOST_CODES:
            self._code = ""
            return ""
        self._code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._until, self._tries = self._now() + CODE_S, 0
        return self._code

    def sign_in(self, tablet: Tablet, code: str) -> bool:
        """Let a tablet review and sign if it shows the code; a code counts once, for five minutes and five tries."""
        self._tries += 1
        fresh = bool(self._code) and self._now() < self._until and self._tries <= CODE_TRIES
        right = secrets.compare_digest(code.strip().encode("utf-8", "replace"), self._code.encode())
        if not (fresh and right):
            return False
        self._code = ""
        tablet.signs = True
        return True


@dataclass(frozen=True)
class ServedAt:
    """Where the board is served.

    Attributes:
        scheme: ``http`` or ``https``.
        hosts: Names and addresses that tablets may use, each with its port unless that is the scheme's own.
    """

    scheme: str
    hosts: tuple[str, ...]

    @property
    def address(self) -> str:
        """The address that is shown to people, without a token."""
        return f"{self.scheme}://{self.hosts[0]}"

    def is_host(self, host: str | None) -> bool:
        """Whether a request's `Host` is one of ours."""
        return host is not None and host.lower() in self.hosts

    def is_origin(self, origin: str | None, host: str | None) -> bool:
        """Whether a request comes from a page of ours: its `Origin` is the very host that it goes to."""
        if origin is None or not self.is_host(host):
            return False
        try:
            parts = urlsplit(origin)
        except ValueError:
            return False
        return parts.scheme == self.scheme and parts.netloc.lower() == (host or "").lower()


def policy(place: ServedAt, host: str, *, style: str = "'self'", framed: bool = False) -> str:
    """The content security policy of a page (W3C CSP Level 3): nothing inline, nothing from elsewhere.

    Args:
        place: Where the board is served.
        host: The host that the page was asked of.
        style: Source of its style: its own file, or the hash of the one style of a write-up.
        framed: Whether our own pages may frame it.
    """
    line = f"{'wss' if place.scheme == 'https' else 'ws'}://{host}"
    return "; ".join(
        (
            "default-src 'none'",
            "script-src 'self'" if not framed else "script-src 'none'",
            f"style-src {style}",
            "img-src 'self' data:",
            "media-src 'self' data:",
            f"connect-src 'self' {line}",
            "frame-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            f"frame-ancestors {chr(39)}self{chr(39)}" if framed else "frame-ancestors 'none'",
        )
    )
