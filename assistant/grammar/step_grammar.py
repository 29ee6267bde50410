"""The language of one moment: its phrases, an acceptor, and a strict parser.

A `StepGrammar` holds what the dialogue listens for at one step: ``[place] outcome``, ``[place] number [unit]``
with the units of the step, and the dialogue's control words; while a fact is asked for, also spelled signs.

A phrase with more than one meaning is refused when the grammar is built, and forms are left out that a word lost in
noise would turn into something else (see `assistant.grammar.losses`).
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar import numbers
from assistant.grammar.automaton import Automaton, Builder
from assistant.grammar.lacking import sayable_parts
from assistant.grammar.losses import (
    doubtful,
    without_look_alikes,
    without_lossy_controls,
    without_lossy_units,
)

if TYPE_CHECKING:
    import random
    from collections.abc import Collection, Iterator

    from assistant.grammar.forms import LeftOut
    from assistant.grammar.lexicon import Lexicon
    from assistant.grammar.network import Position
    from assistant.grammar.parts import Parts
    from assistant.grammar.phrases import Phrase


class StepGrammar:
    """The language of one moment.

    Attributes:
        request: The dialogue's request.
        left_out: Forms that exist but are left out here, with the reason.
        lexicon: Pronunciations of the words.
    """

    def __init__(
        self,
        request: GrammarRequest,
        parts: Parts,
        lexicon: Lexicon,
        left_out: tuple[LeftOut, ...] = (),
    ) -> None:
        self.request = request
        self.lexicon = lexicon
        self._given = parts
        self._unknown_to_model = left_out
        units, lossy_units = without_lossy_units(parts.units)
        controls, lossy_controls = without_lossy_controls(parts.controls, parts.outcomes, lexicon)
        number, signs = parts.number, parts.signs
        alone = [
            word
            for word in (number.words() if number else ())
            if number and number.parse((word,)) is not None
        ]
        alone += signs.words() if signs else ()
        controls, outcomes, alike = without_look_alikes(controls, parts.outcomes, alone, lexicon)
        self._left_out = (*left_out, *lossy_units, *lossy_controls, *alike)
        self._parts = replace(parts, units=units, controls=controls, outcomes=outcomes)
        self._table: dict[tuple[str, ...], tuple[Result, Phrase]] = {}
        for phrase, result in self._said():
            self._enter(phrase, result)
        self._place_of = {form.text: name for name, form in parts.places.each()}
        self._unit_of = {form.text: name for name, form in units.each()}
        if parts.number:
            for words, (_, phrase) in self._table.items():
                if self._reading(words) is not None:
                    place = phrase.words[0].place
                    raise FileProblem(
                        place.file, place.line, f"'{phrase}' is also a number", "Use other words"
                    )
        for words, (_, phrase) in self._table.items():
            if self._spelled(words) is not None:
                place = phrase.words[0].place
                raise FileProblem(
                    place.file, place.line, f"'{phrase}' is also a spelled group", "Use other words"
                )

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Forms that exist but are left out here."""
        return self._left_out

    # --- building ---

    def _said(self) -> Iterator[tuple[Phrase, Result]]:
        """Every phrase that is not a reading, with its meaning; an answer that begins like a place is that answer."""
        whole = {form.text for _, form in self._parts.outcomes.each()}
        for name, form in self._parts.outcomes.each():
            yield form, Result(outcome=name)
        for name, form in self._parts.controls.each():
            yield form, Result(control=Control(name))
        for place, where in self._parts.places.each():
            for name, form in self._parts.outcomes.each():
                if (where + form).text not in whole:
                    yield where + form, Result(outcome=name, place=place)

    def _enter(self, phrase: Phrase, result: Result) -> None:
        known = self._table.setdefault(phrase.text, (result, phrase))
        if known[0] != result:
            first, place = known[1].words[-1].place, phrase.words[-1].place
            raise FileProblem(
                place.file,
                place.line,
                f"'{phrase}' means both {_plain(known[0])} ({first.file}:{first.line}) and {_plain(result)}",
                "Give one of them other words",
            )

    # --- understanding ---

    def parse(self, words: str) -> Result | None:
        """The meaning of these words as a whole phrase; None unless they are exactly in the grammar."""
        split = tuple(words.split())
        known = self._table.get(split)
        return known[0] if known else self._reading(split) or self._spelled(split)

    def _spelled(self, words: tuple[str, ...]) -> Result | None:
        """Spelled signs; digits may have a unit behind them."""
        if self._parts.signs is None:
            return None
        count = next(
            (at for at, word in enumerate(words) if word not in self._parts.signs.words()), len(words)
        )
        signs, unit = self._parts.signs.parse(words[:count]), self._unit_of.get(words[count:])
        if signs is None or (count < len(words) and unit is None):
            return None
        return Result(signs=signs, unit=unit)

    def _reading(self, words: tuple[str, ...]) -> Result | None:
        if self._parts.number is None:
            return None
        spoken = self._parts.number.words()
        first = next((index for index, word in enumerate(words) if word in spoken), None)
        if first is None:
            return None
        last = max(index for index, word in enumerate(words) if word in spoken) + 1
        place, unit = self._place_of.get(words[:first]), self._unit_of.get(words[last:])
        if (first and place is None) or (last < len(words) and unit is None):
            return None
        value = self._parts.number.parse(words[first:last])
        return None if value is None else Result(value=value, unit=unit, place=place)

    def is_doubtful(self, words: str) -> bool:
        """Whether another answer sounds so much like this one that a person has to say yes to it."""
        return any(words.split()[-len(form) :] == list(form) for form in self._doubtful)

    def is_complete(self, words: str) -> bool:
        """Whether these words are a whole phrase."""
        return self.automaton().accepts(words.split())

    def can_continue(self, words: str) -> bool:
        """Whether these words are a whole phrase and also the beginning of a longer one."""
        state = self.automaton().state_after(words.split())
        return state in self.automaton().finals and bool(self.automaton().states[state])

    def is_beginning(self, words: str) -> bool:
        """Whether some phrase begins with these words, or is these words."""
        return self.automaton().state_after(words.split()) is not None

    @cached_property
    def _doubtful(self) -> frozenset[tuple[str, ...]]:
        return doubtful(self._parts.outcomes)

    # --- the language ---

    def phrases(self) -> list[str]:
        """Every phrase that is not a reading: outcomes, controls, outcomes with each place."""
        return [" ".join(words) for words in self._table]

    def meanings(self) -> list[tuple[Phrase, Result]]:
        """The same phrases with their meanings and the places of their words."""
        return [(phrase, result) for result, phrase in self._table.values()]

    def units(self) -> tuple[str, ...]:
        """Units that can be said."""
        return tuple(self._parts.units.of)

    def unit_forms(self, unit: str) -> tuple[Phrase, ...]:
        """Spoken forms of a unit, the usual one first."""
        return self._parts.units.of[unit]

    def signs(self) -> tuple[tuple[str, str, Position], ...]:
        """Words of spelled signs, each with its sign and its place."""
        if self._parts.signs is None:
            return ()
        places = self._parts.signs.words()
        return tuple(
            (word, sign, places[word]) for sign, words in self._parts.signs.forms.items() for word in words
        )

    def place_forms(self) -> tuple[Phrase, ...]:
        """Spoken forms of all places."""
        return tuple(form for _, form in self._parts.places.each())

    def words(self) -> dict[str, tuple[str, int]]:
        """Every word of the language, with its file and line."""
        found: dict[str, tuple[str, int]] = {}
        parts = [self._parts.outcomes, self._parts.controls, self._parts.units]
        if self._parts.outcomes.of or self._parts.number:
            parts.append(self._parts.places)
        for forms in parts:
            for _, form in forms.each():
                for word in form.words:
                    found.setdefault(word.text, (word.place.file, word.place.line))
        for text, place in (self._parts.number.words() if self._parts.number else {}).items():
            found.setdefault(text, (place.file, place.line))
        for text, place in (self._parts.signs.words() if self._parts.signs else {}).items():
            found.setdefault(text, (place.file, place.line))
        return found

    def automaton(self) -> Automaton:
        """The deterministic, minimal acceptor of the whole language, numbers included."""
        return self._automaton

    @cached_property
    def _automaton(self) -> Automaton:
        pieces = Builder()
        start, placed, end = pieces.state(), pieces.state(), pieces.state()
        pieces.skip(start, placed)
        for _, form in self._parts.controls.each():
            pieces.phrase(form.text, start, end)
        for _, form in self._parts.places.each():
            pieces.phrase(form.text, start, placed)
        for _, form in self._parts.outcomes.each():
            pieces.phrase(form.text, placed, end)
        if self._parts.number:
            counted = pieces.state()
            pieces.network(self._parts.number.network, placed, counted)
            pieces.skip(counted, end)
            for _, form in self._parts.units.each():
                pieces.phrase(form.text, counted, end)
        if self._parts.signs:
            spelled = pieces.state()
            pieces.network(self._parts.signs.network, start, spelled)
            pieces.skip(spelled, end)
            for _, form in self._parts.units.each():
                pieces.phrase(form.text, spelled, end)
        return Automaton.of(pieces, start, end)

    def canonical(self, name: str) -> str:
        """The usual spoken form of an outcome, a control word or a unit of this grammar.

        Raises:
            UsageProblem: This grammar has no such name.
        """
        for forms in (self._parts.outcomes, self._parts.controls, self._parts.units):
            if str(name) in forms.of:
                return str(forms.of[str(name)][0])
        raise UsageProblem(f"This step has no '{name}'.")

    def sample(self, rng: random.Random) -> str:
        """A random phrase; all kinds in the request (outcome, reading, control) are equally likely."""
        kinds = [forms for forms in (self._parts.outcomes, self._parts.controls) if forms.of]
        pick = rng.randrange(len(kinds) + (self._parts.number is not None) + (self._parts.signs is not None))
        if self._parts.signs is not None and pick == len(kinds):
            return self._parts.signs.sample(rng)
        if pick < len(kinds) and kinds[pick] is self._parts.controls:
            return str(rng.choice([form for _, form in self._parts.controls.each()]))
        words: list[str] = []
        if self._parts.places.of and rng.random() < 0.5:
            words += rng.choice([form for _, form in self._parts.places.each()]).text
        if pick < len(kinds):
            return " ".join((*words, *rng.choice([form for _, form in self._parts.outcomes.each()]).text))
        value = Decimal(rng.randrange(0, 10000) if rng.random() < 0.2 else rng.randrange(0, 100))
        decimals = rng.choice((0, 1, 1, 2))
        value = value.scaleb(-decimals) if decimals else value
        one_by_one = self.request.digits and len(f"{value}") != 2 and rng.random() < 0.7
        words += (numbers.by_digits if one_by_one else numbers.in_words)(value).split()
        if self._parts.units.of and rng.random() < 0.7:
            words += rng.choice([form for _, form in self._parts.units.each()]).text
        return " ".join(words)

    # --- models that lack words ---

    def without(
        self,
        missing: Collection[str],
        remedy: str = "Use a model that knows the word, or add another spoken form to the grammar",
    ) -> StepGrammar:
        """The same grammar for a recogniser that lacks these words.

        It leaves out the forms that need one of them, and `left_out` lists these. A place may lose all its forms;
        so may a unit, unless it is the first of the request (the step's own), and a control word that has a key and
        that the dialogue can do without.

        Args:
            missing: The words.
            remedy: Advice for the error message, a sentence without its full stop.

        Raises:
            ModelProblem: An outcome, the step's own unit, a control word or a number could not be said at all;
                the message names the words and their places.
        """
        gone = set(missing)
        if gone.isdisjoint(self.words()):
            return self
        parts, unknown = sayable_parts(self._given, gone, self.request.units, remedy)
        return StepGrammar(self.request, parts, self.lexicon, (*self._unknown_to_model, *unknown))


def _plain(result: Result) -> str:
    what = result.outcome or (result.control.value if result.control else str(result.value))
    return f"{what} at {result.place}" if result.place else what
