"""PocketSphinx as a listener: only the sound gives the words away.

To PocketSphinx every word that the assistant can say is equally likely, whatever came before it (a uniform unigram
language model).
If its dictionary lacks a word, our lexicon supplies the pronunciation; a word that both lack does not count.
"""

from __future__ import annotations

import math
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.hearing.sound import RATE
from assistant.hearing_bench import pocketsphinx
from assistant.hearing_bench.listening.noise import to_ear

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.hearing_bench.mixing import Signal


class Sphinx:
    """PocketSphinx with the words of the program, each as likely as any other.

    Args:
        vocabulary: All words.
        lexicon: Our lexicon, for words that PocketSphinx lacks.

    Raises:
        GearProblem: PocketSphinx is not installed.
    """

    def __init__(self, vocabulary: Iterable[str], lexicon: Lexicon) -> None:
        library = pocketsphinx.library()
        self.name = pocketsphinx.name()
        self._decoder: Any = library.Decoder(
            hmm=library.get_model_path("en-us/en-us"),
            dict=library.get_model_path("en-us/cmudict-en-us.dict"),
            lm=None,
            loglevel="FATAL",
        )
        known: list[str] = []
        unknown: list[str] = []
        for word in sorted(set(vocabulary)):
            if self._decoder.lookup_word(word) is None:
                for number, phones in enumerate(_pronounced(word, lexicon), start=1):
                    entry = word if number == 1 else f"{word}({number})"
                    self._decoder.add_word(entry, " ".join(phones), update=False)
            (known if self._decoder.lookup_word(word) is not None else unknown).append(word)
        self.unknown = frozenset(unknown)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "words.lm"
            path.write_text(_unigrams(known), encoding="utf-8")
            self._decoder.add_lm_file("words", str(path))
        self._decoder.activate_search("words")

    def sound(self, word: str) -> str:
        """The sound of a word, its first pronunciation in the CMU dictionary; the word itself if that lacks it."""
        return str(self._decoder.lookup_word(word) or word)

    def hear(self, whole: Signal) -> str:
        """The words heard in a mixture (`assistant.hearing_bench.listening.noise.RATE`)."""
        self._decoder.start_utt()
        self._decoder.process_raw(to_ear(whole, RATE).tobytes(), full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return str(found.hypstr) if found and found.hypstr else ""


def _pronounced(word: str, lexicon: Lexicon) -> tuple[tuple[str, ...], ...]:
    try:
        return tuple(tuple(phones) for phones in lexicon.pronunciations(word))
    except KeyError:
        return ()


def _unigrams(words: Sequence[str]) -> str:
    """An ARPA language model in which every word, and the end, is equally likely after anything."""
    share = -math.log10(len(words) + 1)
    lines = ["\\data\\", f"ngram 1={len(words) + 2}", "", "\\1-grams:", "-99 <s>", f"{share:.4f} </s>"]
    return "\n".join([*lines, *(f"{share:.4f} {word}" for word in words), "", "\\end\\", ""])
