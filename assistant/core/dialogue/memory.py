"""What a session remembers, as a few values: each is about one thing, and each is changed as a whole where it can be.

A method that takes something back restores one of these values; it does not have to know all the others.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.dialogue.circles import Visits
from assistant.core.dialogue.inquiring import Asked
from assistant.core.dialogue.states import State
from assistant.core.dialogue.trail import Paused, Pending, Trail, Trails
from assistant.core.library.procedure import Measurement, Procedure, Step
from assistant.core.reasoning.knowledge import Knowledge
from assistant.core.reasoning.scales import Memo
from assistant.core.values.entries import FactGiven, LedBack
from assistant.core.values.events import Action

if TYPE_CHECKING:
    from assistant.core.library.library import Library


@dataclass(slots=True)
class Now:
    """The event that is being answered.

    Attributes:
        at: When it happened, in s since the session began.
        out: What is done about it so far.
    """

    at: float = 0.0
    out: list[Action] = field(default_factory=list)


@dataclass(slots=True)
class Work:
    """Where the session is.

    Attributes:
        procedure: The present procedure; None before the first.
        step: The present step of it.
        paused: Procedures that were set aside to do this one first.
        verdict: Name of the verdict that was reached; None while there is none.
        affirmed: Whether that verdict was affirmed.
        led_back: The statement that the tests lead back to where they were; None while they do not.
        visits: Procedures that were entered so far.
        again_in: A procedure that was entered again and is measured anew; "" when it is not.
        connected: What is connected now, as far as it is known.
        set_up: Whether the present step was spoken, so that it may be connected already.
        interrupted: Whether something came between, so that the whole of a step is said again.
    """

    procedure: Procedure | None = None
    step: Step | None = None
    paused: tuple[Paused, ...] = ()
    verdict: str | None = None
    affirmed: bool = False
    led_back: LedBack | None = None
    visits: Visits = field(default_factory=Visits)
    again_in: str = ""
    connected: Measurement | None = None
    set_up: bool = False
    interrupted: bool = False

    @property
    def concluded(self) -> bool:
        """Whether the present procedure has come to its end."""
        return self.verdict is not None or self.led_back is not None

    def reopen(self) -> None:
        """The present procedure has not come to its end after all, or is left behind."""
        self.verdict = self.led_back = None

    def back_at(self, past: Trail, library: Library) -> None:
        """Stand where a step was left: in its procedure, with what was set aside and entered then."""
        self.procedure = library.procedures[past.procedure]
        self.paused = past.paused
        self.visits = past.visits


@dataclass(slots=True)
class Past:
    """What was measured, and what came of weighing it.

    Attributes:
        knowledge: What results are weighed with; None if they are not weighed.
        memo: What was computed before.
        trail: The steps that were left, in order.
        results: How many results were taken, also those that were taken back since.
        aside: Results that were set aside when an earlier one was asked again; they are offered when their step comes.
        asked_again: Measurements that were asked again because they were doubtful; each is asked again once.
        before: The outcome of each result that was asked again, by procedure and step.
        patterns: Pairs of results that were said to be a known pattern; each is said once.
    """

    knowledge: Knowledge | None
    memo: Memo
    trail: Trails = field(default_factory=Trails)
    results: int = 0
    aside: list[Trail] = field(default_factory=list)
    asked_again: set[str] = field(default_factory=set)
    before: dict[tuple[str, str], str] = field(default_factory=dict)
    patterns: set[tuple[int, int]] = field(default_factory=set)

    def forget_aside(self, measure: Measurement) -> None:
        """This measurement is made again, or was taken over: it is not offered any more."""
        self.aside = [past for past in self.aside if past.measure != measure]


@dataclass(slots=True)
class LastSaid:
    """What was said last, by either side.

    Attributes:
        utterance: Number of the last utterance.
        prompt: What "say again" repeats.
        prefix: What the next prompt begins with.
        owed: A notice that could not be given when it was due; the next prompt begins with it.
        lines: What the screen shows of the prompt.
        message: A sentence about the last thing that went wrong, for the screen; "" for none.
        heard: The last words that were understood.
        typed: Digits of a number that is being keyed.
    """

    utterance: int = 0
    prompt: str = ""
    prefix: str = ""
    owed: str = ""
    lines: tuple[str, ...] = ()
    message: str = ""
    heard: str = ""
    typed: str = ""

    def take_prefix(self) -> str:
        """The prefix, which is said once."""
        prefix, self.prefix = self.prefix, ""
        return prefix

    def take_owed(self) -> str:
        """The notice that could not be given when it was due, which is given once."""
        owed, self.owed = self.owed, ""
        return owed

    def add_prefix(self, text: str) -> None:
        """The next prompt begins with this as well, after what it begins with already."""
        self.prefix = " ".join(filter(None, (self.prefix, text)))


@dataclass(slots=True)
class Counters:
    """VoiceXML's event counters: they count from the entry into a step and start again with the next."""

    no_match: int = 0
    no_input: int = 0
    not_sure: int = 0


@dataclass(slots=True)
class Awaited:
    """What the dialogue waits for, as far as the state does not say it.

    Attributes:
        pending: The result that waits to be affirmed.
        offered: Whether that result is an earlier one, which is offered instead of measuring again.
        counters: How often nothing useful came.
        note_from: The state in which a voice note was asked for.
        note_running: Whether a voice note is being recorded.
        chosen_from: The state in which another test was asked for.
    """

    pending: Pending | None = None
    offered: bool = False
    counters: Counters = field(default_factory=Counters)
    note_from: State = State.ASKING
    note_running: bool = False
    chosen_from: State = State.ASKING

    def no_result(self) -> None:
        """No result waits to be affirmed."""
        self.pending = None
        self.offered = False


@dataclass(slots=True)
class Cautions:
    """Which cautions were given.

    Attributes:
        given: When each was last spoken to its end, in s since the session began.
        acknowledged: Those that were acknowledged.
        due: Name and form (``full`` or ``short``) of those that are being given.
        later: Those that come after them.
    """

    given: dict[str, float] = field(default_factory=dict)
    acknowledged: set[str] = field(default_factory=set)
    due: tuple[tuple[str, str], ...] = ()
    later: tuple[tuple[str, str], ...] = ()


@dataclass(slots=True)
class Crank:
    """The starter.

    Attributes:
        began: When the present cranking began, in s since the session began; None while nobody said that it did.
        counted: Whether a cranking of the present step is in the record already.
        rested_at: When the starter has rested, in s since the session began.
        explained: Whether it was said how a cranking is announced.
    """

    began: float | None = None
    counted: bool = False
    rested_at: float = 0.0
    explained: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """A fact that was given in this session, and the result after which it was; None before the first."""

    fact: str
    after: Trail | None


@dataclass(slots=True)
class KnownFacts:
    """Facts about the car and the tools.

    Attributes:
        given: Those that are known, by name.
        answered: Those that were given in this session, in order.
        asked: The one that is asked for now.
        again: Names of those that are asked for anew.
        offer: Whether an earlier result may be offered once all facts are given.
        spelling_explained: Whether it was said how a fact is spelled.
    """

    given: dict[str, FactGiven] = field(default_factory=dict)
    answered: list[Answered] = field(default_factory=list)
    asked: Asked | None = None
    again: tuple[str, ...] = ()
    offer: bool = True
    spelling_explained: bool = False

    def value(self, name: str) -> str:
        """The value of a fact; "" if it is not known."""
        return self.given[name].value if name in self.given else ""


@dataclass(slots=True)
class WorkingGear:
    """What works.

    Attributes:
        deaf: Why nothing can be heard: ``noise``, ``microphone``; empty while all can be heard.
        mute: Whether nothing can be spoken.
        lost: Gear that is missing now, each with why, in the order in which it was lost.
    """

    deaf: set[str] = field(default_factory=set)
    mute: bool = False
    lost: dict[str, str] = field(default_factory=dict)

    def all_back(self) -> None:
        """Believe that all works; what is missing is reported again."""
        self.deaf.clear()
        self.mute = False
        self.lost.clear()
