"""The entry point of the program: `bay-assistant` on the command line is `main` here.

`assistant.commands` has a module for each command.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from assistant.systems import refusal

if TYPE_CHECKING:
    from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; no traceback gets through.

    Args:
        arguments: The words after the program's name; None for those of this process.

    Returns:
        0: done. 1: a finding, such as a lint, a broken record, or a difference in a replay. 2: wrong use or bad input.
        128 and the number of a signal that ended it: 130 for Ctrl-C, 141 where its reader has gone, 143 for SIGTERM.
        The whole process (`program`) dies of that signal, which a shell shows as the same number.
        On a system that the program does not run on: 2, and nothing else is done.

    Raises:
        SystemExit: The arguments are not understood (2), or ask for a help text (0).
    """
    why = refusal(sys.platform)
    if why:
        print(why, file=sys.stderr)  # plain words of our own, and nothing else may be imported here
        return 2
    from assistant.commands import parser  # noqa: PLC0415  it imports what only some systems have
    from assistant.commands.ending import status_of  # noqa: PLC0415
    from assistant.printing import escaping  # noqa: PLC0415

    def called() -> int:
        options = parser().parse_args(arguments)
        status: int = options.command(options)
        return status

    with escaping():
        return status_of(called)


def program() -> int:
    """The program itself: `main` with the words of this process."""
    if refusal(sys.platform):
        return main()
    from assistant.commands.ending import as_signalled  # noqa: PLC0415  it knows signals that only some systems have

    with as_signalled():
        return main()


if __name__ == "__main__":
    sys.exit(program())
