"""Stress, and the endings -s, -ed and -ing, in the voice's phonetic alphabet.

Ported from misaki 0.9.4 (``en.py``, by hexgrad, Apache-2.0) by way of hibari 0.2.1 (``g2p/lexicon.py``, Apache-2.0),
because the voice was trained on what these rules write. Changed: plain functions, and the ending -ied.

A stress mark stands directly before its vowel.
"""

from __future__ import annotations

PRIMARY, SECONDARY = "ˈ", "ˌ"
VOWELS = frozenset("AIOQWYaiuæɑɒɔəɛɜɪʊʌᵻ")
"""Signs that are vowels; the capitals are diphthongs (``A`` as in day, ``I`` my, ``O`` go, ``W`` now, ``Y`` boy).

The weak ``ɐ`` of "a" is none, as in misaki: "to a car" has the "to" of "to the car".
"""

CONSONANTS = frozenset("bdfhjklmnpstvwzðŋɡɹɾʃʒʤʧθTʔ")

_LONG = frozenset("AIOQWYʤʧ")
_FLAPPED_AFTER = frozenset("AIOWYiuæɑəɛɪɹʊʌ")
"""Behind these an American t before a vowel is a tap (``ɾ``): "testing" has none, "heating" has one."""

NONE, WEAKER, WEAK, WORD, CAPITALS = -2.0, -0.5, 0.0, 0.5, 2.0
"""How much stress is asked for: none at all, less than the neighbour, weak, of a capitalised word, of CAPITALS."""


def weight(phonemes: str) -> int:
    """The length of a word as misaki counts it, to find the lighter part of a compound."""
    return sum(2 if sign in _LONG else 1 for sign in phonemes)


def stressed(phonemes: str, stress: float | None) -> str:
    """The same word with more or less stress; None leaves it as it is."""
    if stress is None:
        return phonemes
    if stress < -1:
        return phonemes.replace(PRIMARY, "").replace(SECONDARY, "")
    marked = PRIMARY in phonemes or SECONDARY in phonemes
    if stress == -1 or (stress in (WEAK, WEAKER) and PRIMARY in phonemes):
        return phonemes.replace(SECONDARY, "").replace(PRIMARY, SECONDARY)
    if stress >= 1 and PRIMARY not in phonemes and SECONDARY in phonemes:
        return phonemes.replace(SECONDARY, PRIMARY)
    if marked or stress < 0:
        return phonemes
    return _on_first_vowel(phonemes, PRIMARY if stress > 1 else SECONDARY)


def _on_first_vowel(phonemes: str, mark: str) -> str:
    place = next((i for i, sign in enumerate(phonemes) if sign in VOWELS), None)
    return phonemes if place is None else f"{phonemes[:place]}{mark}{phonemes[place:]}"


def with_s(stem: str) -> str:
    """The word with the ending of "coils", "lights", "fuses" and "box's"."""
    if stem[-1:] in {*"ptkfθ"}:
        return f"{stem}s"
    return f"{stem}ᵻz" if stem[-1:] in {*"szʃʒʧʤ"} else f"{stem}z"


def with_ed(stem: str) -> str:
    """The word with the ending of "turned", "cranked", "tested" and "heated"."""
    last = stem[-1:]
    if last in {*"pkfθʃsʧ"}:
        return f"{stem}t"
    if last == "t":
        return f"{stem[:-1]}ɾᵻd" if stem[-2:-1] in _FLAPPED_AFTER else f"{stem}ᵻd"
    return f"{stem}ᵻd" if last == "d" else f"{stem}d"


def with_ing(stem: str) -> str:
    """The word with the ending of "cranking" and "heating"."""
    flapped = stem[-1:] == "t" and stem[-2:-1] in _FLAPPED_AFTER
    return f"{stem[:-1]}ɾɪŋ" if flapped else f"{stem}ɪŋ"


def compound(parts: list[str], letters_first: bool) -> str:
    """The parts of a word with hyphens as one word: of two stressed parts the lighter one gives way.

    Args:
        parts: The phonemes of each part, none empty.
        letters_first: Whether the first part is one letter ("O-L"), which keeps its stress.
    """
    parts = list(parts)
    if len(parts) == 2 and letters_first:
        parts[1] = stressed(parts[1], WEAKER)
        return "".join(parts)
    main = [PRIMARY in part for part in parts]
    if len(parts) > 1 and sum(main) > (len(parts) + 1) // 2:
        lightest = sorted(range(len(parts)), key=lambda i: (main[i], weight(parts[i]), i))
        for i in lightest[: len(parts) // 2]:
            parts[i] = stressed(parts[i], WEAKER)
    return "".join(parts)


def stems(word: str) -> list[tuple[str, str]]:
    """Stems that an inflected word may have, with the ending ("s", "ed" or "ing"), in the order to be tried."""
    found: list[tuple[str, str]] = []
    if len(word) > 2 and word.endswith("s"):
        if not word.endswith("ss"):
            found.append((word[:-1], "s"))
        if word.endswith("'s") or (len(word) > 4 and word.endswith("es") and not word.endswith("ies")):
            found.append((word[:-2], "s"))
        if len(word) > 4 and word.endswith("ies"):
            found.append((f"{word[:-3]}y", "s"))
    if len(word) > 3 and word.endswith("d") and not word.endswith("dd"):
        if word.endswith("ed"):
            found.append((word[:-1], "ed"))
        if len(word) > 4 and word.endswith("ed") and not word.endswith("eed"):
            found.append((word[:-2], "ed"))
        if len(word) > 4 and word.endswith("ied"):
            found.append((f"{word[:-3]}y", "ed"))
        if len(word) > 5 and word[-3:-2] == word[-4:-3] and word.endswith("ed"):
            found.append((word[:-3], "ed"))
    if len(word) > 4 and word.endswith("ing"):
        found += [(word[:-3], "ing")] if len(word) > 5 else []
        found.append((f"{word[:-3]}e", "ing"))
        if len(word) > 5 and (word[-4] == word[-5] or word.endswith("cking")):
            found.append((word[:-4], "ing"))
    return found


ENDINGS = {"s": with_s, "ed": with_ed, "ing": with_ing}
