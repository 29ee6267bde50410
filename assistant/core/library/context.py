"""Shared by the readers of a procedure's parts: known names, where an answer leads, a plausible range."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Leads, Target
from assistant.core.library.reader import Reader, known_of, number
from assistant.core.library.terms import Caution, Terms
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from decimal import Decimal

TARGET_KEYS = tuple(leads.value.replace("step", "next") for leads in Leads)
ANSWER_KEYS = (*TARGET_KEYS, "rules_out")


@dataclass(frozen=True)
class Context:
    """Names that the parts of one procedure may refer to.

    Attributes:
        path: The file's name for messages.
        terms: The terms.
        cautions: The cautions by name.
        steps: Names of all steps of the procedure.
        verdicts: Names of all its verdicts.
        hand_overs: Line of the first hand-over to each other procedure, by its name; filled while it is read.
        circuit: The kind of circuit that it is about.
    """

    path: str
    terms: Terms
    cautions: Mapping[str, Caution]
    steps: tuple[str, ...]
    verdicts: tuple[str, ...]
    hand_overs: dict[str, int]
    circuit: str


def target_of(item: Reader, context: Context) -> Target:
    """The target of an answer.

    Raises:
        FileProblem: It leads nowhere, to several places, or to something that is not there.
    """
    given = [key for key in TARGET_KEYS if key in item.node.items]
    if len(given) != 1:
        raise FileProblem(
            context.path,
            item.node.line,
            f"{item.what} needs exactly one of 'next', 'procedure', 'verdict'",
            "Say where it leads",
        )
    text = item.get_text(given[0])
    if given[0] == "next":
        return Target(Leads.STEP, known_of(text, context.steps, context.path, "step"))
    if given[0] == "verdict":
        return Target(Leads.VERDICT, known_of(text, context.verdicts, context.path, "verdict"))
    context.hand_overs.setdefault(text.value, text.line)
    return Target(Leads.PROCEDURE, text.value)


def range_of(item: Reader) -> tuple[Decimal, Decimal]:
    """The lowest and the highest believable number of a map.

    Raises:
        FileProblem: There are not two numbers, or not the lower first.
    """
    limits = item.texts("plausible")
    if len(limits) != 2:
        raise FileProblem(
            item.path, item.line("plausible"), "'plausible' needs two numbers", "Write it as [0, 18]"
        )
    low, high = (number(limit, item.path) for limit in limits)
    if low >= high:
        raise FileProblem(
            item.path,
            item.line("plausible"),
            f"the plausible range {low} to {high} is empty",
            "Lower number first",
        )
    return low, high
