"""The first page, for the customer and the warranty clerk: complaint, cause, correction, readings, parts, signature.

Nothing else stands on it: no checksum, no probability, and nothing as open that the tests excluded.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from assistant.writeup.markup import listed, paragraphs
from assistant.writeup.wording import (
    AFTER_REPAIR,
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
    from collections.abc import Iterator

    from assistant.writeup.contents import Compared, Draft, Fact

_BLANK_LINES = 2
"""Blank part and labor lines for the shop."""


def front(draft: Draft) -> Iterator[str]:
    """The parts of the page in order, as HTML."""
    if draft.shop:
        name, *rest = (row for one in draft.shop for row in one.text.split("\n"))
        below = f"<div>{escape(', '.join(rest))}</div>" if rest else ""
        yield f'<div class="shop"><b>{escape(name)}</b>{below}</div>'
    yield f'<header><h1>Diagnosis and repair</h1><div class="state">{escape(draft.state.text)}</div></header>'
    yield f'<dl class="facts">{"".join(map(_fact, draft.facts))}</dl>'
    yield _three(draft)
    yield _deciding(draft)
    yield _failure(draft)
    if draft.verify and not draft.found_after:
        boxes = [f'<span class="box"></span>{escape(one.text)}' for one in draft.verify]
        yield listed("Verify after the repair", boxes, "check two")
    yield _priced(draft)
    yield _sign(draft)
    yield f'<p class="note">{escape(" ".join(draft.closing))}</p>'


def _fact(fact: Fact) -> str:
    value = escape(fact.value) or '<span class="blank"></span>'
    return f"<div><dt>{escape(fact.label)}</dt><dd>{value}</dd></div>"


def _three(draft: Draft) -> str:
    """Complaint, cause and correction: the three boxes that a warranty clerk looks for."""
    cause = [f'<span class="verdict">{escape((draft.cause or draft.no_verdict).text)}</span>']
    if draft.customer:
        cause.append(escape(draft.customer.text))
    if draft.confirmed:
        cause.append(f"<b>Found at repair:</b> {escape(draft.confirmed.text)}.")
    elif draft.open_faults:
        cause.append(escape(open_words(draft)))
    correction = []
    if draft.done:
        correction.append(f"<b>Done:</b> {escape(draft.done.text)}")
    elif draft.correction:
        correction.append(f"<b>Recommended:</b> {escape(draft.correction.text)}")
        correction.append(escape(part_words(draft)))
    else:
        correction.append("None yet, because the cause was not found.")
    if draft.next_check and not draft.done:
        correction.append(escape(draft.next_check.text))
    correction += [f"<b>{escape(one.procedure)}:</b> {escape(one.says)}" for one in draft.found_after]
    if not draft.done:
        correction.append('Work done:<span class="blank full"></span>')
    small = "recommended; not recorded as done" if draft.correction and not draft.done else ""
    rows = (
        (
            "Complaint",
            "in the customer's words",
            [escape(draft.concern.text) or '<span class="blank full"></span>'],
        ),
        ("Cause", "", cause),
        ("Correction", small, correction),
    )
    body = "".join(
        f"<section><h2>{name}{f'<small>{about}</small>' if about else ''}</h2>"
        f'<div class="body">{"".join(f"<p>{one}</p>" for one in items)}</div></section>'
        for name, about, items in rows
    )
    return f'<div class="three">{body}</div>'


def _deciding(draft: Draft) -> str:
    """The deciding readings before and after the repair, side by side with their limits."""
    if not draft.deciding:
        return ""
    names = ("Test", BEFORE_REPAIR, AFTER_REPAIR, "Good")
    head = "".join(f'<th scope="col" class="d{number}">{name}</th>' for number, name in enumerate(names))
    rows = "".join(map(_compared, draft.deciding))
    return (
        "<section><h2>Readings that decided</h2>"
        f'<table class="deciding"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></section>'
    )


def _compared(row: Compared) -> str:
    source = f"<small>{escape(row.source)}</small>" if row.source else ""
    if row.after:
        after = _seen(shown_seen(row.after, row.after_judged), row.after_judged)
    else:
        after = f'<span class="open">{NOT_REPEATED}</span>'
    cells = (
        ("", "Test", escape(row.test)),
        ("", BEFORE_REPAIR, _seen(shown_seen(row.before, row.before_judged), row.before_judged)),
        ("", AFTER_REPAIR, after),
        ("", "Good", f"{escape(good_is(row))}{source}"),
    )
    return f"<tr>{''.join(f'<td data-label={label!r}>{body}</td>' for _, label, body in cells)}</tr>"


def _seen(words: str, judged: str) -> str:
    return f'<span class="seen">{escape(words)}</span>' if judged == "failed" else escape(words)


def _failure(draft: Draft) -> str:
    """Codes and place of the failure, or lines to write on, and the photos by their captions."""
    blank = '<span class="blank"></span>'
    boxes = [("Trouble codes", draft.codes.text), ("Failed at", draft.location.text)]
    if draft.photos:
        boxes.append(("Photos in the appendix", photos_words(draft)))
    shown = "".join(f"<div><dt>{label}</dt><dd>{escape(value) or blank}</dd></div>" for label, value in boxes)
    return f'<dl class="facts two-boxes">{shown}</dl>'


def _priced(draft: Draft) -> str:
    """Part and labor lines from a signed review, or else lines to write on; no price is invented."""
    parts = [(one.part, one.number, one.quantity, one.price) for one in draft.parts]
    labor = [(one.work, "", one.hours, one.price) for one in draft.labour]

    def rows(lines: list[tuple[str, str, str, str]], *, numbered: bool) -> str:
        shown = lines or [("", "", "", "")] * _BLANK_LINES
        return "".join(f"<tr>{_cells(line, numbered=numbered)}</tr>" for line in shown)

    time = f"<p><b>Diagnosis time:</b> {escape(draft.time.text)}</p>" if draft.time else ""
    return (
        "<section><h2>Parts and labor</h2>"
        '<table class="priced"><tbody><tr><th scope="col">Part</th><th scope="col">Part number</th>'
        f'<th scope="col">Quantity</th><th scope="col">Price</th></tr>{rows(parts, numbered=True)}'
        '<tr><th scope="col" colspan="2">Labor</th><th scope="col">Hours</th><th scope="col">Price</th></tr>'
        f"{rows(labor, numbered=False)}</tbody></table>{time}</section>"
    )


def _cells(line: tuple[str, str, str, str], *, numbered: bool) -> str:
    what, number, *rest = (escape(cell) for cell in line)
    first = f"<td>{what}</td><td>{number}</td>" if numbered else f'<td colspan="2">{what}</td>'
    return first + "".join(f"<td>{cell}</td>" for cell in rest)


def _sign(draft: Draft) -> str:
    if draft.signed:
        return (
            f'<div class="sign"><h2>Reviewed and signed</h2>{paragraphs(signatures(draft))}'
            '<div class="row"><span class="label">Customer</span><span class="blank full"></span>'
            '<span class="label">Date</span><span class="blank full"></span></div></div>'
        )
    return (
        '<div class="sign"><h2>Reviewed and signed</h2>'
        '<div class="row"><span class="label">Reviewed by</span><span class="blank full"></span>'
        '<span class="label">Date</span><span class="blank full"></span></div></div>'
    )
