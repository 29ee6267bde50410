"""The reasons why a procedure fails its proof: figures beyond the limits, and answers that rule out a present fault.

A procedure fails if it exceeds the limits in `LIMITS` for any way in which a fault comes about, if it leads a car
without a fault to a part, or if an answer rules out a present fault.
A fault that a procedure presumes excluded (`presumes_no`) fails nothing there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.proof.cases import called
from assistant.proof.judging import NO_FAULT, Case, CaseFigures, Worth, counters
from assistant.proof.limits import LIMITS, MOST_PART
from assistant.proof.result import Failure

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.circuit.observers import Observer
    from assistant.core.library.library import Library
    from assistant.proof.walk import Walk


TWO_MISTAKES = "coil-terminals-swapped"
"""A mechanism that is itself a mistake about places; it is not combined with a wrong place of the observer."""

_JUDGED = {
    "wrong_part": (Worth.WRONG_PART, "a good part is named"),
    "wrong_path": (Worth.WRONG_PATH, "another fault is named"),
    "undecided": (Worth.UNDECIDED, "nothing is decided"),
}

_WHO = {
    "honest": "an honest observer",
    "without values": "an honest observer without the maker's values",
    "mean clamp": "one whose clamp shows the mean",
    "no clamp": "one without a clamp",
    "misses contact": "one who misses a pin now and then",
    "wrong end": "one who probes the wrong end of the control wire once",
    "nobody cranks": "one for whom nobody cranks",
}


def beyond_limits(
    library: Library, name: str, observer: Observer, case: Case, walked: Walk, number: int, one: CaseFigures
) -> Iterator[Failure]:
    """The reason why a way in which a fault comes about fails for an observer, if it fails."""
    if case.fault in library.procedures[name].presumes_no:
        return
    if observer.wrong_end and case.mechanism == TWO_MISTAKES:
        return  # two swapped wires and the wrong end of one of them: two mistakes at once
    for figure, limit in LIMITS.get(observer.name, {}).items():
        if case.fault == NO_FAULT and figure != "wrong_part":
            continue  # a car without a fault decides nothing, and that is right
        worth, words = _JUDGED[figure]
        share = getattr(one, figure) + (one.wrong_on_the_way if figure == "wrong_path" else 0.0)
        if share <= limit + 1e-9:
            continue
        found = [
            replace(counter, observer=observer)
            for counter in counters(library, name, walked, {number: case})
            if counter.worth is worth
        ]
        found.sort(key=lambda counter: (not counter.clear, -counter.share))
        end = f", as at the end {found[0].end}" if found else ""
        yield Failure(
            f"{name}: {words} to {_WHO[observer.name]} in {share:.1%} of the cars with {called(case)}, "
            f"the limit is {limit:.0%}{end}.",
            found[0] if found else None,
        )


def wrongly_ruled_out(
    library: Library, name: str, cases: Sequence[Case], walks: Sequence[Walk], cars: Sequence[float]
) -> tuple[tuple[tuple[str, str, str, str, float], ...], list[Failure]]:
    """Answers that rule out a present fault: their shares, and failures if they are clear."""
    found, failures = [], []
    for case, walked, count in zip(cases, walks, cars, strict=True):
        for (procedure, step, outcome), flow in walked.ruled_out.items():
            answer = library.step(procedure, step).answer(outcome)
            wrongly = [fault for fault in case.faults if answer is not None and fault in answer.rules_out]
            if not wrongly:
                continue
            share = float(flow.share[0]) / max(count, 1.0)
            found.append((procedure, step, outcome, wrongly[0], share))
            if share > MOST_PART and case.fault not in library.procedures[name].presumes_no:
                where = f"{library.procedures[procedure].file}:{library.step(procedure, step).line}"
                failures.append(
                    Failure(
                        f"{where}: '{outcome}' rules out {wrongly[0]}, and {share:.1%} of the cars with it "
                        f"({case.mechanism}) show that."
                    )
                )
    return tuple(found), failures
