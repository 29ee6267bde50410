"""The dialogue as a state machine without any input or output: events in, actions out.

The rules
---------
* There is one state at a time (`State`). Every event is first recognised as a `Trigger`, its meaning in that state.
* The table (`table.ROWS`) has a cell for each trigger that a state knows: it names the handler and the states that
  may follow.  A trigger without a cell is recorded as a remark and answered "I can't take that now."; a handler that
  leads elsewhere than its cell allows is a defect and raises `AssertionError`.
* Every state of an open session has a cell for "stop".
* A step whose measurement cranks, or touches high voltage, passes through `CAUTIONING`, which is left only when
  its caution has been spoken to the end; the first time it must be acknowledged as well.
* Nothing is forgotten: a correction is a new entry in the record, never an erasure.
* Time comes only from the events, so feeding the same events again gives the same actions.

The one conflict: an answer that arrives while a caution is being spoken.  The caution wins; the answer is
recorded as a remark and asked for again, because nobody measured a step before it was released.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.dialogue import weighing
from assistant.core.dialogue.cells import cell_of
from assistant.core.dialogue.detailing import particulars
from assistant.core.dialogue.forking import forked
from assistant.core.dialogue.memory import Past
from assistant.core.dialogue.perceiving import captures, wanted
from assistant.core.dialogue.recognising import recognise
from assistant.core.dialogue.showing import help_here, settle, show
from assistant.core.dialogue.states import State
from assistant.core.dialogue.table import ROWS
from assistant.core.dialogue.talk import Talk
from assistant.core.library.vocabulary import CYLINDERS
from assistant.core.reasoning.scales import Memo
from assistant.core.values.codec import PERCEPTIONS
from assistant.core.values.events import Event, Heard, KeyPressed, Say, Speech

if TYPE_CHECKING:
    from assistant.core.dialogue.inquiring import AskedFact
    from assistant.core.dialogue.triggers import Known, Meaning
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.core.reasoning.evidence import Assessment
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.events import Action
    from assistant.core.values.particulars import Particulars
    from assistant.core.values.perceived import WantedReading
    from assistant.core.values.thresholds import Thresholds

_NOT_OPEN = (State.UNOPENED, State.FINISHED)
_BUSY = (State.CAUTIONING, State.CRANKING, State.NOTING, State.STANDING_BY)
"""States in which a misfit is shown but not spoken."""

NOT_NOW = "I can't take that now."


class Runner:
    """One session's dialogue.

    Args:
        library: The procedures, cautions and terms.
        knowledge: The knowledge that weighs results; None if they are not weighed.
        thresholds: The dialogue's limits.
        memo: Computations of earlier sessions with the same library; it changes no result.

    Attributes:
        talk: The session's memory, as the handlers see it.
    """

    def __init__(
        self,
        library: Library,
        knowledge: Knowledge | None,
        thresholds: Thresholds,
        memo: Memo | None = None,
    ) -> None:
        self.talk = Talk(library, thresholds, Past(knowledge, Memo() if memo is None else memo))

    def receive(self, event: Event) -> tuple[Action, ...]:
        """Take one event and return its actions, in the order of execution.

        Raises:
            UsageProblem: A `Began` names a procedure that the library lacks.
        """
        return self._receive(event, silent=False)

    def recall(self, event: Event) -> tuple[Action, ...]:
        """Take an event whose actions are already in the record, in order to continue from there.

        It leads to the same state as `receive`, but leaves out listening and showing, which take more than half
        of the time. It returns the other actions.

        Raises:
            UsageProblem: As for `receive`.
        """
        return self._receive(event, silent=True)

    def twin(self) -> Runner:
        """Another dialogue that goes on from here, for looking ahead: what it is given does not move this one."""
        other = Runner(self.talk.library, None, self.talk.limits)
        other.talk = forked(self.talk)
        return other

    @property
    def state(self) -> State:
        """The dialogue's state."""
        return self.talk.state

    @property
    def position(self) -> tuple[str, str]:
        """Names of the present procedure and step; empty before the session begins."""
        return self.talk.position

    @property
    def step(self) -> Step:
        """The present step as it is asked; one that repeats an earlier measurement differs from its file's.

        Raises:
            AssertionError: The session has not begun.
        """
        return self.talk.step

    @property
    def taken(self) -> int:
        """Number of results so far, including those taken back since."""
        return self.talk.past.results

    @property
    def wanted(self) -> WantedReading | None:
        """What a meter is to report now; None if no reading is asked for."""
        return wanted(self.talk)

    @property
    def captures(self) -> float | None:
        """Since when a clamp is to capture the ramp of the current, s since the session began; None if it is not."""
        return captures(self.talk)

    @property
    def cylinders(self) -> int | None:
        """The number of cylinders; None if nobody told."""
        value = self.talk.facts.value(CYLINDERS)
        return int(value) if value.isdigit() else None

    @property
    def asked(self) -> AskedFact | None:
        """The fact that is being asked for; None if there is none."""
        return self.talk.facts.asked

    def particulars(self) -> Particulars:
        """What a finger needs besides the board; `Show` has the board itself."""
        return particulars(self.talk)

    def assessment(self) -> Assessment | None:
        """The assessment of all results so far; None if they are not weighed here."""
        return weighing.assess(self.talk)

    def _receive(self, event: Event, *, silent: bool) -> tuple[Action, ...]:
        talk = self.talk
        talk.now.at = max(talk.now.at, event.at)
        talk.now.out = []
        before = talk.state
        known = recognise(talk, event)
        if known is None:
            return ()
        if not answer(talk, known):
            refuse(talk, known.trigger, aloud=isinstance(event, Heard | KeyPressed), silent=silent)
        elif not silent:
            quiet = isinstance(event, PERCEPTIONS) and not _moved(talk, before)
            (show if quiet else settle)(talk)
        return tuple(talk.now.out)


def _moved(talk: Talk, before: State) -> bool:
    """Whether something was said or another state was reached; else what is listened for stays as it is."""
    return talk.state is not before or any(isinstance(action, Say) for action in talk.now.out)


def answer(talk: Talk, known: Known[Any]) -> bool:
    """Run the cell for this trigger; False if the present state has no such cell.

    Raises:
        AssertionError: The handler led elsewhere than its cell allows.
    """
    cell = cell_of(ROWS[talk.state], known.trigger)
    if cell is None:
        return False
    before, after = talk.state, cell.handler(talk, known.payload)
    if after not in cell.to and (cell.to or after is not before):
        raise AssertionError(f"{before} + {known.trigger} may not lead to {after}")
    talk.state = after
    return True


def refuse(talk: Talk, trigger: Meaning[Any], *, aloud: bool, silent: bool) -> None:
    """Refuse a trigger that does not fit the present state.

    Args:
        talk: The session.
        trigger: The trigger.
        aloud: Whether a person caused it and gets an answer.
        silent: Whether to leave out listening and showing.
    """
    if talk.state in _NOT_OPEN:
        return
    talk.remark("not now", f"{trigger} while {talk.state}")
    talk.said.message = NOT_NOW
    spoken = aloud and talk.state not in _BUSY
    if spoken:
        talk.say(f"{NOT_NOW} {help_here(talk)[bool(talk.gear.deaf)]}".rstrip(), Speech.HELP)
    if not silent:
        (settle if spoken else show)(talk)
