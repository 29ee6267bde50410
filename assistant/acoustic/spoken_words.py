"""All pronunciations of words as people say them: the lexicon's, the large dictionary's, and British ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant import resources
from assistant.acoustic.phones import read_dictionary, to_arpabet
from assistant.grammar.english import look_up
from assistant.grammar.lexicon import Pronunciation, parse_lexicon

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence
    from pathlib import Path


def pronunciations(
    british: Path | None = None,
) -> Callable[[Collection[str]], Mapping[str, Sequence[Pronunciation]]]:
    """Looks words up, each with its usual pronunciation first.

    Args:
        british: The misaki dictionary of British English, gzipped JSON; None to do without.
    """
    file = resources.directory("grammars") / "lexicon.txt"
    lexicon = parse_lexicon(file.read_bytes(), file)
    theirs = read_dictionary(british) if british is not None else {}

    def found(words: Collection[str]) -> Mapping[str, Sequence[Pronunciation]]:
        ours = look_up(words)
        known: dict[str, list[Pronunciation]] = {}
        for word in words:
            said = [*lexicon.pronunciations(word), *ours.get(word, ())]
            if said and word in theirs:
                said.append(to_arpabet(theirs[word]) or said[0])
            if said:
                known[word] = list(dict.fromkeys(said))
        return known

    return found
