"""The write-up as plain text, to paste into a repair order."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from assistant.writeup.contents import BY_THE_MODEL, Asked, Draft, Measured, Reviewed
from assistant.writeup.statement import printable, stop

if TYPE_CHECKING:
    from collections.abc import Iterable

WIDTH = 72
"""Number of columns that the text field of a repair order holds without new line breaks."""

_LABEL = 14
_BLANK = "_" * 24
_BLANK_LINES = 2
"""Blank part and labour lines for the shop."""


def text(draft: Draft) -> str:
    """The write-up in lines of at most `WIDTH` characters, except for a longer word."""
    lines = ["DIAGNOSIS WRITE-UP", *_wrapped(draft.state.text.upper(), ""), "=" * WIDTH]
    for fact in draft.facts:
        lines += _wrapped(fact.value or _BLANK, f"{fact.label + ':':<{_LABEL}}")
    lines += _section("CONCERN (customer's words)", [draft.concern.text or "_" * (WIDTH - 2)])
    told = " ".join(one.text for one in draft.findings)
    cause = [(draft.cause or draft.no_verdict).text, draft.customer.text, told]
    lines += _section("CAUSE", [one for one in cause if one])
    if draft.still_possible:
        lines += _indented([f"Not told apart: {draft.still_possible.text}"])
    lines += _indented([f"Before that, {found.procedure}: {found.says}" for found in draft.found_before])
    title = (
        "CORRECTION" if draft.done else "CORRECTION (recommended; whether it was done is not in the record)"
    )
    lines += _section(title, _correction(draft))
    lines += _section("VERIFY AFTER THE REPAIR", [f"[ ] {item.text}" for item in draft.verify], hang=4)
    lines += _priced(draft)
    lines += _evidence(draft)
    lines += _section("RECORD", [one.text for one in draft.integrity])
    lines += _section("PLEASE NOTE", draft.closing, hang=0)
    if draft.signed:
        lines += _section("REVIEWED AND SIGNED", [draft.state.text])
    else:
        lines += ["", "REVIEWED AND SIGNED", "-" * WIDTH]
        lines += [
            f"  {label:<16}{'_' * (WIDTH - 18)}" for label in ("Reviewed by:", "Date:", "Changes made:", "")
        ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _evidence(draft: Draft) -> list[str]:
    """The facts, tests and findings on the way, and the reviews."""
    lines = _section("CAR AND WORK", [_asked(fact) for fact in draft.conditions])
    lines += _section(
        "VALUES FROM THE VEHICLE MAKER'S INFORMATION",
        [_asked(fact) for fact in draft.specifications],
    )
    lines += _tests(draft)
    lines += _section(
        "TESTS NOT DONE",
        [
            f"{skip.time} {skip.connection}. {skip.engine}. Skipped: {skip.reason}."
            + (f" [{skip.taken_back.upper()}]" if skip.taken_back else "")
            for skip in draft.skipped
        ],
    )
    lines += _section("READINGS NOT JUDGED", [one.text for one in draft.not_judged])
    lines += _section(
        "NOT TESTED, BECAUSE THE ANSWERS DID NOT LEAD THERE", [one.text for one in draft.not_reached]
    )
    lines += _section(
        "RULED OUT",
        [f"{ruled.fault} (by test {', '.join(map(str, ruled.tests))})" for ruled in draft.ruled_out],
    )
    lines += _section("NOT RULED OUT BY THESE TESTS", [one.text for one in draft.not_ruled_out])
    lines += _section(BY_THE_MODEL.upper(), [one.text for one in draft.model])
    lines += _section(
        "CAUTIONS GIVEN",
        [f"{one.signal}: {one.words} [{one.given}; {one.acknowledged}]" for one in draft.cautions],
    )
    lines += _section("CRANKING", [one.text for one in draft.cranking])
    lines += _section(
        "VOICE NOTES (sound, not written down)",
        [f"{note.time} {note.clip}, {note.seconds} ({note.place})" for note in draft.notes],
    )
    lines += _section("ON THE WAY", [f"{moment.time} {moment.says}".strip() for moment in draft.moments])
    lines += _section("REVIEWS", [line for one in draft.reviews for line in _review(one)])
    return lines


def _asked(fact: Asked) -> str:
    words = f"{fact.label}: {fact.value or '_' * 24}{f' ({fact.captured})' if fact.captured else ''}"
    return words + "".join(f" [NOT: {old.upper()}]" for old in fact.taken_back)


def _correction(draft: Draft) -> list[str]:
    lines = []
    if draft.done:
        lines.append(f"Done: {draft.done.text}")
    if draft.confirmed:
        lines.append(f"The shop found: {draft.confirmed.text}.")
    if draft.correction:
        lines.append(f"Recommended: {draft.correction.text}")
        lines.append(f"Part: {draft.part.text}" if draft.part else "No part is condemned.")
    elif not draft.done:
        lines.append("None recommended, because no verdict was reached.")
    lines += [f"{found.procedure}: {found.says}" for found in draft.found_after]
    if not draft.done:
        lines.append(f"Work done: {'_' * (WIDTH - 13)}")
    return lines


def _priced(draft: Draft) -> list[str]:
    """Part and labour lines from a signed review, or else lines to write on; no price is invented."""
    blank = ("_" * 34, "_" * 6, "_" * 10)
    lines = ["", "PARTS AND LABOUR (for the shop to price)", "-" * WIDTH]
    lines += _wrapped("Part, quantity, price:", "  ")
    for part, quantity, price in [(one.part, one.quantity, one.price) for one in draft.parts] or [
        blank
    ] * _BLANK_LINES:
        lines += _row(part, quantity or blank[1], price or blank[2])
    lines += _wrapped("Labour, hours, price:", "  ")
    for work, hours, price in [(one.work, one.hours, one.price) for one in draft.labour] or [
        blank
    ] * _BLANK_LINES:
        lines += _row(work, hours or blank[1], price or blank[2])
    return lines + (_wrapped(f"Diagnosis: {draft.time.text}", "  ", "    ") if draft.time else [])


def _row(*cells: str) -> list[str]:
    return _wrapped(" | ".join(cells), "    ", "      ")


def _tests(draft: Draft) -> list[str]:
    if not draft.tests:
        return _section("TESTS, IN ORDER", ["No result was taken."])
    lines = ["", "TESTS, IN ORDER (* told under CAUSE)", "-" * WIDTH]
    procedure = ""
    for test in draft.tests:
        if test.procedure != procedure:
            procedure = test.procedure
            lines += _wrapped(procedure, "  ")
        lines += _test(test)
    return lines


def _test(test: Measured) -> list[str]:
    first = f" {'*' if test.decisive else ' '}{test.number:>2}  {test.time}  "
    rest = " " * len(first)
    lines = _wrapped(f"[{test.taken_back.upper()}: DOES NOT COUNT]", first) if test.taken_back else []
    lines += _wrapped(f"{test.connection}. {test.engine}.", rest if lines else first)
    seen = f"Seen: {test.seen}."
    if test.expected:
        seen += f" A good system: {test.expected}."
    lines += _wrapped(seen, rest)
    if test.judged:
        lines += _wrapped(f"Judged: {test.judged}.", rest)
    if test.source:
        lines += _wrapped(f"Limits: {test.limit}. Source: {test.source}.", rest)
    if test.took:
        lines += _wrapped(f"Took {test.took}.", rest)
    return lines + _wrapped(f"{test.captured}.", rest)


def _review(one: Reviewed) -> list[str]:
    head = f"Review {one.number}, {one.time}" + (f", by {one.reviewer}" if one.reviewer else "")
    says = [
        f"{said.about}: {said.words}{f' [{said.amended.upper()}]' if said.amended else ''}"
        for said in one.says
    ]
    return [head, *says, stop(one.signed)]


def _section(title: str, items: Iterable[str], hang: int = 2) -> list[str]:
    """A titled list; nothing if there are no items."""
    body = _indented(items, hang)
    return ["", *_wrapped(title, ""), "-" * WIDTH, *body] if body else []


def _indented(items: Iterable[str], hang: int = 2) -> list[str]:
    return [line for item in items for line in _wrapped(item, "  ", " " * (2 + hang))]


def _wrapped(words: str, first: str, rest: str | None = None) -> list[str]:
    """Words in lines, with every typed line break turned into a space."""
    return textwrap.wrap(
        printable(" ".join(words.split())),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
