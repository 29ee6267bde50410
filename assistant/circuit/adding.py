"""Findings for a person who adds a circuit, an instrument, an outcome, a fault or a test: what is left to do, and how.

The dialogue runs with names that the circuit model does not know: what was found is then recorded and not weighed.
A proof and a session are only as good as the model, so each name that it lacks is a finding that says which file
to write, or which command to run.

A place is not checked for its own sake: a step that goes where no instrument of the model goes cannot be simulated,
and that is a finding.
"""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from assistant import files, resources
from assistant.circuit.answers import answer_shares
from assistant.circuit.catalogue import ALL, CIRCUITS, NONE, circuit_named
from assistant.circuit.instruments import REGISTRY
from assistant.circuit.lamps import TEST_LAMP, lamp_named
from assistant.circuit.likelihoods import weighed_circuits
from assistant.circuit.observing import VERSION, check, observe
from assistant.circuit.parameters import Systems
from assistant.circuit.problems import CircuitProblem
from assistant.circuit.readings import UNITS
from assistant.core.library.vocabulary import NO_CIRCUIT, SENSES
from assistant.core.reasoning.knowledge import key_of
from assistant.core.values.finding import Finding
from assistant.loading.folder import LIKELIHOODS_FILE, ODDS_FILE, TERMS_FILE

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from assistant.circuit.instruments.model import InstrumentModel
    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Procedure, Step
    from assistant.core.library.terms import Instrument

ROOM = "assistant/circuit/instruments"
CATALOGUE = "assistant/circuit/catalogue"
WRITE = "Run: {command} --write-likelihoods"
"""The remedy, with the command that looks at the folder at fault."""


def findings(library: Library) -> list[Finding]:
    """Everything in these procedures that the model or the likelihoods do not know; nothing for an empty library."""
    folder = next((Path(one.file).parent for one in library.procedures.values() if one.file), None)
    if folder is None:
        return []
    return [
        *_instruments(library, folder / TERMS_FILE),
        *_faults(library, folder / TERMS_FILE),
        *_circuits(library),
        *_steps(library),
        *_weights(library, folder),
    ]


def _instruments(library: Library, terms: Path) -> Iterator[Finding]:
    """Instruments and outcomes of the terms that the model lacks; an instrument that only a person senses needs
    no model.
    """
    for instrument in library.terms.instruments.values():
        model = REGISTRY.get(instrument.name)
        if instrument.name in SENSES:
            continue
        if model is None:
            file = f"{ROOM}/{instrument.name.replace('-', '_')}.py"
            yield Finding(
                str(terms),
                _line(terms, "instruments", instrument.name),
                f"no model of instrument '{instrument.name}', so that its results are not weighed or proven",
                f"Add {file} with its `MODELS`; how is said in {ROOM}/model.py, and lamp.py there is an example",
            )
            continue
        for problem, remedy in _against(instrument, model):
            yield Finding(str(terms), _line(terms, "instruments", instrument.name), problem, remedy)


def _against(instrument: Instrument, model: InstrumentModel) -> Iterator[tuple[str, str]]:
    """Problem and remedy if the terms say more about an instrument than its model."""
    name, file = instrument.name, f"{type(model).__module__.replace('.', '/')}.py"
    for outcome in instrument.outcomes:
        if outcome not in model.outcomes:
            gives = f"it gives {', '.join(model.outcomes)}" if model.outcomes else "it gives a number"
            yield (
                f"the model of '{name}' does not give the outcome '{outcome}'",
                f"Say in {file} when it does; {gives}",
            )
    for unit in instrument.units:
        if unit not in UNITS:
            yield (
                f"the circuit model does not know the unit '{unit}' of '{name}'",
                f"Add it to `UNITS` in assistant/circuit/readings.py; known are {', '.join(UNITS)}",
            )
        elif UNITS[unit][0] != model.quantity:
            yield (
                f"'{name}' reads in '{unit}', and its model gives {model.quantity or 'words'}",
                f"Give it a unit of that, or change `quantity` in {file}",
            )
    loads = model.bulb(lamp_named(TEST_LAMP)) is not None
    if loads and not instrument.filament:
        yield (
            f"'{name}' loads with a filament in its model, and the rules of the trade do not take it to",
            "Add 'filament: true' to it",
        )
    if instrument.filament and not loads:
        yield (
            f"'{name}' is a filament lamp, and its model loads with none",
            f"Make it a `FilamentLamp` in {file}, or take 'filament: true' away",
        )


def _faults(library: Library, terms: Path) -> Iterator[Finding]:
    """Faults of the terms without a mechanism."""
    modelled = {one.fault for one in ALL}
    for fault in library.terms.faults:
        if fault not in modelled:
            yield Finding(
                str(terms),
                _line(terms, "faults", fault),
                f"no model of fault '{fault}', so that no session weighs it and no proof looks for it",
                f"Say in a file of {CATALOGUE} in which ways it comes about; known are "
                + ", ".join(sorted(modelled - {NONE})),
            )


def _circuits(library: Library) -> Iterator[Finding]:
    """Circuits that the model lacks."""
    for procedure in library.procedures.values():
        if procedure.circuit not in (NO_CIRCUIT, *CIRCUITS):
            yield Finding(
                procedure.file,
                _line(Path(procedure.file), "circuit"),
                f"circuit '{procedure.circuit}' is unknown",
                f"Known are {', '.join(CIRCUITS)}, and {NO_CIRCUIT} for a procedure about nothing electrical; "
                f"a new one is added to `CIRCUITS` in {CATALOGUE}/circuits.py",
            )


def _steps(library: Library) -> Iterator[Finding]:
    """Steps that the model cannot simulate, with instruments that it knows."""
    for procedure in _modelled(library):
        for step in procedure.steps.values():
            instrument = step.measure.instrument
            if instrument not in REGISTRY:
                continue  # reported for the terms, or sensed by a person
            try:
                check(circuit_named(procedure.circuit), step.measure.usual())
            except CircuitProblem as problem:
                if instrument not in SENSES:
                    yield Finding(
                        procedure.file,
                        step.line,
                        f"step '{step.name}' cannot be simulated, so that it is not weighed or proven: "
                        + str(problem).rstrip("."),
                        f"Measure elsewhere, or teach {ROOM} and assistant/circuit/places.py to go there",
                    )
                continue
            if instrument not in SENSES:
                continue
            for answer in step.answers:
                if answer.outcome not in REGISTRY[instrument].outcomes:
                    file = f"{type(REGISTRY[instrument]).__module__.replace('.', '/')}.py"
                    yield Finding(
                        procedure.file,
                        step.line,
                        f"step '{step.name}' offers '{answer.outcome}', and the model of '{instrument}' does not "
                        "give it",
                        f"Say in {file} when it does",
                    )


def _modelled(library: Library) -> list[Procedure]:
    return [one for one in library.procedures.values() if one.circuit in CIRCUITS]


def _weights(library: Library, folder: Path) -> Iterator[Finding]:
    """Likelihoods that are missing or come from another model, and tests that they lack."""
    path = folder / LIKELIHOODS_FILE
    if not (folder / ODDS_FILE).exists():
        return  # a folder whose sessions weigh nothing
    remedy = WRITE.format(command=lint_command(folder))
    if not path.exists():
        yield Finding(str(path), 0, "there are no likelihoods, so that a session weighs nothing", remedy)
        return
    table = json.loads(files.read_bytes(path, files.TABLE))
    if table.get("model") != VERSION:
        yield Finding(
            str(path),
            0,
            f"the likelihoods are of another circuit model ({table.get('model')}, and this one is {VERSION})",
            remedy,
        )
    for procedure in _modelled(library):
        steps = _not_weighed(library, procedure, table)
        if steps:
            yield Finding(
                procedure.file,
                min(step.line for step in steps),
                f"these tests are not weighed: {', '.join(step.name for step in steps)}",
                remedy,
            )


def lint_command(folder: Path) -> str:
    """The command that looks at this folder, ready to paste."""
    bundled = folder.resolve() == resources.directory("procedures")
    return (
        "bay-assistant lint"
        if bundled
        else shlex.join(["bay-assistant", "lint", "--procedures", str(folder)])
    )


def _not_weighed(library: Library, procedure: Procedure, table: Mapping[str, Any]) -> list[Step]:
    """Steps that the model can answer but the table lacks."""
    if procedure.circuit not in weighed_circuits(library):
        return []
    held = table["circuits"].get(procedure.circuit, {"tests": {}})["tests"]
    return [
        step
        for step in procedure.steps.values()
        if key_of(step) not in held and _can_be_answered(procedure.circuit, step)
    ]


def _can_be_answered(circuit: str, step: Step) -> bool:
    """Whether the model has an answer to a step, tried on a typical car."""
    try:
        answer_shares(observe(circuit, ALL[0], step.measure, Systems.typical()), step)
    except CircuitProblem:
        return False
    return True


def _line(path: Path, *keys: str) -> int:
    """The line of a key in a YAML file, through the maps that lead to it; 0 if it is not found."""
    node = yaml.compose(path.read_text(encoding="utf-8"), Loader=yaml.SafeLoader)
    line = 0
    for key in keys:
        if not isinstance(node, yaml.MappingNode):
            return 0
        pairs = [(name, value) for name, value in node.value if name.value == key]
        if not pairs:
            return 0
        line, node = pairs[0][0].start_mark.line + 1, pairs[0][1]
    return line
