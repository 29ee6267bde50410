"""Tells of a car that is led to a wrong verdict, as a readable story."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.circuit import catalogue, parameters
from assistant.circuit.looks import Looks
from assistant.circuit.observers import HONEST, Observer
from assistant.core.library.procedure import Leads
from assistant.core.words import placing
from assistant.proof.cases import called, systems_of
from assistant.proof.limits import CAUTION
from assistant.proof.walk import CLEAR
from assistant.proof.way import story

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.circuit.observed import Observed
    from assistant.circuit.parameters import Systems
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step
    from assistant.proof.judging import CounterExample
    from assistant.proof.result import Proven, Request
    from assistant.proof.way import Told


def stories(library: Library, proven: Sequence[Proven], asked: Request) -> Iterator[str]:
    """The first counter-example of each procedure that failed, as a story."""
    for one in proven:
        for failure in one.failures:
            if failure.counter is not None:
                yield tell(library, one.circuit, failure.counter, asked)
                break


def tell(library: Library, circuit: str, counter: CounterExample, asked: Request) -> str:
    """A counter-example as a readable story: the car, each step with its observation, and the verdict."""
    mechanism = next(
        one for one in catalogue.mechanisms(circuit, counter.case.fault) if one.name == counter.case.mechanism
    )
    car = systems_of(asked).part([counter.system])
    looks = Looks(library, circuit, [mechanism], car)
    observer = counter.observer or HONEST
    way = story(library, counter.procedure, counter.end, looks.shares(observer), skips=observer.leaves_out)
    clear = "every answer is clear" if counter.clear else f"{counter.share:.0%} of honest answers go this way"
    head = f"A counter-example in {counter.procedure}: car {counter.system} of seed {asked.seed} with "
    lines = [
        f"{head}{called(counter.case)}; {clear}.",
        f"  The fault: {mechanism.about}",
        f"  The car: {_car(car)}.",
    ]
    lines += [
        f"  {number}. {told.procedure}/{told.step.name}: {_told(library, looks, told, observer)}"
        for number, told in enumerate(way, start=1)
    ]
    if counter.end.verdict:
        says = library.procedures[counter.end.procedure].verdicts[counter.end.verdict].says
        lines.append(f'  Verdict {counter.end} ({counter.worth}): "{says}"')
    else:
        lines.append(f"  It ends {counter.end} ({counter.worth}).")
    lines.append(f"  {CAUTION}")
    return "\n".join(lines)


def _told(library: Library, looks: Looks, told: Told, observer: Observer) -> str:
    how = placing.connection(library.terms, told.step.measure)
    how = f"{how}, {placing.engine_words(told.step.measure.engine)}"
    if told.answer is None:
        return f"{how}: skipped."
    shown = _shown(told.step, looks.observed((told.procedure, told.step.name), observer=observer))
    goes_on = ""
    if told.answer.target.leads is Leads.VERDICT:
        verdict = library.procedures[told.procedure].verdicts[told.answer.target.name]
        if verdict.continue_with:
            goes_on = f' It is told: "{verdict.says}"'
    share = "" if told.share >= CLEAR else f" ({told.share:.0%} would say so)"
    return f"{how}: {shown}, answer '{told.answer.outcome}'{share}.{goes_on}"


def _shown(step: Step, observed: Observed) -> str:
    """The observation in numbers."""
    if observed.value is not None:
        value = float(observed.value[0])
        unit = step.reading.unit if step.reading else ""
        return "the meter is over its range" if np.isinf(value) else f"the meter shows {value:.3g} {unit}"
    return observed.shown.in_numbers() if observed.shown is not None else ""


def _car(car: Systems) -> str:
    """The four parameters nearest to an end of their range."""
    far = []
    for name, values in car.values.items():
        parameter = parameters.PARAMETERS.get(name)
        if parameter is None or parameter.high <= parameter.low:
            continue
        value = float(np.ravel(values)[0])
        middle = (parameter.low + parameter.high) / 2
        far.append(
            (-abs(value - middle) / (parameter.high - parameter.low), name, f"{value:.3g} {parameter.unit}")
        )
    return ", ".join(f"{name} {text}".rstrip() for _, name, text in sorted(far)[:4]) or "typical"
