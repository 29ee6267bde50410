"""The write-up as plain text, to paste into a repair order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.printing import filled
from assistant.writeup import voice_notes
from assistant.writeup.contents import BY_THE_MODEL, Asked, Draft, Measured, Reviewed
from assistant.writeup.statement import printable, stop
from assistant.writeup.wording import (
    AFTER_REPAIR,
    APPENDIX,
    BEFORE_REPAIR,
    NOT_REPEATED,
    good_is,
    open_words,
    part_words,
    photos_words,
    shown_seen,
    signatures,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

WIDTH = 72
"""Number of columns that the text field of a repair order holds without new line breaks."""

_LABEL = 14
_BLANK = "_" * 24
_BLANK_LINES = 2
"""Blank part and labor lines for the shop."""


def text(draft: Draft) -> str:
    """The write-up in lines of at most `WIDTH` characters, except for a longer word."""
    lines = [line for one in draft.shop for row in one.text.split("\n") for line in _wrapped(row, "")]
    lines += [""] if lines else []
    lines += ["DIAGNOSIS AND REPAIR", *_wrapped(draft.state.text.upper(), ""), "=" * WIDTH]
    for fact in draft.facts:
        lines += _wrapped(fact.value or _BLANK, f"{fact.label + ':':<{_LABEL}}")
    lines += _section("COMPLAINT (customer's words)", [draft.concern.text or "_" * (WIDTH - 2)])
    lines += _section("CAUSE", _cause(draft))
    open_ = draft.correction and not draft.done
    title = "CORRECTION (recommended; not recorded as done)" if open_ else "CORRECTION"
    lines += _section(title, _correction(draft))
    lines += _deciding(draft)
    lines += [""]
    for label, value in (("Codes:", draft.codes.text), ("Failed at:", draft.location.text)):
        lines += _wrapped(value or _BLANK, f"{label:<{_LABEL}}")
    if draft.photos:
        lines += _wrapped(photos_words(draft), f"{'Photos:':<{_LABEL}}")
    if not draft.found_after:
        lines += _section("VERIFY AFTER THE REPAIR", [f"[ ] {item.text}" for item in draft.verify], hang=4)
    lines += _priced(draft)
    if draft.signed:
        lines += _section("REVIEWED AND SIGNED", signatures(draft))
    else:
        lines += ["", "REVIEWED AND SIGNED", "-" * WIDTH]
        lines += [f"  {label:<16}{'_' * (WIDTH - 18)}" for label in ("Reviewed by:", "Date:")]
    lines += _section("PLEASE NOTE", draft.closing, hang=0)
    lines += ["", "=" * WIDTH, APPENDIX.upper(), "=" * WIDTH]
    lines += _evidence(draft)
    lines += _section("RECORD", [one.text for one in draft.integrity])
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _cause(draft: Draft) -> list[str]:
    lines = [(draft.cause or draft.no_verdict).text, draft.customer.text]
    if draft.confirmed:
        lines.append(f"Found at repair: {draft.confirmed.text}.")
    elif draft.open_faults:
        lines.append(open_words(draft))
    return [line for line in lines if line]


def _deciding(draft: Draft) -> list[str]:
    """The deciding readings; plain text sets before and after one below the other."""
    if not draft.deciding:
        return []
    lines = ["", "READINGS THAT DECIDED", "-" * WIDTH]
    for row in draft.deciding:
        lines += _wrapped(row.test, "  ")
        after = shown_seen(row.after, row.after_judged) if row.after else NOT_REPEATED
        cells = [
            (BEFORE_REPAIR, shown_seen(row.before, row.before_judged)),
            (AFTER_REPAIR, after),
            ("Good", f"{good_is(row)}{f' ({row.source})' if row.source else ''}"),
        ]
        for label, words in cells:
            lines += _wrapped(words, f"    {label + ':':<{_LABEL + 1}}")
    return lines


def _evidence(draft: Draft) -> list[str]:
    """The facts, tests and findings on the way, and the reviews."""
    lines = _section("HOW THE CAUSE WAS FOUND", [one.text for one in draft.findings])
    lines += _section(
        "WHAT THE CAUSE LEAVES OPEN", [draft.still_possible.text] if draft.still_possible else []
    )
    lines += _section("PHOTOS", [f"{one.file}: {one.caption}. SHA-256 {one.sha256}" for one in draft.photos])
    lines += _section("BEFORE THAT", [f"{found.procedure}: {found.says}" for found in draft.found_before])
    lines += _section("CAR AND WORK", [_asked(fact) for fact in draft.conditions])
    lines += _section(
        "VALUES FROM THE VEHICLE MAKER'S INFORMATION",
        [_asked(fact) for fact in draft.specifications],
    )
    lines += _tests(draft)
    lines += _section("CURRENT WHILE CRANKING", [f"Test {one.test}: {one.file}" for one in draft.ramps])
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
    lines += _section(voice_notes.title(draft.notes).upper(), map(voice_notes.shown, draft.notes))
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
    elif draft.correction:
        lines += [f"Recommended: {draft.correction.text}", part_words(draft)]
    else:
        lines.append("None yet, because the cause was not found.")
    if draft.next_check and not draft.done:
        lines.append(draft.next_check.text)
    lines += [f"{found.procedure}: {found.says}" for found in draft.found_after]
    if not draft.done:
        lines.append(f"Work done: {'_' * (WIDTH - 13)}")
    return lines


def _priced(draft: Draft) -> list[str]:
    """Part and labor lines from a signed review, or else lines to write on; no price is invented."""
    blank = ("_" * 24, "_" * 14, "_" * 6, "_" * 10)
    lines = ["", "PARTS AND LABOR", "-" * WIDTH]
    lines += _wrapped("Part, part number, quantity, price:", "  ")
    parts = [(one.part, one.number, one.quantity, one.price) for one in draft.parts]
    for part in parts or [blank] * _BLANK_LINES:
        lines += _row(*(cell or line for cell, line in zip(part, blank, strict=True)))
    lines += _wrapped("Labor, hours, price:", "  ")
    labor = [(one.work, one.hours, one.price) for one in draft.labour]
    for work in labor or [("_" * 34, *blank[2:])] * _BLANK_LINES:
        lines += _row(work[0], work[1] or blank[2], work[2] or blank[3])
    return lines + (_wrapped(f"Diagnosis time: {draft.time.text}", "  ", "    ") if draft.time else [])


def _row(*cells: str) -> list[str]:
    return _wrapped(" | ".join(cells), "    ", "      ")


def _tests(draft: Draft) -> list[str]:
    if not draft.tests:
        return _section("TESTS, IN ORDER", ["No result was taken."])
    lines = ["", "TESTS, IN ORDER (* decided the cause)", "-" * WIDTH]
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
    return filled(
        printable(" ".join(words.split())), WIDTH, first, " " * len(first) if rest is None else rest
    )
