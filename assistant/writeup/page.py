"""The write-up as one self-contained HTML page that prints on Letter and A4, and is the PDF, too.

No script, nothing from elsewhere; sound lies beside the page and is linked, or is embedded when asked for.
The first page is for the customer and the service adviser: concern, cause, correction, what to verify, parts and
labour, signature; the evidence follows on pages of its own.
Nothing is told by colour alone: what was taken back is struck through *and* labelled.
"""

from __future__ import annotations

import base64
import re
from html import escape
from typing import TYPE_CHECKING
from urllib.parse import quote

from assistant.picture.connection import GENERAL, inline
from assistant.record.course import course_of
from assistant.record.reading import clips_of, read_clip
from assistant.writeup.contents import (
    BY_THE_MODEL,
    Asked,
    Draft,
    Fact,
    Measured,
    Reviewed,
    VoiceNote,
)
from assistant.writeup.statement import printable, stop

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Measurement
    from assistant.record.reading import RecordedSession

_STYLE = """
@page { margin: 12mm 14mm 17mm;
  @bottom-left { content: FOOT_LEFT; font: 7pt FONTS; color: #333; white-space: pre-line; }
  @bottom-right { content: "page " counter(page) " of " counter(pages); font: 8pt FONTS; color: #111; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem; max-width: 58rem; color: #111; background: #fff;
  font: 0.86rem/1.42 FONTS; }
header { display: flex; flex-wrap: wrap; justify-content: space-between; align-items: flex-end; gap: 0.3rem 1rem;
  border-bottom: 2.5pt solid #111; padding-bottom: 0.35rem; }
h1 { font-size: 1.35rem; font-weight: 700; letter-spacing: 0.01em; margin: 0; }
.state { font-size: 0.74rem; letter-spacing: 0.05em; border: 1pt solid #111; padding: 0.16rem 0.55rem; }
.facts { display: flex; flex-wrap: wrap; border-left: 0.75pt solid #777; border-top: 0.75pt solid #777;
  margin: 0.7rem 0 0; }
.facts div { flex: 1 1 22%; border: 0.75pt solid #777; border-left: 0; border-top: 0;
  padding: 0.2rem 0.5rem 0.32rem; min-height: 2.7rem; overflow-wrap: anywhere; }
dt, .label { font-size: 0.66rem; letter-spacing: 0.07em; text-transform: uppercase; color: #444; }
dd { margin: 0; font-size: 0.98rem; }
.three { border: 1.5pt solid #111; margin-top: 0.9rem; }
.three section { display: flex; margin: 0; break-inside: avoid; }
.three section + section { border-top: 0.75pt solid #777; }
.three h2 { flex: 0 0 8.2rem; border: 0; margin: 0; padding: 0.5rem 0.6rem; background: #efefec; font-size: 0.8rem; }
.three h2 small { display: block; font-weight: 400; letter-spacing: 0; text-transform: none; }
.three .body { flex: 1 1 auto; padding: 0.45rem 0.7rem; font-size: 0.98rem; }
.three .verdict { font-weight: 700; }
h2 { font-size: 0.8rem; letter-spacing: 0.08em; text-transform: uppercase; margin: 0.95rem 0 0.3rem;
  border-bottom: 1pt solid #111; padding-bottom: 0.1rem; break-after: avoid; }
h2 small { font-weight: 400; letter-spacing: 0; text-transform: none; }
p { margin: 0 0 0.25rem; orphans: 2; widows: 2; }
ul { margin: 0.1rem 0; padding-left: 1.1rem; }
li { margin: 0.08rem 0; break-inside: avoid; }
.check { list-style: none; padding-left: 0; }
.box { display: inline-block; width: 0.8em; height: 0.8em; border: 1pt solid #111; margin-right: 0.5em;
  vertical-align: -0.06em; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
th { text-align: left; font-size: 0.66rem; letter-spacing: 0.06em; text-transform: uppercase; font-weight: 400;
  color: #444; border-bottom: 0.75pt solid #111; padding: 0.15rem 0.5rem 0.15rem 0; vertical-align: bottom; }
td { border-bottom: 0.5pt solid #999; padding: 0.32rem 0.5rem 0.32rem 0; vertical-align: top; }
tr { break-inside: avoid; }
.evidence-table { table-layout: fixed; }
.evidence-table .c0 { width: 5%; } .evidence-table .c1 { width: 11%; } .evidence-table .c2 { width: 25%; }
.evidence-table .c3 { width: 14%; } .evidence-table .c4 { width: 24%; } .evidence-table .c5 { width: 21%; }
td.number, td.time { font-variant-numeric: tabular-nums; }
tr.procedure { break-after: avoid; }
tr.procedure td { font-weight: 700; border-bottom-color: #111; padding-top: 0.55rem; }
.priced td { height: 1.5rem; padding-top: 0.2rem; padding-bottom: 0.2rem; }
.priced td + td, .priced th + th { width: 15%; padding-left: 0.6rem; border-left: 0.5pt solid #999; }
.pictures { display: flex; justify-content: space-between; break-inside: avoid; }
figure { flex: 0 0 48.5%; width: 48.5%; margin: 0.4rem 0 0.5rem; }
figure svg { display: block; width: 100%; height: auto; border: 0.5pt solid #bbb; }
figcaption { font-size: 0.76rem; color: #222; margin-top: 0.15rem; }
td .seen { font-weight: 700; }
td small, li small { display: block; color: #333; font-size: 0.76rem; overflow-wrap: anywhere; }
.whole { white-space: nowrap; }
.mark { font-weight: 700; }
.taken-back { border: 1pt solid #111; padding: 0 0.35rem; font-size: 0.72rem; text-transform: uppercase;
  letter-spacing: 0.04em; display: inline-block; }
del { text-decoration-thickness: 1pt; }
.columns { display: flex; gap: 0 1.6rem; }
.columns section { flex: 1 1 0; }
.two { columns: 2; column-gap: 1.6rem; }
.signal { font-weight: 700; }
.blank { display: inline-block; border-bottom: 0.75pt solid #111; min-width: 60%; height: 1.1em; }
.blank.full { display: block; min-width: 100%; height: 1.75em; }
audio { display: block; height: 2rem; width: 100%; max-width: 22rem; margin-top: 0.15rem; }
.record { font-size: 0.74rem; overflow-wrap: anywhere; }
.note { border-left: 3pt solid #111; padding-left: 0.6rem; margin-top: 0.7rem; font-size: 0.76rem; }
.sign { border: 1.5pt solid #111; padding: 0.2rem 0.8rem 0.8rem; margin-top: 0.9rem; break-inside: avoid; }
.sign h2 { border: 0; margin-top: 0.4rem; }
.sign .row { display: flex; gap: 1rem; align-items: flex-end; }
.sign .row .label { flex: 0 0 auto; }
.sign .row .blank { flex: 1 1 auto; min-width: 0; }
@media screen and (max-width: 46rem) {
  .facts div { flex-basis: 45%; }
  .three section, .columns, .pictures { display: block; }
  figure { flex-basis: 100%; width: 100%; }
  .evidence-table, .evidence-table tbody, .evidence-table tr, .evidence-table td { display: block; width: auto; }
  .evidence-table thead, .evidence-table colgroup { display: none; }
  .evidence-table tr { border-bottom: 0.75pt solid #777; padding: 0.3rem 0; }
  .evidence-table td { border: 0; padding: 0.05rem 0; }
  .evidence-table td[data-label]::before { content: attr(data-label) ": "; color: #444; }
}
@media print {
  html { font-size: 10.2pt; }
  body { padding: 0; max-width: none; }
  audio { display: none; }
  a { color: inherit; text-decoration: none; }
  .evidence { break-before: page; }
  .evidence > section:first-child h2 { margin-top: 0; }
}
"""
_FONTS = '"Liberation Sans", Arial, Helvetica, "DejaVu Sans", sans-serif'
_BLANK_LINES = 2

# A number and its unit stay on one line.
_UNIT = re.compile(r"(?<=[0-9]) (?=(?:m?V|A|(?:kil|meg)?ohms?|s|min|h|dB|rpm|ms|km|miles)\b)")
_NO_BREAK = "&nbsp;"


def html(
    draft: Draft,
    clips: Mapping[str, bytes] | None = None,
    connections: Mapping[tuple[int, ...], str] | None = None,
    *,
    beside: str = "",
    paper: bool = False,
) -> str:
    """The page.

    Args:
        draft: What it says.
        clips: FLAC files to embed, by their name in the session folder; what is not among them is linked.
        connections: Connections as SVG, by the numbers of the tests that were connected so.
        beside: Way from the page's folder to the session folder, for the links: "" when the page lies in it.
        paper: For the PDF: sound is named, not linked.
    """
    sound = _Sound(clips or {}, beside, paper=paper)
    title = f"Diagnosis write-up {draft.order() or draft.session}"
    evidence = [
        _tests(draft, sound),
        _pictures(draft, connections or {}),
        _skipped(draft),
        _listed("Readings not judged", [escape(one.text) for one in draft.not_judged]),
        _listed(
            "Not tested, because the answers did not lead there",
            [escape(one.text) for one in draft.not_reached],
            "two",
        ),
        _excluded(draft),
        _listed(BY_THE_MODEL, [escape(one.text) for one in draft.model]),
        _given("Car and work", draft.conditions, sound),
        _given("Values from the vehicle maker's information", draft.specifications, sound),
        _cautions(draft),
        _listed("Cranking", [escape(one.text) for one in draft.cranking]),
        _listed(
            "Voice notes <small>(sound, not written down)</small>",
            [_note(note, sound) for note in draft.notes],
        ),
        _listed("On the way", [f"{escape(one.time)} {escape(one.says)}".strip() for one in draft.moments]),
        _reviews(draft),
        f'<section class="record"><h2>Record</h2>{_paragraphs(one.text for one in draft.integrity)}</section>',
    ]
    parts = [
        "<!doctype html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        (
            '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
            "style-src 'unsafe-inline'; media-src data: 'self' file:\">"
        ),
        f"<title>{escape(title)}</title>",
        f"<style>{_style(draft)}</style>",
        "</head>",
        "<body>",
        f'<header><h1>Diagnosis write-up</h1><div class="state">{escape(draft.state.text)}</div></header>',
        f'<dl class="facts">{"".join(map(_fact, draft.facts))}</dl>',
        _three(draft),
        _listed(
            "Verify after the repair",
            [f'<span class="box"></span>{escape(one.text)}' for one in draft.verify],
            "check",
        ),
        _priced(draft),
        _sign(draft),
        f'<p class="note">{escape(" ".join(draft.closing))}</p>',
        f'<div class="evidence">{"".join(part for part in evidence if part)}</div>',
        "</body>",
        "</html>",
    ]
    whole = printable("\n".join(part for part in parts if part)) + "\n"
    head, body = whole.split("<body>", 1)
    return f"{head}<body>{_UNIT.sub(_NO_BREAK, body)}"


def clips_to_embed(session: RecordedSession, draft: Draft) -> dict[str, bytes]:
    """The sound that the write-up names, by file name, each checked against its checksum in the log.

    What was overheard and not taken is not among it.

    Raises:
        RecordProblem: A clip is missing or may not be read.
        RecordBroken: A clip was altered.
    """
    if session.folder is None:
        return {}
    named = {test.clip for test in draft.tests} | {note.clip for note in draft.notes}
    named |= {fact.clip for fact in (*draft.conditions, *draft.specifications)}
    return {
        clip.file: read_clip(session.folder, clip)
        for line in session.lines
        for clip in clips_of(line.event)
        if clip.file in named
    }


def connections_to_embed(session: RecordedSession, library: Library) -> dict[tuple[int, ...], str]:
    """How the tests were connected, as SVG by the numbers of the tests; what cannot be drawn is left out.

    Args:
        session: The session.
        library: The procedures that were copied into it.
    """
    tests: dict[tuple[str, Measurement], list[int]] = {}
    for taken in course_of(session).results:
        result = taken.result
        circuit = library.procedures[result.procedure].circuit
        measure = library.step(result.procedure, result.step).measure
        tests.setdefault((circuit, measure), []).append(result.number)
    drawings = {
        tuple(numbers): inline(circuit, measure, library.terms, f"test-{numbers[0]}")
        for (circuit, measure), numbers in tests.items()
    }
    return {numbers: drawing for numbers, drawing in drawings.items() if drawing}


class _Sound:
    """How a clip is shown: a player for one that is embedded or lies beside the page, its name on paper."""

    def __init__(self, clips: Mapping[str, bytes], beside: str, *, paper: bool) -> None:
        self._clips = clips
        self._beside = beside
        self._paper = paper

    def show(self, name: str) -> str:
        """The clip of this name."""
        shown = escape(name)
        if self._paper:
            return shown
        if name in self._clips:
            data = base64.b64encode(self._clips[name]).decode("ascii")
            return (
                f'{shown}<audio controls preload="none" aria-label="{shown}" '
                f'src="data:audio/flac;base64,{data}"></audio>'
            )
        target = escape(quote(f"{self._beside}/{name}" if self._beside else name))
        return (
            f'<a href="{target}">{shown}</a>'
            f'<audio controls preload="none" aria-label="{shown}" src="{target}"></audio>'
        )


def _style(draft: Draft) -> str:
    order = f"Repair order {draft.order()}" if draft.order() else "Repair order: none given"
    foot = f"{order}, session {draft.session}\nRecord SHA-256 {draft.record or 'none'}"
    return _STYLE.replace("FOOT_LEFT", _css_text(foot)).replace("FONTS", _FONTS)


def _css_text(words: str) -> str:
    """A string of CSS: every sign that is not plain is written as its number (CSS Syntax Module Level 3, 4.3.7)."""
    return (
        '"'
        + "".join(sign if sign.isalnum() or sign in " .,:-" else f"\\{ord(sign):x} " for sign in words)
        + '"'
    )


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
    """Part and labour lines: what a signed review gave, else lines to write on; no price is made up."""
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


def _tests(draft: Draft, sound: _Sound) -> str:
    if not draft.tests:
        return "<section><h2>Tests, in order</h2><p>No result was taken.</p></section>"
    rows = []
    procedure = ""
    for test in draft.tests:
        if test.procedure != procedure:
            procedure = test.procedure
            rows.append(f'<tr class="procedure"><td colspan="6">{escape(procedure)}</td></tr>')
        rows.append(_row(test, sound))
    names = ("No.", "Time", "Connected, engine", "A good system", "Seen", "How captured")
    head = "".join(f'<th scope="col" class="c{number}">{name}</th>' for number, name in enumerate(names))
    about = " <small>(* told under Cause)</small>" if any(test.decisive for test in draft.tests) else ""
    return (
        f"<section><h2>Tests, in order{about}</h2>"
        f'<table class="evidence-table"><thead><tr>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table></section>'
    )


def _row(test: Measured, sound: _Sound) -> str:
    seen = f'<span class="seen">{escape(test.seen)}</span>'
    if test.judged:
        seen += f"<small>Judged: {escape(test.judged)}.</small>"
    if test.source:
        seen += f"<small>Limits: {escape(test.limit)}. Source: {escape(test.source)}.</small>"
    if test.taken_back:
        label = f'<span class="taken-back">{escape(test.taken_back)}: does not count</span>'
        seen = f"<del>{seen}</del> {label}"
    captured = escape(test.captured)
    if test.clip:
        captured += f" <small>{sound.show(test.clip)}</small>"
    took = f'<small>took <span class="whole">{escape(test.took)}</span></small>' if test.took else ""
    mark = '<span class="mark">*</span>' if test.decisive else ""
    cells = (
        ("number", "No.", f"{test.number}{mark}"),
        ("time", "Time", f"{escape(test.time)}{took}"),
        ("", "Connected", f"{escape(test.connection)}.<br>{escape(test.engine)}."),
        ("", "A good system", escape(test.expected)),
        ("", "Seen", seen),
        ("", "How captured", captured),
    )
    row = "".join(
        f'<td{f" class={name!r}" if name else ""} data-label="{label}">{body}</td>'
        for name, label, body in cells
    )
    return f"<tr>{row}</tr>"


def _pictures(draft: Draft, connections: Mapping[tuple[int, ...], str]) -> str:
    """Each connection once, with the numbers of its tests and what was seen there."""
    seen = {test.number: test for test in draft.tests}
    figures = []
    for numbers, drawing in connections.items():
        results = "; ".join(
            f"{number}: {seen[number].seen}{' (taken back)' if seen[number].taken_back else ''}"
            for number in numbers
            if number in seen
        )
        caption = f"Connection of test {escape(results)}."
        figures.append(f"<figure>{drawing}<figcaption>{caption}</figcaption></figure>")
    if not figures:
        return ""
    pairs = (
        f'<div class="pictures">{"".join(figures[at : at + 2])}</div>' for at in range(0, len(figures), 2)
    )
    return (
        f"<section><h2>How it was connected <small>({escape(GENERAL)})</small></h2>{''.join(pairs)}</section>"
    )


def _skipped(draft: Draft) -> str:
    items = []
    for skip in draft.skipped:
        body = f"{escape(skip.time)} {escape(skip.connection)}. {escape(skip.engine)}. Skipped: {escape(skip.reason)}."
        if skip.taken_back:
            body = f'<del>{body}</del> <span class="taken-back">{escape(skip.taken_back)}</span>'
        items.append(body)
    return _listed("Tests not done", items)


def _excluded(draft: Draft) -> str:
    ruled_out = [f"{escape(one.fault)} (by test {', '.join(map(str, one.tests))})" for one in draft.ruled_out]
    left = _listed("Ruled out", ruled_out)
    right = _listed("Not ruled out by these tests", [escape(one.text) for one in draft.not_ruled_out])
    return f'<div class="columns">{left}{right}</div>' if left or right else ""


def _given(title: str, facts: Iterable[Asked], sound: _Sound) -> str:
    rows = []
    for fact in facts:
        words = f"{escape(fact.label)}: <b>{escape(fact.value) or '-'}</b>"
        if fact.captured:
            words += (
                f" <small>{escape(fact.captured)}{f'; {sound.show(fact.clip)}' if fact.clip else ''}</small>"
            )
        words += "".join(f" <small><del>{escape(old)}</del></small>" for old in fact.taken_back)
        rows.append(words)
    return _listed(title, rows)


def _cautions(draft: Draft) -> str:
    return _listed(
        "Cautions given",
        [
            f'<span class="signal">{escape(one.signal)}</span> {escape(one.words)} '
            f"<small>{escape(one.given)}; {escape(one.acknowledged)}</small>"
            for one in draft.cautions
        ],
    )


def _note(note: VoiceNote, sound: _Sound) -> str:
    return f"{escape(note.time)} ({escape(note.place)}), {escape(note.seconds)}: {sound.show(note.clip)}"


def _reviews(draft: Draft) -> str:
    return _listed("Reviews", [_review(one) for one in draft.reviews])


def _review(one: Reviewed) -> str:
    head = f"Review {one.number}, {escape(one.time)}" + (
        f", by {escape(one.reviewer)}" if one.reviewer else ""
    )
    lines = [f"<b>{head}</b>"]
    for said in one.says:
        words = f"{escape(said.about)}: {escape(said.words)}"
        if said.amended:
            words = f'<del>{words}</del> <span class="taken-back">{escape(said.amended)}</span>'
        lines.append(words)
    return f"{'<br>'.join(lines)}<small>{escape(stop(one.signed))}</small>"


def _listed(title: str, items: Iterable[str], kind: str = "") -> str:
    """A titled list of ready HTML; nothing at all when there are no items."""
    body = "".join(f"<li>{item}</li>" for item in items)
    return (
        f"<section><h2>{title}</h2><ul{f' class={kind!r}' if kind else ''}>{body}</ul></section>"
        if body
        else ""
    )


def _paragraphs(sentences: Iterable[str]) -> str:
    return "".join(f"<p>{escape(one)}</p>" for one in sentences)


def _sign(draft: Draft) -> str:
    if draft.signed:
        signed = [one for one in draft.reviews if one.signed != "Not signed"]
        return (
            '<div class="sign"><h2>Reviewed and signed</h2>'
            f"{_paragraphs(stop(one.signed) for one in signed)}</div>"
        )
    return (
        '<div class="sign"><h2>Reviewed and signed</h2>'
        '<div class="row"><span class="label">Reviewed by</span><span class="blank full"></span>'
        '<span class="label">Date</span><span class="blank full"></span></div>'
        '<p class="label" style="margin-top:0.7rem">Changes made</p>'
        '<span class="blank full"></span></div>'
    )
