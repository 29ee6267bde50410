"""All procedures of a folder, with the terms and cautions that they refer to."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Procedure
from assistant.core.library.terms import Caution, Terms
from assistant.core.nearest import among
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    from assistant.core.library.procedure import Step


@dataclass(frozen=True)
class Library:
    """Everything that was loaded from a folder of procedures, less what results are weighed with."""

    terms: Terms
    cautions: dict[str, Caution]
    procedures: dict[str, Procedure] = field(default_factory=dict)

    def procedure(self, name: str) -> Procedure:
        """The procedure of this name.

        Raises:
            UsageProblem: There is none; the message names them.
        """
        if name not in self.procedures:
            raise UsageProblem(f"There is no procedure '{name}'. {among(name, self.procedures)}.")
        return self.procedures[name]

    def step(self, procedure: str, step: str) -> Step:
        """The step of this name."""
        return self.procedures[procedure].steps[step]
