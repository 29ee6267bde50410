"""The memory of a session as a few values, each about one thing and, if possible, replaced as a whole.

A method that takes something back restores one of these values without knowing the others.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.dialogue.circles import Visits
from assistant.core.dialogue.inquiring import AskedFact
from assistant.core.dialogue.states import State
from assistant.core.dialogue.trail import Paused, Pending, Trail, Trails
from assistant.core.library.procedure import Measurement, Procedure, Step
from assistant.core.reasoning.knowledge import Knowledge
from assistant.core.reasoning.scales import Memo
from assistant.core.values.entries import ChangeSeen, FactGiven, LedBack
from assistant.core.values.events import Action, KeySource, ToldToday
from assistant.core.values.perceived import MeterState, Perceived
from assistant.core.values.starter import Starter
from assistant.core.values.witness import Witness

if TYPE_CHECKING:
    from assistant.core.library.library import Library


@dataclass(slots=True)
class Now:
    """The event that is being answered.

    Attributes:
        at: Its time, s since the session began.
        out: The actions so far.
        how: The way in which a key came: ``keypad`` or ``tablet``.
    """

    at: float = 0.0
    out: list[Action] = field(default_factory=list)
    how: str = KeySource.KEYPAD.value


@dataclass(slots=True)
class Work:
    """The session's position.

    Attributes:
        procedure: The present procedure; None before the first.
        step: Its present step.
        paused: Procedures that were set aside to do this one first.
        verdict: Name of the verdict; None if there is none yet.
        affirmed: Whether that verdict was affirmed.
        led_back: The statement that the tests run in a circle; None if they do not.
        visits: Procedures that were entered so far.
        again_in: A procedure that was entered again and is measured anew; "" if there is none.
        connected: The known connections.
        set_up: Whether the present step was spoken, so that it may already be connected.
        interrupted: Whether something interrupted, so that the whole step is spoken again.
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
        """Note that the present procedure has not ended after all, or is left behind."""
        self.verdict = self.led_back = None

    def back_at(self, past: Trail, library: Library) -> None:
        """Go back to the point where a step was left: its procedure, and the procedures set aside and entered
        then.
        """
        self.procedure = library.procedures[past.procedure]
        self.paused = past.paused
        self.visits = past.visits


@dataclass(slots=True)
class Past:
    """The measurements, and the results of weighing them.

    Attributes:
        knowledge: The knowledge that weighs results; None if they are not weighed.
        memo: Earlier computations.
        trail: The steps that were left, in order.
        results: Number of results, including those taken back since.
        aside: Results that were set aside when an earlier one was asked again; they are offered when their step comes.
        asked_again: Measurements that were asked again because they were doubtful; each is asked again once.
        before: The outcome of each result that was asked again, by procedure and step.
        patterns: Pairs of results that were announced as a known pattern, each only once.
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
        """Stop offering this measurement, which is made again or was taken over."""
        self.aside = [past for past in self.aside if past.measure != measure]


@dataclass(slots=True)
class LastSaid:
    """The last words of either side.

    Attributes:
        utterance: Number of the last utterance.
        finished: Number of the last utterance that was spoken to its end or cut.
        prompt: The words that "say again" repeats.
        prefix: The beginning of the next prompt.
        owed: A notice that could not be given in time; the next prompt begins with it.
        lines: The prompt on the screen.
        message: A sentence for the screen about the last thing that went wrong; "" for none.
        heard: The last words that were understood.
        typed: Digits of a number that is being keyed.
    """

    utterance: int = 0
    finished: int = 0
    prompt: str = ""
    prefix: str = ""
    owed: str = ""
    lines: tuple[str, ...] = ()
    message: str = ""
    heard: str = ""
    typed: str = ""

    def take_prefix(self) -> str:
        """Return the prefix and forget it."""
        prefix, self.prefix = self.prefix, ""
        return prefix

    def take_owed(self) -> str:
        """Return the owed notice and forget it."""
        owed, self.owed = self.owed, ""
        return owed

    def add_prefix(self, text: str) -> None:
        """Append this to the prefix of the next prompt."""
        self.prefix = " ".join(filter(None, (self.prefix, text)))


@dataclass(slots=True)
class Counters:
    """VoiceXML's event counters: they count from the entry into a step and start again with the next.

    Attributes:
        digits: Whether the digits of the step's reading were asked for, because it was not understood.
    """

    no_match: int = 0
    no_input: int = 0
    not_sure: int = 0
    digits: bool = False


@dataclass(slots=True)
class Awaited:
    """The part of the dialogue's expectations that the state does not tell.

    Attributes:
        pending: The result that waits to be affirmed.
        offered: Whether that result is an earlier one, offered instead of a new measurement.
        counters: Number of times that nothing useful came.
        note_from: The state in which the person asked for a voice note.
        note_running: Whether a voice note is being recorded.
        chosen_from: The state in which the person asked for another test.
        changes: What was seen so far in a step that is watched.
    """

    pending: Pending | None = None
    offered: bool = False
    counters: Counters = field(default_factory=Counters)
    note_from: State = State.ASKING
    note_running: bool = False
    chosen_from: State = State.ASKING
    changes: tuple[ChangeSeen, ...] = ()

    def no_result(self) -> None:
        """Forget the result that waits to be affirmed."""
        self.pending = None
        self.offered = False


@dataclass(slots=True)
class Cautions:
    """The cautions of the session.

    Attributes:
        given: The time when each was last spoken to its end, s since the session began.
        acknowledged: Cautions that were acknowledged.
        told: What technicians were told in earlier sessions of the day.
        today: What the present one was told in them; None if nobody is known.
        due: Name and form (``full`` or ``short``) of the cautions that are being given.
        later: Cautions that come after them.
    """

    given: dict[str, float] = field(default_factory=dict)
    acknowledged: set[str] = field(default_factory=set)
    told: tuple[ToldToday, ...] = ()
    today: ToldToday | None = None
    due: tuple[tuple[str, str], ...] = ()
    later: tuple[tuple[str, str], ...] = ()


@dataclass(slots=True)
class Crank:
    """The starter.

    Attributes:
        began: The time when the present cranking began, s since the session began; None if nobody announced one.
        counted: Whether the record already has a cranking of the present step.
        starter: The starter after its last crank.
        longest_s: How long the present cranking may last, s.
        refused: Whether somebody wanted to crank during the present rest.
        due: Whether the rest is over and only the words that are being spoken are waited for.
        explained: Whether the assistant has explained how to announce a cranking.
        by_ear: How sure the ear is of the present cranking, or of the last one of the step, if nobody announced it;
            None if somebody did, or nothing was heard.
        turning: Since when the ear hears the engine turn, s since the session began; None if it does not.
        heard_s: How long the ear has heard the engine turn for the present step, s, where nobody announced it;
            infinite once the assumed length of a crank has been charged.
    """

    began: float | None = None
    counted: bool = False
    starter: Starter = field(default_factory=Starter)
    longest_s: float = 0.0
    refused: bool = False
    due: bool = False
    explained: bool = False
    by_ear: float | None = None
    turning: float | None = None
    heard_s: float = 0.0

    @property
    def rested_at(self) -> float:
        """The time when the starter will have rested, s since the session began."""
        return self.starter.rested_at


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """A fact that was given in this session, and the result after which it came; None before the first."""

    fact: str
    after: Trail | None


@dataclass(slots=True)
class KnownFacts:
    """Facts about the car and the tools.

    Attributes:
        given: Known facts, by name.
        answered: Facts that were given in this session, in order.
        asked: The fact that is being asked for.
        again: Names of facts to ask for again.
        offer: Whether an earlier result may be offered once all facts are known.
        spelling_explained: Whether the assistant has explained how to spell a fact.
    """

    given: dict[str, FactGiven] = field(default_factory=dict)
    answered: list[Answered] = field(default_factory=list)
    asked: AskedFact | None = None
    again: tuple[str, ...] = ()
    offer: bool = True
    spelling_explained: bool = False

    def value(self, name: str) -> str:
        """The value of a fact; "" if it is not known."""
        return self.given[name].value if name in self.given else ""


@dataclass(slots=True)
class OnMeter:
    """What the meter shows.

    Attributes:
        reading: The reading that stands; None if none does.
        before: What stood when the step was entered, or before the engine turned: it was measured for something else.
        state: Its state.
        why: The reason for that, in words.
        turn: Counts the questions, so that what is wanted of a meter differs from one to the next.
    """

    reading: Perceived | None = None
    before: Perceived | None = None
    state: MeterState = MeterState.GOOD
    why: str = ""
    turn: int = 0

    def forget(self) -> None:
        """Another step is asked, or the engine turns: what stands was measured for something else."""
        self.before, self.reading = self.reading or self.before, None
        self.turn += 1


@dataclass(slots=True)
class WorkingGear:
    """What works.

    Attributes:
        deaf: Why nothing can be heard: ``noise``, ``microphone``; empty while all can be heard.
        mute: Whether nothing can be spoken.
        lost: Missing gear with the reasons, in the order of loss; "" for gear that was left out on purpose.
        witnesses: What perceives in place of the technician.
        meter: What the meter shows.
    """

    deaf: set[str] = field(default_factory=set)
    mute: bool = False
    lost: dict[str, str] = field(default_factory=dict)
    witnesses: frozenset[Witness] = frozenset()
    meter: OnMeter = field(default_factory=OnMeter)

    def all_back(self) -> None:
        """Assume that all gear works; missing gear will be reported again."""
        self.deaf.clear()
        self.mute = False
        self.lost.clear()
        self.meter = OnMeter()
