"""The walk of a proof: every fault, over many cars, is led through every procedure to its end.

For a car with a fault the circuit model gives the shares of the answers at each step: all of one answer if the
lamp leaves no doubt, some of each if an honest person could give either.
These shares are carried through the tree of steps exactly; nothing is drawn by lot but the cars themselves.
If answers lead to the same step, their shares are added there, so the work grows with the number of steps and not
with the number of ways.

Given the car, two measurements are independent: a person who once said "flickering" may say something else at the
next test, and a test of an earlier procedure is made again.
A way that enters a procedure a second time runs in a circle and counts as undecided.
The walk does not follow a procedure about nothing electrical or about another circuit: a verdict that goes on
with one is an end, and an answer that hands over to one decides nothing here and belongs to that procedure's own
proof.

Every figure comes from a model with no bench measurement behind it.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from assistant.circuit.catalogue import CIRCUITS
from assistant.circuit.looks import Key
from assistant.core.library.procedure import Leads, Step
from assistant.core.library.vocabulary import NO_CIRCUIT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.circuit.looks import Shares
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Target

CLEAR = 0.999
"""An answer with at least this share is clear: no honest person would give another one. Chosen."""

LONGEST = 100
"""Number of steps after which a way counts as endless."""

EVERYWHERE = "battery-and-starter"
"""Circuit that is part of every other one, so that a proof walks into it and out of it."""

_Name = TypeVar("_Name")


@dataclass(frozen=True)
class End:
    """The end of a way: a verdict, a procedure that would be entered a second time, or one of another circuit.

    Attributes:
        procedure: The procedure of the verdict, the one that would be entered again, or that of another circuit.
        verdict: The verdict's name; "" for a circle, and for a procedure of another circuit.
        left: Whether the way leads out of this circuit.
    """

    procedure: str
    verdict: str
    left: bool = False

    @property
    def circle(self) -> bool:
        """Whether a procedure would be entered a second time."""
        return not self.verdict and not self.left

    def __str__(self) -> str:
        if self.left:
            return f"handed over to {self.procedure}"
        return (
            f"{self.procedure}: {self.verdict}" if self.verdict else f"in a circle, back to {self.procedure}"
        )


@dataclass
class Flow:
    """The flow into one place; sums over systems, each of shape (mechanisms,).

    Attributes:
        share: Sum of the shares.
        clear: Number of systems that got here by clear answers alone.
        first_clear: Number of the first such system; -1 for none.
        largest: Largest share of one system.
        largest_at: The number of that system.
    """

    share: NDArray[np.float64]
    clear: NDArray[np.float64]
    first_clear: NDArray[np.int64]
    largest: NDArray[np.float64]
    largest_at: NDArray[np.int64]

    def part(self, start: int, stop: int) -> Flow:
        """That of some of the mechanisms."""
        cut = slice(start, stop)
        return Flow(
            self.share[cut],
            self.clear[cut],
            self.first_clear[cut],
            self.largest[cut],
            self.largest_at[cut],
        )

    def plus(self, other: Flow) -> Flow:
        """The sum of both, for the same mechanisms; `other` has later systems."""
        later = other.largest > self.largest
        return Flow(
            self.share + other.share,
            self.clear + other.clear,
            np.where(self.first_clear >= 0, self.first_clear, other.first_clear),
            np.where(later, other.largest, self.largest),
            np.where(later, other.largest_at, self.largest_at),
        )


@dataclass
class Walk:
    """All ways from one procedure for one observer.

    Attributes:
        ends: Flow into each end.
        passed: Flow through each verdict that goes on with another procedure.
        reached: Flow into each step.
        ruled_out: Flow of each answer (procedure, step, outcome) that rules out faults.
    """

    ends: dict[End, Flow] = field(default_factory=dict)
    passed: dict[End, Flow] = field(default_factory=dict)
    reached: dict[Key, Flow] = field(default_factory=dict)
    ruled_out: dict[tuple[str, str, str], Flow] = field(default_factory=dict)

    def part(self, start: int, stop: int) -> Walk:
        """That of some of the mechanisms."""
        return Walk(
            {key: flow.part(start, stop) for key, flow in self.ends.items()},
            {key: flow.part(start, stop) for key, flow in self.passed.items()},
            {key: flow.part(start, stop) for key, flow in self.reached.items()},
            {key: flow.part(start, stop) for key, flow in self.ruled_out.items()},
        )

    def add(self, other: Walk) -> None:
        """Add the same mechanisms over later systems."""
        _add(self.ends, other.ends)
        _add(self.passed, other.passed)
        _add(self.reached, other.reached)
        _add(self.ruled_out, other.ruled_out)


def _add(mine: dict[_Name, Flow], others: dict[_Name, Flow]) -> None:
    for key, flow in others.items():
        mine[key] = mine[key].plus(flow) if key in mine else flow


class _Sums(Generic[_Name]):
    """Arrays of shape (mechanisms, systems), summed by key."""

    def __init__(self, first_system: int) -> None:
        self._first = first_system
        self._sums: dict[_Name, tuple[NDArray[np.float64], NDArray[np.float64]]] = {}

    def add(self, key: _Name, share: NDArray[np.float64], clear: NDArray[np.float64]) -> None:
        if key in self._sums:
            before, clear_before = self._sums[key]
            share, clear = before + share, clear_before + clear
        self._sums[key] = share, clear

    def items(self) -> Iterator[tuple[_Name, tuple[NDArray[np.float64], NDArray[np.float64]]]]:
        yield from self._sums.items()

    def flows(self) -> dict[_Name, Flow]:
        return {key: self._flow(*pair) for key, pair in self._sums.items()}

    def _flow(self, share: NDArray[np.float64], clear: NDArray[np.float64]) -> Flow:
        largest_at = share.argmax(axis=1)
        return Flow(
            share.sum(axis=1),
            clear.sum(axis=1),
            np.where(clear.any(axis=1), clear.argmax(axis=1) + self._first, -1),
            share.max(axis=1),
            largest_at + self._first,
        )


def walk(
    library: Library,
    entry: str,
    shares: Shares,
    shape: tuple[int, int],
    *,
    first_system: int = 0,
    skips: Callable[[Step], bool] = lambda _step: False,
    present: NDArray[np.float64] | None = None,
) -> Walk:
    """Carry all systems with all mechanisms from the first step of a procedure to their ends.

    Args:
        library: The procedures.
        entry: Name of the first procedure.
        shares: Shares of the answers at each step.
        shape: Number of mechanisms and of systems.
        first_system: Number of the first of these systems among all.
        skips: Whether a test is skipped.
        present: 1 for systems that count for a mechanism and 0 for others, of this shape; None means all.
    """
    ends: _Sums[End] = _Sums(first_system)
    passed: _Sums[End] = _Sums(first_system)
    reached: _Sums[Key] = _Sums(first_system)
    ruled_out: _Sums[tuple[str, str, str]] = _Sums(first_system)
    all_of_them = np.ones(shape) if present is None else present
    order = _Order(library)
    # Each state is carried on after everything that leads to it: the states are few, however many ways there are.
    waiting: dict[_State, tuple[NDArray[np.float64], NDArray[np.float64]]] = {}
    start: _State = (entry, library.procedures[entry].start, frozenset((entry,)))
    waiting[start] = (all_of_them, all_of_them)
    queue = [order.place(start)]
    visits = 0
    while queue:
        state = heapq.heappop(queue)[-1]
        share, clear = waiting.pop(state)
        name, step_name, entered = state
        visits += 1
        if visits > order.most:  # steps that lead back to each other
            ends.add(End(name, ""), share, clear)
            continue
        step = library.step(name, step_name)
        reached.add((name, step_name), share, clear)
        for outcome, target, some, some_clear in answers(
            step, (name, step_name), shares, share, clear, skips
        ):
            answer = step.answer(outcome) if outcome else None
            if answer is not None and answer.rules_out:
                ruled_out.add((name, step_name, outcome), some, some_clear)
            next_state, through, end = follow(library, name, target, entered)
            for verdict in through:
                passed.add(verdict, some, some_clear)
            if end is not None:
                ends.add(end, some, some_clear)
            elif next_state is not None:
                if next_state in waiting:
                    before, clear_before = waiting[next_state]
                    waiting[next_state] = (before + some, clear_before + some_clear)
                else:
                    waiting[next_state] = (some, some_clear)
                    heapq.heappush(queue, order.place(next_state))
    return Walk(ends.flows(), passed.flows(), reached.flows(), ruled_out.flows())


_State = tuple[str, str, frozenset[str]]
"""Procedure, step, and the procedures that were entered on the way."""


class _Order:
    """The order in which states are carried on: fewer procedures first, then the steps in their order.

    A way enters a procedure once, so everything that leads to a state comes before it.
    """

    def __init__(self, library: Library) -> None:
        self._library = library
        self._ranks: dict[str, dict[str, int]] = {}
        self.most = LONGEST * sum(len(one.steps) for one in library.procedures.values())

    def place(self, state: _State) -> tuple[int, str, list[str], int, _State]:
        """The sorting key of a state."""
        name, step, entered = state
        if name not in self._ranks:
            self._ranks[name] = self._ranked(name)
        return len(entered), name, sorted(entered), self._ranks[name][step], state

    def _ranked(self, name: str) -> dict[str, int]:
        """Steps of a procedure by number, each after all that lead to it, if none leads back."""
        steps = self._library.procedures[name].steps
        done: list[str] = []
        seen: set[str] = set()

        def visit(step: str) -> None:
            if step in seen:
                return
            seen.add(step)
            for target in _targets(steps[step]):
                if target.leads is Leads.STEP:
                    visit(target.name)
            done.append(step)

        for step in steps:
            visit(step)
        return {step: number for number, step in enumerate(reversed(done))}


def answers(
    step: Step,
    key: Key,
    shares: Shares,
    share: NDArray[np.float64],
    clear: NDArray[np.float64],
    skips: Callable[[Step], bool],
) -> Iterator[tuple[str, Target, NDArray[np.float64], NDArray[np.float64]]]:
    """Each answer that anybody gives, with its target and share; the outcome is "" for a skipped test."""
    if step.if_skipped is not None and skips(step):
        yield "", step.if_skipped, share, clear
        return
    answered = shares(key)
    for number, answer in enumerate(step.ways()):
        some = share * answered[..., number]
        if some.any():
            yield answer.outcome, answer.target, some, clear * (answered[..., number] >= CLEAR)


def follow(
    library: Library, name: str, target: Target, entered: frozenset[str]
) -> tuple[tuple[str, str, frozenset[str]] | None, tuple[End, ...], End | None]:
    """The target of an answer: the next step or an end, and the verdicts passed on the way."""
    if target.leads is Leads.STEP:
        return (name, target.name, entered), (), None
    through: tuple[End, ...] = ()
    other: str | None = target.name
    if target.leads is Leads.VERDICT:
        end = End(name, target.name)
        other = library.procedures[name].verdicts[target.name].continue_with
        if other is None:
            return None, (), end
        through = (end,)
    assert other is not None  # noqa: S101  for the type checker
    if not goes_on(library, name, other):
        return None, (), through[0] if through else End(other, "", left=True)
    if other in entered:
        return None, through, End(other, "")
    return (other, library.procedures[other].start, entered | {other}), through, None


def goes_on(library: Library, name: str, other: str) -> bool:
    """Whether the proof of one procedure walks into another: both are about the same circuit, or a part of it.

    A procedure with an unknown circuit is proven by those to which it leads.
    """
    mine, theirs = library.procedures[name].circuit, library.procedures[other].circuit
    return NO_CIRCUIT not in (mine, theirs) and (
        mine == theirs or EVERYWHERE in (mine, theirs) or mine not in CIRCUITS
    )


def followed(library: Library, entry: str, *, proven: bool = False) -> tuple[str, ...]:
    """A procedure and all procedures to which it can hand over, directly or through others.

    Args:
        library: The procedures.
        entry: Name of the first procedure.
        proven: Whether to return only those that a proof of the first one walks into.
    """
    found = [entry]
    for name in found:
        procedure = library.procedures[name]
        further = [
            target.name
            for step in procedure.steps.values()
            for target in _targets(step)
            if target.leads is Leads.PROCEDURE
        ]
        further += [verdict.continue_with for verdict in procedure.verdicts.values() if verdict.continue_with]
        found += [
            other
            for other in dict.fromkeys(further)
            if other not in found and (not proven or goes_on(library, name, other))
        ]
    return tuple(found)


def _targets(step: Step) -> Iterator[Target]:
    yield from (answer.target for answer in step.ways())
    if step.if_skipped is not None:
        yield step.if_skipped
