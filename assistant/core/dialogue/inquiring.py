"""One fact while it is being asked for: the signs, keys or words so far, and the value that waits for a yes.

Plain values and rules; the handlers decide on speech and on the next state.
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
class Origin:
    """The origin of a part of a fact: `how` is ``voice``, ``keypad`` or ``tablet``, `words` the words or keys."""

    how: str
    words: str
    confidence: float = 1.0
    clip: str | None = None


@dataclass(frozen=True)
class Group:
    """Signs that were spelled in one breath, or keyed one after the other."""

    signs: str
    source: Origin


@dataclass(frozen=True)
class Waiting:
    """A whole fact that waits for a yes.

    `repair` is a proposed correction of a VIN; `more` signs may follow instead of the yes.
    """

    value: str
    unit: str
    source: Origin
    repair: Repair | None = None
    more: bool = False


@dataclass
class AskedFact:
    """The fact that is being asked for.

    Attributes:
        inquiry: The fact.
        groups: Signs so far.
        code: An unfinished letter on the pad, such as ``.2``.
        typed: Digits of a number so far.
        waiting: The whole fact while it is read back.
    """

    inquiry: Inquiry
    groups: list[Group] = field(default_factory=list)
    code: str = ""
    typed: str = ""
    waiting: Waiting | None = None

    @property
    def spells(self) -> bool:
        """Whether this fact is spelled sign by sign."""
        return self.inquiry.kind in (FactKind.SPELLED, FactKind.VIN)

    @property
    def signs(self) -> str:
        """All signs so far."""
        return "".join(group.signs for group in self.groups)

    @property
    def shown(self) -> str:
        """Its form on the screen: signs in groups, an unfinished letter, digits of a number."""
        return " ".join(filter(None, (*(group.signs for group in self.groups), self.code, self.typed)))

    @property
    def room(self) -> int:
        """Number of signs that may still come."""
        return asking.longest(self.inquiry) - len(self.signs)

    @property
    def full(self) -> bool:
        """Whether a VIN has all its signs, so that it ends by itself."""
        return self.inquiry.kind is FactKind.VIN and self.room <= 0

    @property
    def open(self) -> bool:
        """Whether a yes is waited for, and more signs may come instead."""
        return self.waiting is not None and self.waiting.more

    def so_far(self) -> None:
        """Let the signs so far wait for a yes, or for more signs."""
        self.waiting = Waiting(self.signs, "", self._source(), more=self.room > 0)

    def add(self, signs: str, source: Origin) -> str:
        """Take signs; returns "" or a sentence that says why they cannot count.

        Keyed signs make one group, so "take back" undoes everything keyed in one go.
        """
        self.code = ""
        if self.inquiry.kind is FactKind.VIN:
            for sign in signs:
                if sign in LOOK_ALIKE:
                    return f"A VIN never has the letter {sign}. It may be {LOOK_ALIKE[sign]}."
        if len(signs) > self.room:
            most = asking.longest(self.inquiry)
            return f"That makes {len(self.signs) + len(signs)} characters. At most {most}."
        last = self.groups[-1] if self.groups else None
        if last and source.how == last.source.how != "voice":
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

    def press(self, key: str, how: str = "keypad") -> str:
        """Take a digit, ``point`` or a letter while signs are spelled, keyed in this way; returns "" or a sentence that
        says why it cannot count.
        """
        if len(key) == 1 and key.isalpha():
            return self.add(key.upper(), Origin(how, key))
        if key == "point":
            self.code = "."
            return ""
        if not self.code:
            return self.add(key, Origin(how, key))
        code = self.code + key
        letter = asking.letter_of(code)
        if letter:
            return self.add(letter, Origin(how, code))
        self.code = code if letter == "" else ""
        return "" if letter == "" else f"There is no letter on {code[1:]}."

    def type(self, key: str, longest: int) -> None:
        """Take a digit, ``point`` or ``minus`` of a number."""
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
        """All signs are there: let them wait for a yes. Returns "" or a sentence that says why they cannot.

        If a VIN's check digit does not fit and exactly one slip explains it, the corrected VIN waits; otherwise
        the sentence says where to look.
        """
        signs = self.signs
        source = self._source()
        self.code = ""
        if self.inquiry.kind is not FactKind.VIN:
            if not signs:
                return "Nothing spelled yet."
            self.waiting = Waiting(signs, "", source)
            return ""
        if len(signs) != VIN_LENGTH:
            return f"A VIN has {VIN_LENGTH} characters. You have {len(signs)}."
        if check_digit(signs) == signs[8]:
            self.waiting = Waiting(signs, "", source)
            return ""
        found = repairs(signs)
        if len(found) == 1:
            self.waiting = Waiting(found[0].vin, "", source, found[0])
            return ""
        return "The check digit is wrong."

    def proposals(self) -> tuple[Repair, ...]:
        """The few slips that would explain the check digit of a VIN; none if there are too many to name."""
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

    def _source(self) -> Origin:
        """The origin of all groups together: the last way, all words, the lowest confidence, the last clip."""
        sources = [group.source for group in self.groups]
        return Origin(
            sources[-1].how if sources else "keypad",
            " ".join(source.words for source in sources),
            min((source.confidence for source in sources), default=1.0),
            next((source.clip for source in reversed(sources) if source.clip), None),
        )

    def given(self, confirmed: str) -> FactGiven:
        """The waiting fact, for the record."""
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
    """A fact that was left blank, for the record; `how` is the way of the request."""
    return FactGiven(fact, "", "", BLANK, how, 1.0, BLANK, None)
