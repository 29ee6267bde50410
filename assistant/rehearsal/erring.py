"""Many rehearsed sessions, counted: does the dialogue as a whole condemn good parts when people err?

Each session is the dialogue itself, with keys, on a made clock, with all that it does on its own, asking again
included.  A car has one fault of the catalogue; only cars in which the spark is missing or weak count, where the
model says which these are.
A **good part** is counted when any verdict of the session, on the way or at its end, names one that is not bad.
All of it is from a model with no bench measurement behind it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.circuit.catalogue import Mechanism, mechanisms
from assistant.circuit.likelihoods import SEED
from assistant.circuit.observers import MISSED
from assistant.circuit.parameters import Systems
from assistant.circuit.pieces import carried_out
from assistant.circuit.spoiling import bad_spark
from assistant.core.dialogue.states import State
from assistant.core.library.vocabulary import NO_CIRCUIT
from assistant.core.reasoning.scales import Memo
from assistant.core.values.entries import LedBack, Remark, ResultTaken, VerdictReached, Why
from assistant.core.values.result import Control
from assistant.core.values.thresholds import Thresholds
from assistant.loading.folder import load_knowledge, load_library
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue
from assistant.rehearsal.persons import Bay, Habit, Person, spoken_value
from assistant.resources import directory

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge

CAUTION = "These figures come from a model with no bench measurement behind it."

LONGEST = 60
"""Answers after which a session counts as a circle; the longest way of the shipped procedures is half of it."""

PROCESSES = 2

_ASKED_AGAIN = tuple(why.value for why in Why)


@dataclass
class Counts:
    """Numbers of sessions: all, and those in which something was so; `answers` and `asked` count events.

    A circle counts beside the others: one session can have named a good part and then gone round.

    Attributes:
        sessions: All.
        right: The last verdict names what is wrong, and no verdict named a good part.
        good_part: Some verdict named a part that is not bad.
        wrong_path: The last verdict names faults, and none that is there, but no verdict named a good part.
        undecided: The last verdict names no fault, or there is none; no verdict named a good part.
        circle: The session came to no end, or the dialogue ended it because it led back to the same place.
        asked_again: The dialogue asked for a result again because it did not fit.
        answers: All answers.
        asked: How often an answer was asked for again.
        erred: At least one answer was not what was to be seen.
        claims: Of each session whose results were weighed, the probability of the likeliest fault at its end, and
            whether that fault is there.
    """

    sessions: int = 0
    right: int = 0
    good_part: int = 0
    wrong_path: int = 0
    undecided: int = 0
    circle: int = 0
    asked_again: int = 0
    answers: int = 0
    asked: int = 0
    erred: int = 0
    claims: tuple[tuple[float, bool], ...] = ()

    def add(self, other: Counts) -> None:
        """Count the sessions of another one, too."""
        for field in fields(self):
            setattr(self, field.name, getattr(self, field.name) + getattr(other, field.name))

    def share(self, name: str) -> float:
        """Share of the sessions in which this was so, in per cent."""
        return float(100 * getattr(self, name) / max(self.sessions, 1))


@dataclass(frozen=True)
class RehearsalRequest:
    """Settings of a rehearsal.

    Attributes:
        procedure: Name of the procedure that is started.
        cars: Random cars for each way in which a fault comes about.
        habits: The persons.
        seed: Of cars and chance; another one than that of the likelihoods by default.
        thresholds: Limits of the dialogue.
        processes: Largest number of processes.
        weighing: Results are weighed together; without it the dialogue never asks again.
    """

    procedure: str = "coil-control"
    cars: int = 20
    habits: tuple[Habit, ...] = ()
    seed: int = SEED + 1
    thresholds: Thresholds = DEFAULT_THRESHOLDS
    processes: int = PROCESSES
    weighing: bool = True


Counted = dict[tuple[str, str], Counts]
"""Counts by name of the habit and fault, in the order of the catalogue."""


def habits(misreading: float) -> tuple[Habit, ...]:
    """The persons of a rehearsal: one who does not err, one who misreads, one whose probe misses."""
    return (
        Habit("honest"),
        Habit(f"misreads {100 * misreading:g} %", misreading=misreading),
        Habit(f"misses contact {100 * MISSED:g} %", missing=MISSED),
    )


def play(
    library: Library,
    knowledge: Knowledge | None,
    wanted: RehearsalRequest,
    person: Person,
    memo: Memo | None = None,
) -> Dialogue:
    """One session by keys, to its last verdict, to where the repair would begin, or to `LONGEST` answers."""
    talk = Dialogue(library, wanted.thresholds, speech_s=0.0, knowledge=knowledge, memo=memo, shown=False)
    talk.begin(wanted.procedure)
    while person.given < LONGEST:
        state = talk.runner.state
        if state is State.ACKNOWLEDGING:
            talk.key("enter")
        elif state is State.INQUIRING:
            talk.key("plus")  # this person knows nothing about the car
        elif state is State.RESTING:
            talk.rested()
        elif state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        elif state is State.ASKING:
            _say(talk, library, person)
        elif (
            state is State.CONCLUDING
            and not isinstance(talk.entries[-1], LedBack)
            and goes_on(library, _last_verdict(talk))
        ):
            talk.key("enter")
        else:
            break
    return talk


def claim(talk: Dialogue, mechanism: Mechanism) -> tuple[tuple[float, bool], ...]:
    """Probability of the likeliest fault at the end, and whether the car has it; () if no result was weighed."""
    weighed = talk.runner.assessment()
    if weighed is None or not weighed.used:
        return ()
    fault, share = next(iter(weighed.posterior.items()))
    return ((share, fault in (mechanism.fault, *mechanism.also)),)


TENTHS = 10
"""Classes of probability in which a calibration is judged."""


def calibration(claims: Sequence[tuple[float, bool]]) -> tuple[float, float, float]:
    """How far probabilities can be relied on, each as a share: right, said on the mean, calibration error.

    The error is that of M. P. Naeini and others (AAAI 2015): over `TENTHS` classes of probability, the difference
    between what is said and how often it is right, weighted by the number of claims in the class.
    """
    if not claims:
        return 0.0, 0.0, 0.0
    said = np.array([share for share, _ in claims])
    right = np.array([there for _, there in claims], dtype=float)
    place = np.minimum((said * TENTHS).astype(int), TENTHS - 1)
    error = sum(
        abs(said[place == one].mean() - right[place == one].mean()) * float((place == one).mean())
        for one in range(TENTHS)
        if (place == one).any()
    )
    return float(right.mean()), float(said.mean()), float(error)


def _last_verdict(talk: Dialogue) -> VerdictReached | None:
    return next((one for one in reversed(talk.entries) if isinstance(one, VerdictReached)), None)


def goes_on(library: Library, last: VerdictReached | None) -> bool:
    """Whether the verdict goes on with another test, and not with the repair and what proves it."""
    if last is None or last.verdict not in library.procedures[last.procedure].verdicts:
        return False
    following = library.procedures[last.procedure].verdicts[last.verdict].continue_with
    return following is not None and library.procedures[following].circuit != NO_CIRCUIT


def _say(talk: Dialogue, library: Library, person: Person) -> None:
    procedure, name = talk.runner.position
    step = library.step(procedure, name)
    given = person.answer(procedure, step)
    if step.reading is None:
        talk.key(str(step.choices().index(given.answer) + 1))
        return
    outcome, value = spoken_value(given)
    talk.hear(outcome, value=value, confidence=0.999)


def good_parts(library: Library, mechanism: Mechanism, procedure: str, verdict: str) -> tuple[str, ...]:
    """Parts that a verdict names and that are good in a car with this mechanism.

    The mechanism's own list names the bad parts if the catalogue has one; else they are the parts of its faults, which
    a verdict of just that fault may name more exactly: "feed wire" for the feed circuit.
    """
    said = library.procedures[procedure].verdicts[verdict]
    named = tuple(said.part.split(" and ")) if said.part else ()
    bad = getattr(mechanism, "parts", None)
    if bad is not None:
        return tuple(part for part in named if part not in bad)
    faults = (mechanism.fault, *mechanism.also)
    parts = {library.terms.faults[fault].part for fault in faults if fault in library.terms.faults}
    if len(named) == 1 and set(faults) & set(said.faults):
        return ()
    return tuple(part for part in named if part not in parts)


def judge(library: Library, talk: Dialogue, mechanism: Mechanism, person: Person) -> Counts:
    """Count one session."""
    asked = sum(isinstance(entry, Remark) and entry.kind in _ASKED_AGAIN for entry in talk.entries)
    counts = Counts(
        sessions=1,
        answers=sum(isinstance(entry, ResultTaken) for entry in talk.entries),
        asked=asked,
        asked_again=asked > 0,
        erred=person.misread + person.missed > 0,
        claims=claim(talk, mechanism),
    )
    ends = [
        entry
        for entry in talk.entries
        if isinstance(entry, VerdictReached) and entry.verdict in library.procedures[entry.procedure].verdicts
    ]
    ended = talk.runner.state is State.CONCLUDING
    counts.circle = int(not ended or any(isinstance(entry, LedBack) for entry in talk.entries))
    if any(good_parts(library, mechanism, entry.procedure, entry.verdict) for entry in ends):
        counts.good_part = 1
        return counts
    last = _last_verdict(talk)
    if counts.circle or last is None or last not in ends:
        counts.undecided = int(not counts.circle)
        return counts
    named = library.procedures[last.procedure].verdicts[last.verdict].faults
    if not named:
        counts.undecided = 1
    elif {mechanism.fault, *mechanism.also} & set(named):
        counts.right = 1
    else:
        counts.wrong_path = 1
    return counts


def _piece(wanted: RehearsalRequest, numbers: Sequence[int]) -> Counted:
    """The sessions of some of the cars."""
    library = load_library(directory("procedures"))
    knowledge = load_knowledge(directory("procedures"), library.terms) if wanted.weighing else None
    circuit = library.procedure(wanted.procedure).circuit
    systems = Systems.random(wanted.cars, wanted.seed).part(numbers)
    bay = Bay(library, circuit, systems)
    memo = Memo(most=20_000)
    found: Counted = {}
    for mechanism in mechanisms(circuit):
        if mechanism.fault not in library.terms.faults:
            continue
        for car in np.flatnonzero(bad_spark(circuit, mechanism, systems)).tolist():
            for habit in wanted.habits:
                seed = f"{wanted.seed}/{mechanism.fault}/{mechanism.name}/{numbers[car]}/{habit.name}"
                person = Person(bay, mechanism, car, habit, seed)
                talk = play(library, knowledge, wanted, person, memo)
                counted = judge(library, talk, mechanism, person)
                found.setdefault((habit.name, mechanism.fault), Counts()).add(counted)
    return found


_SECONDS_OF_A_CAR = 0.5
"""Processor time of all ways of a fault on one car with one person, s, in `coil-control`."""


def seconds(wanted: RehearsalRequest) -> float:
    """About how long `rehearse` takes, s."""
    return 1.0 + _SECONDS_OF_A_CAR * wanted.cars * len(wanted.habits) / min(
        wanted.processes, max(wanted.cars, 1)
    )


def rehearse(wanted: RehearsalRequest) -> Counted:
    """All sessions, counted by person and fault; the same for the same seed, however many processes.

    Raises:
        UsageProblem: There is no such procedure.
        CircuitProblem: The circuit model does not know its circuit.
    """
    numbers = list(range(wanted.cars))
    pieces = [part for part in (numbers[0::2], numbers[1::2]) if part]
    found: Counted = {}
    for piece in carried_out(_piece, (wanted,), pieces, wanted.processes):
        for key, counts in piece.items():
            found.setdefault(key, Counts()).add(counts)
    return found


_COLUMNS = ("right", "good_part", "wrong_path", "undecided", "circle", "asked_again")


def text(wanted: RehearsalRequest, found: Counted, presumed: Sequence[str] = ()) -> str:
    """A table in Markdown for each person: a line for each fault, and their mean.

    Args:
        wanted: Settings of the rehearsal.
        found: The counts.
        presumed: Faults that the procedure presumes excluded: they have a line, and are not in the means.
    """
    lines = [
        f"`{wanted.procedure}` and where it leads, {wanted.cars} cars a mechanism, seed {wanted.seed}. {CAUTION}"
    ]
    for habit in wanted.habits:
        rows = {fault: counts for (name, fault), counts in found.items() if name == habit.name}
        whole = Counts()
        means = {fault: counts for fault, counts in rows.items() if fault not in presumed}
        for counts in means.values():
            whole.add(counts)
        lines += [
            "",
            (
                f"**{habit.name}**: {whole.sessions} sessions, "
                f"{whole.answers / max(whole.sessions, 1):.1f} answers each, "
                f"an answer that was not to be seen in {whole.share('erred'):.1f} %"
            ),
            "",
            f"| fault, per cent | sessions | {' | '.join(name.replace('_', ' ') for name in _COLUMNS)} |",
            "|---|---|" + "---|" * len(_COLUMNS),
        ]
        for fault, counts in [*rows.items(), ("all sessions", whole)]:
            cells = " | ".join(f"{counts.share(name):.1f}" for name in _COLUMNS)
            left_out = " (presumed excluded, not in the means)" if fault in presumed else ""
            lines.append(f"| {fault}{left_out} | {counts.sessions} | {cells} |")
        right, said, error = calibration(whole.claims)
        shares = [[counts.share(name) for counts in means.values()] or [0.0] for name in _COLUMNS]
        mean = " | ".join(f"{sum(column) / len(column):.1f}" for column in shares)
        lines += [
            f"| mean of the faults | | {mean} |",
            "",
            (
                f"At the end the likeliest fault of the evidence is right in {100 * right:.1f} % of the sessions; it "
                f"is given {100 * said:.1f} % on the mean, with a calibration error of {100 * error:.1f} %."
            ),
        ]
    return "\n".join(lines) + "\n"


def to_json(wanted: RehearsalRequest, found: Counted) -> dict[str, Any]:
    """For a program: the counts of each person and fault."""
    return {
        "procedure": wanted.procedure,
        "cars": wanted.cars,
        "seed": wanted.seed,
        "sessions": [
            {"person": person, "fault": fault, **vars(counts)} for (person, fault), counts in found.items()
        ],
    }
