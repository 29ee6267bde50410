"""The procedures that a session has entered, so that hand-overs come to an end.

A hand-over into a procedure that was entered before is a return. It makes sense only if there is a new result
since then, and only once. After a repair, or when the person asks for a test, the count begins anew.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Visits:
    """The procedures entered so far, and the returns.

    Attributes:
        entered: For each procedure its name, the number of results when it was first entered, and the number when
            it was last left, or entered if it has not been left.
        returned: Returns so far, as pairs of procedures.
    """

    entered: tuple[tuple[str, int, int], ...] = ()
    returned: tuple[tuple[str, str], ...] = ()

    def of(self, procedure: str) -> tuple[int, int] | None:
        """The numbers of results when it was first entered and last left; None if it was never entered."""
        return next(((first, left) for name, first, left in self.entered if name == procedure), None)

    def entering(self, procedure: str, results: int) -> Visits:
        """The visits after this procedure is entered, with this many results before."""
        known = self.of(procedure)
        others = tuple(one for one in self.entered if one[0] != procedure)
        return Visits((*others, (procedure, known[0] if known else results, results)), self.returned)

    def knowing(self, procedure: str) -> Visits:
        """The visits after the person keeps what was measured before this procedure: it is known to it from now on."""
        entered = tuple((name, 0 if name == procedure else first, left) for name, first, left in self.entered)
        return Visits(entered, self.returned)

    def leaving(self, procedure: str, results: int) -> Visits:
        """The visits after this procedure hands over: its own measurements are not new to it."""
        return self.entering(procedure, results)

    def returning(self, came_from: str, procedure: str) -> Visits:
        """The visits after this return."""
        return Visits(self.entered, (*self.returned, (came_from, procedure)))
