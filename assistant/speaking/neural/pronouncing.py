"""Text to the phonemes that the voice "heart" was trained to read.

`phonemes` is all that others need. A sentence is taken apart (`pieces`), each word is looked up (`reading`) from the
last to the first, because small words lean on the sound that follows, and a compound gets one main stress.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from assistant.speaking.neural import parts_of_speech
from assistant.speaking.neural.dictionary import Dictionary
from assistant.speaking.neural.inflecting import CONSONANTS, VOWELS, compound, stressed
from assistant.speaking.neural.pieces import PAUSES, SpokenPiece, pieces
from assistant.speaking.neural.reading import Words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


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
        flat = [part.lower() for piece in taken for part in piece.parts]
        said: list[str] = []
        unknown: list[str] = []
        vowel_next: bool | None = None
        place = len(flat)
        for number in range(len(taken) - 1, -1, -1):
            piece = taken[number]
            vowel_next = None if PAUSES & set(piece.after) else vowel_next
            place -= len(piece.parts)
            begins = number == 0 or bool(PAUSES & set(taken[number - 1].after))
            letter_next = _is_letter(taken[number + 1 : number + 2])
            read = self._piece(piece, flat, place, vowel_next, begins=begins, letter_next=letter_next)
            if read is None:
                unknown.append("-".join(piece.parts))
                continue
            vowel_next = next(
                (sign in VOWELS for sign in read if sign in VOWELS or sign in CONSONANTS), vowel_next
            )
            said.append(f"{piece.before}{read}{piece.after}")
        if unknown:
            raise Unpronounceable(unknown[::-1])
        return _joined(said[::-1])

    def _piece(
        self,
        piece: SpokenPiece,
        flat: Sequence[str],
        place: int,
        vowel_next: bool | None,
        *,
        begins: bool,
        letter_next: bool,
    ) -> str | None:
        if len(piece.parts) == 1:
            kind = parts_of_speech.kind(flat, place, begins=begins, ends=vowel_next is None)
            if piece.parts[0] == "A" and (not begins or letter_next):
                kind = parts_of_speech.LETTER
            said = self._words.read(piece.parts[0], kind, vowel_next)
            return stressed(said, piece.stress) if said else None
        whole = self._words.read("-".join(piece.parts), None, vowel_next) if piece.parts else ""
        if whole is not None:
            return whole
        read: list[str] = []
        for part in reversed(piece.parts):
            one = self._words.read(part, None, vowel_next, alone=False)
            if not one:
                return None
            read.append(one)
            vowel_next = one.lstrip("ˈˌ")[:1] in VOWELS
        return compound(read[::-1], letters_first=len(piece.parts[0]) == 1)


def _is_letter(next_one: Sequence[SpokenPiece]) -> bool:
    """Whether a letter that stands for itself comes next."""
    return any(
        len(piece.parts) == 1 and len(piece.parts[0]) == 1 and piece.parts[0].isupper() for piece in next_one
    )


def _joined(said: Sequence[str]) -> str:
    """The pieces with spaces; misaki's signs for a tap and a glottal stop become those that the voice has."""
    return " ".join(said).replace("ɾ", "T").replace("ʔ", "t")


@functools.cache
def _usual() -> Pronouncer:
    return Pronouncer()


def phonemes(sentence: str) -> str:
    """The phonemes of a sentence, with its marks; "" if it has no word.

    Knows words, numbers with units, letters and signs, the spelling alphabet, signal words and question marks.

    Raises:
        Unpronounceable: Words of it are in no lexicon.
        GearProblem: The packed lexicon cannot be read.
    """
    return _usual().phonemes(sentence)
