"""The proof of procedures as a command: what is proven, by how many processes, and how it is said.

What a proof is, and what its words mean, is in `assistant.circuit.proof`.

Four observers are led through each procedure by the same cars:

- *honest*: says what is to be seen; where the lamp leaves a doubt, either;
- *without values*: honest, and leaves every value of the vehicle maker blank, so that some readings stay unjudged;
- *misreading*: at each test says something else with a given rate, whatever there is to be seen;
- *skipping*: honest, and skips every test that may be skipped, as one does who has no clamp.

A procedure fails when an honest observer, with or without the maker's values, is led to a wrong verdict by answers that
are all clear, or to wrong verdicts by any answers for more than `MOST_WRONG_PART` or `MOST_WRONG_PATH` of the cars with
one fault; when clear answers lead in a circle; and when a clear answer rules out the fault that is there.
A verdict on the way to another procedure counts as well when it names faults, and none that is there.
Misreading and skipping are reported and have no limit: no procedure is proof against every wrong answer, and a test
that was skipped is named as not done in the write-up.
A fault that a procedure presumes excluded (`presumes_no`) is reported and fails nothing there.
A procedure about nothing electrical is not proven, and the report says so.
A car without a fault is reported and fails nothing: who starts these procedures has a car that does not spark.
"""

from __future__ import annotations

import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant import __version__
from assistant.circuit import catalogue, parameters
from assistant.circuit.observing import VERSION, Observed, answer_shares, observe
from assistant.circuit.order import Best, Choice, Trial, best_order, minutes_of, preparation
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.proof import (
    CLEAR,
    MOST_WRONG_PART,
    MOST_WRONG_PATH,
    NO_FAULT,
    Case,
    Counter,
    End,
    Judgement,
    Key,
    Row,
    Told,
    Walk,
    counters,
    followed,
    goes_on,
    judge,
    mean,
    never_reached,
    row,
    story,
    walk,
)
from assistant.core import wording
from assistant.core.procedure import NO_CIRCUIT, Leads
from assistant.errors import BayAssistantError, FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.parameters import Systems
    from assistant.circuit.proof import Shares
    from assistant.core.odds import Odds
    from assistant.core.procedure import Library, Measurement, Step

CAUTION = "These figures come from a model with no bench measurement behind it."

_WORST_FIRST = (Judgement.WRONG_PART, Judgement.WRONG_PATH, Judgement.UNDECIDED, Judgement.RIGHT)

OBSERVERS = ("honest", "without values", "misreading", "skipping")
HONEST = OBSERVERS[:2]

PROCESSES = 2
"""At most so many are used: more would not be on the machine beside a technician's other work."""

_SYSTEMS_AT_ONCE = 50
"""Of every mechanism, in one piece of the work: the model simulates all mechanisms of a circuit together."""

_MOST_SYSTEMS = 100_000


@dataclass(frozen=True)
class Asked:
    """What is to be proven.

    Attributes:
        procedures: Names of procedures; empty for all.
        systems: Random cars for each way in which a fault comes about.
        seed: Of the random cars.
        misreading: Rate of wrong answers of the misreading observer, from 0 to 1.
        processes: At most so many processes.
    """

    procedures: tuple[str, ...] = ()
    systems: int = 200
    seed: int = 1
    misreading: float = 0.02
    processes: int = PROCESSES


@dataclass(frozen=True)
class Failure:
    """A sentence that says why a procedure is not proven, and the car that shows it; None where there is none."""

    sentence: str
    counter: Counter | None = None


@dataclass(frozen=True)
class Proven:
    """All about one procedure.

    Attributes:
        name: Its name.
        circuit: The circuit that its faults are of.
        cases: The ways in which faults come about, those of one fault together; a car without a fault is last.
        rows: Observer to the figures of each case.
        ends: Observer to the share of each end, for each case.
        failures: Why it is not proven.
        presumed: Faults that it presumes excluded, which fail nothing.
        ruled_out: Procedure, step, outcome, fault, share of cars that give an answer that rules out their fault.
    """

    name: str
    circuit: str
    cases: tuple[Case, ...]
    rows: dict[str, tuple[Row, ...]]
    ends: dict[str, tuple[dict[End, float], ...]]
    failures: tuple[Failure, ...]
    ruled_out: tuple[tuple[str, str, str, str, float], ...]
    presumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ordered:
    """How long a procedure takes beside the best order of its tests, in expected minutes.

    `names` are the ways in which faults come about, by the numbers of the best order; `wrong` is the share of the
    odds for which the typical car is not led to a right verdict.
    """

    name: str
    minutes: float
    best: Best
    names: tuple[str, ...]
    wrong: float


@dataclass(frozen=True)
class Report:
    """The whole proof; `nothing_electrical` are procedures in which there is nothing to prove."""

    asked: Asked
    version: str
    procedures: tuple[Proven, ...]
    unreached: tuple[Key, ...]
    idle: tuple[str, ...]
    stories: tuple[str, ...]
    order: tuple[Ordered, ...] = ()
    nothing_electrical: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether no procedure failed."""
        return not any(proven.failures for proven in self.procedures)


# --- the work -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Unit:
    """A piece of the work: all mechanisms of a circuit, with some of the systems."""

    circuit: str
    entries: tuple[str, ...]
    systems: tuple[int, int]


class _Looks:
    """What would be answered at each step, for some mechanisms and systems; each look is simulated once."""

    def __init__(
        self, library: Library, circuit: str, mechanisms: Sequence[Mechanism], systems: Systems
    ) -> None:
        self._library = library
        self._circuit = circuit
        self._mechanisms = mechanisms
        self._systems = systems
        self._seen: dict[tuple[int, Measurement], Observed] = {}
        self._shares: dict[tuple[Key, float, bool], NDArray[np.float64]] = {}

    def observed(self, key: Key, number: int = 0) -> Observed:
        """What is to be seen at a step with one of the mechanisms."""
        step = self._library.step(*key)
        place = (number, step.measure)
        if place not in self._seen:
            try:
                self._seen[place] = observe(
                    self._circuit, self._mechanisms[number], step.measure, self._systems
                )
            except BayAssistantError as problem:
                raise self._cannot(key, problem) from None
        return self._seen[place]

    def _answered(self, key: Key, number: int, *, blank: bool) -> NDArray[np.float64]:
        step = self._library.step(*key)
        try:
            return answer_shares(self.observed(key, number), step, blank=blank)
        except CircuitProblem as problem:
            raise self._cannot(key, problem) from None

    def _cannot(self, key: Key, problem: BayAssistantError) -> FileProblem:
        step = self._library.step(*key)
        text = str(problem).rstrip(".")
        return FileProblem(
            self._library.procedures[key[0]].file,
            step.line,
            f"step '{step.name}' cannot be simulated: {text}",
        )

    def shares(self, misreading: float = 0.0, *, blank: bool = False) -> Shares:
        """The shares of the answers of a step, with a rate of misreading, or with no value of the maker."""

        def of(key: Key) -> NDArray[np.float64]:
            step = self._library.step(*key)
            place = (
                key,
                misreading,
                blank and step.reading is not None and step.reading.unjudged is not None,
            )
            if place not in self._shares and misreading:
                self._shares[place] = _misread(self.shares(blank=blank)(key), misreading, len(step.choices()))
            elif place not in self._shares:
                self._shares[place] = np.stack(
                    [self._answered(key, number, blank=blank) for number in range(len(self._mechanisms))]
                )
            return self._shares[place]

        return of


def _misread(shares: NDArray[np.float64], rate: float, count: int) -> NDArray[np.float64]:
    """Each of the first `count` answers is with this rate one of the others, any of them alike."""
    if not rate:
        return shares
    found = np.zeros_like(shares)
    found[..., :count] = (1 - rate) * shares[..., :count] + rate * (1 - shares[..., :count]) / (count - 1)
    return found


def _walks(library: Library, unit: _Unit, asked: Asked) -> dict[tuple[str, str], Walk]:
    """All walks of one piece of the work, by procedure and observer."""
    first, last = unit.systems
    chosen = catalogue.mechanisms(unit.circuit)
    looks = _Looks(library, unit.circuit, chosen, _some(_systems(asked), first, last))
    shape = (len(chosen), last - first)
    return {
        (entry, observer): walk(
            library,
            entry,
            looks.shares(
                asked.misreading if observer == "misreading" else 0.0, blank=observer == "without values"
            ),
            shape,
            first_system=first,
            skips=observer == "skipping",
        )
        for entry in unit.entries
        for observer in OBSERVERS
    }


def _systems(asked: Asked) -> Systems:
    return parameters.Systems.random(asked.systems, asked.seed)


def _some(systems: Systems, first: int, last: int) -> Systems:
    return systems.part(range(first, last))


_HERE: list[tuple[Library, Asked]] = []
"""What a further process works on, given to it once at its start."""


def _begin(library: Library, asked: Asked) -> None:
    _HERE[:] = [(library, asked)]


def _work(unit: _Unit) -> dict[tuple[str, str], Walk] | str:
    """One piece in a further process; a problem is handed back as its text, because not every error travels."""
    try:
        return _walks(*_HERE[0][:1], unit, _HERE[0][1])
    except BayAssistantError as problem:
        return str(problem)


def prove(
    library: Library, asked: Asked, progress: Callable[[int, int], None] = lambda _done, _all: None
) -> Report:
    """Prove procedures.

    The same library, seed and number of systems give the same figures, with any number of processes.

    Args:
        library: The procedures.
        asked: What is to be proven.
        progress: Is told the number of finished pieces of the work, and of all.

    Raises:
        UsageProblem: A procedure is unknown, or a number is out of its range.
        FileProblem: A step cannot be simulated, or a procedure's circuit is none of the model's.
    """
    _check(library, asked)
    wanted = asked.procedures or tuple(library.procedures)
    names = electrical(library, wanted)
    circuits: dict[str, tuple[str, ...]] = {}
    for name in names:
        circuit = circuit_of(library, name)
        circuits[circuit] = (*circuits.get(circuit, ()), name)
    for circuit, entries in circuits.items():
        _check_steps(library, circuit, entries)
    units = [unit for circuit, entries in circuits.items() for unit in _units(circuit, entries, asked)]
    whole: dict[tuple[str, str], Walk] = {}
    for number, walks in enumerate(_carry_out(library, asked, units), start=1):
        for key, walked in walks.items():
            if key in whole:
                whole[key].add(walked)
            else:
                whole[key] = walked
        progress(number, len(units))
    proven = tuple(_proven(library, name, circuit_of(library, name), whole, asked) for name in names)
    return Report(
        asked,
        VERSION,
        proven,
        tuple(_unreached(library, names, whole)),
        tuple(_idle(library, names, proven)),
        tuple(_stories(library, proven, asked)),
        nothing_electrical=tuple(name for name in wanted if name not in names),
    )


def electrical(library: Library, names: Iterable[str]) -> tuple[str, ...]:
    """Those of these procedures that are about a circuit."""
    return tuple(name for name in names if library.procedures[name].circuit != NO_CIRCUIT)


def _check(library: Library, asked: Asked) -> None:
    for name in asked.procedures:
        library.procedure(name)
    if not 1 <= asked.systems <= _MOST_SYSTEMS:
        raise UsageProblem(
            f"{asked.systems} systems cannot be proven; name a number from 1 to {_MOST_SYSTEMS}."
        )
    if not 0 <= asked.misreading < 0.5:
        raise UsageProblem(
            f"A rate of misreading of {asked.misreading} is no use; name a share from 0 to below 0.5."
        )
    if asked.seed < 0:
        raise UsageProblem(f"The seed {asked.seed} is below 0; name 0 or a whole number above it.")


def circuit_of(library: Library, name: str) -> str:
    """The circuit whose faults a procedure is proven against.

    It is its own where the model has it, else the first that it leads to: battery and starter are part of every
    circuit of a coil.

    Raises:
        FileProblem: Neither is one of the model's circuits.
    """
    for other in followed(library, name, proven=True):
        if library.procedures[other].circuit in catalogue.CIRCUITS:
            return library.procedures[other].circuit
    procedure = library.procedures[name]
    raise FileProblem(
        procedure.file,
        0,
        f"the circuit '{procedure.circuit}' is not in the circuit model",
        f"Known are: {', '.join(catalogue.CIRCUITS)}",
    )


def _check_steps(library: Library, circuit: str, entries: tuple[str, ...]) -> None:
    """Each step once on a typical car, so that a step that cannot be simulated is told with file and line."""
    sound = catalogue.mechanisms(circuit, NO_FAULT)[:1]
    looks = _Looks(library, circuit, sound, parameters.Systems.typical())
    for name in dict.fromkeys(other for entry in entries for other in followed(library, entry, proven=True)):
        for step in library.procedures[name].steps:
            looks.shares()((name, step))


def _units(circuit: str, entries: tuple[str, ...], asked: Asked) -> Iterator[_Unit]:
    """The pieces, the same for any number of processes."""
    for first in range(0, asked.systems, _SYSTEMS_AT_ONCE):
        yield _Unit(circuit, entries, (first, min(first + _SYSTEMS_AT_ONCE, asked.systems)))


def _carry_out(library: Library, asked: Asked, units: list[_Unit]) -> Iterator[dict[tuple[str, str], Walk]]:
    """The walks of each piece, in order."""
    processes = min(asked.processes, os.cpu_count() or 1, len(units))
    if processes < 2 or asked.systems < 20:  # so few are done before a further process has started
        for unit in units:
            yield _walks(library, unit, asked)
        return
    # Started afresh, not forked: a caller may have threads (sound), which do not survive a fork.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, context, _begin, (library, asked)) as pool:
        for result in pool.map(_work, units):
            if isinstance(result, str):
                pool.shutdown(cancel_futures=True)
                raise UsageProblem(result)
            yield result


# --- what came out --------------------------------------------------------------------------------


def _proven(
    library: Library,
    name: str,
    circuit: str,
    whole: dict[tuple[str, str], Walk],
    asked: Asked,
) -> Proven:
    mechanisms = catalogue.mechanisms(circuit)
    order = sorted(
        range(len(mechanisms)),
        key=lambda number: _rank(library, mechanisms[number].fault),
    )
    cases = tuple(_case(mechanisms[number]) for number in order)
    walks = {
        observer: [whole[name, observer].part(number, number + 1) for number in order]
        for observer in OBSERVERS
    }
    rows = {
        observer: tuple(
            row(library, walked, 0, case, asked.systems)
            for case, walked in zip(cases, walks[observer], strict=True)
        )
        for observer in OBSERVERS
    }
    ends = {
        observer: tuple(
            {end: float(flow.share[0]) / asked.systems for end, flow in walked.ends.items()}
            for walked in walks[observer]
        )
        for observer in OBSERVERS
    }
    failures: list[Failure] = []
    for fault, group in groupby(range(len(cases)), key=lambda number: cases[number].fault):
        if fault != NO_FAULT and fault not in library.procedures[name].presumes_no:
            numbers = list(group)
            for observer in HONEST:
                found = _failures(
                    library,
                    name,
                    observer,
                    [cases[number] for number in numbers],
                    [walks[observer][number] for number in numbers],
                    mean(rows[observer][number] for number in numbers),
                )
                told = {failure.counter for failure in failures}
                failures += [failure for failure in found if failure.counter not in told]
    ruled_out = []
    for case, walked in zip(cases, walks["honest"], strict=True):
        for (procedure, step, outcome), flow in walked.ruled_out.items():
            answer = library.step(procedure, step).answer(outcome)
            wrongly = [fault for fault in case.faults if answer is not None and fault in answer.rules_out]
            if not wrongly:
                continue
            ruled_out.append((procedure, step, outcome, wrongly[0], float(flow.share[0]) / asked.systems))
            if flow.clear[0] and case.fault not in library.procedures[name].presumes_no:
                where = f"{library.procedures[procedure].file}:{library.step(procedure, step).line}"
                failures.append(
                    Failure(
                        f"{where}: '{outcome}' rules out {wrongly[0]}, and {flow.clear[0]:.0f} of {asked.systems} "
                        f"cars with it ({case.mechanism}) clearly show that."
                    )
                )
    presumed = library.procedures[name].presumes_no
    return Proven(name, circuit, cases, rows, ends, tuple(failures), tuple(ruled_out), presumed)


def _case(mechanism: Mechanism) -> Case:
    return Case(mechanism.fault, mechanism.name, mechanism.also)


def _rank(library: Library, fault: str) -> int:
    names = list(library.terms.faults)
    return names.index(fault) if fault in names else len(names)


def _failures(
    library: Library, name: str, observer: str, cases: Sequence[Case], walks: Sequence[Walk], fault: Row
) -> Iterator[Failure]:
    """Why a fault fails, if it does: clear cars first, then too many doubtful ones."""
    who = "an honest observer" if observer == "honest" else "an honest observer without the maker's values"
    found = [
        (counter, float((walked.ends.get(counter.end) or walked.passed[counter.end]).clear[0]))
        for case, walked in zip(cases, walks, strict=True)
        for counter in counters(library, name, walked, [case])
    ]
    found.sort(key=lambda pair: (_WORST_FIRST.index(pair[0].judgement), not pair[0].clear, -pair[0].share))
    for counter, cars in found:
        if counter.clear:
            yield Failure(
                f"{name}: {who} is led from {_called(counter.case)} to {counter.end} "
                f"({counter.judgement}) by clear answers, with {cars:.0f} cars.",
                counter,
            )
    for judgement, share, limit in (
        (Judgement.WRONG_PART, fault.wrong_part, MOST_WRONG_PART),
        (Judgement.WRONG_PATH, fault.wrong_path + fault.wrong_on_the_way, MOST_WRONG_PATH),
    ):
        of_this = [counter for counter, _ in found if counter.judgement is judgement]
        if share > limit:
            yield Failure(
                f"{name}: {who} is led from {cases[0].fault} to a {judgement} with {share:.1%} of the "
                f"cars, the limit is {limit:.0%}; as from {_called(of_this[0].case)} to {of_this[0].end}.",
                of_this[0],
            )


def _called(case: Case) -> str:
    return case.fault if case.mechanism in ("", case.fault) else f"{case.fault} ({case.mechanism})"


def _unreached(library: Library, names: Sequence[str], whole: dict[tuple[str, str], Walk]) -> list[Key]:
    reached: set[Key] = set()
    for name in names:
        faulty = [
            number
            for number, one in enumerate(catalogue.mechanisms(circuit_of(library, name)))
            if one.fault != NO_FAULT
        ]
        walks = [whole[name, observer] for observer in (*HONEST, "skipping")]
        missed = set(never_reached(library, names, walks, faulty))
        reached |= {
            (other, step)
            for other in names
            for step in library.procedures[other].steps
            if (other, step) not in missed
        }
    return [
        (name, step)
        for name in names
        for step in library.procedures[name].steps
        if (name, step) not in reached
    ]


def _idle(library: Library, names: Sequence[str], proven: Iterable[Proven]) -> list[str]:
    """Verdicts that no honest observer comes to, and faults that a verdict names and that never lead there."""
    came: dict[End, set[str]] = {}
    for one in proven:
        for observer in (*HONEST, "skipping"):
            for case, ends in zip(one.cases, one.ends[observer], strict=True):
                for end, share in ends.items():
                    if share > 0:
                        came.setdefault(end, set()).update(case.faults)
    found = []
    for name in names:
        for verdict in library.procedures[name].verdicts.values():
            if verdict.continue_with and goes_on(library, name, verdict.continue_with):
                continue
            faults = came.get(End(name, verdict.name), set()) - {NO_FAULT}
            if not faults:
                found.append(f"{name}: {verdict.name} (no fault leads there)")
                continue
            never = [fault for fault in verdict.faults if fault not in faults]
            if never and len(never) == len(verdict.faults):
                found.append(f"{name}: {verdict.name} (none of the faults that it names leads there)")
            elif never:
                found.append(
                    f"{name}: {verdict.name} (names {wording.listed(never)}, which never lead there)"
                )
    return found


# --- the story of a car ---------------------------------------------------------------------------


def _stories(library: Library, proven: Sequence[Proven], asked: Asked) -> Iterator[str]:
    """The first counter-example of each procedure that failed."""
    for one in proven:
        for failure in one.failures:
            if failure.counter is not None:
                yield tell(library, one.circuit, failure.counter, asked)
                break


def tell(library: Library, circuit: str, counter: Counter, asked: Asked) -> str:
    """A counter-example as a readable story: the car, each step with what would be seen, and the verdict."""
    mechanism = next(
        one for one in catalogue.mechanisms(circuit, counter.case.fault) if one.name == counter.case.mechanism
    )
    car = _some(_systems(asked), counter.system, counter.system + 1)
    looks = _Looks(library, circuit, [mechanism], car)
    way = story(library, counter.procedure, counter.end, looks.shares())
    clear = "every answer is clear" if counter.clear else f"{counter.share:.0%} of honest answers go this way"
    head = f"A counter-example in {counter.procedure}: car {counter.system} of seed {asked.seed} with "
    lines = [
        f"{head}{_called(counter.case)}; {clear}.",
        f"  The fault: {mechanism.about}",
        f"  The car: {_car(car)}.",
    ]
    lines += [
        f"  {number}. {told.procedure}/{told.step.name}: {_told(library, looks, told)}"
        for number, told in enumerate(way, start=1)
    ]
    if counter.end.verdict:
        says = library.procedures[counter.end.procedure].verdicts[counter.end.verdict].says
        lines.append(f'  Verdict {counter.end} ({counter.judgement}): "{says}"')
    else:
        lines.append(f"  It ends {counter.end} ({counter.judgement}).")
    lines.append(f"  {CAUTION}")
    return "\n".join(lines)


def _told(library: Library, looks: _Looks, told: Told) -> str:
    how = wording.connection(library.terms, told.step.measure)
    how = f"{how}, {wording.engine_words(told.step.measure.engine)}"
    if told.answer is None:
        return f"{how}: skipped."
    shown = _shown(told.step, looks.observed((told.procedure, told.step.name)))
    goes_on = ""
    if told.answer.target.leads is Leads.VERDICT:
        verdict = library.procedures[told.procedure].verdicts[told.answer.target.name]
        if verdict.continue_with:
            goes_on = f' It is told: "{verdict.says}"'
    share = "" if told.share >= CLEAR else f" ({told.share:.0%} would say so)"
    return f"{how}: {shown}, answer '{told.answer.outcome}'{share}.{goes_on}"


def _shown(step: Step, observed: Observed) -> str:
    """What would be seen or read, in numbers."""
    if observed.value is not None:
        value = float(observed.value[0])
        unit = step.reading.unit if step.reading else ""
        return "the meter is over its range" if np.isinf(value) else f"the meter shows {value:.3g} {unit}"
    if observed.spark is not None:
        energy = 1e3 * float(observed.spark.joules[0])
        return f"{float(observed.spark.kilovolts[0]):.0f} kV are available, from {energy:.0f} mJ"
    if observed.ramp is not None:
        reached = 1e3 * float(observed.ramp.limit_s[0])
        limit = f", at the limit after {reached:.1f} ms" if np.isfinite(reached) else ""
        return f"the current rises to {float(observed.ramp.peak[0]):.1f} A{limit}"
    if observed.kinds is not None:
        return "the model has cars of several kinds"
    if observed.shown is not None:
        return "there is a sign" if bool(observed.shown[0]) else "there is no sign"
    parts = []
    if observed.brightness is not None:
        parts.append(f"the lamp gives {float(observed.brightness[0]):.0%} of its light on the battery")
    if observed.index is not None:
        parts.append(f"its changes are {float(observed.index[0]):.1f} times what an eye just notices")
    if observed.feed_index is not None:
        parts.append(f"{float(observed.feed_index[0]):.1f} on the feed")
    return ", ".join(parts)


def _car(car: Systems) -> str:
    """The four parameters that lie farthest towards an end of their range."""
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


# --- the order of tests ---------------------------------------------------------------------------


def order(library: Library, odds: Odds, names: Sequence[str]) -> tuple[Ordered, ...]:
    """The expected minutes of each procedure, beside the least that any order of its tests could take."""
    return tuple(_ordered(library, odds, name) for name in electrical(library, names))


def _ordered(library: Library, odds: Odds, name: str) -> Ordered:
    circuit = circuit_of(library, name)
    presumed = library.procedures[name].presumes_no
    mechanisms = [
        one for one in catalogue.mechanisms(circuit) if one.fault in odds.prior and one.fault not in presumed
    ]
    looks = _Looks(library, circuit, mechanisms, parameters.Systems.typical())
    shares = looks.shares()
    ways = {one.fault: sum(other.fault == one.fault for other in mechanisms) for one in mechanisms}
    prior = [odds.prior[one.fault] / ways[one.fault] for one in mechanisms]
    procedures = followed(library, name, proven=True)
    tests: dict[tuple[Measurement, tuple[str, ...]], Trial] = {}
    likeliest: dict[Key, list[str]] = {}
    for procedure in procedures:
        for step in library.procedures[procedure].steps.values():
            outcomes = tuple(answer.outcome for answer in step.ways())
            shown = shares((procedure, step.name))[:, 0, :].argmax(axis=1)
            likeliest[procedure, step.name] = [outcomes[number] for number in shown]
            tests.setdefault(
                (step.measure, outcomes),
                Trial(
                    f"{procedure}/{step.name}",
                    odds.minutes[step.measure.instrument],
                    preparation(step.measure),
                    tuple(likeliest[procedure, step.name]),
                ),
            )
    spent, wrong = 0.0, 0.0
    together: dict[End, set[int]] = {}
    for number, one in enumerate(mechanisms):
        looks_of_one = _Certain(library, likeliest, number)
        walked = walk(library, name, looks_of_one.shares, (1, 1))
        end = next(iter(walked.ends))
        together.setdefault(end, set()).add(number)
        way = story(library, name, end, looks_of_one.shares)
        share = prior[number] / sum(prior)
        spent += share * minutes_of(odds, [told.step.measure for told in way])
        astray = (Judgement.WRONG_PART, Judgement.WRONG_PATH)
        if end.circle or judge(library, end, _case(one)) in astray:
            wrong += share
    best = best_order(prior, list(tests.values()), [frozenset(one) for one in together.values()], odds.once)
    return Ordered(
        name,
        spent,
        best,
        tuple(_called(_case(one)) for one in mechanisms),
        wrong,
    )


class _Certain:
    """The likeliest answer of the typical car with one mechanism, as if it were the only one."""

    def __init__(self, library: Library, likeliest: dict[Key, list[str]], number: int) -> None:
        self._library = library
        self._likeliest = likeliest
        self._number = number

    def shares(self, key: Key) -> NDArray[np.float64]:
        """Shape (1, 1, answers)."""
        given = self._likeliest[key][self._number]
        choices = self._library.step(*key).ways()
        return np.array([[[float(answer.outcome == given) for answer in choices]]])


# --- said and written -----------------------------------------------------------------------------


def text(report: Report, library: Library) -> str:
    """The proof for a person."""
    asked = report.asked
    version = f"bay-assistant {__version__}, circuit model {report.version[:12]}"
    limits = f"wrong part {MOST_WRONG_PART:.0%}, wrong path {MOST_WRONG_PATH:.0%} (chosen)"
    lines = [
        f"{version}: {asked.systems} random cars (seed {asked.seed}) for each way in which a fault comes about.",
        CAUTION,
        f"An answer is clear when {CLEAR:.1%} of honest observers would give it.",
        f"Limits for wrong verdicts by doubtful answers, per fault: {limits}; by clear answers: none.",
    ]
    for proven in report.procedures:
        lines += ["", *_table(proven, library, asked)]
    if report.nothing_electrical:
        lines += ["", f"About nothing electrical, so not proven: {', '.join(report.nothing_electrical)}"]
    if report.unreached:
        lines += ["", "Steps that no fault reaches: " + ", ".join(f"{a}/{b}" for a, b in report.unreached)]
    if report.idle:
        lines += ["", "Verdicts that cover less than they say:", *(f"  {one}" for one in report.idle)]
    for one in report.order:
        lines += ["", *_order_lines(one)]
    for one_story in report.stories:
        lines += ["", one_story]
    lines.append("")
    for proven in report.procedures:
        lines += [f"FAILED: {failure.sentence}" for failure in proven.failures]
    if report.holds:
        lines.append(
            "Proven, within this model: no clear answers lead to a wrong verdict, and doubtful ones stay in limits."
        )
    return "\n".join(lines) + "\n"


def _table(proven: Proven, library: Library, asked: Asked) -> Iterator[str]:
    further = followed(library, proven.name, proven=True)[1:]
    yield (
        f"{proven.name}, circuit {proven.circuit}"
        + (f", going on with {wording.listed(further)}" if further else "")
    )
    heads = ("honest", "without maker's values", f"misreads {asked.misreading:.0%}", "skips")
    yield f"  {'per cent of cars':30}" + "".join(f"  {head:^24}" for head in heads)
    yield f"  {'fault (ways)':30}" + "  right  part  path  open" * len(OBSERVERS)
    grouped = [
        (fault, [number for number, _ in group])
        for fault, group in groupby(enumerate(proven.cases), key=lambda pair: pair[1].fault)
    ]
    for fault, numbers in grouped:
        if fault == NO_FAULT:
            continue
        cells = ""
        for observer in OBSERVERS:
            one = mean(proven.rows[observer][number] for number in numbers)
            shares = (one.right, one.wrong_part, one.wrong_path, one.undecided)
            cells += " " + "".join(f"{100 * share:6.1f}" for share in shares)
        ways = f" ({len(numbers)})" if len(numbers) > 1 else ""
        mark = "*" if fault in proven.presumed else ""
        yield f"  {fault + ways + mark:30}{cells}"
    if proven.presumed:
        yield f"  * presumed excluded before this procedure, fails nothing: {wording.listed(proven.presumed)}"
    for fault, numbers in grouped:
        ends: dict[End, float] = {}
        for number in numbers:
            case = proven.cases[number]
            for end, share in proven.ends["honest"][number].items():
                if fault == NO_FAULT or judge(library, end, case) is not Judgement.RIGHT:
                    ends[end] = ends.get(end, 0.0) + share / len(numbers)
        told = [
            f"{share:.1%} {end}"
            for end, share in sorted(ends.items(), key=lambda pair: -pair[1])
            if share >= 0.0005
        ]
        if told:
            who = "a car without a fault ends" if fault == NO_FAULT else f"{fault}, honest, not right"
            yield f"  {who}: {'; '.join(told)}"
    for procedure, step, outcome, fault, share in proven.ruled_out:
        if share >= 0.0005:
            yield f"  {procedure}/{step} '{outcome}' rules out {fault}, yet {share:.1%} of its cars show that"


def _order_lines(one: Ordered) -> Iterator[str]:
    if one.best.first.test is None:
        yield f"Order of tests in {one.name}: one verdict covers all faults; there is nothing to compare."
        return
    excess = one.minutes - one.best.minutes
    yield (
        f"Order of tests in {one.name}: {one.minutes:.1f} min expected, best order {one.best.minutes:.1f} min, "
        f"excess {excess:.1f} min ({excess / one.best.minutes:.0%})."
    )
    yield "  Odds and minutes are judgement (odds.yaml); each fault looks as on a typical car. " + CAUTION
    if one.wrong:
        yield f"  For {one.wrong:.1%} of the odds the procedure ends elsewhere than the best order."
    yield "  The best order:"
    yield from _choice_lines(one.best.first, one.names, "    ")


def _choice_lines(choice: Choice, names: Sequence[str], indent: str) -> Iterator[str]:
    if choice.test is None:
        yield indent + ", ".join(names[number] for number in choice.faults)
        return
    yield f"{indent}{choice.test.name}"
    for shown, after in choice.after:
        yield f"{indent}  {shown}:"
        yield from _choice_lines(after, names, indent + "    ")


def to_json(report: Report) -> dict[str, Any]:
    """The proof for a program; shares from 0 to 1."""
    return {
        "program": __version__,
        "model": report.version,
        "caution": CAUTION,
        "systems": report.asked.systems,
        "seed": report.asked.seed,
        "misreading": report.asked.misreading,
        "limits": {"clear": CLEAR, "wrong part": MOST_WRONG_PART, "wrong path": MOST_WRONG_PATH},
        "holds": report.holds,
        "procedures": [
            {
                "procedure": proven.name,
                "circuit": proven.circuit,
                "presumed excluded": list(proven.presumed),
                "failures": [failure.sentence for failure in proven.failures],
                "cases": [
                    {
                        "fault": case.fault,
                        "mechanism": case.mechanism,
                        **{
                            observer: {
                                **asdict(proven.rows[observer][number]),
                                "ends": {
                                    str(end): share for end, share in proven.ends[observer][number].items()
                                },
                            }
                            for observer in OBSERVERS
                        },
                    }
                    for number, case in enumerate(proven.cases)
                ],
                "ruled out though there": [
                    {"procedure": a, "step": b, "outcome": c, "fault": d, "share": e}
                    for a, b, c, d, e in proven.ruled_out
                ],
            }
            for proven in report.procedures
        ],
        "not proven, about nothing electrical": list(report.nothing_electrical),
        "steps that no fault reaches": [list(key) for key in report.unreached],
        "verdicts that cover less than they say": list(report.idle),
        "stories": list(report.stories),
        "order": [
            {
                "procedure": one.name,
                "minutes": one.minutes,
                "best_minutes": one.best.minutes,
                "excess_minutes": one.minutes - one.best.minutes,
                "sets_of_faults": one.best.sets,
                "not_right": one.wrong,
            }
            for one in report.order
        ],
    }
