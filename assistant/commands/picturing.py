"""Draws a step of a procedure on a car with a fault, as one sheet."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import NO_CIRCUIT, SENSES
from assistant.core.nearest import among
from assistant.errors import UsageProblem
from assistant.picture import curves, whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.circuit.catalogue import Mechanism
    from assistant.circuit.parameters import Systems
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step

TYPICAL = "typical"
DEFAULT_LAMP = "194"


def picture(
    library: Library,
    procedure: str,
    step: str,
    fault: str = "none",
    *,
    mechanism: str | None = None,
    lamp: str = DEFAULT_LAMP,
    system: str = TYPICAL,
) -> str:
    """The sheet as SVG.

    Args:
        library: All procedures.
        procedure: Name of one of them.
        step: Name of one of its steps.
        fault: Name of a fault that its circuit can have, or "none".
        mechanism: One way in which the fault comes about; None means the first.
        lamp: The lamp in the test lamp's place.
        system: "typical", or "seed:N" for one car drawn at random from the ranges.

    Raises:
        UsageProblem: There is no such procedure, step or system, or the step is a look, not a measurement.
        CircuitProblem: The circuit has no such fault, or there is no such lamp.
    """
    from assistant.circuit.catalogue import mechanism_named  # noqa: PLC0415  only this command needs the model

    chosen = library.procedure(procedure)
    if step not in chosen.steps:
        raise UsageProblem(
            f"The procedure '{procedure}' has no step '{step}'. {among(step, chosen.steps, 'It has')}."
        )
    one = chosen.steps[step]
    if chosen.circuit == NO_CIRCUIT:
        raise UsageProblem(
            f"The procedure '{procedure}' has no electrical circuit, so there is nothing to draw."
        )
    if one.measure.instrument in SENSES:
        others = ", ".join(
            name for name, other in chosen.steps.items() if other.measure.instrument not in SENSES
        )
        raise UsageProblem(
            f"The step '{step}' only looks at something and connects nothing, so there is nothing to draw. "
            f"Steps with a connection are: {others}."
        )
    shown = said(library, chosen, one, mechanism_named(chosen.circuit, fault, mechanism), lamp, system)
    sheet = whole.sheet(library, chosen, one, shown)
    title = f"{chosen.title}: {step}, {shown.fault}"
    return sheet.svg(title, whole.about(library, chosen, one, shown))


def changed(mechanism: Mechanism) -> tuple[str, ...]:
    """Names of the elements, parameters and flags that a mechanism changes; none if it has no fault."""
    if mechanism.fault == "none":
        return ()  # a car of another kind has no fault to mark
    return (*(change.name for change in mechanism.changes), *sorted(mechanism.flags))


def said(
    library: Library,
    procedure: Procedure,
    step: Step,
    mechanism: Mechanism,
    lamp: str = DEFAULT_LAMP,
    system: str = TYPICAL,
) -> curves.Prediction:
    """The circuit model's prediction for a step; arguments and errors as for `picture`."""
    (found,) = each_said(library, procedure, step, (mechanism,), lamp, system)
    return found


def each_said(
    library: Library,
    procedure: Procedure,
    step: Step,
    wanted: Sequence[Mechanism],
    lamp: str = DEFAULT_LAMP,
    system: str = TYPICAL,
) -> list[curves.Prediction]:
    """The circuit model's predictions for a step with each of these mechanisms, computed together."""
    from assistant.circuit import eye  # noqa: PLC0415
    from assistant.circuit.answers import answer_shares  # noqa: PLC0415
    from assistant.circuit.instruments import REGISTRY  # noqa: PLC0415
    from assistant.circuit.lamps import lamp_named  # noqa: PLC0415
    from assistant.circuit.observing import observe  # noqa: PLC0415
    from assistant.circuit.readings import UNITS  # noqa: PLC0415
    from assistant.circuit.tracing import traces  # noqa: PLC0415

    circuit, measure = procedure.circuit, step.measure
    known = lamp_named(lamp)
    systems = _systems(system)
    setting = "Typical system." if system == TYPICAL else f"Random system, {system.replace(':', ' ')}."
    bulb = REGISTRY[measure.instrument].bulb(known)
    if bulb is not None:
        setting += f" Lamp {bulb.name}: {bulb.about}."
    in_base = UNITS[step.reading.unit][1] if step.reading else 1.0
    found = []
    observed_of_all = [observe(circuit, mechanism, measure, systems, lamp) for mechanism in wanted]
    traced = traces(circuit, wanted, measure, systems, 0, lamp)
    for mechanism, observed, curve in zip(wanted, observed_of_all, traced, strict=True):
        sound = mechanism.fault == "none"
        fault = "nothing wrong" if sound else library.terms.faults[mechanism.fault].plain
        # The model has the maker's values, so every reading is judged.
        shares = answer_shares(observed, step)[0][: len(step.choices())]
        found.append(
            curves.Prediction(
                fault=fault[:1].upper() + fault[1:],
                wrong=changed(mechanism),
                shares=tuple(map(float, shares)),
                value=None if observed.value is None else float(observed.value[0]) / in_base,
                trace=curve,
                steady_index=eye.STEADY_INDEX,
                setting=setting if sound else f"{setting} Fault: {mechanism.about}.",
            )
        )
    return found


def _systems(system: str) -> Systems:
    from assistant.circuit.parameters import Systems  # noqa: PLC0415

    if system == TYPICAL:
        return Systems.typical()
    seed = re.fullmatch(r"seed:([0-9]{1,9})", system)
    if seed is None:
        raise UsageProblem(
            f"'{system}' is not a system. Use 'typical', or 'seed:7' (any whole number) for a car drawn at random."
        )
    return Systems.random(1, int(seed.group(1)))
