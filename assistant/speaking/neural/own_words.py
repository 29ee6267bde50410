"""Words that an author added to the lexicon beside the grammars, which the recogniser reads anyway."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from assistant import files, resources
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar.grammar_set import LEXICON
from assistant.grammar.lexicon import parse_lexicon

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.grammar.lexicon import Lexicon


class OwnWords:
    """The words of one lexicon; the file is read when the first word is asked for, which is seldom.

    Args:
        path: The file; None for the one of the bundled grammars.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path

    def phones(self, word: str) -> tuple[str, ...]:
        """The usual pronunciation of a word in small letters; empty if the file lacks it or cannot be read.

        What is wrong with the file is told where the grammars are loaded, not here.
        """
        return next(iter(self._lexicon.pronunciations(word)), ()) if self._lexicon else ()

    @functools.cached_property
    def _lexicon(self) -> Lexicon | None:
        try:
            path = self._path or resources.directory("grammars") / LEXICON
            return parse_lexicon(files.read_bytes(path, files.TABLE), path)
        except (OSError, FileProblem, UsageProblem):
            return None
