"""Grammars of other jobs, for calibrating on people: few recordings of people hold words of the procedures.

A task is a JSGF grammar (a list of choices, or whole sentences); two phrases mean the same if their tags are the
same, in any order.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.core.values.result import GrammarRequest, Result
from assistant.grammar import english, jsgf
from assistant.grammar.automaton import Automaton, Builder
from assistant.grammar.compiling import compile_rule
from assistant.grammar.parts import Parts
from assistant.grammar.step_grammar import StepGrammar

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.grammar.lexicon import Lexicon


class TaskGrammar(StepGrammar):
    """The phrases of a task, for the recogniser and the judgement.

    Args:
        text: A JSGF grammar with one public rule, whose tags are the meaning.
        lexicon: Pronunciations; words that it lacks are looked up in the large English dictionary.
        listed: Its phrases, if they are few.

    Raises:
        FileProblem: The grammar is malformed.
    """

    def __init__(self, text: str, lexicon: Lexicon, listed: Sequence[str] = ()) -> None:
        super().__init__(GrammarRequest(), Parts(), lexicon)
        self._listed = list(listed)
        grammar = jsgf.parse(text.encode(), Path("task.jsgf"))
        linked = jsgf.link([grammar])
        rule = next(rule for rule in grammar.rules.values() if rule.public)
        self._network = compile_rule(linked, f"{grammar.name}.{rule.name}")
        if missing := {word for word in self.words() if word not in lexicon}:
            lexicon.entries.update(english.look_up(missing))

    @classmethod
    def of_choices(cls, phrases: Sequence[str], lexicon: Lexicon) -> TaskGrammar:
        """A task of one phrase out of several."""
        choices = " | ".join(f"{phrase} {{{phrase}}}" for phrase in phrases)
        return cls(f"#JSGF V1.0 UTF-8 en;\ngrammar task;\npublic <task> = {choices};\n", lexicon, phrases)

    def parse(self, words: str) -> Result | None:
        """The meaning of these words: their tags, as an outcome."""
        tags = self._network.tags(tuple(words.split()))
        return Result(outcome="; ".join(sorted(next(iter(tags))))) if tags else None

    def phrases(self) -> list[str]:
        """The choices; nothing for whole sentences, of which there would be too many."""
        return self._listed

    def words(self) -> dict[str, tuple[str, int]]:
        """Every word, with its file and line."""
        return {word: (at.file, at.line) for word, at in self._network.words_in_use().items()}

    @cached_property
    def _automaton(self) -> Automaton:
        pieces = Builder()
        start, end = pieces.state(), pieces.state()
        pieces.network(self._network, start, end)
        return Automaton.of(pieces, start, end)
