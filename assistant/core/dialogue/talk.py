"""The session as its handlers see it: its memory, its library, and ways to say and note things."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from assistant.core.dialogue import asking
from assistant.core.dialogue.memory import (
    Awaited,
    Cautions,
    Crank,
    KnownFacts,
    LastSaid,
    Now,
    Work,
    WorkingGear,
)
from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Engine
from assistant.core.values.entries import Cranked, CrankHeard, Remark
from assistant.core.values.events import CancelTimer, Note, Say, Speech
from assistant.core.words import glancing

if TYPE_CHECKING:
    from decimal import Decimal

    from assistant.core.dialogue.inquiring import AskedFact
    from assistant.core.dialogue.memory import Past
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step
    from assistant.core.values.entries import Entry
    from assistant.core.values.events import Action
    from assistant.core.values.starter import StarterLimits
    from assistant.core.values.thresholds import Thresholds

STOP_CRANKING = "Stop cranking."

LET_GO = "Still cranking? Let go."
"""The order after the longest crank of an engine that is meant to start."""

MAKERS_CRANKING = ("crank-longest", "crank-rest")
"""Facts with the vehicle maker's limits: the longest cranking in one go and the wait after it, in s."""

CRANK_TIMER = "crank"
REST_TIMER = "rest"

_STARTS_WITH_OWED = (Speech.PROMPT, Speech.READ_BACK, Speech.HELP)
_NOT_REPEATED = (Speech.HELP, Speech.NOTICE)


class Talk:
    """One session, as its handlers see it: they read and change its values, and use it to speak, note and act.

    Args:
        library: The procedures, cautions and terms.
        limits: The dialogue's limits.
        past: The measurements, and the knowledge that weighs them.

    Attributes:
        state: The dialogue's state; while an event is being answered, the state before it.
        now: The event that is being answered.
        work: The session's position.
        past: The measurements.
        said: The last words.
        awaited: Expectations that the state does not tell.
        cautions: The cautions of the session.
        crank: The starter.
        facts: Facts about the car and the tools.
        gear: The state of the gear.
    """

    def __init__(self, library: Library, limits: Thresholds, past: Past) -> None:
        self.library = library
        self.limits = limits
        self.state = State.UNOPENED
        self.now = Now()
        self.work = Work()
        self.past = past
        self.said = LastSaid()
        self.awaited = Awaited()
        self.cautions = Cautions()
        self.crank = Crank()
        self.facts = KnownFacts()
        self.gear = WorkingGear()

    # --- where it is ------------------------------------------------------------------------------

    @property
    def position(self) -> tuple[str, str]:
        """Names of the present procedure and step; empty before the session begins."""
        work = self.work
        return (work.procedure.name if work.procedure else "", work.step.name if work.step else "")

    @property
    def step(self) -> Step:
        """The present step.

        Raises:
            AssertionError: The session has not begun.
        """
        step = self.work.step
        assert step is not None  # noqa: S101
        return step

    @property
    def procedure(self) -> Procedure:
        """The present procedure.

        Raises:
            AssertionError: The session has not begun.
        """
        procedure = self.work.procedure
        assert procedure is not None  # noqa: S101
        return procedure

    @property
    def asked(self) -> AskedFact:
        """The fact that is asked for.

        Raises:
            AssertionError: No fact is being asked for.
        """
        asked = self.facts.asked
        assert asked is not None  # noqa: S101
        return asked

    @property
    def voice_off(self) -> bool:
        """Whether nobody can be heard or nothing can be spoken, so that the keys are named instead of words to say."""
        return self.gear.mute or bool(self.gear.deaf)

    def numbers(self) -> dict[str, Decimal]:
        """All facts that are numbers, each in its own unit."""
        given = {name: (fact.value, fact.unit) for name, fact in self.facts.given.items()}
        return asking.numbers(self.library.terms.facts, given)

    # --- saying and noting ------------------------------------------------------------------------

    def do(self, action: Action) -> None:
        """Add an action."""
        self.now.out.append(action)

    def note(self, entry: Entry) -> None:
        """Add an entry to the record."""
        self.now.out.append(Note(entry))

    def remark(self, kind: str, text: str) -> None:
        """Add a remark about the present step to the record."""
        procedure, step = self.position
        self.note(Remark(kind, text, procedure, step))

    def say(self, text: str, kind: Speech, *, can_be_cut: bool = True) -> None:
        """Speak this; an owed notice comes before it, but after an order to stop cranking."""
        said = self.said
        if kind in _STARTS_WITH_OWED:
            first = STOP_CRANKING if text.startswith(STOP_CRANKING) else ""
            rest = text.removeprefix(first).strip()
            text = " ".join(filter(None, (first, said.take_owed(), rest)))
        if kind is not Speech.CAUTION and self.voice_off:
            text = glancing.keyed(text) or "Use the keys."
        said.utterance += 1
        if kind not in _NOT_REPEATED:
            said.prompt = text
        elif self.gear.mute:
            said.message = text  # show an answer to "why" or "not sure" that nobody can hear
        self.do(Say(said.utterance, text, kind, can_be_cut))

    def say_lines(self, sentences: tuple[str, ...], shown: tuple[str, ...] | None = None) -> None:
        """Say the present step, and keep its lines for the screen."""
        self.work.set_up = True
        self.say(" ".join(filter(None, sentences)), Speech.PROMPT)
        self.said.lines = tuple(filter(None, sentences if shown is None else shown))

    # --- the starter ------------------------------------------------------------------------------

    def must_rest(self) -> bool:
        """Whether the present step cranks and the starter has not rested."""
        return self.step.measure.engine is Engine.CRANKING and self.now.at < self.crank.rested_at

    def rest_words(self) -> str:
        """The remaining rest of the starter, as the beginning of a sentence."""
        return f"The starter rests {max(1, round(self.wait_s()))} more seconds"

    def wait_s(self) -> float:
        """How long nobody may crank yet, s; 0 or less if the starter is ready."""
        return self.crank.starter.ready_at(self.limits.starter) - self.now.at

    def starter_limits(self) -> StarterLimits:
        """The limits of cranking: the vehicle maker's, where they are known as facts."""
        numbers = self.numbers()
        longest, rest = (numbers.get(fact) for fact in MAKERS_CRANKING)
        return self.limits.starter.by_maker(
            None if longest is None else float(longest), None if rest is None else float(rest)
        )

    def stop_crank(
        self, *, timed: bool, fired: bool | None = False, lost: bool = False, ended: float | None = None
    ) -> None:
        """Record a cranking and start the starter's rest.

        If nobody announced it, an ordinary length is assumed, once a step; if only the ear heard it, the starter's
        budget is charged at least that, because another one may not have been heard.

        Args:
            timed: Whether to count only an announced cranking.
            fired: Whether the engine has started, so that the starter was let go at a time that nobody told; None if
                that is not known.
            lost: Whether the session broke off while it lasted: then the longest is assumed.
            ended: When the ear heard it end, s since the session began; None for now.
        """
        crank, step, limits = self.crank, self.work.step, self.starter_limits()
        end = self.now.at if ended is None else ended
        if crank.began is not None:
            seconds = round(float(end - crank.began), 1)
            crank.began = None
            self.do(CancelTimer(CRANK_TIMER))
            if fired:
                seconds = min(seconds, limits.assumed_s)
            if crank.by_ear is None:
                self.note(Cranked(seconds, fired is False, *self.position))
            else:
                self.note(CrankHeard(seconds, fired is False, *self.position, confidence=crank.by_ear))
                if ended is None:
                    seconds = max(seconds, limits.assumed_s - crank.heard_s)
                crank.heard_s += seconds
        elif crank.counted and crank.by_ear is not None and not timed and crank.heard_s < inf:
            # As much is used up as if nothing had been heard: an ordinary crank that ends with the answer.
            cooled = (end - crank.starter.ended) * limits.budget_s / limits.recovery_s
            seconds = max(0.0, limits.assumed_s - max(0.0, crank.heard_s - cooled))
            crank.heard_s = inf  # once a step
            if not seconds:
                return
        elif not timed and not crank.counted and step and step.measure.engine is Engine.CRANKING:
            seconds = limits.longest_s if lost else limits.assumed_s
            self.note(Cranked(seconds, False, *self.position))
        else:
            return
        crank.counted = True
        crank.refused = False
        crank.starter = crank.starter.cranked(limits, seconds, end)

    def end_rest(self) -> None:
        """Stop counting the starter's rest, because something else is done meanwhile."""
        if self.state is State.RESTING:
            self.do(CancelTimer(REST_TIMER))
