"""The write-up as plain text, to be pasted into a repair order."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from assistant.writeup.draft import BY_THE_MODEL, MAKER_FIRST, NO_LIMIT_OF_OURS, Draft, Measured, printable

if TYPE_CHECKING:
    from collections.abc import Iterable

WIDTH = 78
_LABEL = 14
_BLANK = "_" * 24


def text(draft: Draft) -> str:
    """The write-up in lines of at most `WIDTH` characters, except for a word that is longer by itself."""
    lines = ["DIAGNOSIS WRITE-UP" + "DRAFT, TO BE REVIEWED AND SIGNED".rjust(WIDTH - 18), "=" * WIDTH]
    for fact in draft.facts:
        lines += _wrapped(fact.value or _BLANK, f"{fact.label + ':':<{_LABEL}}")
    lines += _section("CONCERN (customer's words)", [draft.concern or "_" * (WIDTH - 2)])
    lines += _section("CAUSE", [draft.cause or draft.no_verdict])
    if draft.still_possible:
        lines += _indented([f"Not told apart: {draft.still_possible}"])
    lines += _indented([f"Before that, {found.procedure}: {found.says}" for found in draft.found_before])
    lines += _section(
        "CORRECTION (recommended; whether it was done is not in the record)", _correction(draft)
    )
    lines += _section("VERIFY AFTER THE REPAIR", [f"[ ] {item}" for item in draft.verify], hang=4)
    lines += _tests(draft)
    lines += _section(
        "TESTS NOT DONE",
        [
            f"{skip.time} {skip.connection}. {skip.engine}. Skipped: {skip.reason}."
            + (f" [{skip.taken_back.upper()}]" if skip.taken_back else "")
            for skip in draft.skipped
        ],
    )
    lines += _section(
        "RULED OUT",
        [f"{ruled.fault} (by test {', '.join(map(str, ruled.tests))})" for ruled in draft.ruled_out],
    )
    lines += _section("NOT RULED OUT BY THESE TESTS", filter(None, ["; ".join(draft.not_ruled_out)]))
    lines += _section(BY_THE_MODEL.upper(), draft.model)
    lines += _section(
        "CAUTIONS GIVEN",
        [f"{one.signal}: {one.words} [{one.given}; {one.acknowledged}]" for one in draft.cautions],
    )
    lines += _section("CRANKING", draft.cranking)
    lines += _section(
        "VOICE NOTES (sound, not written down)",
        [f"{note.time} {note.clip}, {note.seconds} ({note.place})" for note in draft.notes],
    )
    lines += _section("ON THE WAY", [f"{moment.time} {moment.says}".strip() for moment in draft.moments])
    lines += _section("RECORD", draft.integrity)
    lines += _section("PLEASE NOTE", [MAKER_FIRST, *([NO_LIMIT_OF_OURS] if draft.tests else [])], hang=0)
    lines += ["", "REVIEWED AND SIGNED", "-" * WIDTH]
    lines += [
        f"  {label:<16}{'_' * (WIDTH - 18)}" for label in ("Reviewed by:", "Date:", "Changes made:", "")
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _correction(draft: Draft) -> list[str]:
    if not draft.correction:
        return ["None recommended, because no verdict was reached.", f"Work done: {'_' * (WIDTH - 13)}"]
    part = [f"Part: {draft.part}"] if draft.part else ["No part is condemned."]
    return [f"Recommended: {draft.correction}", *part, f"Work done: {'_' * (WIDTH - 13)}"]


def _tests(draft: Draft) -> list[str]:
    if not draft.tests:
        return _section("TESTS, IN ORDER", ["No result was taken."])
    lines = ["", "TESTS, IN ORDER", "-" * WIDTH]
    procedure = ""
    for test in draft.tests:
        if test.procedure != procedure:
            procedure = test.procedure
            lines += _wrapped(procedure, "  ")
        lines += _test(test)
    return lines


def _test(test: Measured) -> list[str]:
    first = f"  {test.number:>2}  {test.time}  "
    rest = " " * len(first)
    lines = _wrapped(f"[{test.taken_back.upper()}: DOES NOT COUNT]", first) if test.taken_back else []
    lines += _wrapped(f"{test.connection}. {test.engine}.", rest if lines else first)
    seen = f"Seen: {test.seen}."
    if test.expected:
        seen += f" A good system: {test.expected}."
    lines += _wrapped(seen, rest)
    if test.source:
        lines += _wrapped(f"Limits: {test.limit}. Source: {test.source}.", rest)
    return lines + _wrapped(f"{test.captured}.", rest)


def _section(title: str, items: Iterable[str], hang: int = 2) -> list[str]:
    """A titled list; nothing at all when there are no items."""
    body = _indented(items, hang)
    return ["", title, "-" * WIDTH, *body] if body else []


def _indented(items: Iterable[str], hang: int = 2) -> list[str]:
    return [line for item in items for line in _wrapped(item, "  ", " " * (2 + hang))]


def _wrapped(words: str, first: str, rest: str | None = None) -> list[str]:
    """Words in lines, with every line break that a person typed turned into a space."""
    return textwrap.wrap(
        printable(" ".join(words.split())),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
