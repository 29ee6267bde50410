"""The entry point of the program: `bay-assistant` on the command line is `main` here.

`assistant.commands` has a module for each command.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from assistant.commands import parser
from assistant.commands.ending import status_of
from assistant.printing import escaping

if TYPE_CHECKING:
    from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; no traceback gets through.

    Args:
        arguments: The words after the program's name; None for those of this process.

    Returns:
        0: done. 1: a finding, such as a lint, a broken record, or a difference in a replay. 2: wrong use or bad input.
        130: interrupted.

    Raises:
        SystemExit: The arguments are not understood (2), or ask for a help text (0).
    """

    def called() -> int:
        options = parser().parse_args(arguments)
        status: int = options.command(options)
        return status

    with escaping():
        return status_of(called)


if __name__ == "__main__":
    sys.exit(main())
