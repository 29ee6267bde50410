"""Text to the phonemes that the voice "heart" was trained to read.

`phonemes` is all that others need. A sentence is taken apart (`pieces`), and each word is looked up (`reading`), from
the last to the first, because small words lean on the sound that follows.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from assistant.speaking.neural import parts_of_speech
from assistant.speaking.neural.dictionary import Dictionary
from assistant.speaking.neural.inflecting import CONSONANTS, VOWELS, compound, stressed
from assistant.speaking.neural.junctures import parted
from assistant.speaking.neural.own_words import OwnWords
from assistant.speaking.neural.pieces import PAUSES, SpokenPiece, pieces
from assistant.speaking.neural.reading import Words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path


class Unpronounceable(ValueError):
    """A sentence has words that are in no lexicon.

    Attributes:
        words: Those words as they are written, each once, in the order of the sentence.
    """

    def __init__(self, words: Sequence[str]) -> None:
        self.words = tuple(dict.fromkeys(words))
        super().__init__(f"No lexicon has: {', '.join(self.words)}")


class Pronouncer:
    """Pronounces sentences.

    Args:
        own: A word's ARPAbet phones from a lexicon that a contributor keeps, empty if it has none.

    Raises:
        GearProblem: The packed lexicon cannot be read.
    """

    def __init__(self, own: Callable[[str], Sequence[str]] = lambda _: ()) -> None:
        self._words = Words(Dictionary(), own)

    def phonemes(self, sentence: str) -> str:
        """As the function `phonemes`."""
        taken = pieces(sentence)
        kinds = _kinds(taken, shouted=sentence.isupper() and len(taken) > 1)
        said: list[str] = []
        unknown: list[str] = []
        vowel_next: bool | None = None
        for piece, kind in zip(reversed(taken), reversed(kinds), strict=True):
            vowel_next = None if PAUSES & set(piece.after) else vowel_next
            read = self._piece(piece, kind, vowel_next)
            if read is None:
                unknown.append("-".join(piece.parts))
                continue
            vowel_next = _begins_with_vowel(read, vowel_next)
            said.append(f"{piece.before}{stressed(read, piece.stress)}{piece.after}")
        if unknown:
            raise Unpronounceable(unknown[::-1])
        # misaki's signs for a tap and a glottal stop become those that the voice has
        return parted(" ".join(reversed(said)).replace("ɾ", "T").replace("ʔ", "t"))

    def _piece(self, piece: SpokenPiece, kind: str | None, vowel_next: bool | None) -> str | None:
        if not piece.parts:
            return ""
        if len(piece.parts) == 1:
            return self._words.read(piece.parts[0], kind, vowel_next)
        whole = self._words.look_up("-".join(piece.parts), kind, vowel_next)
        if whole:
            return whole
        read: list[str] = []
        for part in reversed(piece.parts):
            one = self._words.read(part, parts_of_speech.PART, vowel_next)
            if not one:
                return None
            read.append(one)
            vowel_next = _begins_with_vowel(one, vowel_next)
        return compound(read[::-1], letters_first=len(piece.parts[0]) == 1)


def _begins_with_vowel(read: str, otherwise: bool | None) -> bool | None:
    """Whether a word begins with a vowel; `otherwise` if it has no sound of its own."""
    return next((sign in VOWELS for sign in read if sign in VOWELS or sign in CONSONANTS), otherwise)


def _kinds(taken: Sequence[SpokenPiece], *, shouted: bool) -> list[str | None]:
    """The kind of each piece; a sentence that is written in capitals as a whole has no initials."""
    words = ["-".join(piece.parts) for piece in taken]
    small = [word.lower() for word in words]
    found: list[str | None] = []
    for place, (word, piece) in enumerate(zip(words, taken, strict=True)):
        begins = place == 0 or bool(PAUSES & set(taken[place - 1].after))
        ends = place + 1 == len(taken) or bool(PAUSES & set(piece.after))
        letter_next = not ends and len(words[place + 1]) == 1 and words[place + 1].isupper()
        if piece.sign or (word == "A" and (not begins or letter_next)):
            found.append(parts_of_speech.LETTER)
        elif word.isupper() and len(word) > 1 and not shouted:
            found.append(parts_of_speech.INITIALS)
        else:
            found.append(parts_of_speech.kind(small, place, begins=begins, ends=ends))
    return found


class _Lexicon:
    """The author's lexicon that this process reads, with its pronouncer."""

    def __init__(self) -> None:
        self.use(None)

    def use(self, path: Path | None) -> None:
        self.pronouncer = functools.cache(lambda: Pronouncer(OwnWords(path).phones))


_LEXICON = _Lexicon()


def use_lexicon(path: Path | None) -> None:
    """Read words that no other lexicon has from this file from now on, in this process.

    Args:
        path: ARPAbet phones, as ``lexicon.txt`` beside the grammars has them; None for the bundled grammars' own.
    """
    _LEXICON.use(path)


def phonemes(sentence: str) -> str:
    """The phonemes of a sentence, with its marks; "" if it has no word.

    Knows words, numbers with units, letters and codes, the spelling alphabet, signal words and question marks.

    Raises:
        Unpronounceable: Words of it are in no lexicon.
        GearProblem: The packed lexicon cannot be read.
    """
    return _LEXICON.pronouncer().phonemes(sentence)
