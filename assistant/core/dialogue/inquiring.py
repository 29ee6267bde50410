"""One fact while it is being asked for: what was spelled, keyed or said so far, and what waits for a yes.

Plain values and rules; what is spoken, and where the dialogue goes, is the runner's.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation

from assistant.core.dialogue import asking
from assistant.core.library.identity import LOOK_ALIKE, MOST_NAMED, VIN_LENGTH, Repair, check_digit, repairs
from assistant.core.library.terms import FactKind, Inquiry
from assistant.core.values.entries import FactGiven

TYPED = "typed"
BLANK = "left blank"


@dataclass(frozen=True)
class Source:
    """Where a part of a fact came from: `how` is ``voice`` or ``keypad``, `words` what was heard or keyed."""

    how: str
    words: str
    confidence: float = 1.0
    clip: str | None = None


@dataclass(frozen=True)
class Group:
    """Signs that were spelled in one breath, or keyed one after the other."""

    signs: str
    source: Source


@dataclass(frozen=True)
class Waiting:
    """A whole fact that waits for a yes; `repair` is what was put right in a VIN, and is only a proposal."""

    value: str
    unit: str
    source: Source
    repair: Repair | None = None


@dataclass
class Asked:
    """The fact that is asked for now.

    Attributes:
        inquiry: The fact.
        groups: Signs so far.
        code: An unfinished letter on the pad, such as ``.2``.
        typed: Digits of a number so far.
        waiting: The whole fact, when it is read back.
    """

    inquiry: Inquiry
    groups: list[Group] = field(default_factory=list)
    code: str = ""
    typed: str = ""
    waiting: Waiting | None = None

    @property
    def spells(self) -> bool:
        """Whether this fact is given sign by sign."""
        return self.inquiry.kind in (FactKind.SPELLED, FactKind.VIN)

    @property
    def signs(self) -> str:
        """All signs so far."""
        return "".join(group.signs for group in self.groups)

    @property
    def shown(self) -> str:
        """What the screen shows of it: signs in their groups, an unfinished letter, digits of a number."""
        return " ".join(filter(None, (*(group.signs for group in self.groups), self.code, self.typed)))

    @property
    def room(self) -> int:
        """How many signs may still come."""
        return asking.longest(self.inquiry) - len(self.signs)

    @property
    def full(self) -> bool:
        """A VIN that has all its signs ends by itself."""
        return self.inquiry.kind is FactKind.VIN and self.room <= 0

    def add(self, signs: str, source: Source) -> str:
        """Take signs; a sentence when they cannot be taken, "" when they were.

        Keyed signs make one group, so that "take back" undoes what was keyed in one go.
        """
        self.code = ""
        if self.inquiry.kind is FactKind.VIN:
            for sign in signs:
                if sign in LOOK_ALIKE:
                    return f"A VIN never has the letter {sign}. It may be {LOOK_ALIKE[sign]}."
        if len(signs) > self.room:
            most = asking.longest(self.inquiry)
            return f"That would be {len(self.signs) + len(signs)} signs. At most {most}."
        last = self.groups[-1] if self.groups else None
        if last and source.how == last.source.how == "keypad":
            self.groups[-1] = Group(
                last.signs + signs, replace(source, words=last.source.words + source.words)
            )
        else:
            self.groups.append(Group(signs, source))
        return ""

    def take_back(self) -> str:
        """Take the last group back, or what is half keyed; what it was, "" if there was nothing."""
        if self.code or self.typed:
            taken, self.code, self.typed = self.code or self.typed, "", ""
            return taken
        return self.groups.pop().signs if self.groups else ""

    def erase(self) -> None:
        """Take the last key or sign back."""
        if self.code:
            self.code = self.code[:-1]
        elif self.typed:
            self.typed = self.typed[:-1]
        elif self.groups:
            last = self.groups.pop()
            if len(last.signs) > 1:
                self.groups.append(replace(last, signs=last.signs[:-1]))

    def press(self, key: str) -> str:
        """A digit, ``point`` or a letter while signs are spelled; a sentence when it cannot be taken."""
        if len(key) == 1 and key.isalpha():
            return self.add(key.upper(), Source("keypad", key))
        if key == "point":
            self.code = "."
            return ""
        if not self.code:
            return self.add(key, Source("keypad", key))
        code = self.code + key
        letter = asking.letter_of(code)
        if letter:
            return self.add(letter, Source("keypad", code))
        self.code = code if letter == "" else ""
        return "" if letter == "" else f"There is no letter on {code[1:]}."

    def type(self, key: str, longest: int) -> None:
        """A digit, ``point`` or ``minus`` of a number."""
        if key == "minus":
            self.typed = "-"
        elif key == "point":
            self.typed += "" if "." in self.typed else "."
        elif len(self.typed) < longest:
            self.typed += key

    def number(self) -> Decimal | None:
        """The number that was keyed; None if it cannot be read as one."""
        try:
            return Decimal(self.typed)
        except InvalidOperation:
            return None

    def complete(self) -> str:
        """All signs are there: let them wait for a yes.  A sentence when they cannot; "" when they do.

        A VIN whose check digit does not fit waits with the one slip put right that explains it, if there is just
        one; if not, the sentence says where to look.
        """
        signs = self.signs
        source = self._source()
        self.code = ""
        if self.inquiry.kind is not FactKind.VIN:
            if not signs:
                return "Nothing is spelled yet."
            self.waiting = Waiting(signs, "", source)
            return ""
        if len(signs) != VIN_LENGTH:
            return f"A VIN has {VIN_LENGTH} signs. So far {len(signs)}."
        if check_digit(signs) == signs[8]:
            self.waiting = Waiting(signs, "", source)
            return ""
        found = repairs(signs)
        if len(found) == 1:
            self.waiting = Waiting(found[0].vin, "", source, found[0])
            return ""
        return "The check digit does not fit."

    def proposals(self) -> tuple[Repair, ...]:
        """The few slips that would explain the check digit of a VIN; none where there are too many to name."""
        if not self.full or len(self.signs) != VIN_LENGTH or check_digit(self.signs) == self.signs[8]:
            return ()
        found = repairs(self.signs)
        return found if len(found) <= MOST_NAMED else ()

    def propose(self, number: str) -> bool:
        """Let the slip of this number be put right, and wait for a yes; False if there is no such number."""
        found = self.proposals()
        if not number.isdigit() or not 1 <= int(number) <= len(found):
            return False
        self.waiting = Waiting(found[int(number) - 1].vin, "", self._source(), found[int(number) - 1])
        return True

    def _source(self) -> Source:
        """All groups together: the last way, all words, the lowest confidence, the last clip."""
        sources = [group.source for group in self.groups]
        return Source(
            sources[-1].how if sources else "keypad",
            " ".join(source.words for source in sources),
            min((source.confidence for source in sources), default=1.0),
            next((source.clip for source in reversed(sources) if source.clip), None),
        )

    def given(self, confirmed: str) -> FactGiven:
        """What waits, for the record."""
        assert self.waiting is not None  # noqa: S101
        source = self.waiting.source
        return FactGiven(
            self.inquiry.name,
            self.waiting.value,
            self.waiting.unit,
            source.how,
            source.words,
            source.confidence,
            confirmed,
            source.clip,
        )


def blank(fact: str, how: str) -> FactGiven:
    """A fact that was left blank, for the record; `how` it was said."""
    return FactGiven(fact, "", "", BLANK, how, 1.0, BLANK, None)
