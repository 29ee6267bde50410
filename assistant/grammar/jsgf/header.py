"""The self-identifying header of a grammar file, and the text behind it."""

from __future__ import annotations

import codecs
import re
from typing import TYPE_CHECKING

from assistant.errors import FileProblem

if TYPE_CHECKING:
    from pathlib import Path

MOST_BYTES = 1 << 20
"""Size of the largest grammar file that is read; a grammar of this program has a few thousand bytes."""

_HEADER = re.compile(rb"#JSGF[ \t]+V1\.0(?:[ \t]+([^\s;]+))?(?:[ \t]+([^\s;]+))?[ \t]*;")
_ENCODINGS = {
    "jis": "iso2022_jp",
    **{f"iso8859-{part}": f"iso8859-{part}" for part in (*range(1, 12), *range(13, 17))},
    **{f"iso-8859-{part}": f"iso8859-{part}" for part in (*range(1, 12), *range(13, 17))},
    **dict.fromkeys(("utf-8", "utf8"), "utf-8"),
    **dict.fromkeys(("us-ascii", "ascii"), "ascii"),
}


def decode(data: bytes, path: Path) -> tuple[str, str, str]:
    """The text after the header, with plain line ends, the encoding, and the locale.

    Raises:
        FileProblem: The file is too large, has no header, or is not in the encoding that its header names.
    """
    if len(data) > MOST_BYTES:
        raise FileProblem(path, 0, f"the file has {len(data)} bytes", f"A grammar has at most {MOST_BYTES}")
    header = _HEADER.match(data.removeprefix(codecs.BOM_UTF8))
    if header is None:
        raise FileProblem(
            path, 1, "the file does not begin with a JSGF header", "The first line is '#JSGF V1.0 UTF-8 en;'"
        )
    named = (header[1] or b"UTF-8").decode("ascii", "replace")
    encoding = _ENCODINGS.get(named.lower())
    if encoding is None:
        raise FileProblem(
            path,
            1,
            f"the encoding '{named}' in the header is not known",
            "Save the file as UTF-8 and write 'UTF-8'",
        )
    body = data.removeprefix(codecs.BOM_UTF8)[header.end() :]
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        line = 1 + body[: error.start].count(b"\n")
        raise FileProblem(
            path, line, f"the text is not {named}", "Save the file in the encoding that its header names"
        ) from error
    locale = (header[2] or b"").decode("ascii", "replace")
    return text.replace("\r\n", "\n").replace("\r", "\n"), named, locale
