"""`bay-assistant review --photo`: kept with its checksum, shown in every form, packed, and checked."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import shutil
from pathlib import Path

import pypdf
import pytest
from PIL import Image
from recorded import OPEN_CONTROL_WIRE, folder, scripted

from assistant.cli import main
from assistant.commands import packing
from assistant.record import bag as bags, read_reviews, verify
from assistant.record.photos import MOST
from assistant.writeup import write_html, write_json, write_pdf, write_text

CAPTION = 'pin 4 of C103, "green" with corrosion'


def photo(parent: Path, name: str = "IMG_0412.jpg") -> Path:
    """A picture with a place in it."""
    data = Image.Exif()
    data.get_ifd(0x8825).update({1: "N", 2: (40.0, 30.0, 1.0)})
    path = parent / name
    Image.effect_noise((60, 40), 80).convert("RGB").save(path, exif=data)
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session with a signed review of two photos."""
    place = tmp_path_factory.mktemp("photos")
    session = folder(place / "sessions", scripted(*OPEN_CONTROL_WIRE))
    options = ("--photo", f"{photo(place)}; {CAPTION}", "--photo", str(photo(place, "wire.png")))
    assert 0 == main(
        ["review", str(session), "--done", "Spliced it.", *options, "--by", "J. Okoye", "--sign"]
    )
    return session


@pytest.fixture
def session(made: Path, tmp_path: Path) -> Path:
    """A copy that a test may spoil."""
    return Path(shutil.copytree(made, tmp_path / made.name))


def test_a_photo_is_kept_beside_the_review_that_holds_its_checksum(made: Path) -> None:
    """Copied under a name of its own, with caption and SHA-256 in the chained line; nothing is found wrong."""
    (review,) = read_reviews(made)
    first, second = review.details.photos
    assert ("photo-1.jpg", CAPTION) == (first.file, first.caption)
    assert ("photo-2.png", "wire.png") == (second.file, second.caption)
    for one in (first, second):
        assert hashlib.sha256((made / one.file).read_bytes()).hexdigest() == one.sha256
        with Image.open(made / one.file) as opened:
            assert not opened.getexif().get_ifd(0x8825)
    assert [] == verify(made)


def test_it_is_shown_in_every_form(made: Path) -> None:
    """Text and JSON name file and caption, the page links or embeds the picture, and the PDF shows it."""
    text, body = " ".join(write_text(made).split()), json.loads(write_json(made))
    assert f"photo-1.jpg: {CAPTION}." in text
    assert ["photo-1.jpg", "photo-2.png"] == [one["file"] for one in body["photos"]]
    assert [{"file": "reviews.jsonl", "at": "1"}] == body["photos"][0]["sources"]
    links = re.findall(r'<img src="([^"]+)"', write_html(made))
    assert ["photo-1.jpg", "photo-2.png"] == links
    inside = re.findall(r'<img src="data:image/(?:jpeg|png);base64,([^"]+)"', write_html(made, embed=True))
    assert [(made / name).read_bytes() for name in links] == [base64.b64decode(one) for one in inside]
    pages = pypdf.PdfReader(io.BytesIO(write_pdf(made))).pages
    assert 2 == len({bytes(one.data) for page in pages for one in page.images})


def test_it_travels_in_the_pack(made: Path, tmp_path: Path) -> None:
    """The bag holds the picture and checks; who packs it is told that a picture goes with it; the page shows it."""
    bag = tmp_path / "bag"
    told = packing.pack(made, bag).told
    assert any(line.startswith("2 photos") for line in told)
    assert (made / "photo-1.jpg").read_bytes() == (bag / "data" / made.name / "photo-1.jpg").read_bytes()
    assert [] == bags.check(bag)
    page = (bag / "data" / "write-up" / "write-up.html").read_text(encoding="utf-8")
    for link in re.findall(r'<img src="([^"]+)"', page):
        assert (bag / "data" / "write-up" / link).resolve().is_file()
    (bag / "data" / made.name / "photo-1.jpg").write_bytes(b"another")
    assert bags.check(bag)


def test_an_altered_a_missing_and_a_foreign_photo_are_found(
    session: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The review's checksum tells; no write-up shows another picture; one that no review attached is a finding."""
    path = session / "photo-1.jpg"
    before = path.read_bytes()
    path.write_bytes((session / "photo-2.png").read_bytes())
    assert ["photo-1.jpg"] == [finding.path for finding in verify(session)]
    assert 1 == main(["writeup", str(session), "--html"])
    assert "photo-1.jpg is not the one" in capsys.readouterr().err
    path.unlink()
    assert ["photo-1.jpg"] == [finding.path for finding in verify(session)]
    path.write_bytes(before)
    (session / "photo-99.jpg").write_bytes(before)
    assert ["photo-99.jpg"] == [finding.path for finding in verify(session)]


def test_a_photo_that_cannot_be_kept_loses_nothing(
    session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Missing, no picture, too many: a sentence, status 2, no review, no file; the earlier review stays."""
    text = tmp_path / "note.jpg"
    text.write_text("not a picture", encoding="utf-8")
    whole = str(photo(tmp_path))
    there = sorted(path.name for path in session.iterdir())
    for photos, says in (
        ((str(tmp_path / "none.jpg"),), "cannot be read: No such file"),
        ((whole, str(text)), "neither a JPEG nor a PNG"),
        ((whole,) * (MOST + 1), f"at most {MOST} photos"),
    ):
        options = [word for one in photos for word in ("--photo", one)]
        assert 2 == main(["review", str(session), "--done", "More.", *options, "--by", "J. Okoye"])
        assert says in capsys.readouterr().err
        assert there == sorted(path.name for path in session.iterdir())
        assert 1 == len(read_reviews(session))


def test_a_later_review_numbers_its_photos_on(session: Path, tmp_path: Path) -> None:
    """No photo replaces an earlier one, and a photo alone is a review."""
    assert 0 == main(
        ["review", str(session), "--photo", str(photo(tmp_path, "a; b.png")), "--by", "J. Okoye"]
    )
    reviews = read_reviews(session)
    assert [["photo-1.jpg", "photo-2.png"], ["photo-3.png"]] == [
        [one.file for one in review.details.photos] for review in reviews
    ]
    assert "a; b.png" == reviews[1].details.photos[0].caption
    assert [] == verify(session)
