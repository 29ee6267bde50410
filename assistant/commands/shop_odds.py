"""The odds of faults before any test as a table: as shipped, and with this shop's findings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.reasoning.odds import posterior_mean
from assistant.printing import in_line as plain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.terms import Terms
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.record.history import History, Score


def odds_json(history: History, knowledge: Knowledge) -> dict[str, Any]:
    """For each circuit the shipped odds, the counted cars and the odds in use, as JSON."""
    findings = history.findings()
    faults, verdicts = history.faults(), history.verdicts()
    circuits = {}
    for name in knowledge.circuits:
        rows = _rows(knowledge, findings.on(name), name)
        circuits[name] = {
            fault: {"shipped": shipped, "cars": cars, "used": used} for fault, shipped, cars, used in rows
        }
    return {
        "sessions": len(history.counted),
        "weight_cars": knowledge.odds.weight_cars,
        "weight_source": knowledge.odds.weight_source,
        "source": knowledge.odds.source,
        "circuits": circuits,
        "faults": {name: {"named": score.right, "found": score.of} for name, score in faults.items()},
        "verdicts": {
            name: {"right": score.right, "of": score.of, "instead": dict(score.instead)}
            for name, score in verdicts.items()
        },
        "left_out": list(history.left_out),
    }


def _rows(
    knowledge: Knowledge, cars: dict[str, float], circuit: str
) -> list[tuple[str, float, float, float]]:
    """Fault, shipped share, cars, and share in use, among the faults of a circuit; likeliest first."""
    faults = dict.fromkeys(knowledge.circuits[circuit].faults)
    odds = knowledge.odds
    whole = sum(odds.prior.get(fault, 0.0) for fault in faults)
    shipped = {fault: odds.prior[fault] / whole for fault in faults if fault in odds.prior}
    # The faults of one circuit are a part of all faults, and the weight of their shipped odds is that part of the
    # cars.
    weight = odds.weight_cars * whole
    used = posterior_mean(shipped, weight, cars) if weight else shipped
    rows = [(fault, shipped[fault], cars.get(fault, 0.0), used[fault]) for fault in shipped]
    return sorted(rows, key=lambda row: (-row[3], row[0]))


def odds_text(history: History, knowledge: Knowledge, terms: Terms) -> Iterator[str]:
    """The same as text: a table for each circuit, the verdicts, and the sessions left out."""
    odds, findings, faults = knowledge.odds, history.findings(), history.faults()
    count = len(history.counted)
    yield f"Odds before any test. Signed reviews that name what was found: {count}."
    yield f"Shipped odds: {odds.source}"
    if odds.weight_cars:
        yield (
            f"They weigh as much as {odds.weight_cars:g} of this shop's cars. {odds.weight_source} "
            "'run --no-history' leaves this shop's cars out."
        )
    else:
        yield "odds.yaml has no weight_cars to say how much they weigh, so this shop's cars are not counted."
    width = max(len(fault.plain) for fault in terms.faults.values())
    for circuit in knowledge.circuits:
        rows = _rows(knowledge, findings.on(circuit), circuit)
        yield ""
        yield f"On {circuit}:"
        yield f"  {'fault':<{width}}  shipped   cars     used  verdict named it"
        for fault, shipped, cars, used in rows:
            score = faults.get(fault)
            named = f"  {score.right} of {score.of}" if score and cars else ""
            number = f"{cars:.3g}" if cars else "-"
            yield f"  {terms.faults[fault].plain:<{width}}  {shipped:6.1%}  {number:>6}  {used:6.1%}{named}"
    yield from _verdict_lines(history.verdicts(), terms)
    if history.left_out:
        yield ""
        yield "Left out:"
        yield from (f"  {plain(sentence)}" for sentence in history.left_out)


def _verdict_lines(verdicts: dict[str, Score], terms: Terms) -> Iterator[str]:
    if verdicts:
        yield ""
        yield "Verdicts, compared with what was found in the end:"
    for name, score in verdicts.items():
        instead = [f"{terms.faults[fault].plain} ({count})" for fault, count in score.instead.items()]
        found = f"; found instead: {', '.join(instead)}" if instead else ""
        yield f"  {name}: right in {score.right} of {score.of}{found}"
