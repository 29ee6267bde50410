"""Whole jobs against the clock: how long a skilled technician takes, and how much of it the assistant takes.

The dialogue is the real one, with its evidence, and each sentence lasts as long as the voice takes for it.
The technician is made up: hooks up once for each new connection, cranks briefly, and answers as soon as the question
has ended, always what is likeliest to be seen on that car.  Of several random cars with the fault the median counts.
Hook-ups and sentences follow each other, although a technician connects while listening; so the sum is on the long
side.
The seconds of a hook-up and of a crank are given, not measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit.catalogue import mechanisms
from assistant.circuit.likelihoods import SEED
from assistant.circuit.parameters import Systems
from assistant.circuit.spoiling import bad_spark
from assistant.core.dialogue.policy import HELD_S, SETTLED_S
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import SENSES
from assistant.core.values.entries import Cranked, LedBack, VerdictReached
from assistant.core.values.events import Action, Began, Heard, KeyPressed, Note, Say, ToldToday, TypedFact
from assistant.core.values.perceived import CrankSound, Perceived, StarterHeard
from assistant.core.values.result import Control, Result
from assistant.core.values.units import UNIT_WORDS
from assistant.core.values.witness import Witness
from assistant.core.words.instructing import CRANK
from assistant.errors import UsageProblem
from assistant.grammar.numbers import in_words
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.erring import goes_on
from assistant.rehearsal.persons import Bay, Given, Person, Skilled, spoken_value
from assistant.rehearsal.player import RunnerPlayer

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement, Step
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.events import Event

HEARD_S = 0.4
"""From the end of a word to its effect, s: 0.3 s to the decision, and 0.1 s in which the microphone is still deaf after
speech (the hearing's README).
"""

SAMPLE_S = 0.2
"""A meter sends a value so often, s."""

MOST_TURNS = 400
"""Turns after which a job counts as a circle."""


@dataclass(frozen=True)
class Pace:
    """How the technician works.

    Attributes:
        hook_up_s: Seconds that hands take for a new connection.
        crank_s: Seconds of one crank.
        ear: The assistant hears the starter, so nobody announces a crank: the helper cranks when he hears "Crank it.",
            while the rest of the sentence is spoken.
        meter: The meter reports by itself, so a reading is taken by "take it", which is faster than to hold it for two
            seconds; one that has stood for two seconds of a crank is read back without it.
    """

    hook_up_s: float = 8.0
    crank_s: float = 4.0
    ear: bool = False
    meter: bool = False


SURE = 0.95
"""How sure the modelled ear is; it hears every crank."""

SAID_AS = {Control.CRANKING: "cranking", Control.AFFIRM: "yes"}
"""The shortest words for two of the dialogue's own, where their names are longer."""


@dataclass(frozen=True)
class Cars:
    """The random cars: how many, drawn with which seed."""

    count: int = 9
    seed: int = SEED + 1


@dataclass(frozen=True)
class Job:
    """A job to be timed.

    Attributes:
        name: In a few words.
        procedure: Where it starts.
        circuit: The circuit of the car.
        fault: The fault of the car.
        answers: Outcomes by step name, where the answer is not a matter of the car: for the first time that it is
            asked, for the second time and so on; the last one stays.
        to_crank: The job ends with the first crank and not with a verdict.
        again: The technician has had such a job on the same day, and signs in again.
    """

    name: str
    procedure: str
    circuit: str
    fault: str
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    to_crank: bool = False
    again: bool = False


_COIL = "coil-with-external-driver"

_TECHNICIAN = "JD"

JOBS = (
    Job("control test, open control wire", "coil-control", _COIL, "control-wire-open"),
    Job("control test, shorted primary", "coil-control", _COIL, "shorted-primary"),
    Job("control test, driver dead", "coil-control", _COIL, "driver-dead"),
    Job("control test to the first crank", "coil-control", _COIL, "control-wire-open", to_crank=True),
    Job("the same again that day", "coil-control", _COIL, "control-wire-open", to_crank=True, again=True),
    Job("open control wire again that day", "coil-control", _COIL, "control-wire-open", again=True),
    Job(
        "nothing known, to the first crank",
        "no-start",
        _COIL,
        "control-wire-open",
        {
            "safe-set-up": ("not-yet", "safe"),
            "what-came-before": ("none",),
            "crank-speed": ("unknown",),
            "spark-so-far": ("untested",),
        },
        to_crank=True,
    ),
)
"""The jobs that are timed."""


@dataclass
class Spent:
    """The seconds of a job: the assistant's speech, the starter's forced rest, hook-ups and cranks.

    `talk` is what the technician's own words take, beside `all`: as long as the voice takes for them, and `HEARD_S`.
    `words` counts them. `steps` names the steps that were answered, `end` the verdict, or the place where the job
    ended.
    """

    speech: float = 0.0
    rest: float = 0.0
    hook_ups: float = 0.0
    cranks: float = 0.0
    talk: float = 0.0
    words: int = 0
    steps: list[str] = field(default_factory=list)
    end: str = ""

    @property
    def all(self) -> float:
        """The whole job, s."""
        return self.speech + self.rest + self.hook_ups + self.cranks


class _Timed(RunnerPlayer):
    """One job, played to its end."""

    def __init__(
        self, runner: Runner, library: Library, person: Person, pace: Pace, seconds: Callable[[str], float]
    ) -> None:
        super().__init__(runner, shown=False)
        self.spent = Spent()
        self.cranked = False
        self._library, self._person, self._pace, self._seconds = library, person, pace, seconds
        self._hooked_up: Measurement | None = None
        self._turned_s = 0.0
        self._text = ""
        self._last: VerdictReached | LedBack | None = None

    def send(self, event: Event) -> tuple[Action, ...]:
        """Give one event to the dialogue, and listen to what it says to its end."""
        actions = super().send(event)
        for action in actions:
            if isinstance(action, Note) and isinstance(action.entry, VerdictReached | LedBack):
                self._last = action.entry
            if isinstance(action, Note) and isinstance(action.entry, Cranked):
                self.cranked = True
        said = [action for action in actions if isinstance(action, Say)]
        if said and self.speaking is not None:
            self._text = said[-1].text
            lasts = self._seconds(self._text)
            self.spent.speech += lasts
            self.finish_speech(lasts)
        return actions

    def play(self, job: Job) -> None:
        """Answer until the job has ended.

        Raises:
            UsageProblem: It comes to no end.
        """
        facts = (TypedFact("technician", _TECHNICIAN),) if job.again else ()
        told = ToldToday(
            _TECHNICIAN, tuple(self._library.cautions), tuple(self._library.cautions), cranking=True
        )
        pairs = ((self._pace.ear, Witness.EAR), (self._pace.meter, Witness.METER))
        witnesses = tuple(witness for there, witness in pairs if there)
        self.send(Began(self.now, job.procedure, facts, (told,) if job.again else (), witnesses=witnesses))
        for _ in range(MOST_TURNS):
            if job.to_crank and (self.cranked or self.runner.state is State.CRANKING):
                self.spent.end = "first crank"
                return
            if not self._turn():
                last = self._last
                self.spent.end = last.verdict if isinstance(last, VerdictReached) else "led back"
                return
        raise UsageProblem(f"The job {job.name!r} comes to no end. Look at its answers.")

    def _turn(self) -> bool:
        """One answer or one wait; False at the end."""
        match self.runner.state:
            case State.ACKNOWLEDGING:
                self._say(Control.READY)
            case State.INQUIRING:
                self.send(KeyPressed(self.now, "plus"))  # nothing is known about the car
            case State.READING_BACK | State.CONFIRMING:
                self._say(Control.AFFIRM)
            case State.RESTING:
                self._hook_up()
                self._wait()
            case State.ASKING:
                self._test()
            case State.CRANKING:
                if self._pace.meter and self._step()[1].reading is not None:
                    self._watch_meter()
                    return True
                self._crank_for(self._pace.crank_s)
                late = max(0.0, self._turned_s - self._pace.crank_s)
                if self._pace.ear:
                    self.send(StarterHeard(self.now, CrankSound.ENDS, late, SURE))
                self._report()
            case State.CONCLUDING:
                if not isinstance(self._last, VerdictReached) or not goes_on(self._library, self._last):
                    return False
                self._say(Control.GO_AHEAD)
            case _:
                return False
        return True

    def _crank_for(self, seconds: float) -> None:
        """The engine turns until it has turned so long."""
        left = max(0.0, seconds - self._turned_s)
        self.now += left
        self.spent.cranks += left
        self._turned_s += left

    def _watch_meter(self) -> None:
        """The meter reports while it cranks: the reading that has stood is read back, or taken after a usual crank."""
        procedure, step = self._step()
        given = self._person.answer(procedure, step)
        self.spent.steps.append(step.name)
        self._crank_for(SETTLED_S + HELD_S + SAMPLE_S)
        self._reads(step, given, min(self._turned_s - SETTLED_S, HELD_S))
        if self.runner.state is State.CRANKING:
            self._crank_for(self._pace.crank_s)
            self._say(Control.TAKE_IT)
        self._turned_s = 0.0

    def _reads(self, step: Step, given: Given, stood: float) -> None:
        """The meter shows this, and has for so long, s."""
        assert step.reading is not None  # noqa: S101
        number, unit = _as_said(given.value, step.reading.unit)
        reads = Result(spoken_value(given)[0], number, unit)
        self.send(Perceived(self.now, Witness.METER, reads, 1.0, 0.01, stood_s=stood))

    def _say(self, control: Control) -> None:
        self._speaks(SAID_AS.get(control, control.value.replace("-", " ")))
        self.send(Heard(self.now, control.value, Result(control=control), 1.0))

    def _speaks(self, words: str) -> None:
        """The technician says this; what it takes is counted beside the rest."""
        self.spent.words += len(words.split())
        self.spent.talk += self._seconds(f"{words}.") + HEARD_S

    def _step(self) -> tuple[str, Step]:
        procedure, name = self.runner.position
        return procedure, self._library.step(procedure, name)

    def _hook_up(self) -> None:
        measure = self._step()[1].measure
        if measure.instrument in SENSES or measure == self._hooked_up:
            return
        self._hooked_up = measure
        self.now += self._pace.hook_up_s
        self.spent.hook_ups += self._pace.hook_up_s

    def _wait(self) -> None:
        due = self.next_timer()
        if due is None:
            raise UsageProblem("The starter rests without an end. Look at the dialogue.")
        self.spent.rest += max(0.0, due[0] - self.now)
        self.send(self.elapsed(due[1]))

    def _test(self) -> None:
        self._hook_up()
        step = self._step()[1]
        if step.measure.engine is not Engine.CRANKING:
            self._report()
        elif self._pace.ear:
            before = self._text.partition(CRANK)[0] + CRANK
            self._turned_s = max(0.0, self._seconds(self._text) - self._seconds(before))
            self.send(StarterHeard(self.now, CrankSound.BEGINS, self._turned_s, SURE))
        else:
            self._say(Control.CRANKING)

    def _report(self) -> None:
        self._turned_s = 0.0
        procedure, step = self._step()
        given = self._person.answer(procedure, step)
        self.spent.steps.append(step.name)
        if step.reading is None:
            self._speaks(self._library.terms.outcomes[given.answer.outcome].spoken)
            self.send(KeyPressed(self.now, str(step.choices().index(given.answer) + 1)))
            return
        if self._pace.meter:
            self._reads(step, given, 0.0)
            self._say(Control.TAKE_IT)
            return
        outcome, _ = spoken_value(given)
        number, unit = _as_said(given.value, step.reading.unit)
        words = "" if number is None or unit is None else f"{in_words(number)} {UNIT_WORDS[unit][1]}"
        self._speaks(words or (outcome or "").replace("-", " "))
        words = outcome or f"{number} {unit}"
        self.send(Heard(self.now, words, Result(outcome, number, unit), 1.0))


def _as_said(value: Decimal | None, unit: str) -> tuple[Decimal | None, str | None]:
    """A reading as people say it: thousands of ohms in kilohms, millions in megohms."""
    if value is None:
        return None, None
    for larger, factor in (("megohm", 10**6), ("kilohm", 10**3)):
        if unit == "ohm" and value >= factor:
            return _plain(value / factor), larger
    return _plain(value), unit


def _plain(value: Decimal) -> Decimal:
    """The same number without zeros behind its last digit: nobody says "eleven point three zero"."""
    short = value.normalize()
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


def time_job(
    library: Library,
    knowledge: Knowledge | None,
    job: Job,
    pace: Pace,
    seconds: Callable[[str], float],
    cars: Cars,
) -> list[Spent]:
    """Play a job on random cars, and say where the time went on each, the shortest first.

    Args:
        library: The procedures.
        knowledge: Weighs the results.
        job: The job.
        pace: The seconds of hands and starter.
        seconds: How long the voice takes for a text, s.
        cars: Which cars.

    Raises:
        UsageProblem: There is no such fault in this circuit, or the job comes to no end.
    """
    mechanism = next((one for one in mechanisms(job.circuit) if one.fault == job.fault), None)
    if mechanism is None:
        raise UsageProblem(
            f"{job.circuit} has no fault {job.fault!r}. Its faults are in procedures/terms.yaml."
        )
    systems = Systems.random(cars.count, cars.seed)
    bay = Bay(library, job.circuit, systems)
    found = []
    for car in np.flatnonzero(bad_spark(job.circuit, mechanism, systems)).tolist():
        person = Skilled(bay, mechanism, car, job.answers)
        timed = _Timed(Runner(library, knowledge, DEFAULT_THRESHOLDS), library, person, pace, seconds)
        timed.play(job)
        found.append(timed.spent)
    return sorted(found, key=lambda spent: spent.all)
