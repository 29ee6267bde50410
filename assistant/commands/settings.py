"""`bay-assistant settings`: show, set and check what a shop sets once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.commands.options import add_json
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse

ABOUT = "Show, set and check the settings of this shop: one file, and the options still win."
EXAMPLE = 'bay-assistant settings --set shop.name "Elm Street Garage" --set technicians.JD "Jane Doe"'
FINDING = "--check found a mistake"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--set",
        nargs=2,
        metavar=("KEY", "VALUE"),
        action="append",
        help="set a setting; without options the keys are shown",
    )
    parser.add_argument("--unset", metavar="KEY", action="append", help="take a setting out of the file")
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--check", action="store_true", help="check the file, and say every mistake with its line"
    )
    what.add_argument("--path", action="store_true", help="print where the file is")
    add_json(parser)
    parser.add_argument(
        "run_options",
        nargs="*",
        metavar="OPTION",
        help="after --: options of 'run', to see what they change, such as: settings -- --no-board",
    )


def run(options: argparse.Namespace) -> int:
    """Do it; the exit status is 1 if a check found a mistake.

    Raises:
        UsageProblem: There is no such setting, or it cannot have that value.
        FileProblem: The file cannot be read, or, where its values are needed, has a mistake.
        RecordProblem: It cannot be written.
    """
    from assistant.commands import setting  # noqa: PLC0415

    if (options.set or options.unset) and (options.check or options.path or options.run_options):
        raise UsageProblem("--set and --unset change the file. Leave out what only shows it.")
    if options.set or options.unset:
        return setting.change(options.set or [], options.unset or [], as_json=options.json)
    if options.path:
        return setting.show_path(as_json=options.json)
    if options.check:
        return setting.check(as_json=options.json)
    return setting.show(options.run_options, as_json=options.json)
