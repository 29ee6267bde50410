"""The texts for the voices: answers of the grammars, and enough other English to teach every sound.

Each utterance has its phones, on which the acoustic model is trained.
"""

from __future__ import annotations

import re
import string
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.acoustic.phones import from_arpabet, to_arpabet
from assistant.core.dialogue.sayable import requests_of
from assistant.grammar.lexicon import PHONES, Pronunciation
from assistant.grammar.numbers import in_words

if TYPE_CHECKING:
    import random
    from collections.abc import Iterable, Mapping, Sequence

    from assistant.core.library.library import Library
    from assistant.grammar.grammar_set import GrammarSet
    from assistant.grammar.step_grammar import StepGrammar

SPELLING = (
    "alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo "
    "sierra tango uniform victor whiskey yankee zulu"
).split()
"""The spelling alphabet of ICAO Annex 10, in the dictionary's spelling."""

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "oh")

SHORT = (
    *DIGITS,
    *"on off out no yes dim lit dark dead bright right wrong stop skip back yeah nope yep blinks steady weak".split(),
    *"strong none both good bad done pass passed failed left spark blue orange open closed high low point".split(),
)
"""Short words that answer, or nearly do."""

LETTERS = {
    "a": "A", "b": "bi", "c": "si", "d": "di", "e": "i", "f": "ɛf", "g": "ʤi", "h": "Aʧ", "i": "I", "j": "ʤA",
    "k": "kA", "l": "ɛl", "m": "ɛm", "n": "ɛn", "o": "O", "p": "pi", "q": "kju", "r": "ɑɹ", "s": "ɛs", "t": "ti",
    "u": "ju", "v": "vi", "w": "dˈʌbəlju", "x": "ɛks", "y": "wI", "z": "zi",
}  # fmt: skip
"""Names of the letters in the voices' notation."""


@dataclass(frozen=True)
class TrainingText:
    """Words with their sounds.

    Attributes:
        words: The words for a synthesiser that reads text.
        sounds: The sound of each word in the notation of the neural voices.
        phones: The phones of each word in ARPAbet.
    """

    words: tuple[str, ...]
    sounds: tuple[str, ...]
    phones: tuple[Pronunciation, ...]

    def entry(self) -> dict[str, str]:
        """Words and phones in the form of the files of banks and development sets."""
        phones = " ".join(phone for word in self.phones for phone in word)
        return {"words": " ".join(self.words), "phones": phones}


class Texts:
    """Draws utterances.

    Args:
        grammars: Source of the steps' answers, with the lexicon.
        library: The procedures whose steps ask.
        dictionary: English words with their sounds in the voices' notation.
        prose: Plain text, whose known words are spoken in order.
        accent: Whether the dictionary's sounds are spoken even where the lexicon has others; for another accent.
        english: Share of the utterances that are plain text or any words of the dictionary, before all others.
    """

    def __init__(
        self,
        grammars: GrammarSet,
        library: Library,
        dictionary: Mapping[str, str],
        prose: Iterable[str] = (),
        *,
        accent: bool = False,
        english: float = 0.0,
    ) -> None:
        self._accent, self._share = accent, english
        self._lexicon = grammars.lexicon
        self._dictionary = dictionary
        self._steps: list[StepGrammar] = [grammars.request(request) for request in requests_of(library)]
        self._workshop = sorted(self._lexicon.entries)
        self._short = [word for word in SHORT if self.knows(word)]
        self._english = sorted(word for word in dictionary if 2 <= len(word) <= 10)
        self._near = NearMisses(
            {word: said for word in self._english if (said := to_arpabet(dictionary[word]))}
        )
        self._prose = [run for text in prose for run in self._runs(text)]

    def _runs(self, text: str) -> list[list[str]]:
        """Runs of known words in plain text."""
        runs: list[list[str]] = []
        for piece in re.split(r"[^a-z\s]", text.lower()):
            words = piece.split()
            if len(words) >= 2 and all(self.knows(word) for word in words):
                runs.append(words)
        return runs

    def knows(self, word: str) -> bool:
        """Whether a word has a pronunciation."""
        return word in self._lexicon or word in self._dictionary

    def utterance(self, words: Sequence[str], rng: random.Random) -> TrainingText:
        """Words with their sounds; if the lexicon has several pronunciations, a random one.

        Raises:
            KeyError: A word is unknown.
        """
        sounds, phones = [], []
        for word in words:
            sound, said = self._word(word, rng)
            sounds.append(sound)
            phones.append(said)
        return TrainingText(tuple(words), tuple(sounds), tuple(phones))

    def _word(self, word: str, rng: random.Random) -> tuple[str, Pronunciation]:
        known = self._lexicon.pronunciations(word)
        stressed = self._dictionary.get(word)
        if stressed is not None:
            said = to_arpabet(stressed)
            assert said is not None  # noqa: S101  the dictionary was read so
            if self._accent or not known or said in known:
                return stressed, said
        if not known:
            raise KeyError(word)
        chosen = rng.choice(known)
        return from_arpabet(chosen), chosen

    def draw(self, rng: random.Random) -> TrainingText:
        """One random utterance: about half are answers, and the rest teaches sounds in other contexts."""
        if self._share and rng.random() < self._share:
            return self._english_words(rng, prose=rng.random() < 0.5)
        kind = rng.random()
        if kind < 0.36:
            return self.utterance(rng.choice(self._steps).sample(rng).split(), rng)
        if kind < 0.46:
            return self.digits(rng)
        if kind < 0.54:
            return self.single(rng)
        if kind < 0.60:
            return self.spelling(rng)
        if kind < 0.68:
            return self.near_miss(rng)
        if kind < 0.78:
            return self.utterance([rng.choice(self._workshop) for _ in range(rng.randint(1, 5))], rng)
        return self._english_words(rng, prose=kind < 0.88)

    def reading(self, rng: random.Random) -> TrainingText:
        """A reading of an instrument, or digits: numbers are the hardest answers, all short words that rhyme."""
        if rng.random() < 0.25:
            return self.digits(rng)
        measuring = [step for step in self._steps if step.request.units]
        while True:
            step = rng.choice(measuring)
            words = step.sample(rng)
            result = step.parse(words)
            if result is not None and result.value is not None:
                return self.utterance(words.split(), rng)

    def answer(self, rng: random.Random) -> tuple[StepGrammar, TrainingText]:
        """An answer together with its grammar."""
        step = rng.choice(self._steps)
        return step, self.utterance(step.sample(rng).split(), rng)

    def other(self, rng: random.Random) -> TrainingText:
        """Words that answer nothing: plain text, or random English words."""
        return self._english_words(rng, prose=bool(self._prose) and rng.random() < 0.6)

    def _english_words(self, rng: random.Random, *, prose: bool) -> TrainingText:
        if prose and self._prose:
            run = rng.choice(self._prose)
            start = rng.randrange(len(run) - 1)
            return self.utterance(run[start : start + rng.randint(2, 8)], rng)
        return self.utterance([rng.choice(self._english) for _ in range(rng.randint(2, 6))], rng)

    def single(self, rng: random.Random) -> TrainingText:
        """One short word by itself, mostly one that answers; such words have nothing beside them that helps."""
        if rng.random() < 0.7:
            return self.utterance([rng.choice(self._short)], rng)
        return self.utterance([rng.choice(self._workshop if rng.random() < 0.5 else self._english)], rng)

    def near_miss(self, rng: random.Random) -> TrainingText:
        """An answer in which a word is another one that sounds much like it, or in which a word is too many."""
        words = rng.choice(self._steps).sample(rng).split()[:6]
        place = rng.randrange(len(words))
        known = self._lexicon.pronunciations(words[place])
        near = self._near.of(rng.choice(known)) if known else []
        if near:
            words[place : place + 1] = rng.choice(near)
        else:
            words.insert(rng.randint(0, len(words)), rng.choice(self._english))
        return self.utterance(words, rng)

    def digits(self, rng: random.Random) -> TrainingText:
        """Single digits, now and then with a point and a unit, or a whole number."""
        if rng.random() < 0.65:
            words = [rng.choice(DIGITS) for _ in range(rng.randint(1, 5))]
            if rng.random() < 0.5:
                words.insert(rng.randint(0, len(words) - 1), "point")
            if rng.random() < 0.3:
                words.append(rng.choice(("volts", "ohms", "amps")))
            return self.utterance(words, rng)
        value = Decimal(rng.randrange(10 ** rng.randint(1, 4)))
        return self.utterance(in_words(value).split(), rng)

    def spelling(self, rng: random.Random) -> TrainingText:
        """Letters by name or by the spelling alphabet."""
        if rng.random() < 0.5:
            known = [word for word in SPELLING if self.knows(word)]
            return self.utterance([rng.choice(known) for _ in range(rng.randint(1, 5))], rng)
        letters = [rng.choice(string.ascii_lowercase) for _ in range(rng.randint(1, 5))]
        sounds = [LETTERS[letter] for letter in letters]
        phones = [to_arpabet(sound) or () for sound in sounds]
        return TrainingText(tuple(letter.upper() for letter in letters), tuple(sounds), tuple(phones))


class NearMisses:
    """Finds words, or two words, that sound almost like a word: one phone changed, lost or added.

    Args:
        known: English words with their phones.
    """

    def __init__(self, known: Mapping[str, Pronunciation]) -> None:
        self._words: dict[Pronunciation, list[str]] = {}
        for word, said in known.items():
            self._words.setdefault(said, []).append(word)

    def of(self, said: Pronunciation) -> list[list[str]]:
        """The near misses of a pronunciation; the words that sound the same are none."""
        near = {
            (*said[:place], *other, *said[place + long :])
            for place in range(len(said) + 1)
            for long in (0, 1)
            for other in [(), *((phone,) for phone in PHONES)]
        }
        found = [[word] for one in sorted(near - {said}) for word in self._words.get(one, ())]
        for place in range(1, len(said)):
            before, after = self._words.get(said[:place], ()), self._words.get(said[place:], ())
            found += [[first, second] for first in before for second in after]
        return found
