"""The procedures that a session has entered, so that hand-overs come to an end.

A hand-over into a procedure that was entered before is a return.  It is worth something only when a result is new
since then; and the same return is made once.  After a repair, and where the person asks for a test, all begins anew.
"""

from __future__ import annotations

from dataclasses import dataclass

AFTER_REPAIR = "after-repair"
"""The procedure that proves a repair; results from before the repair no longer count."""


@dataclass(frozen=True, slots=True)
class Visits:
    """The procedures entered so far, and the returns.

    Attributes:
        entered: Of each procedure its name, and how many results had been taken when it was entered first, and when
            it was left last, or entered while it is not left.
        returned: Returns that were made: from which procedure into which.
    """

    entered: tuple[tuple[str, int, int], ...] = ()
    returned: tuple[tuple[str, str], ...] = ()

    def of(self, procedure: str) -> tuple[int, int] | None:
        """Results taken when it was entered first, and when it was left last; None if it was not entered."""
        return next(((first, left) for name, first, left in self.entered if name == procedure), None)

    def entering(self, procedure: str, results: int) -> Visits:
        """After this procedure was entered, with so many results taken before."""
        known = self.of(procedure)
        others = tuple(one for one in self.entered if one[0] != procedure)
        return Visits((*others, (procedure, known[0] if known else results, results)), self.returned)

    def leaving(self, procedure: str, results: int) -> Visits:
        """After this procedure handed over: what was measured in it is nothing new to it."""
        return self.entering(procedure, results)

    def returning(self, came_from: str, procedure: str) -> Visits:
        """After this return."""
        return Visits(self.entered, (*self.returned, (came_from, procedure)))
