"""After the session: its write-up, the review that signs it, and past sessions with a search.

Reading needs the cookie of a tablet that may press. Reviewing also needs a code that the machine's own screen shows.
"""

from __future__ import annotations

import base64
import hashlib
import re
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from assistant.board import papers
from assistant.board.access import Role, policy
from assistant.board.forms import fields, review_form, wanted_review
from assistant.board.served import sentence
from assistant.errors import BayAssistantError, RecordProblem, UsageProblem
from assistant.record import find_sessions
from assistant.record.contents import PHOTO, read_inside
from assistant.record.header import SEAL_FILE
from assistant.record.photos import LARGEST
from assistant.record.recorded import clip_name_is_ours
from assistant.record.searching import Wanted, words_of
from assistant.writeup import write_html
from assistant.writeup.reviewing import record_review

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.requests import Request
    from starlette.routing import BaseRoute

    from assistant.board.access import Tablet
    from assistant.board.served import Served

SHOWN = 50
"""So many past sessions are listed at once; a search finds the others."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,120}")
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)

NOT_YET = "Write-ups and past sessions are shown after the session."
ONLY_WATCHES = "This tablet may only watch."


class After:
    """The answers after the session.

    Args:
        served: What the server needs to know.
    """

    def __init__(self, served: Served) -> None:
        self._served = served

    def routes(self) -> list[BaseRoute]:
        """Where they are."""
        return [
            Route("/sessions", self.past),
            Route("/sessions/{name}", self.session),
            Route("/sessions/{name}/write-up", self.write_up),
            Route("/sessions/{name}/{file:path}", self.file),
            Route("/sessions/{name}/review", self.review, methods=["POST"]),
            Route("/sign-in/code", self.show_code, methods=["POST"]),
            Route("/sign-in", self.sign_in, methods=["POST"]),
            Route("/finish", self.finish, methods=["POST"]),
        ]

    # --- reading --------------------------------------------------------------------------------------

    async def past(self, request: Request) -> Response:
        """The list of past sessions."""
        _, refusal = self._reader(request)
        if refusal:
            return refusal
        sought = request.query_params.get("find", "")[:200]
        wanted = Wanted(words=words_of(sought))
        found = await run_in_threadpool(find_sessions, self._served.sessions, wanted)
        remarks = list(found.notices)
        if len(found.summaries) > SHOWN:
            remarks.append(f"The newest {SHOWN} of {len(found.summaries)} are shown. A word finds others.")
        return HTMLResponse(papers.listing(found.summaries[:SHOWN], found.of, sought, remarks))

    async def session(self, request: Request) -> Response:
        """One session with its write-up."""
        tablet, refusal = self._reader(request)
        if refusal or tablet is None:
            return refusal or sentence(NOT_YET, 403)
        folder = self._folder(request)
        if folder is None:
            return sentence("There is no such session.", 404)
        return self._shown(folder, tablet, "Signed in." if "signed" in request.query_params else "")

    def _shown(
        self, folder: Path, tablet: Tablet, told: str, given: dict[str, str] | None = None, status: int = 200
    ) -> Response:
        sealed = (folder / SEAL_FILE).is_file()
        body = papers.session(folder.name, signs=tablet.signs, sealed=sealed, told=told, given=given or {})
        return HTMLResponse(body, status)

    async def write_up(self, request: Request) -> Response:
        """The write-up's own page; its one style is allowed by its hash, and it may stand in our frame."""
        _, refusal = self._reader(request)
        folder = None if refusal else self._folder(request)
        if refusal or folder is None:
            return refusal or sentence("There is no such session.", 404)
        try:
            page = await run_in_threadpool(write_html, folder)
        except BayAssistantError as problem:
            return sentence(str(problem), 200)
        style = _STYLE.search(page)
        digest = hashlib.sha256((style.group(1) if style else "").encode()).digest()
        source = f"'sha256-{base64.b64encode(digest).decode()}'"
        host = request.headers["host"]
        own = policy(self._served.place, host, style=source, framed=True)
        return HTMLResponse(page, headers={"content-security-policy": own})

    async def file(self, request: Request) -> Response:
        """A clip or a photo that the write-up links."""
        _, refusal = self._reader(request)
        folder = None if refusal else self._folder(request)
        name = request.path_params["file"]
        photo = PHOTO.fullmatch(name)
        if refusal or folder is None or not (clip_name_is_ours(name) or photo):
            return refusal or sentence("There is no such file.", 404)
        kind = {"jpg": "image/jpeg", "png": "image/png"}[photo.group(2)] if photo else "audio/flac"
        try:
            return Response(await run_in_threadpool(read_inside, folder, name, LARGEST), media_type=kind)
        except RecordProblem:
            return sentence("There is no such file.", 404)

    # --- reviewing ------------------------------------------------------------------------------------

    async def show_code(self, request: Request) -> Response:
        """Show a new code on the machine."""
        _, refusal = self._reader(request)
        if refusal:
            return refusal
        form = await fields(request)
        code = self._served.admission.new_code()
        if not code:
            return sentence(
                "Too many codes were asked for. Review on the machine: bay-assistant review last", 403
            )
        self._served.tell_machine(f"Code to sign in at the board: {code}")
        return RedirectResponse(self._back(form), 303)

    async def sign_in(self, request: Request) -> Response:
        """Let a tablet review that shows the machine's code."""
        tablet, refusal = self._reader(request)
        if refusal or tablet is None:
            return refusal or sentence(NOT_YET, 403)
        form = await fields(request)
        if not self._served.admission.sign_in(tablet, form.get("code", "")):
            return sentence("That is not the code, or it is too old. Let the machine show a new one.", 403)
        return RedirectResponse(f"{self._back(form)}?signed", 303)

    async def review(self, request: Request) -> Response:
        """Keep a review."""
        tablet, refusal = self._reader(request)
        if refusal or tablet is None:
            return refusal or sentence(NOT_YET, 403)
        folder = self._folder(request)
        if folder is None or not tablet.signs:
            return sentence("Sign in at the machine to review.", 403)
        form: dict[str, str] = {}
        try:
            form, photos = await review_form(request)
            wanted = wanted_review(form, photos)
            if not wanted.says_something():
                raise UsageProblem(
                    "The review is empty. Say what was fixed, or sign the write-up as it stands."
                )
            kept = await run_in_threadpool(record_review, folder, wanted)
        except BayAssistantError as problem:
            return self._shown(folder, tablet, str(problem), form, 422)
        signed = f"signed by {kept.signed.name}" if kept.signed else "not signed"
        return self._shown(folder, tablet, f"Review {kept.number} is kept, {signed}.")

    async def finish(self, request: Request) -> Response:
        """Close the board."""
        _, refusal = self._reader(request)
        if refusal:
            return refusal
        self._served.pressing.finished = True
        return sentence("The board is closed. The write-up lies on the machine.", 200)

    # --- who and what ---------------------------------------------------------------------------------

    def _reader(self, request: Request) -> tuple[Tablet | None, Response | None]:
        """The tablet that may read, or why it may not."""
        tablet = self._served.tablet(request)
        if tablet is None:
            return None, sentence("This board admits only who has its address.", 403)
        if tablet.role is not Role.PRESS:
            return None, sentence(ONLY_WATCHES, 403)
        if self._served.hub.over is None:
            return None, sentence(NOT_YET, 403)
        return tablet, None

    def _folder(self, request: Request) -> Path | None:
        """The session that an address names: the one that was just ended, or one in the folder of the sessions."""
        name, over = request.path_params["name"], self._served.hub.over
        if over is not None and name == over.name:
            return over
        if not _NAME.fullmatch(name):
            return None
        folder = self._served.sessions / name
        return folder if folder.is_dir() and not folder.is_symlink() else None

    def _back(self, form: dict[str, str]) -> str:
        """Where a form was: a session of ours, or the list."""
        name = form.get("back", "")
        return papers.address(name) if _NAME.fullmatch(name) else "/sessions"
