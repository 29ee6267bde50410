"""The language of one moment: its phrases, an acceptor, and a strict parser.

A `GrammarSet` is the folder of JSGF grammars, read and checked once.
A `StepGrammar` holds what the dialogue listens for at one step: ``[place] outcome``, ``[place] number [unit]``
with the units of the step, and the dialogue's control words; while a fact is asked for, also spelled signs.

The meaning of a phrase is in its tags: ``{outcome=lit}``, ``{place=feed}``, ``{unit=V}``, ``{control=stop}``,
``{number=12}`` (see `assistant.grammar.numbers`), ``{sign=A}`` (see `assistant.grammar.spelling`).
A phrase with more than one meaning is refused when the grammar is built.

Two guards protect against a word that is lost in noise:

- A form of a unit that loses words and becomes another unit of the step ("kilo ohms", "ohms") is left out while
  its unit has another form.
- A form of a control word that another phrase of the step becomes by losing short words ("no" beside "no
  spark") is left out, too.

`assistant.grammar.lint` checks what remains.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.values.result import KEYED_AS_WELL, Control, GrammarRequest, Result, Spelling
from assistant.errors import FileProblem, ModelProblem, UsageProblem
from assistant.grammar import english, jsgf, numbers, spelling
from assistant.grammar.counting import SizeCounter
from assistant.grammar.lexicon import Lexicon, parse_lexicon
from assistant.grammar.network import MOST_READINGS, Automaton, Builder, Network, Position, compile_rule
from assistant.grammar.numbers import NumberGrammar
from assistant.grammar.phrases import Phrase, phrases
from assistant.grammar.spelling import SpellingGrammar

if TYPE_CHECKING:
    import random
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

UNITS = ("V", "mV", "A", "ohm", "kilohm", "megohm", "rpm", "s", "ms", "km", "miles", "celsius", "fahrenheit")
"""Units of a reading, as `assistant.core.values.result.Result` names them."""

LEXICON = "lexicon.txt"
"""Name of the pronouncing lexicon in the folder of grammars."""

_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?")
_NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
_KINDS = ("outcome", "place", "unit", "control")


@dataclass(frozen=True)
class LeftOut:
    """A form that a step grammar leaves out, and why."""

    words: str
    place: Position
    why: str


@dataclass(frozen=True)
class _Forms:
    """The spoken forms of every name of one kind, in the order of the files."""

    of: dict[str, tuple[Phrase, ...]]

    def only(self, names: Iterable[str]) -> _Forms:
        return _Forms({name: self.of[name] for name in names})

    def each(self) -> Iterator[tuple[str, Phrase]]:
        for name, forms in self.of.items():
            for form in forms:
                yield name, form


class GrammarSet:
    """A folder of grammars with its lexicon, read and checked."""

    def __init__(
        self,
        forms: dict[str, _Forms],
        number: NumberGrammar | None,
        files: dict[str, dict[str, tuple[str, ...]]],
        lexicon: Lexicon,
        signs: SpellingGrammar | None = None,
    ) -> None:
        self._forms = forms
        self._files = files
        self.signs = signs
        self._built: dict[GrammarRequest, StepGrammar] = {}
        self.number = number
        self.lexicon = lexicon

    @classmethod
    def load(cls, directory: Path | str) -> GrammarSet:
        """Read every ``*.jsgf`` file and the lexicon of a folder.

        A word that the lexicon does not have is looked up in the large English dictionary.

        Raises:
            FileProblem: The folder or a file cannot be read or is malformed.
        """
        directory = Path(directory)
        try:
            paths = [*sorted(directory.glob("*.jsgf")), directory / LEXICON]
            contents = {
                path: files.read_bytes(path, files.TABLE if path.name == LEXICON else files.SETTINGS)
                for path in paths
            }
        except OSError as error:
            raise FileProblem(
                error.filename or directory,
                0,
                f"cannot be read ({error.strerror})",
                "Name a folder of grammars",
            ) from error
        grammars = cls.from_files(contents)
        if missing := {word for word in grammars.words() if word not in grammars.lexicon}:
            grammars.lexicon.entries.update(english.look_up(missing))
        return grammars

    @classmethod
    def from_files(cls, contents: Mapping[Path, bytes]) -> GrammarSet:
        """Read the same from the contents of the files.

        Raises:
            FileProblem: A file is malformed.
        """
        lexicon = Lexicon({}, Path(LEXICON))
        grammars = []
        for path, data in contents.items():
            if path.name == LEXICON:
                lexicon = parse_lexicon(data, path)
            else:
                grammars.append(jsgf.parse(data, path))
        if not grammars:
            raise FileProblem(
                next(iter(contents), Path()).parent,
                0,
                "there is no grammar here",
                "Name a folder of grammars",
            )
        linked = jsgf.link(grammars)
        counter = SizeCounter(linked)
        forms: dict[str, dict[str, list[Phrase]]] = {kind: {} for kind in _KINDS}
        number: NumberGrammar | None = None
        signs: SpellingGrammar | None = None
        named: dict[str, dict[str, tuple[str, ...]]] = {}
        for grammar in grammars:
            found: dict[str, list[str]] = {}
            for rule in grammar.rules.values():
                if not rule.public:
                    continue
                key = f"{grammar.name}.{rule.name}"
                counter.check_network(key)
                if _is_number(linked, key):
                    if number is not None:
                        raise FileProblem(
                            grammar.path, rule.line, "there are two rules for numbers", "Keep one"
                        )
                    number = _number(linked, key)
                    found["number"] = []
                    continue
                if _has_only(linked, key, spelling.KEY):
                    if signs is not None:
                        raise FileProblem(
                            grammar.path, rule.line, "there are two rules for spelled signs", "Keep one"
                        )
                    signs = _spelling(linked, key)
                    continue
                for phrase in phrases(linked, key, counter):
                    kind, name = _meaning(phrase, grammar.path, rule)
                    forms[kind].setdefault(name, []).append(phrase)
                    if name not in found.setdefault(kind, []):
                        found[kind].append(name)
            named[grammar.name] = {kind: tuple(names) for kind, names in found.items()}
        kinds = {kind: _Forms({n: tuple(f) for n, f in names.items()}) for kind, names in forms.items()}
        _check_separate(kinds, number)
        return cls(kinds, number, named, lexicon, signs)

    def outcomes(self) -> tuple[str, ...]:
        """Names of all outcomes that can be said."""
        return tuple(self._forms["outcome"].of)

    def places(self) -> tuple[str, ...]:
        """Names of all places that can be said."""
        return tuple(self._forms["place"].of)

    def controls(self) -> tuple[Control, ...]:
        """All control words that can be said."""
        return tuple(Control(name) for name in self._forms["control"].of)

    def units(self) -> tuple[str, ...]:
        """All units that can be said."""
        return tuple(self._forms["unit"].of)

    def names(self) -> tuple[str, ...]:
        """Names of the grammars that `named` accepts."""
        return tuple(name for name, kinds in self._files.items() if _request_of(kinds) != GrammarRequest())

    def forms(self, kind: str, name: str) -> tuple[Phrase, ...]:
        """The spoken forms of an ``outcome``, ``place``, ``unit`` or ``control``, the usual one first."""
        return self._forms[kind].of[name]

    def words(self) -> dict[str, Position]:
        """Every word of all grammars, with its first place."""
        found: dict[str, Position] = {}
        for forms in self._forms.values():
            for _, form in forms.each():
                for word in form.words:
                    found.setdefault(word.text, word.place)
        found |= {
            word: place
            for word, place in (self.signs.words() if self.signs else {}).items()
            if word not in found
        }
        return found | (self.number.words() if self.number else {})

    def request(self, request: GrammarRequest) -> StepGrammar:
        """The grammar of a step; built once for each different request.

        Raises:
            FileProblem: Some answer that the request names has no phrase, or a phrase would have two meanings.
        """
        if request not in self._built:
            wanted = {
                "outcome": request.outcomes,
                "unit": request.units,
                "control": tuple(control.value for control in request.controls),
            }
            for kind, names in wanted.items():
                for name in names:
                    if name not in self._forms[kind].of:
                        raise FileProblem(
                            self.lexicon.path.parent,
                            0,
                            f"no phrase stands for the {kind} '{name}'",
                            f"Tag its phrases with {{{kind}={name}}} in one of the grammars",
                        )
            spelled = request.spelling is not Spelling.NONE
            if spelled and self.signs is None:
                raise FileProblem(
                    self.lexicon.path.parent, 0, "no rule has the tags of spelled signs", "Add spelling.jsgf"
                )
            counted = (bool(request.units) or request.counting) and not spelled
            if counted and self.number is None:
                raise FileProblem(
                    self.lexicon.path.parent, 0, "no rule has the tags of spoken numbers", "Add number.jsgf"
                )
            self._built[request] = StepGrammar(
                request,
                places=self._forms["place"] if request.places and not spelled else _Forms({}),
                outcomes=self._forms["outcome"].only(request.outcomes),
                units=self._forms["unit"].only(request.units),
                controls=self._forms["control"].only(wanted["control"]),
                number=self.number if counted else None,
                lexicon=self.lexicon,
                signs=self.signs.only(request.spelling) if self.signs and spelled else None,
            )
        return self._built[request]

    def named(self, name: str) -> StepGrammar:
        """A whole grammar file by name: its outcomes (with places), units (with numbers), or controls.

        Raises:
            UsageProblem: There is no such grammar, or it holds only parts of phrases, as places are.
        """
        if name not in self.names():
            raise UsageProblem(
                f"There is no grammar '{name}' to listen for. Grammars: {', '.join(self.names())}."
            )
        return self.request(_request_of(self._files[name]))


def _request_of(kinds: dict[str, tuple[str, ...]]) -> GrammarRequest:
    return GrammarRequest(
        kinds.get("outcome", ()),
        kinds.get("unit", ()),
        tuple(Control(name) for name in kinds.get("control", ())),
    )


def _is_number(linked: jsgf.Linked, key: str) -> bool:
    return _has_only(linked, key, numbers.KEY)


def _has_only(linked: jsgf.Linked, key: str, kind: str) -> bool:
    """Whether all tags of a rule are of one kind."""
    tags = compile_rule(linked, key).tags_in_use()
    return bool(tags) and all(tag.partition("=")[0] == kind for tag in tags)


def _finite(linked: jsgf.Linked, key: str, what: str) -> Network:
    """The network of a rule; it must be finite and must not be empty."""
    network = compile_rule(linked, key)
    rule = linked.rules[key]
    if (loop := network.loop()) is not None:
        raise FileProblem(
            loop.file, loop.line, f"{what} could go on for ever", "Write out how often it may be said"
        )
    if (crowd := network.crowded()) is not None:
        raise FileProblem(
            crowd.file,
            crowd.line,
            f"{what} has tags in more than {MOST_READINGS} ways without a word between them",
            "Put each tag behind a word of its own",
        )
    if network.accepts(()):
        raise FileProblem(
            linked.path(key), rule.line, f"{what} can be said without a word", "Make a part needed"
        )
    for word, place in network.words_in_use().items():
        _check_word(word, place)
    return network


def _spelling(linked: jsgf.Linked, key: str) -> SpellingGrammar:
    network = _finite(linked, key, "a spelled group")
    for tag, place in network.tags_in_use().items():
        if not spelling.is_tag_value(tag.partition("=")[2]):
            raise FileProblem(
                place.file, place.line, f"the tag {{{tag}}} means nothing", "Write {sign=A} or {sign=7}"
            )
    signs = SpellingGrammar(network)
    for word, place in signs.words().items():
        if len({tag for tags in network.tags((word,)) for tag in tags}) != 1:
            raise FileProblem(
                place.file,
                place.line,
                f"'{word}' is not the word of one sign",
                "Write one word for each sign",
            )
    return signs


def _number(linked: jsgf.Linked, key: str) -> NumberGrammar:
    network = _finite(linked, key, "a number")
    for tag, place in network.tags_in_use().items():
        if not numbers.is_tag_value(tag.partition("=")[2]):
            raise FileProblem(
                place.file,
                place.line,
                f"the tag {{{tag}}} means nothing",
                "Write {number=12}, {number=*100} or {number=.}",
            )
    return NumberGrammar(network)


def _check_word(word: str, place: Position) -> None:
    if not _WORD.fullmatch(word):
        raise FileProblem(
            place.file,
            place.line,
            f"'{word}' is not a spoken word in small letters",
            "Write 'twelve', not '12'",
        )


def _meaning(phrase: Phrase, path: Path, rule: jsgf.Rule) -> tuple[str, str]:
    """The kind and name in the only tag of a phrase."""
    if not phrase.words:
        raise FileProblem(
            path, rule.line, f"<{rule.name}> can be said without a word", "Make a part of it needed"
        )
    for word in phrase.words:
        _check_word(word.text, word.place)
    place = phrase.words[0].place
    tags = {tag.text for tag in phrase.tags}
    if len(tags) != 1:
        listed = ", ".join(f"{{{tag}}}" for tag in sorted(tags)) or "no tag"
        raise FileProblem(
            place.file, place.line, f"'{phrase}' has {listed}", "Give it one tag, such as {outcome=lit}"
        )
    kind, _, name = (part.strip() for part in tags.pop().partition("="))
    tag_place = phrase.tags[0].place
    right = {
        "outcome": bool(_NAME.fullmatch(name)),
        "place": bool(_NAME.fullmatch(name)),
        "unit": name in UNITS,
        "control": name in set(Control),
    }
    if not right.get(kind):
        remedy = {
            "unit": f"Units are {', '.join(UNITS)}",
            "control": f"Control words are {', '.join(Control)}",
        }.get(kind, "Write {outcome=…}, {place=…}, {unit=…} or {control=…} with a name in small letters")
        raise FileProblem(tag_place.file, tag_place.line, f"the tag {{{kind}={name}}} means nothing", remedy)
    return kind, name


def _check_separate(kinds: dict[str, _Forms], number: NumberGrammar | None) -> None:
    """Numbers, units and places share no word, outcomes and controls no name; a form has one meaning."""
    clash = set(kinds["outcome"].of) & set(kinds["control"].of)
    for name in clash:
        place = kinds["outcome"].of[name][0].words[0].place
        raise FileProblem(
            place.file,
            place.line,
            f"'{name}' is also the name of a control word",
            "Give the outcome another name",
        )
    for kind in ("place", "unit", "control"):
        seen: dict[tuple[str, ...], str] = {}
        for name, form in kinds[kind].each():
            if seen.setdefault(form.text, name) != name:
                place = form.words[0].place
                raise FileProblem(
                    place.file,
                    place.line,
                    f"'{form}' means both {seen[form.text]} and {name}",
                    "Keep one of them",
                )
    counted = set(number.words()) if number else set()
    measured = {word.text for _, form in kinds["unit"].each() for word in form.words}
    for kind, spoken in (("unit", counted), ("place", counted | measured)):
        for _, form in kinds[kind].each():
            for word in form.words:
                if word.text in spoken:
                    raise FileProblem(
                        word.place.file,
                        word.place.line,
                        f"'{word.text}' in '{form}' is also part of a reading",
                        "Use another word, so that a number always ends where it seems to",
                    )


def turns_into(
    longer: Sequence[str], shorter: Sequence[str], can_be_lost: Collection[str] | None = None
) -> bool:
    """Whether losing some words of `longer` leaves `shorter`.

    Args:
        longer: The spoken words.
        shorter: The words that are heard.
        can_be_lost: Words that may be lost; None means any word.
    """
    if len(longer) <= len(shorter):
        return False
    reached = {0}
    for word in longer:
        following = {at + 1 for at in reached if at < len(shorter) and shorter[at] == word}
        if can_be_lost is None or word in can_be_lost:
            following |= reached
        reached = following
    return len(shorter) in reached


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
        *,
        places: _Forms,
        outcomes: _Forms,
        units: _Forms,
        controls: _Forms,
        number: NumberGrammar | None,
        lexicon: Lexicon,
        left_out: tuple[LeftOut, ...] = (),
        signs: SpellingGrammar | None = None,
    ) -> None:
        self.request = request
        self.lexicon = lexicon
        self._signs = signs
        self._given = (places, outcomes, units, controls)
        self._number = number
        self._unknown_to_model = left_out
        self._left_out = list(left_out)
        self._places = places
        self._outcomes = outcomes
        self._units = self._without_lossy_units(units)
        short = {
            w.text
            for f in (places, outcomes, controls)
            for _, p in f.each()
            for w in p.words
            if lexicon.is_short(w.text)
        }
        self._controls = self._without_lossy_controls(controls, short)
        self._table: dict[tuple[str, ...], tuple[Result, Phrase]] = {}
        for phrase, result in self._said():
            self._enter(phrase, result)
        self._place_of = {form.text: name for name, form in places.each()}
        self._unit_of = {form.text: name for name, form in self._units.each()}
        if number:
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
        return tuple(self._left_out)

    # --- building ---

    def _without_lossy_units(self, units: _Forms) -> _Forms:
        kept = {}
        for name, forms in units.of.items():
            others = [form.text for other, form in units.each() if other != name]
            safe = tuple(form for form in forms if not any(turns_into(form.text, other) for other in others))
            kept[name] = safe or forms
            for form in forms:
                if form not in kept[name]:
                    why = "it would be another unit without its first word"
                    self._left_out.append(LeftOut(str(form), form.words[0].place, why))
        return _Forms(kept)

    def _without_lossy_controls(self, controls: _Forms, short: Collection[str]) -> _Forms:
        kept = {}
        for name, forms in controls.of.items():
            risky = [form.text for _, form in self._outcomes.each()]
            risky += [form.text for other, form in controls.each() if other != name]
            safe = tuple(f for f in forms if not any(turns_into(text, f.text, short) for text in risky))
            kept[name] = safe or forms
            for form in forms:
                if form not in kept[name]:
                    why = "another phrase of this step turns into it by losing a short word"
                    self._left_out.append(LeftOut(str(form), form.words[0].place, why))
        return _Forms(kept)

    def _said(self) -> Iterator[tuple[Phrase, Result]]:
        """Every phrase that is not a reading, with its meaning."""
        for name, form in self._outcomes.each():
            yield form, Result(outcome=name)
        for name, form in self._controls.each():
            yield form, Result(control=Control(name))
        for place, where in self._places.each():
            for name, form in self._outcomes.each():
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
        if self._signs is None:
            return None
        count = next((at for at, word in enumerate(words) if word not in self._signs.words()), len(words))
        signs, unit = self._signs.parse(words[:count]), self._unit_of.get(words[count:])
        if signs is None or (count < len(words) and unit is None):
            return None
        return Result(signs=signs, unit=unit)

    def _reading(self, words: tuple[str, ...]) -> Result | None:
        if self._number is None:
            return None
        spoken = self._number.words()
        first = next((index for index, word in enumerate(words) if word in spoken), None)
        if first is None:
            return None
        last = max(index for index, word in enumerate(words) if word in spoken) + 1
        place, unit = self._place_of.get(words[:first]), self._unit_of.get(words[last:])
        if (first and place is None) or (last < len(words) and unit is None):
            return None
        value = self._number.parse(words[first:last])
        return None if value is None else Result(value=value, unit=unit, place=place)

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

    # --- the language ---

    def phrases(self) -> list[str]:
        """Every phrase that is not a reading: outcomes, controls, outcomes with each place."""
        return [" ".join(words) for words in self._table]

    def meanings(self) -> list[tuple[Phrase, Result]]:
        """The same phrases with their meanings and the places of their words."""
        return [(phrase, result) for result, phrase in self._table.values()]

    def units(self) -> tuple[str, ...]:
        """Units that can be said."""
        return tuple(self._units.of)

    def unit_forms(self, unit: str) -> tuple[Phrase, ...]:
        """Spoken forms of a unit, the usual one first."""
        return self._units.of[unit]

    def signs(self) -> tuple[tuple[str, str, Position], ...]:
        """Words of spelled signs, each with its sign and its place."""
        if self._signs is None:
            return ()
        places = self._signs.words()
        return tuple(
            (word, sign, places[word]) for sign, words in self._signs.forms.items() for word in words
        )

    def place_forms(self) -> tuple[Phrase, ...]:
        """Spoken forms of all places."""
        return tuple(form for _, form in self._places.each())

    def words(self) -> dict[str, tuple[str, int]]:
        """Every word of the language, with its file and line."""
        found: dict[str, tuple[str, int]] = {}
        parts = [self._outcomes, self._controls, self._units]
        if self._outcomes.of or self._number:
            parts.append(self._places)
        for forms in parts:
            for _, form in forms.each():
                for word in form.words:
                    found.setdefault(word.text, (word.place.file, word.place.line))
        for text, place in (self._number.words() if self._number else {}).items():
            found.setdefault(text, (place.file, place.line))
        for text, place in (self._signs.words() if self._signs else {}).items():
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
        for _, form in self._controls.each():
            pieces.phrase(form.text, start, end)
        for _, form in self._places.each():
            pieces.phrase(form.text, start, placed)
        for _, form in self._outcomes.each():
            pieces.phrase(form.text, placed, end)
        if self._number:
            counted = pieces.state()
            pieces.network(self._number.network, placed, counted)
            pieces.skip(counted, end)
            for _, form in self._units.each():
                pieces.phrase(form.text, counted, end)
        if self._signs:
            spelled = pieces.state()
            pieces.network(self._signs.network, start, spelled)
            pieces.skip(spelled, end)
            for _, form in self._units.each():
                pieces.phrase(form.text, spelled, end)
        return Automaton.of(pieces, start, end)

    def canonical(self, name: str) -> str:
        """The usual spoken form of an outcome, a control word or a unit of this grammar.

        Raises:
            UsageProblem: This grammar has no such name.
        """
        for forms in (self._outcomes, self._controls, self._units):
            if str(name) in forms.of:
                return str(forms.of[str(name)][0])
        raise UsageProblem(f"This step has no '{name}'.")

    def sample(self, rng: random.Random) -> str:
        """A random phrase; all kinds in the request (outcome, reading, control) are equally likely."""
        kinds = [forms for forms in (self._outcomes, self._controls) if forms.of]
        pick = rng.randrange(len(kinds) + (self._number is not None) + (self._signs is not None))
        if self._signs is not None and pick == len(kinds):
            return self._signs.sample(rng)
        if pick < len(kinds) and kinds[pick] is self._controls:
            return str(rng.choice([form for _, form in self._controls.each()]))
        words: list[str] = []
        if self._places.of and rng.random() < 0.5:
            words += rng.choice([form for _, form in self._places.each()]).text
        if pick < len(kinds):
            return " ".join((*words, *rng.choice([form for _, form in self._outcomes.each()]).text))
        value = Decimal(rng.randrange(0, 10000) if rng.random() < 0.2 else rng.randrange(0, 100))
        decimals = rng.choice((0, 1, 1, 2))
        value = value.scaleb(-decimals) if decimals else value
        words += numbers.in_words(value).split()
        if self._units.of and rng.random() < 0.7:
            words += rng.choice([form for _, form in self._units.each()]).text
        return " ".join(words)

    # --- models that lack words ---

    def without(
        self,
        missing: Collection[str],
        remedy: str = "Use a model that knows the word, or add another spoken form to the grammar",
    ) -> StepGrammar:
        """The same grammar for a recogniser that lacks these words.

        Forms that need one of them are left out, and `left_out` lists them. So are all units except the first
        of the request, which is the step's own, and control words that have a key and that the dialogue can do
        without.

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
        left_out = list(self._unknown_to_model)
        lost: list[tuple[str, dict[str, Position]]] = []
        kept = []
        for kind, forms in zip(("place", "outcome", "unit", "control"), self._given, strict=True):
            sayable = {}
            for name, all_forms in forms.of.items():
                good = tuple(form for form in all_forms if gone.isdisjoint(form.text))
                for form in all_forms:
                    if form not in good:
                        words = ", ".join(f"'{word}'" for word in form.text if word in gone)
                        left_out.append(
                            LeftOut(str(form), form.words[0].place, f"the model does not know {words}")
                        )
                if good:
                    sayable[name] = good
                elif kind == "unit" and name != self.request.units[0]:
                    continue  # the step's own unit can be said; millivolts are a convenience beside volts
                elif kind == "control" and name in KEYED_AS_WELL:
                    continue
                elif kind != "place":
                    absent = {w.text: w.place for w in all_forms[0].words if w.text in gone}
                    lost.append((f"the {kind} '{name}'", absent))
            kept.append(_Forms(sayable))
        number = self._number
        if number:
            if numbers_lost := number.lost(gone):
                lost.append(("some numbers", numbers_lost))
            number = number.without(gone)
        signs = self._signs
        if signs:
            if signs_lost := signs.lost(gone):
                lost.append(("some signs", signs_lost))
            signs = signs.without(gone)
        if lost:
            whats = [what for what, _ in lost]
            absent = {word: place for _, words in lost for word, place in words.items()}
            named = ", ".join(f"'{word}' ({place.file}:{place.line})" for word, place in absent.items())
            raise ModelProblem(
                f"The recogniser does not know how to hear {named}; so nobody can say {', '.join(whats)}. {remedy}."
            )
        places, outcomes, units, controls = kept
        return StepGrammar(
            self.request,
            places=places,
            outcomes=outcomes,
            units=units,
            controls=controls,
            number=number,
            lexicon=self.lexicon,
            left_out=tuple(left_out),
            signs=signs,
        )


def _plain(result: Result) -> str:
    what = result.outcome or (result.control.value if result.control else str(result.value))
    return f"{what} at {result.place}" if result.place else what


__all__ = ["UNITS", "GrammarSet", "LeftOut", "StepGrammar", "turns_into"]
