"""Photos for a review: read, checked by their content, and cleared of what says where and by whom they were taken.

A phone writes into a picture where it was taken, on which device, and often a second, smaller picture.
Only what is needed to show the picture is kept: of a JPEG its frames, tables, colors and the way it is turned; of a PNG
its image and colors. The picture itself is not encoded anew, so no detail is lost.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant import files
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LARGEST = 20 << 20
"""Largest photo, in bytes: that of a phone has 2 to 12 MB."""
MOST = 12
"""Most photos of one review: as many as a reader looks at."""

_PIXELS = 120_000_000
"""Largest number of pixels; more would only fill the memory of what shows them."""

_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
_EXIF, _COLORS, _ADOBE = b"Exif\0\0", b"ICC_PROFILE\0", b"Adobe"
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
_SHOWN = {
    b"IHDR",
    b"PLTE",
    b"IDAT",
    b"IEND",
    b"tRNS",
    b"gAMA",
    b"cHRM",
    b"sRGB",
    b"iCCP",
    b"sBIT",
    b"bKGD",
    b"pHYs",
}
_ORIENTATION = 0x0112


@dataclass(frozen=True)
class NewPhoto:
    """A photo as it is kept: its bytes, the end of its file's name (``jpg`` or ``png``), and what it shows."""

    data: bytes
    suffix: str
    caption: str


def photo_in(path: Path, caption: str = "") -> NewPhoto:
    """The photo in a file, ready to be kept; without a caption it is called by the file's name.

    Raises:
        UsageProblem: The file is missing, too large, or no whole JPEG or PNG picture.
    """
    try:
        data = files.read_bytes(path, LARGEST)
    except OSError as error:
        raise UsageProblem(f"The photo {path} cannot be read: {error.strerror}.") from error
    return photo_of(data, str(path), caption or path.name)


def photo_of(data: bytes, name: str, caption: str = "") -> NewPhoto:
    """A photo from the bytes of its file, ready to be kept.

    Args:
        data: The file's bytes.
        name: The file's name, for an error and for a photo without a caption.
        caption: What it shows.

    Raises:
        UsageProblem: It is too large, or no whole JPEG or PNG picture.
    """
    if len(data) > LARGEST:
        raise UsageProblem(f"The photo {name} has more than {LARGEST >> 20} MB. Save a smaller one.")
    try:
        suffix, kept = cleared(data)
    except ValueError as error:
        raise UsageProblem(
            f"{name} is not kept as a photo: {error}. Save it as a JPEG or PNG and try again."
        ) from error
    return NewPhoto(kept, suffix, caption or name)


def cleared(data: bytes) -> tuple[str, bytes]:
    """The kind of a picture, ``jpg`` or ``png``, and the picture without what is not needed to show it.

    Raises:
        ValueError: It is no whole picture of these kinds, or too large to be shown.
    """
    try:
        if data.startswith(_JPEG):
            return "jpg", b"\xff\xd8" + b"".join(_of_jpeg(data))
        if data.startswith(_PNG):
            return "png", _PNG + b"".join(_of_png(data))
    except (IndexError, struct.error):
        raise ValueError("the picture is cut short") from None
    raise ValueError("by its content it is neither a JPEG nor a PNG picture")


def _of_jpeg(data: bytes) -> Iterator[bytes]:
    """The segments of a JPEG file that show it, to the end of the image (ITU-T T.81, annex B)."""
    at, turned, framed, scanned = 2, 1, False, False
    kept: list[bytes] = []
    while True:
        if data[at] != 0xFF:
            raise ValueError("its segments do not follow each other")
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        kind = data[at + 1]
        if kind == 0xD9:
            break
        (length,) = struct.unpack_from(">H", data, at + 2)
        body = data[at + 4 : at + 2 + length]
        if length < 2 or len(body) != length - 2:
            raise ValueError("the picture is cut short")
        whole = data[at : at + 2 + length]
        at += 2 + length
        if kind == 0xE1 and body.startswith(_EXIF):
            turned = _orientation(body[len(_EXIF) :]) or turned
        if kind in _FRAMES and not framed:
            framed = True
            _check_size(*struct.unpack_from(">xHH", body))
        if _needed(kind, body):
            kept.append(whole)
        if kind == 0xDA:
            scanned = True
            end = _scan_end(data, at)
            kept.append(data[at:end])
            at = end
    if not framed or not scanned:
        raise ValueError("it holds no image")
    if turned != 1:
        yield _turned(turned)
    yield from kept
    yield b"\xff\xd9"


def _needed(kind: int, body: bytes) -> bool:
    """Whether a segment is needed to show the picture: no comment, and of the application data only the colors."""
    if kind == 0xFE:
        return False
    if 0xE0 <= kind <= 0xEF:
        return (kind == 0xE2 and body.startswith(_COLORS)) or (kind == 0xEE and body.startswith(_ADOBE))
    return True


def _scan_end(data: bytes, at: int) -> int:
    """The place of the next marker after entropy-coded data."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0:
            raise ValueError("the picture is cut short")
        following = data[at + 1]
        if following != 0 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return at
        at += 1 if following == 0xFF else 2


def _orientation(tiff: bytes) -> int:
    """How the picture is turned, 1 to 8, from its Exif data; 0 if they do not tell."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 0
    try:
        (first,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, first)
        for entry in range(count):
            tag, kind, number, value = struct.unpack_from(f"{order}HHIH", tiff, first + 2 + 12 * entry)
            if (tag, kind, number) == (_ORIENTATION, 3, 1) and 1 <= value <= 8:
                return int(value)
    except struct.error:
        return 0
    return 0


def _turned(orientation: int) -> bytes:
    """An Exif segment that says only how the picture is turned."""
    entry = struct.pack(">HHIHH", _ORIENTATION, 3, 1, orientation, 0)
    body = _EXIF + b"MM\0*" + struct.pack(">IH", 8, 1) + entry + b"\0\0\0\0"
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _of_png(data: bytes) -> Iterator[bytes]:
    """The chunks of a PNG file that show it, each with its checksum compared (PNG, third edition, 5)."""
    at = len(_PNG)
    kinds: set[bytes] = set()
    while b"IEND" not in kinds:
        (length,) = struct.unpack_from(">I", data, at)
        whole = data[at : at + 12 + length]
        kind, body = whole[4:8], whole[8:-4]
        if len(whole) != 12 + length:
            raise ValueError("the picture is cut short")
        if struct.unpack(">I", whole[-4:])[0] != zlib.crc32(whole[4:-4]):
            raise ValueError("the picture is damaged")
        if not kinds and kind != b"IHDR":
            raise ValueError("it holds no image")
        if kind == b"IHDR":
            _check_size(*struct.unpack_from(">II", body))
        kinds.add(kind)
        at += 12 + length
        if kind in _SHOWN:
            yield whole
    if b"IDAT" not in kinds:
        raise ValueError("it holds no image")


def _check_size(one: int, other: int) -> None:
    if not one or not other:
        raise ValueError("it holds no image")
    if one * other > _PIXELS:
        raise ValueError(f"it has more than {_PIXELS // 1_000_000} million pixels")
