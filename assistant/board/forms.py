"""The forms of the board's pages: their fields, and the photos of a review."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from assistant.errors import UsageProblem
from assistant.record.photos import LARGEST, MOST, photo_of
from assistant.writeup.reviewing import WantedReview

if TYPE_CHECKING:
    from starlette.requests import Request

    from assistant.record.photos import NewPhoto

LARGEST_FORM = 64 * 1024
"""Largest form without photos, in bytes."""

LARGEST_REVIEW = 64 << 20
"""Largest review with its photos, in bytes: twelve photos of a tablet's camera have 20 to 50 MB."""

MOST_FIELDS = 40


async def fields(request: Request) -> dict[str, str]:
    """The fields of a form; an overlong one has none."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_FORM:
            return {}
    try:
        pairs = parse_qsl(body.decode("ascii"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError:
        return {}
    return dict(pairs)


async def review_form(request: Request) -> tuple[dict[str, str], tuple[NewPhoto, ...]]:
    """The fields of a review and its photos (multipart/form-data, RFC 7578), or the fields alone.

    Each line of the field ``captions`` belongs to the photo in the same place.

    Raises:
        UsageProblem: It is too large, has too many photos, or one of them is no whole JPEG or PNG picture.
    """
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        return await fields(request), ()
    length = request.headers.get("content-length", "")
    if not length.isdecimal() or int(length) > LARGEST_REVIEW:
        raise UsageProblem(
            f"The photos are too large together: at most {LARGEST_REVIEW >> 20} MB fit in a review. "
            "Choose fewer, or keep them in two reviews."
        )
    try:
        async with request.form(
            max_files=MOST + 1, max_fields=MOST_FIELDS, max_part_size=LARGEST_FORM
        ) as form:
            sent = [one for one in form.getlist("photo") if isinstance(one, UploadFile) and one.filename]
            texts = {name: value for name, value in form.items() if isinstance(value, str)}
            captions = texts.get("captions", "").splitlines()
            if len(sent) > MOST:
                raise UsageProblem(f"A review holds at most {MOST} photos. Take the best ones.")
            photos = []
            for at, one in enumerate(sent):
                caption = captions[at].strip() if at < len(captions) else ""
                data = await one.read(LARGEST + 1)
                photos.append(await run_in_threadpool(photo_of, data, one.filename or "photo", caption))
    except HTTPException as error:  # what Starlette makes of a damaged form
        raise UsageProblem(f"The form did not arrive whole ({error.detail}). Send it again.") from error
    return texts, tuple(photos)


def wanted_review(form: dict[str, str], photos: tuple[NewPhoto, ...] = ()) -> WantedReview:
    """The review that a form asks for."""

    def lines(name: str) -> tuple[str, ...]:
        return tuple(line.strip() for line in form.get(name, "").splitlines() if line.strip())

    wanted = WantedReview(
        reviewer=form.get("reviewer", "").strip(),
        done=form.get("done", "").strip(),
        found=lines("found"),
        parts=lines("parts"),
        labour=lines("labour"),
        remarks=form.get("remarks", "").strip(),
        sign=form.get("sign") == "yes",
        location=form.get("location", "").strip(),
        vin=form.get("vin", "").strip(),
        taken=photos,
    )
    return replace(wanted, codes=tuple(form.get("codes", "").replace(",", " ").replace(";", " ").split()))
