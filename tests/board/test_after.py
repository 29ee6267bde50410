"""After the session: the write-up, its review and signature, and past sessions."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from recorded import FACTS, OPEN_CONTROL_WIRE, folder, scripted

from assistant.board.access import Admission, ServedAt, Tokens
from assistant.board.hub import Hub
from assistant.board.pictures import Pictures
from assistant.board.pressing import Pressing
from assistant.core.dialogue.runner import Runner
from assistant.record import read_reviews, verify
from assistant.record.reading import read_session, recorded_folder
from assistant.session.boarding import Here

pytest.importorskip("httpx", reason="httpx, which sends the requests, is not installed")
testclient = pytest.importorskip("starlette.testclient", reason="the extra 'board' is not installed")
Client = Any

HOST = "127.0.0.1:8470"
ADDRESS = f"http://{HOST}"


class Shop:
    """A board after the session, with what its machine was told to show."""

    def __init__(self, sessions: Path, over: Path | None) -> None:
        from assistant.board.served import Served  # noqa: PLC0415

        session = read_session(next(one for one in sorted(sessions.iterdir()) if one.is_dir()))
        library, knowledge = recorded_folder(session)
        runner = Runner(library, knowledge, session.header.thresholds)
        self.machine: list[str] = []
        self.tokens = Tokens.drawn(watch=True)
        hub = Hub(lambda: 0.0, Here(runner), Pictures(library.terms))
        if over is not None:
            hub.ended(over)
        self.served = Served(
            ServedAt("http", (HOST,)),
            Admission(self.tokens, lambda: 0.0),
            hub,
            Pressing(),
            sessions,
            self.machine.append,
        )

    def client(self, token: str) -> Client:
        """A tablet with this token."""
        from assistant.board.app import app  # noqa: PLC0415

        client = testclient.TestClient(app(self.served), base_url=ADDRESS, headers={"origin": ADDRESS})
        assert 200 == client.get(f"/in/{token}").status_code
        return client


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A sealed session with an open control wire."""
    return folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))


@pytest.fixture
def shop(session: Path) -> Shop:
    """The board after that session."""
    return Shop(session.parent, session)


@pytest.fixture
def tablet(shop: Shop) -> Client:
    """A tablet that pressed during the session."""
    return shop.client(shop.tokens.press)


def signed_in(shop: Shop, tablet: Client, session: Path) -> None:
    """Sign in with the code that the machine shows."""
    assert 200 == tablet.post("/sign-in/code", data={"back": session.name}).status_code
    (code,) = re.findall(r"\d{6}", shop.machine[-1])
    answer = tablet.post("/sign-in", data={"code": code, "back": session.name})
    assert "Signed in." in answer.text


def test_the_write_up_is_the_same_as_on_the_machine_and_may_load_nothing(
    tablet: Client, session: Path
) -> None:
    """Its one style is allowed by its hash (W3C CSP Level 3, 6.7.3), scripts never, and only our page may frame it."""
    answer = tablet.get(f"/sessions/{session.name}/write-up")
    assert "Diagnosis and repair" in answer.text
    policy = answer.headers["content-security-policy"]
    assert "script-src 'none'" in policy
    assert re.search(r"style-src 'sha256-[A-Za-z0-9+/]{43}='", policy)
    assert "frame-ancestors 'self'" in policy
    assert "style=" not in answer.text


def test_past_sessions_are_found_by_a_word_of_theirs(tablet: Client, session: Path) -> None:
    """The search is that of `sessions`; what does not match is not shown."""
    assert session.name in tablet.get("/sessions").text
    assert session.name in tablet.get("/sessions", params={"find": FACTS.order}).text
    missing = tablet.get("/sessions", params={"find": "nothing-like-it"}).text
    assert session.name not in missing
    assert "None of 1" in missing


def test_nobody_reviews_without_the_machines_code(shop: Shop, tablet: Client, session: Path) -> None:
    """Reading is all that an address gives; a wrong code gives no more."""
    assert "Show a code on the machine" in tablet.get(f"/sessions/{session.name}").text
    answer = tablet.post(
        f"/sessions/{session.name}/review", data={"done": "x", "reviewer": "X", "sign": "yes"}
    )
    assert 403 == answer.status_code
    tablet.post("/sign-in/code", data={"back": session.name})
    assert 403 == tablet.post("/sign-in", data={"code": "x", "back": session.name}).status_code
    assert () == tuple(read_reviews(session))


def test_a_review_is_kept_signed_and_changes_nothing_that_was_recorded(
    shop: Shop, tablet: Client, session: Path
) -> None:
    """The fields are those of `review`, and `verify` finds the record as it was."""
    signed_in(shop, tablet, session)
    answer = tablet.post(
        f"/sessions/{session.name}/review",
        data={
            "done": "Spliced the control wire at the firewall.",
            "found": "open control wire",
            "vin": "1M8GDM9AXKP042788",
            "location": "pin 4",
            "codes": "P0351",
            "parts": "butt splice; 2; 3.10",
            "labour": "wire repair; 0.8",
            "remarks": "Road test 12 miles.",
            "reviewer": "J. Okoye",
            "sign": "yes",
        },
    )
    assert "Review 1 is kept, signed by J. Okoye." in answer.text
    (review,) = read_reviews(session)
    assert ("control-wire-open",) == review.found
    assert ("pin 4", ("P0351",)) == (review.details.location, review.details.codes)
    assert "1M8GDM9AXKP042788" == review.details.vin
    assert review.signed is not None
    assert not verify(session)
    assert "Spliced the control wire" in tablet.get(f"/sessions/{session.name}/write-up").text


def test_what_cannot_be_kept_is_said_and_what_was_typed_stays(
    shop: Shop, tablet: Client, session: Path
) -> None:
    """Nobody types a review twice because of one wrong word; and what was typed comes back as text only."""
    signed_in(shop, tablet, session)
    typed = 'Spliced <b>the</b> "wire".'
    answer = tablet.post(
        f"/sessions/{session.name}/review", data={"done": typed, "found": "gremlins", "reviewer": "JO"}
    )
    assert 422 == answer.status_code
    assert "There is no fault" in answer.text
    assert "Spliced &lt;b&gt;the&lt;/b&gt; &quot;wire&quot;." in answer.text
    assert typed not in answer.text


def photo(colour: str, kind: str = "JPEG") -> bytes:
    """A picture as Pillow, an outside program, writes it, with a place in it as a phone does."""
    out = io.BytesIO()
    taken = Image.Exif()
    taken[0x8825] = {1: "N", 2: (48.0, 8.0, 0.0)}  # GPS latitude (Exif 2.32, 4.6.6)
    Image.new("RGB", (320, 200), colour).save(out, kind, exif=taken)
    return out.getvalue()


def test_photos_come_with_a_review_and_lose_where_they_were_taken(
    shop: Shop, tablet: Client, session: Path
) -> None:
    """Each photo keeps its picture and its own caption, says no place, and stands in the write-up's page."""
    signed_in(shop, tablet, session)
    answer = tablet.post(
        f"/sessions/{session.name}/review",
        data={"done": "Spliced it.", "reviewer": "JO", "captions": "pin 4\nthe splice"},
        files=[
            ("photo", ("a.jpg", photo("red"), "image/jpeg")),
            ("photo", ("../../b.png", photo("blue", "PNG"), "image/png")),
        ],
    )
    assert "Review 1 is kept" in answer.text, answer.text
    (review,) = read_reviews(session)
    kept = [(one.file, one.caption) for one in review.details.photos]
    assert [("photo-1.jpg", "pin 4"), ("photo-2.png", "the splice")] == kept
    assert not verify(session)
    page = tablet.get(f"/sessions/{session.name}/write-up").text
    for (name, _), kind, colour in zip(
        kept, ("image/jpeg", "image/png"), ((254, 0, 0), (0, 0, 255)), strict=True
    ):
        assert f'src="{name}"' in page
        got = tablet.get(f"/sessions/{session.name}/{name}")
        assert kind == got.headers["content-type"]
        shown = Image.open(io.BytesIO(got.content))
        assert colour == shown.convert("RGB").getpixel((10, 10))
        assert 0x8825 not in shown.getexif()


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ([b"GIF89a"], "neither a JPEG nor a PNG"),
        ([photo("red")[:400]], "cut short"),
        ([photo("red")] * 13, "at most 12 photos"),
        ([b"\xff\xd8\xff" + bytes(20 << 20)], "more than 20 MB"),
    ],
)
def test_what_is_no_photo_is_refused_and_what_was_typed_stays(
    shop: Shop, tablet: Client, session: Path, sent: list[bytes], says: str
) -> None:
    """Nothing is kept of a review with a damaged photo, too many, or one too large; the reason is told."""
    signed_in(shop, tablet, session)
    files = [("photo", (f"{at}.jpg", data, "image/jpeg")) for at, data in enumerate(sent)]
    answer = tablet.post(f"/sessions/{session.name}/review", data={"done": "Spliced it."}, files=files)
    assert 422 == answer.status_code
    assert says in answer.text
    assert () == tuple(read_reviews(session))
    assert not list(session.glob("photo-*"))


def test_a_form_from_elsewhere_changes_nothing(shop: Shop, tablet: Client, session: Path) -> None:
    """A page of another origin with the same cookie signs nothing and closes nothing."""
    signed_in(shop, tablet, session)
    evil = {"origin": "http://evil.example"}
    for path in (f"/sessions/{session.name}/review", "/sign-in", "/sign-in/code", "/finish"):
        assert 403 == tablet.post(path, data={"done": "x"}, headers=evil).status_code
    assert () == tuple(read_reviews(session))
    assert not shop.served.pressing.finished


def test_a_watcher_and_a_running_session_show_no_papers(session: Path) -> None:
    """Customers' data are for who works on the car, and reading them waits until the session is over."""
    shop = Shop(session.parent, session)
    watcher = shop.client(shop.tokens.watch)
    running = Shop(session.parent, None)
    early = running.client(running.tokens.press)
    for client in (watcher, early):
        for path in ("/sessions", f"/sessions/{session.name}", f"/sessions/{session.name}/write-up"):
            answer = client.get(path)
            assert 403 == answer.status_code
            assert FACTS.order not in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/sessions/%2e%2e/write-up",
        "/sessions/..%2f..%2fetc/write-up",
        "/sessions/nobody",
        "/sessions/{name}/clips/..%2fheader.json",
        "/sessions/{name}/clips/0001.wav",
        "/sessions/{name}/procedures/terms.yaml",
        "/sessions/{name}/photos/x.svg",
        "/sessions/{name}/photo-1.svg",
        "/sessions/{name}/log.jsonl",
    ],
)
def test_no_address_leads_out_of_the_sessions(tablet: Client, session: Path, path: str) -> None:
    """Only sessions in their folder, and of them only clips and photos, are handed out."""
    assert 404 == tablet.get(path.format(name=session.name)).status_code


def test_an_overlong_form_is_empty(shop: Shop, tablet: Client, session: Path) -> None:
    """Nobody fills the memory with a form."""
    signed_in(shop, tablet, session)
    answer = tablet.post(f"/sessions/{session.name}/review", data={"done": "x" * 70_000, "reviewer": "JO"})
    assert 422 == answer.status_code
    assert () == tuple(read_reviews(session))


def test_closing_the_board_ends_its_waiting(shop: Shop, tablet: Client) -> None:
    """The technician ends it from the tablet as well."""
    assert "closed" in tablet.post("/finish").text
    assert shop.served.pressing.finished


def test_the_page_learns_the_name_of_the_session_that_is_over(shop: Shop, session: Path) -> None:
    """The board of a session leads to its write-up once that is made."""
    assert session.name == json.loads(json.dumps(shop.served.hub.state()))["ended"]
