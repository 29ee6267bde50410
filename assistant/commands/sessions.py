"""`bay-assistant sessions`: find past sessions, and show how they change the odds."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from assistant.commands.arguments import whole
from assistant.commands.console import complain, print_json
from assistant.commands.help_pages import group
from assistant.commands.options import add_json, add_sessions, sessions_folder
from assistant.commands.time_left import TimeLeft
from assistant.errors import UsageProblem

if TYPE_CHECKING:
    import argparse
    from datetime import date
    from pathlib import Path

    from assistant.commands.past import TypedSearch
    from assistant.record import Found
    from assistant.record.searching import Wanted

ABOUT = "Find past sessions, newest first."
EXAMPLE = "bay-assistant sessions pickup --on 'last week' --complaint 'wet'"
FINDING = "a session could not be deleted"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options: what to look for, and how to show it."""
    parser.add_argument(
        "words",
        nargs="*",
        metavar="WORD",
        help="words from order, VIN, vehicle, complaint, technician, procedure or verdict; the first letters will do",
    )
    search = group(parser, "search")
    search.add_argument("--order", metavar="NUMBER", help="repair order number")
    search.add_argument(
        "--vin", metavar="VIN", help="the VIN or part of it; the last 8 characters are enough"
    )
    search.add_argument(
        "--from",
        dest="since",
        metavar="DATE",
        help="first day: 2026-11-25, 2026-11, today, yesterday, monday, 'last week', 'last month'",
    )
    search.add_argument("--to", dest="until", metavar="DATE", help="last day, in the same forms")
    search.add_argument(
        "--on", metavar="DATE", help="only that day, week or month; sets both --from and --to"
    )
    search.add_argument("--verdict", metavar="NAME", help="the verdict; an unknown name lists all")
    search.add_argument(
        "--complaint",
        metavar="WORDS",
        help="words from the complaint, in any order; the first letters will do",
    )
    state = search.add_mutually_exclusive_group()
    state.add_argument(
        "--open", dest="sealed", action="store_const", const=False, help="only sessions that can be resumed"
    )
    state.add_argument(
        "--sealed", dest="sealed", action="store_const", const=True, help="only sessions that are sealed"
    )
    _add_showing(parser)
    add_sessions(parser)


def _add_showing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--limit",
        type=whole(0, 10**9),
        metavar="N",
        help="show at most N; 0 for all (default: 20 on a terminal, else all)",
    )
    parser.add_argument("--rebuild", action="store_true", help="rebuild the index from the records first")
    parser.add_argument(
        "--odds",
        action="store_true",
        help="show how this shop's signed reviews change the odds of faults",
    )
    add_json(parser)
    old = group(parser, "sessions that were kept long enough")
    old.add_argument(
        "--expired",
        action="store_true",
        help="show the sessions that are older than the shop keeps them; nothing is deleted by itself",
    )
    old.add_argument(
        "--keep-days",
        type=whole(1, 36500),
        metavar="N",
        help="with --expired: days for which sessions are kept (default: the setting 'keep-days')",
    )
    old.add_argument(
        "--delete",
        action="store_true",
        help="with --expired: ask for each group whether to delete it for good",
    )


def run(options: argparse.Namespace) -> int:
    """Print the sessions that match, or the odds."""
    from datetime import datetime  # noqa: PLC0415

    from assistant.commands import past  # noqa: PLC0415
    from assistant.record import find_sessions  # noqa: PLC0415
    from assistant.record.summaries import check_parent  # noqa: PLC0415

    folder = sessions_folder(options)
    if options.sessions and not folder.exists():
        raise UsageProblem(
            f"The folder {folder} does not exist. Name the folder that holds the sessions, or leave out --sessions."
        )
    check_parent(folder)
    asked = _asked(options)
    today = datetime.now().astimezone().date()
    if options.expired:
        return _show_expired(options, folder, today, searching=asked != past.TypedSearch())
    if options.delete or options.keep_days is not None:
        raise UsageProblem("--delete and --keep-days belong to --expired. Add --expired.")
    if options.odds:
        if asked != past.TypedSearch():
            raise UsageProblem(
                "--odds counts all reviewed sessions. Leave out the search, or leave out --odds."
            )
        return _show_odds(folder, as_json=options.json)
    wanted = asked.wanted(today)
    with TimeLeft("Reading records") as left:
        found = find_sessions(folder, wanted, rebuild=options.rebuild, progress=left.show)
    if wanted.verdict and wanted.verdict not in found.verdicts:
        from assistant.loading.folder import load_library  # noqa: PLC0415
        from assistant.loading.shop import procedures_in_use  # noqa: PLC0415

        library = load_library(procedures_in_use())
        past.check_verdict(wanted.verdict, found.verdicts, library)
    for remark in past.remarks(found):
        complain(remark)
    _show(found, folder, wanted, today, options)
    return 0


def _show_expired(options: argparse.Namespace, folder: Path, today: date, *, searching: bool) -> int:
    from assistant.commands import expiring  # noqa: PLC0415
    from assistant.commands.settled import settle  # noqa: PLC0415

    if searching or options.odds:
        raise UsageProblem("--expired looks at all sessions. Leave out the search, or leave out --expired.")
    if options.delete and options.json:
        raise UsageProblem("--delete asks a person, and --json asks nobody. Leave out one of them.")
    days = expiring.keep_days(settle(options).found["keep-days"].value)
    return expiring.show(folder, today, days, delete=options.delete, as_json=options.json)


def _asked(options: argparse.Namespace) -> TypedSearch:
    from assistant.commands.past import TypedSearch  # noqa: PLC0415

    return TypedSearch(
        words=tuple(options.words),
        order=options.order,
        vin=options.vin,
        since=options.since,
        until=options.until,
        on=options.on,
        verdict=options.verdict,
        complaint=options.complaint,
        sealed=options.sealed,
    )


def _show(found: Found, folder: Path, wanted: Wanted, today: date, options: argparse.Namespace) -> None:
    """Print what was found: as JSON, for a person at a terminal, or a line each for another program."""
    import shutil  # noqa: PLC0415

    from assistant.commands import past  # noqa: PLC0415

    terminal = sys.stdout.isatty()
    limit = (past.AT_ONCE if terminal else 0) if options.limit is None else options.limit
    shown = found.summaries[:limit] if limit else found.summaries
    if options.json:
        print_json([past.row(summary) for summary in shown])
    elif not shown:
        print(past.nothing(found, folder, wanted))
    elif terminal:
        width = shutil.get_terminal_size().columns
        for line in past.listing(found, today=today, width=width, limit=limit):
            print(line)
    else:
        for summary in shown:
            print(summary.line())


def _show_odds(folder: Path, *, as_json: bool) -> int:
    from assistant.commands import shop_odds  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.loading.shop import procedures_in_use  # noqa: PLC0415
    from assistant.record.history import read_history  # noqa: PLC0415

    library, knowledge = load_folder(procedures_in_use())
    if knowledge is None:
        raise UsageProblem("The procedures have no likelihoods or no odds, so there is nothing to show.")
    with TimeLeft("Reading records") as left:
        history = read_history(folder, library.terms, left.show)
    if as_json:
        print_json(shop_odds.odds_json(history, knowledge))
    else:
        for line in shop_odds.odds_text(history, knowledge, library.terms):
            print(line)
    return 0
