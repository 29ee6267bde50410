"""The first page, for the customer and the service adviser: boxes, concern, cause, correction, parts, signature."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from assistant.writeup.markup import listed, paragraphs
from assistant.writeup.statement import stop

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.writeup.contents import Draft, Fact

_BLANK_LINES = 2
"""Blank part and labour lines for the shop."""


def front(draft: Draft) -> Iterator[str]:
    """The parts of the page in order, as HTML."""
    yield f'<header><h1>Diagnosis write-up</h1><div class="state">{escape(draft.state.text)}</div></header>'
    yield f'<dl class="facts">{"".join(map(_fact, draft.facts))}</dl>'
    yield _three(draft)
    if draft.verify:
        boxes = [f'<span class="box"></span>{escape(one.text)}' for one in draft.verify]
        yield listed("Verify after the repair", boxes, "check")
    yield _priced(draft)
    yield _sign(draft)
    yield f'<p class="note">{escape(" ".join(draft.closing))}</p>'


def _fact(fact: Fact) -> str:
    value = escape(fact.value) or '<span class="blank"></span>'
    return f"<div><dt>{escape(fact.label)}</dt><dd>{value}</dd></div>"


def _three(draft: Draft) -> str:
    """Concern, cause and correction: the three boxes that a service adviser looks for."""
    cause = [f'<span class="verdict">{escape((draft.cause or draft.no_verdict).text)}</span>']
    cause += [escape(one.text) for one in (draft.customer, *draft.findings) if one]
    if draft.still_possible:
        cause.append(f"<b>Not told apart:</b> {escape(draft.still_possible.text)}")
    cause += [f"Before that, {escape(one.procedure)}: {escape(one.says)}" for one in draft.found_before]
    correction = []
    if draft.done:
        correction.append(f"<b>Done:</b> {escape(draft.done.text)}")
    if draft.confirmed:
        correction.append(f"<b>The shop found:</b> {escape(draft.confirmed.text)}.")
    if draft.correction:
        correction.append(f"<b>Recommended:</b> {escape(draft.correction.text)}")
        correction.append(
            f"<b>Part:</b> {escape(draft.part.text)}" if draft.part else "No part is condemned."
        )
    elif not draft.done:
        correction.append("None recommended, because no verdict was reached.")
    correction += [f"<b>{escape(one.procedure)}:</b> {escape(one.says)}" for one in draft.found_after]
    if not draft.done:
        correction.append('Work done:<span class="blank full"></span>')
    small = "" if draft.done else "recommended; whether it was done is not in the record"
    rows = (
        (
            "Concern",
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


def _priced(draft: Draft) -> str:
    """Part and labour lines from a signed review, or else lines to write on; no price is invented."""
    parts = [(one.part, one.quantity, one.price) for one in draft.parts]
    labour = [(one.work, one.hours, one.price) for one in draft.labour]

    def rows(lines: list[tuple[str, str, str]]) -> str:
        shown = lines or [("", "", "")] * _BLANK_LINES
        return "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in line)}</tr>" for line in shown)

    def head(*names: str) -> str:
        cells = "".join(f'<th scope="col">{name}</th>' for name in names)
        return f"<tr>{cells}</tr>"

    time = f"<p><b>Diagnosis.</b> {escape(draft.time.text)}</p>" if draft.time else ""
    return (
        "<section><h2>Parts and labour <small>(for the shop to price)</small></h2>"
        f'<table class="priced"><tbody>{head("Part", "Quantity", "Price")}{rows(parts)}'
        f"{head('Labour', 'Hours', 'Price')}{rows(labour)}</tbody></table>{time}</section>"
    )


def _sign(draft: Draft) -> str:
    if draft.signed:
        signed = [one for one in draft.reviews if one.signed != "Not signed"]
        return (
            '<div class="sign"><h2>Reviewed and signed</h2>'
            f"{paragraphs(stop(one.signed) for one in signed)}</div>"
        )
    return (
        '<div class="sign"><h2>Reviewed and signed</h2>'
        '<div class="row"><span class="label">Reviewed by</span><span class="blank full"></span>'
        '<span class="label">Date</span><span class="blank full"></span></div>'
        '<p class="label" style="margin-top:0.7rem">Changes made</p>'
        '<span class="blank full"></span></div>'
    )
