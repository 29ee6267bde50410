"""The write-up as one self-contained HTML page that prints on Letter and A4.

No script, nothing from elsewhere; sound is embedded or linked beside the page.
Nothing is told by colour alone: what was taken back is struck through *and* labelled.
"""

from __future__ import annotations

import base64
from html import escape
from typing import TYPE_CHECKING

from assistant.picture.connection import GENERAL, inline
from assistant.record.reading import clips_of, read_clip
from assistant.writeup.draft import (
    BY_THE_MODEL,
    MAKER_FIRST,
    NO_LIMIT_OF_OURS,
    Draft,
    Fact,
    Measured,
    VoiceNote,
    course_of,
    printable,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.core.procedure import Library
    from assistant.record.reading import RecordedSession

_STYLE = """
@page { margin: 14mm 13mm 16mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem; max-width: 61rem; color: #111; background: #fff;
  font: 0.86rem/1.42 "Liberation Sans", Arial, Helvetica, sans-serif; }
header { display: flex; flex-wrap: wrap; justify-content: space-between; align-items: flex-end; gap: 1rem;
  border-bottom: 2.5pt solid #111; padding-bottom: 0.35rem; }
h1 { font-size: 1.35rem; font-weight: 700; letter-spacing: 0.01em; margin: 0; }
.state { font-size: 0.74rem; letter-spacing: 0.09em; text-transform: uppercase; border: 1pt solid #111;
  padding: 0.16rem 0.55rem; white-space: nowrap; }
.facts { display: grid; grid-template-columns: repeat(6, 1fr); border-left: 0.75pt solid #777; margin: 0.7rem 0 0; }
.facts div { border: 0.75pt solid #777; border-left: 0; padding: 0.2rem 0.5rem 0.32rem; min-height: 2.9rem;
  margin-bottom: -0.75pt; grid-column: span 2; overflow-wrap: anywhere; }
dt, .label { font-size: 0.66rem; letter-spacing: 0.07em; text-transform: uppercase; color: #444; }
dd { margin: 0; font-size: 0.98rem; }
.three { border: 1.5pt solid #111; margin-top: 0.9rem; }
.three section { display: grid; grid-template-columns: 8.4rem 1fr; margin: 0; }
.three section + section { border-top: 0.75pt solid #777; }
.three h2 { border: 0; margin: 0; padding: 0.5rem 0.6rem; background: #efefec; font-size: 0.8rem; }
.three h2 small { display: block; font-weight: 400; letter-spacing: 0; text-transform: none; }
.three .body { padding: 0.45rem 0.7rem; font-size: 0.95rem; }
h2 { font-size: 0.8rem; letter-spacing: 0.08em; text-transform: uppercase; margin: 1.15rem 0 0.3rem;
  border-bottom: 1pt solid #111; padding-bottom: 0.1rem; break-after: avoid; }
h2 small { font-weight: 400; letter-spacing: 0; text-transform: none; }
p { margin: 0 0 0.25rem; }
ul { margin: 0.1rem 0; padding-left: 1.1rem; }
li { margin: 0.08rem 0; }
li.check { list-style: none; margin-left: -1.1rem; }
.box { display: inline-block; width: 0.8em; height: 0.8em; border: 1pt solid #111; margin-right: 0.5em;
  vertical-align: -0.06em; }
table { border-collapse: collapse; width: 100%; }
th { text-align: left; font-size: 0.66rem; letter-spacing: 0.06em; text-transform: uppercase; font-weight: 400;
  color: #444; border-bottom: 0.75pt solid #111; padding: 0.15rem 0.5rem 0.15rem 0; vertical-align: bottom; }
td { border-bottom: 0.5pt solid #999; padding: 0.32rem 0.5rem 0.32rem 0; vertical-align: top; }
tr { break-inside: avoid; }
td.number, td.time { white-space: nowrap; font-variant-numeric: tabular-nums; }
tr.procedure { break-after: avoid; }
tr.procedure td { font-weight: 700; border-bottom-color: #111; padding-top: 0.55rem; }
tr.pictured { break-after: avoid; }
tr.pictured td { border-bottom: 0; }
tr.picture td { padding-top: 0; }
figure { margin: 0 0 0.3rem; }
figure svg { display: block; width: 100%; max-width: 36rem; height: auto; border: 0.5pt solid #bbb; }
figcaption { font-size: 0.74rem; color: #333; }
td .seen { font-weight: 700; }
td small, li small { display: block; color: #333; font-size: 0.76rem; }
.taken-back { border: 1pt solid #111; padding: 0 0.35rem; font-size: 0.72rem; text-transform: uppercase;
  letter-spacing: 0.04em; display: inline-block; }
del { text-decoration-thickness: 1pt; }
.columns { display: grid; grid-template-columns: 1fr 2fr; gap: 0 1.6rem; }
.columns section { break-inside: avoid; }
.columns section + section ul { columns: 17rem auto; column-gap: 1.6rem; }
.signal { font-weight: 700; }
.blank { display: inline-block; border-bottom: 0.75pt solid #111; min-width: 60%; height: 1.1em; }
.blank.full { display: block; min-width: 100%; height: 1.75em; }
audio { display: block; height: 2rem; max-width: 22rem; margin-top: 0.15rem; }
.record { font-size: 0.74rem; overflow-wrap: anywhere; }
.note { border-left: 3pt solid #111; padding-left: 0.6rem; }
.sign { border: 1.5pt solid #111; padding: 0.5rem 0.8rem 1rem; margin-top: 1.1rem; break-inside: avoid; }
.sign h2 { border: 0; margin-top: 0; }
.sign .row { display: grid; grid-template-columns: 8rem 1fr 4rem 12rem; gap: 0.6rem; align-items: end; }
@media (max-width: 40rem) {
  .facts div { grid-column: span 3; }
  .three section, .columns, .sign .row { grid-template-columns: 1fr; }
  thead { display: none; }
  tr, td { display: block; border-bottom: 0; padding: 0.05rem 0; }
  tr { border-bottom: 0.5pt solid #999; padding: 0.35rem 0; }
  td[data-label]:not(:empty)::before { content: attr(data-label) ": "; color: #444; }
}
@media print {
  html { font-size: 10.2pt; }
  body { padding: 0; max-width: none; }
  audio { display: none; }
  a { color: inherit; text-decoration: none; }
}
"""


def html(
    draft: Draft, clips: Mapping[str, bytes] | None = None, connections: Mapping[int, str] | None = None
) -> str:
    """The page.

    Args:
        draft: What it says.
        clips: FLAC files to embed, by their name in the session folder.
            A clip that is not among them is linked, which works while the page lies in the session folder.
        connections: The connection of each test as SVG, by the test's number.
    """
    sound = clips or {}
    title = f"Diagnosis write-up {draft.session}"
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
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        '<header><h1>Diagnosis write-up</h1><div class="state">Draft, to be reviewed and signed</div></header>',
        f'<dl class="facts">{"".join(map(_fact, draft.facts))}</dl>',
        _three(draft),
        _listed(
            "Verify after the repair",
            [f'<span class="box"></span>{escape(one)}' for one in draft.verify],
            "check",
        ),
        _tests(draft, sound, connections or {}),
        _skipped(draft),
        _excluded(draft),
        _listed(BY_THE_MODEL, map(escape, draft.model)),
        _cautions(draft),
        _listed("Cranking", map(escape, draft.cranking)),
        _listed(
            "Voice notes <small>(sound, not written down)</small>",
            [_note(note, sound) for note in draft.notes],
        ),
        _listed("On the way", [f"{escape(one.time)} {escape(one.says)}".strip() for one in draft.moments]),
        f'<section class="record"><h2>Record</h2>{_paragraphs(draft.integrity)}</section>',
        (
            f'<p class="note" style="margin-top:1rem">{escape(MAKER_FIRST)}'
            f"{' ' + escape(NO_LIMIT_OF_OURS) if draft.tests else ''}</p>"
        ),
        _sign(),
        "</body>",
        "</html>",
    ]
    return printable("\n".join(part for part in parts if part)) + "\n"


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
    return {
        clip.file: read_clip(session.folder, clip)
        for line in session.lines
        for clip in clips_of(line.event)
        if clip.file in named
    }


def connections_to_embed(session: RecordedSession, library: Library) -> dict[int, str]:
    """How each test was connected, as SVG by the test's number; a test that cannot be drawn is left out.

    Args:
        session: The session.
        library: The procedures that were copied into it.
    """
    drawings = {}
    for taken in course_of(session).results:
        result = taken.result
        circuit = library.procedures[result.procedure].circuit
        measure = library.step(result.procedure, result.step).measure
        drawings[result.number] = inline(circuit, measure, library.terms, f"test-{result.number}")
    return {number: drawing for number, drawing in drawings.items() if drawing}


def _fact(fact: Fact) -> str:
    value = escape(fact.value) or '<span class="blank"></span>'
    return f"<div><dt>{escape(fact.label)}</dt><dd>{value}</dd></div>"


def _three(draft: Draft) -> str:
    """Concern, cause and correction: the three boxes that a service adviser looks for."""
    cause = [escape(draft.cause or draft.no_verdict)]
    if draft.still_possible:
        cause.append(f"<b>Not told apart:</b> {escape(draft.still_possible)}")
    cause += [f"Before that, {escape(one.procedure)}: {escape(one.says)}" for one in draft.found_before]
    if draft.correction:
        correction = [f"<b>Recommended:</b> {escape(draft.correction)}"]
        correction.append(f"<b>Part:</b> {escape(draft.part)}" if draft.part else "No part is condemned.")
    else:
        correction = ["None recommended, because no verdict was reached."]
    correction.append('Work done:<span class="blank full"></span>')
    rows = (
        ("Concern", "in the customer's words", [escape(draft.concern) or '<span class="blank full"></span>']),
        ("Cause", "", cause),
        ("Correction", "recommended; whether it was done is not in the record", correction),
    )
    body = "".join(
        f"<section><h2>{name}{f'<small>{small}</small>' if small else ''}</h2>"
        f'<div class="body">{"".join(f"<p>{one}</p>" for one in items)}</div></section>'
        for name, small, items in rows
    )
    return f'<div class="three">{body}</div>'


def _tests(draft: Draft, sound: Mapping[str, bytes], connections: Mapping[int, str]) -> str:
    if not draft.tests:
        return "<section><h2>Tests, in order</h2><p>No result was taken.</p></section>"
    rows = []
    procedure = ""
    for test in draft.tests:
        if test.procedure != procedure:
            procedure = test.procedure
            rows.append(f'<tr class="procedure"><td colspan="6">{escape(procedure)}</td></tr>')
        rows.append(_row(test, sound, connections.get(test.number, "")))
    head = "".join(
        f'<th scope="col">{name}</th>'
        for name in ("No.", "Time", "Connected, engine", "A good system", "Seen", "How captured")
    )
    return (
        "<section><h2>Tests, in order</h2>"
        f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table></section>"
    )


def _row(test: Measured, sound: Mapping[str, bytes], picture: str) -> str:
    seen = f'<span class="seen">{escape(test.seen)}</span>'
    if test.source:
        seen += f"<small>Limits: {escape(test.limit)}. Source: {escape(test.source)}.</small>"
    if test.taken_back:
        label = f'<span class="taken-back">{escape(test.taken_back)}: does not count</span>'
        seen = f"<del>{seen}</del> {label}"
    captured = escape(test.captured)
    if test.clip:
        captured += f" <small>{_sound(test.clip, sound)}</small>"
    cells = (
        ("number", "No.", str(test.number)),
        ("time", "Time", escape(test.time)),
        ("", "Connected", f"{escape(test.connection)}.<br>{escape(test.engine)}."),
        ("", "A good system", escape(test.expected)),
        ("", "Seen", seen),
        ("", "How captured", captured),
    )
    row = "".join(
        f'<td{f" class={name!r}" if name else ""} data-label="{label}">{body}</td>'
        for name, label, body in cells
    )
    if not picture:
        return f"<tr>{row}</tr>"
    return (
        f'<tr class="pictured">{row}</tr>'
        f'<tr class="picture"><td colspan="6"><figure>{picture}'
        f"<figcaption>Connection of test {test.number}. {GENERAL}</figcaption></figure></td></tr>"
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
    right = _listed("Not ruled out by these tests", map(escape, draft.not_ruled_out))
    return f'<div class="columns">{left}{right}</div>' if left or right else ""


def _cautions(draft: Draft) -> str:
    return _listed(
        "Cautions given",
        [
            f'<span class="signal">{escape(one.signal)}</span> {escape(one.words)} '
            f"<small>{escape(one.given)}; {escape(one.acknowledged)}</small>"
            for one in draft.cautions
        ],
    )


def _note(note: VoiceNote, sound: Mapping[str, bytes]) -> str:
    return f"{escape(note.time)} ({escape(note.place)}), {escape(note.seconds)}: {_sound(note.clip, sound)}"


def _sound(name: str, sound: Mapping[str, bytes]) -> str:
    """A player for a clip that is embedded, a link for one that lies beside the page."""
    shown = escape(name)
    if name in sound:
        data = base64.b64encode(sound[name]).decode("ascii")
        player = f'<audio controls preload="none" aria-label="{shown}" src="data:audio/flac;base64,{data}"></audio>'
        return f"{shown}{player}"
    return f'<a href="{shown}">{shown}</a>'


def _listed(title: str, items: Iterable[str], kind: str = "") -> str:
    """A titled list of ready HTML; nothing at all when there are no items."""
    body = "".join(f"<li{f' class={kind!r}' if kind else ''}>{item}</li>" for item in items)
    return f"<section><h2>{title}</h2><ul>{body}</ul></section>" if body else ""


def _paragraphs(sentences: Iterable[str]) -> str:
    return "".join(f"<p>{escape(one)}</p>" for one in sentences)


def _sign() -> str:
    return (
        '<div class="sign"><h2>Reviewed and signed</h2>'
        '<div class="row"><span class="label">Reviewed by</span><span class="blank full"></span>'
        '<span class="label">Date</span><span class="blank full"></span></div>'
        '<p class="label" style="margin-top:0.7rem">Changes made</p>'
        '<span class="blank full"></span><span class="blank full"></span></div>'
    )
