"""The signs that the voice's network knows, with their numbers.

They are the phoneme alphabet of Kokoro-82M (hexgrad, Apache License 2.0), as ``assets/vocab.json`` of hibari-tts 0.2.1
gives it: the International Phonetic Alphabet with capital letters for diphthongs (A as in "day", I "my", O "go",
W "now", Y "boy"), ʤ and ʧ, ˈ and ˌ before a stressed vowel, and punctuation.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_RUNS = {
    1: ";:,.!?",
    9: '—…"()“” \N{COMBINING TILDE}ʣʥʦʨᵝꭧAI',
    31: "O",
    33: "Q",
    35: "ST",
    39: "W",
    41: "Yᵊabcdef",
    50: "hijklmnopqrstuvwxyzɑɐɒæ",
    75: "βɔɕç",
    80: "ɖðʤə",
    85: "ɚɛɜ",
    90: "ɟ",
    92: "ɡ",
    99: "ɥ",
    101: "ɨɪʝ",
    110: "ɯɰŋɳɲɴø",
    118: "ɸθœ",
    123: "ɹ",
    125: "ɾɻ",
    128: "ʁɽʂʃʈʧ",
    135: "ʊʋ",
    138: "ʌɣɤ",
    142: "χʎ",
    147: "ʒʔ",
    156: "ˈˌː",
    162: "ʰ",
    164: "ʲ",
    169: "↓",
    171: "→↗↘",
    177: "ᵻ",
}
"""Signs whose numbers follow one another, by the first number; the numbers between belong to nothing."""


def _numbered() -> Iterator[tuple[str, int]]:
    for first, signs in _RUNS.items():
        for place, sign in enumerate(signs):
            yield sign, first + place


SYMBOLS: Mapping[str, int] = MappingProxyType(dict(_numbered()))
"""Each sign's number."""

EDGE = 0
"""The number before the first sign and after the last one."""
