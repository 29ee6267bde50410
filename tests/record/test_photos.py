"""Photos for a review: checked by their content, cleared of place and camera, and the same picture still."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from PIL import Image, PngImagePlugin

from assistant.errors import UsageProblem
from assistant.record import photos
from assistant.record.photos import cleared, photo_in

if TYPE_CHECKING:
    from pathlib import Path

SECRET = b"workshop-of-somebody"
_GPS, _ORIENTATION, _MAKER = 0x8825, 0x0112, 0x010F


def image(seed: int = 1) -> Image.Image:
    """A small picture with much detail."""
    return Image.fromarray(np.random.default_rng(seed).integers(0, 256, (24, 40, 3), np.uint8))


def jpeg(turned: int = 6, **options: object) -> bytes:
    """A JPEG as a phone writes it: place, maker, comment, turned, and more bytes behind its end."""
    data = Image.Exif()
    data[_ORIENTATION] = turned
    data[_MAKER] = SECRET.decode()
    data.get_ifd(_GPS).update({1: "N", 2: (40.0, 30.0, 1.0)})
    out = io.BytesIO()
    image().save(out, "JPEG", exif=data, comment=SECRET, quality=90, **options)
    return out.getvalue() + SECRET


def png() -> bytes:
    """A PNG with text, a time and a place in it."""
    told = PngImagePlugin.PngInfo()
    told.add_text("Author", SECRET.decode())
    told.add_itxt("Place", SECRET.decode())
    data = Image.Exif()
    data[_MAKER] = SECRET.decode()
    out = io.BytesIO()
    image().save(out, "PNG", pnginfo=told, exif=data)
    return out.getvalue() + SECRET


def pixels(data: bytes) -> bytes:
    """The picture as Pillow, an outside program, decodes it."""
    with Image.open(io.BytesIO(data)) as opened:
        return opened.convert("RGB").tobytes()


@pytest.mark.parametrize("data", [jpeg(), jpeg(1), jpeg(3, progressive=True), jpeg(8, optimize=True), png()])
def test_place_and_camera_are_gone_and_the_picture_is_the_same(data: bytes) -> None:
    """Pillow decodes the same pixels, and finds nothing about place, maker or author; nothing hangs on behind."""
    _, kept = cleared(data)
    assert pixels(data) == pixels(kept)
    assert SECRET in data
    assert SECRET not in kept
    with Image.open(io.BytesIO(kept)) as opened:
        assert set(opened.getexif()) <= {_ORIENTATION}
        assert not opened.getexif().get_ifd(_GPS)


@pytest.mark.parametrize("turned", range(1, 9))
def test_a_turned_picture_stays_turned(turned: int) -> None:
    """How the phone was held is kept: without it the picture would lie on its side."""
    _, kept = cleared(jpeg(turned))
    with Image.open(io.BytesIO(kept)) as opened:
        assert turned == opened.getexif().get(_ORIENTATION, 1)


def test_the_colors_of_a_jpeg_are_kept() -> None:
    """A color profile, and the marker that says how four colors are meant, belong to the picture."""
    out = io.BytesIO()
    image().convert("CMYK").save(out, "JPEG", icc_profile=b"profile" * 20)
    _, kept = cleared(out.getvalue())
    assert pixels(out.getvalue()) == pixels(kept)
    with Image.open(io.BytesIO(kept)) as opened:
        assert b"profile" * 20 == opened.info["icc_profile"]


@given(st.binary(max_size=400), st.sampled_from([b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"]))
@settings(max_examples=150)
def test_any_bytes_are_refused_with_a_reason(data: bytes, start: bytes) -> None:
    """What is no picture raises ValueError with words, never anything else."""
    with pytest.raises(ValueError, match=r"[a-z]"):
        cleared(start + data)


@given(st.sampled_from([jpeg(), jpeg(2, progressive=True), png()]), st.data())
@settings(max_examples=150)
def test_an_altered_picture_is_refused_or_cleared(data: bytes, draw: st.DataObject) -> None:
    """Bytes changed or cut off: a reason, or a picture that is cleared for good."""
    place = draw.draw(st.integers(0, len(data) - 1))
    put = draw.draw(st.binary(max_size=3))
    try:
        kind, kept = cleared(data[:place] + put + data[place + draw.draw(st.integers(0, 40)) :])
    except ValueError as error:
        assert str(error)
        return
    assert (kind, kept) == cleared(kept)


def test_what_a_file_holds_counts_and_not_its_name(tmp_path: Path) -> None:
    """A JPEG called .png is a JPEG, and a text called .jpg is none; without a caption its name is one."""
    path = tmp_path / "pin.png"
    path.write_bytes(jpeg())
    assert ("jpg", "pin.png") == (photo_in(path).suffix, photo_in(path).caption)
    assert "burnt pin" == photo_in(path, "burnt pin").caption
    path = tmp_path / "pin.jpg"
    path.write_text("not a picture", encoding="utf-8")
    with pytest.raises(UsageProblem, match="neither a JPEG nor a PNG"):
        photo_in(path)


def test_what_cannot_be_kept_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing file, a folder, one that is too large, one cut short, and one with too many pixels: a sentence each."""
    whole = tmp_path / "whole.jpg"
    whole.write_bytes(jpeg())
    cut = tmp_path / "cut.jpg"
    cut.write_bytes(jpeg()[:600])
    for path, says in (
        (tmp_path / "none.jpg", "cannot be read: No such file"),
        (tmp_path, "it is a folder"),
        (cut, "cut short"),
    ):
        with pytest.raises(UsageProblem, match=says):
            photo_in(path)
    monkeypatch.setattr(photos, "_PIXELS", 100)
    with pytest.raises(UsageProblem, match="pixels"):
        photo_in(whole)
    monkeypatch.setattr(photos, "LARGEST", 100)
    with pytest.raises(UsageProblem, match="at most 100 are read"):
        photo_in(whole)
