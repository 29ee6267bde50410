"""A grammar only for measuring: any words and any JSGF, with pronunciations from a large dictionary.

The meaning of a phrase is its words, without those that make no difference ("ten of clubs", "ten clubs").
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.values.result import GrammarRequest, Result
from assistant.errors import FileProblem, GearProblem, ModelProblem
from assistant.grammar import english, jsgf
from assistant.grammar.automaton import Automaton, Builder
from assistant.grammar.compiling import compile_rule
from assistant.grammar.lexicon import Lexicon, Pronunciation
from assistant.grammar.parts import Parts
from assistant.grammar.step_grammar import StepGrammar

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

_ENTRY = re.compile(r"([^\s(]+)(?:\(\d+\))?\s+(.+)")


class WordSet(StepGrammar):
    """A grammar for measuring, used like that of a step.

    Args:
        text: JSGF with one public rule.
        lexicon: Pronunciations of its words.
        same: Words that mean the same as another one, or nothing ("").
        path: File for error messages about the text.
        line: Its line there.

    Raises:
        FileProblem: The text is not JSGF, or has no public rule.
    """

    def __init__(self, text: str, lexicon: Lexicon, same: Mapping[str, str], path: Path, line: int) -> None:
        super().__init__(GrammarRequest(), Parts(), lexicon)
        try:
            linked = jsgf.link([jsgf.parse(text.encode(), path)])
        except FileProblem as problem:
            raise FileProblem(path, line, f"its grammar: {problem.problem}", problem.remedy) from problem
        rule = next((key for key, rule in linked.rules.items() if rule.public), None)
        if rule is None:
            raise FileProblem(path, line, "its grammar has no public rule", "Write 'public <name> = …;'")
        network = compile_rule(linked, rule)
        if network.loop() is not None:
            raise FileProblem(path, line, "its grammar has phrases without end", "Write them out")
        pieces = Builder()
        start, end = pieces.state(), pieces.state()
        pieces.network(network, start, end)
        self.jsgf = text
        self._same = dict(same)
        self._place = (str(path), line)
        self._language = Automaton.of(pieces, start, end)

    def automaton(self) -> Automaton:
        """The acceptor of all phrases."""
        return self._language

    def parse(self, words: str) -> Result | None:
        """The words as an outcome; None if they are not a phrase."""
        if not self._language.accepts(words.split()):
            return None
        return Result(outcome=self.meaning(words))

    def meaning(self, words: str) -> str:
        """The words in a form that is equal for all phrases of one meaning."""
        return "-".join(filter(None, (self._same.get(word, word) for word in words.split())))

    def phrases(self) -> list[str]:
        """Nothing, because there may be too many to write out."""
        return []

    def words(self) -> dict[str, tuple[str, int]]:
        """Every word, with the place of the grammar in the manifest."""
        return {word: self._place for arcs in self._language.states for word in arcs}

    def without(self, missing: Collection[str], remedy: str = "") -> StepGrammar:
        """The same grammar if it has none of these words.

        Raises:
            ModelProblem: It has one; leaving it out would change the measurement.
        """
        lost = sorted(set(missing) & self.words().keys())
        if lost:
            raise ModelProblem(f"The recogniser's model does not know {', '.join(lost)}. {remedy}".strip())
        return self


def of_words(words: Collection[str]) -> str:
    """JSGF of single words."""
    return f"#JSGF V1.0;\ngrammar words;\npublic <word> = {' | '.join(words)};\n"


def dictionary(words: Collection[str], own: Lexicon) -> Lexicon:
    """Pronunciations of words: our own, those of our large dictionary, and otherwise PocketSphinx's (US English).

    Raises:
        GearProblem: A word is in neither, or PocketSphinx is not installed.
    """
    entries: dict[str, tuple[Pronunciation, ...]] = {w: own.pronunciations(w) for w in words if w in own}
    if wanted := set(words) - entries.keys():
        entries |= english.look_up(wanted)
    wanted = set(words) - entries.keys()
    if wanted:
        for line in files.read_text(_dictionary_file(), files.TABLE).splitlines():
            entry = _ENTRY.fullmatch(line)
            if entry and entry[1] in wanted:
                entries[entry[1]] = (*entries.get(entry[1], ()), tuple(entry[2].split()))
    lost = sorted(set(words) - entries.keys())
    if lost:
        raise GearProblem(f"No dictionary here says how to pronounce {', '.join(lost)}.")
    return Lexicon(entries, own.path)


def _dictionary_file() -> Path:
    try:
        import pocketsphinx  # noqa: PLC0415  optional
    except (ImportError, OSError) as error:
        raise GearProblem(
            "The pronouncing dictionary of the Python package 'pocketsphinx' is needed, and the package is not "
            "installed (pip install pocketsphinx)."
        ) from error
    return Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict"))
