"""Several grammars joined into one set of rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.grammar.jsgf.names import resolve
from assistant.grammar.jsgf.recursion import refuse_recursion

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.grammar.jsgf.names import Linked
    from assistant.grammar.jsgf.tree import Grammar


def link(grammars: Iterable[Grammar]) -> Linked:
    """Join grammars: resolve every rule name, and refuse recursion other than right recursion.

    Raises:
        FileProblem: Two grammars share a name, a name is unknown or ambiguous, an imported rule is not public,
            or a rule contains itself at its beginning or in its middle.
    """
    linked = resolve(grammars)
    refuse_recursion(linked)
    return linked
