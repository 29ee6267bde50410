"""The folder of JSGF grammars with its lexicon, read and checked once; it gives the grammar of each step."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import files
from assistant.core.library.vocabulary import PLACED
from assistant.core.nearest import among
from assistant.core.values.result import Control, GrammarRequest, Spelling
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar import english, jsgf
from assistant.grammar.language import language_of
from assistant.grammar.lexicon import Lexicon, parse_lexicon
from assistant.grammar.parts import NOTHING, Parts
from assistant.grammar.step_grammar import StepGrammar
from assistant.grammar.taught import meaning_of, with_own

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.core.values.own_word import OwnWord
    from assistant.grammar.language import Language
    from assistant.grammar.network import Position
    from assistant.grammar.phrases import Phrase

LEXICON = "lexicon.txt"
"""Name of the pronouncing lexicon in the folder of grammars."""


class GrammarSet:
    """A folder of grammars with its lexicon, read and checked."""

    def __init__(self, language: Language, lexicon: Lexicon) -> None:
        self._language = language
        self._forms = language.forms
        self._named = language.named
        self._built: dict[GrammarRequest, StepGrammar] = {}
        self.number = language.number
        self.digits = language.digits or language.number
        self.signs = language.signs
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
        return cls(language_of(grammars), lexicon)

    def meaning_of(self, said: str) -> tuple[str, str]:
        """The kind and the name of an answer that is named by its name or by its words (`taught.meaning_of`)."""
        return meaning_of(said, self._forms)

    def names_with(self, word: OwnWord) -> frozenset[str]:
        """The meaning of own words, and the other names that take its forms over where it cannot be said."""
        forms = self._forms[word.kind]
        usual = forms.of[word.means][0]
        lent = (name for name, others in forms.lent.items() if any(form == usual for form, _ in others))
        return frozenset((word.means, *lent))

    def taught(self, own: Sequence[OwnWord], place: Position) -> GrammarSet:
        """The same grammars with a technician's own words; `place` says in messages where they come from.

        Raises:
            UsageProblem: They mean something that these grammars do not have.
        """
        if not own:
            return self
        entries = dict(self.lexicon.entries)
        if missing := {word for one in own for word in one.words.split() if word not in entries}:
            entries |= english.look_up(missing)
        forms = with_own(self._forms, own, place)
        return GrammarSet(replace(self._language, forms=forms), Lexicon(entries, self.lexicon.path))

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
        return tuple(name for name, kinds in self._named.items() if _request_of(kinds) != GrammarRequest())

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
        for numbers in (self.digits, self.number):
            found |= numbers.words() if numbers else {}
        return found

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
                Parts(
                    places=self._forms["place"] if request.places and not spelled else NOTHING,
                    outcomes=self._forms["outcome"].only(request.outcomes),
                    units=self._forms["unit"].only(request.units),
                    controls=self._forms["control"].only(wanted["control"]),
                    number=(self.digits if request.digits else self.number) if counted else None,
                    signs=self.signs.only(request.spelling) if self.signs and spelled else None,
                ),
                self.lexicon,
            )
        return self._built[request]

    def named(self, name: str) -> StepGrammar:
        """A whole grammar file by name: its outcomes (with places), units (with numbers), or controls.

        Raises:
            UsageProblem: There is no such grammar, or it holds only parts of phrases, as places are.
        """
        if name not in self.names():
            raise UsageProblem(
                f"There is no grammar '{name}' to listen for. {among(name, self.names(), 'Grammars')}."
            )
        return self.request(_request_of(self._named[name]))


def _request_of(kinds: dict[str, tuple[str, ...]]) -> GrammarRequest:
    outcomes = kinds.get("outcome", ())
    return GrammarRequest(
        outcomes,
        kinds.get("unit", ()),
        tuple(Control(name) for name in kinds.get("control", ())),
        places=not set(PLACED) & set(outcomes),
    )
