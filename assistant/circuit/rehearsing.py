"""Rehearsal: whole sessions with modelled cars, to see what weighing the results does for a person who errs.

``python -m assistant.circuit.rehearsing`` plays the dialogue itself, with keys, on a made clock, with the shipped
procedures: a car with a fault, a person who reports what an honest observer would, and, in every second run of a
car, one answer that is wrong (drawn at random among the answers of a step).
The same sessions are played without likelihoods for comparison.
The systems are drawn with another seed than those of the table.

It says how often a right person is asked again for nothing, how often a wrong answer is noticed, and what the
verdicts are worth.  All of it is from a model with no bench measurement behind it.
"""

from __future__ import annotations

import argparse
import random
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assistant.circuit.catalogue import Mechanism, mechanisms
from assistant.circuit.likelihoods import SEED, model_shares
from assistant.circuit.parameters import Systems
from assistant.circuit.problems import CircuitProblem
from assistant.core.entries import Remark, ResultTaken, VerdictReached
from assistant.core.loading import load_library
from assistant.core.procedure import NO_CIRCUIT
from assistant.core.result import Control
from assistant.core.states import State
from assistant.resources import directory
from assistant.testing import Dialogue

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.procedure import Answer, Library, Step

LONGEST = 80
"""Answers after which a session counts as one that never ends."""


@dataclass
class Tally:
    """What came of some sessions: numbers of sessions, and of those in which something was so."""

    sessions: int = 0
    asked_again: int = 0
    right: int = 0
    wrong: int = 0
    wrong_part: int = 0
    answers: int = 0

    def __str__(self) -> str:
        share = 100 / max(self.sessions, 1)
        return (
            f"{self.sessions} sessions: asked again in {self.asked_again * share:.1f} %; verdict right "
            f"{self.right * share:.1f}, wrong {self.wrong * share:.1f} (a wrong part {self.wrong_part * share:.1f}), "
            f"none {(self.sessions - self.right - self.wrong) * share:.1f} %; "
            f"{self.answers / max(self.sessions, 1):.1f} answers a session"
        )


class Person:
    """Answers as an honest observer of one car would, but for one answer.

    Args:
        circuit: The circuit.
        mechanism: What is wrong with the car.
        car: The car.
        seed: Of what is left to chance.
        wrong_at: Number of the answer that is wrong, from 0; None for a person who does not err.
    """

    def __init__(
        self, circuit: str, mechanism: Mechanism, car: Systems, seed: int, wrong_at: int | None
    ) -> None:
        self._circuit, self._mechanism, self._car = circuit, mechanism, car
        self._chance = random.Random(seed)  # noqa: S311  a rehearsal, not a secret
        self._wrong_at = wrong_at
        self.given = 0

    def answer(self, step: Step) -> Answer:
        """What is reported at this step."""
        choices = step.choices()
        try:
            shares = model_shares(self._circuit, self._mechanism, step, self._car)[0]
            seen = self._chance.choices(choices, weights=[float(share) for share in shares])[0]
        except CircuitProblem:
            seen = step.answer(step.good or "") or choices[0]
        if self.given == self._wrong_at:
            seen = self._chance.choice([choice for choice in choices if choice is not seen])
        self.given += 1
        return seen


def play(library: Library, procedure: str, person: Person) -> Dialogue:
    """One session by keys, to its verdict or hand-over's end."""
    talk = Dialogue(library, speech_s=0.0)
    talk.begin(procedure)
    for _ in range(LONGEST):
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
        elif state is State.CONCLUDING:
            verdict = next(entry for entry in reversed(talk.entries) if isinstance(entry, VerdictReached))
            following = library.procedures[verdict.procedure].verdicts[verdict.verdict].continue_with
            if not following or library.procedures[following].circuit == NO_CIRCUIT:
                break  # the repair, and what proves it
            talk.key("enter")
        else:
            break
    return talk


def _say(talk: Dialogue, library: Library, person: Person) -> None:
    step = library.step(*talk.runner.position)
    answer = person.answer(step)
    if step.reading is None:
        talk.key(str(step.choices().index(answer) + 1))
        return
    band = next(band for band in step.reading.bands if band.outcome == answer.outcome)
    low, high = step.reading.plausible
    least, most = band.limits({}) or (None, None)  # without a specification it is a number that nobody judges
    value = least if least is not None else (low + (most or high)) / 2
    if least is not None and most is not None:
        value = (least + most) / 2
    talk.hear(value=format(value, "f"), confidence=0.97)


def judge(library: Library, talk: Dialogue, mechanism: Mechanism, tally: Tally) -> None:
    """Count one session."""
    tally.sessions += 1
    tally.answers += sum(isinstance(entry, ResultTaken) for entry in talk.entries)
    tally.asked_again += any(
        isinstance(entry, Remark) and entry.kind == "does not fit" for entry in talk.entries
    )
    ends = [entry for entry in talk.entries if isinstance(entry, VerdictReached)]
    if not ends or talk.runner.state is not State.CONCLUDING:
        return
    verdict = library.procedures[ends[-1].procedure].verdicts[ends[-1].verdict]
    if not verdict.faults:
        return
    faults = {mechanism.fault, *mechanism.also}
    if faults & set(verdict.faults):
        tally.right += 1
    else:
        tally.wrong += 1
        tally.wrong_part += bool(verdict.part)


def rehearse(
    library: Library, cars: int, *, procedure: str = "coil-control", seed: int = SEED + 1
) -> tuple[Tally, Tally]:
    """Sessions of a person who does not err, and of one who errs once, for every way a fault comes about."""
    circuit = library.procedure(procedure).circuit
    systems = Systems.random(cars, seed)
    right, erring = Tally(), Tally()
    for mechanism in mechanisms(circuit):
        if mechanism.fault not in library.terms.faults:
            continue
        for number in range(cars):
            car = systems.part([number])
            sure = Person(circuit, mechanism, car, number, None)
            judge(library, play(library, procedure, sure), mechanism, right)
            # One of the answers that the session had, each in turn.
            wrong_at = number % max(sure.given, 1)
            unsure = Person(circuit, mechanism, car, number, wrong_at)
            judge(library, play(library, procedure, unsure), mechanism, erring)
    return right, erring


def main(arguments: Sequence[str] | None = None) -> int:
    """Play and print."""
    parser = argparse.ArgumentParser(prog="python -m assistant.circuit.rehearsing", description=__doc__)
    parser.add_argument("--cars", type=int, default=6, metavar="N", help="cars for each mechanism")
    options = parser.parse_args(arguments)
    library = load_library(directory("procedures"))
    for words, with_it in (("with likelihoods", library), ("without", replace(library, knowledge=None))):
        right, erring = rehearse(with_it, options.cars)
        print(f"{words}, a person who does not err: {right}")
        print(f"{words}, one wrong answer: {erring}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
