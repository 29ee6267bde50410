"""The appendix, on its own pages: every test with its outcome, and all findings on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from assistant.picture.connection import GENERAL
from assistant.writeup import voice_notes
from assistant.writeup.contents import BY_THE_MODEL
from assistant.writeup.markup import listed, paragraphs
from assistant.writeup.statement import capital, stop
from assistant.writeup.wording import APPENDIX

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.writeup.contents import Asked, Draft, Measured, Reviewed
    from assistant.writeup.embedding import ShownSound
    from assistant.writeup.statement import Statement
    from assistant.writeup.voice_notes import VoiceNote


@dataclass(frozen=True)
class EvidencePictures:
    """The pictures of the evidence.

    Attributes:
        connections: Connections as SVG, by the numbers of their tests.
        ramps: Captured current ramps as SVG, by the numbers of their tests.
        photos: The photos, ready to be shown.
    """

    connections: Mapping[tuple[int, ...], str]
    ramps: Mapping[int, str]
    photos: str


def evidence(draft: Draft, pictures: EvidencePictures, sound: ShownSound) -> str:
    """The evidence as sections of HTML.

    Args:
        draft: The write-up's contents.
        pictures: Its pictures.
        sound: Shows clips.
    """
    return "".join(
        (
            f'<h1 class="appendix">{APPENDIX}</h1>',
            _sentences("How the cause was found", draft.findings),
            _sentences("What the cause leaves open", (draft.still_possible,) if draft.still_possible else ()),
            listed(
                "Before that",
                [f"{escape(one.procedure)}: {escape(one.says)}" for one in draft.found_before],
            ),
            pictures.photos,
            _tests(draft, sound),
            _ramps(draft, pictures.ramps),
            _pictures(draft, pictures.connections),
            _skipped(draft),
            _sentences("Readings not judged", draft.not_judged),
            _sentences("Not tested, because the answers did not lead there", draft.not_reached, "two"),
            _excluded(draft),
            _sentences(BY_THE_MODEL, draft.model),
            _given("Car and work", draft.conditions, sound),
            _given("Values from the vehicle maker's information", draft.specifications, sound),
            _cautions(draft),
            _sentences("Cranking", draft.cranking),
            listed(
                f"Voice notes <small>({voice_notes.title(draft.notes).partition('(')[2]}</small>",
                [_note(note, sound) for note in draft.notes],
            ),
            listed("On the way", [f"{escape(one.time)} {escape(one.says)}".strip() for one in draft.moments]),
            _reviews(draft),
            f'<section class="record"><h2>Record</h2>{paragraphs(one.text for one in draft.integrity)}</section>',
        )
    )


def _sentences(title: str, statements: Iterable[Statement], kind: str = "") -> str:
    return listed(title, [escape(one.text) for one in statements], kind)


def _tests(draft: Draft, sound: ShownSound) -> str:
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
    about = " <small>(* decided the cause)</small>" if any(test.decisive for test in draft.tests) else ""
    return (
        f"<section><h2>Tests, in order{about}</h2>"
        f'<table class="evidence-table"><thead><tr>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table></section>'
    )


def _row(test: Measured, sound: ShownSound) -> str:
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
    """Each connection once, with the numbers and outcomes of its tests."""
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


def _ramps(draft: Draft, drawn: Mapping[int, str]) -> str:
    """Each captured ramp with the number and outcome of its test."""
    seen = {test.number: test for test in draft.tests}
    figures = []
    for ramp in draft.ramps:
        if ramp.test in drawn:
            test = seen[ramp.test]
            outcome = f"{test.seen}{' (taken back)' if test.taken_back else ''}"
            caption = f"Captured for test {ramp.test}: {escape(outcome)}. <small>{escape(ramp.file)}</small>"
            figures.append(
                f'<figure class="ramp">{drawn[ramp.test]}<figcaption>{caption}</figcaption></figure>'
            )
    return f"<section><h2>Current while cranking</h2>{''.join(figures)}</section>" if figures else ""


def _skipped(draft: Draft) -> str:
    items = []
    for skip in draft.skipped:
        body = f"{escape(skip.time)} {escape(skip.connection)}. {escape(skip.engine)}. Skipped: {escape(skip.reason)}."
        if skip.taken_back:
            body = f'<del>{body}</del> <span class="taken-back">{escape(skip.taken_back)}</span>'
        items.append(body)
    return listed("Tests not done", items)


def _excluded(draft: Draft) -> str:
    ruled_out = [f"{escape(one.fault)} (by test {', '.join(map(str, one.tests))})" for one in draft.ruled_out]
    left = listed("Ruled out", ruled_out)
    right = _sentences("Not ruled out by these tests", draft.not_ruled_out)
    return f'<div class="columns">{left}{right}</div>' if left or right else ""


def _given(title: str, facts: Iterable[Asked], sound: ShownSound) -> str:
    rows = []
    for fact in facts:
        words = f"{escape(fact.label)}: <b>{escape(fact.value) or '-'}</b>"
        if fact.captured:
            words += (
                f" <small>{escape(fact.captured)}{f'; {sound.show(fact.clip)}' if fact.clip else ''}</small>"
            )
        words += "".join(f" <small><del>{escape(old)}</del></small>" for old in fact.taken_back)
        rows.append(words)
    return listed(title, rows)


def _cautions(draft: Draft) -> str:
    return listed(
        "Cautions given",
        [
            f'<span class="signal">{escape(one.signal)}</span> {escape(one.words)} '
            f"<small>{escape(one.given)}; {escape(one.acknowledged)}</small>"
            for one in draft.cautions
        ],
    )


def _note(note: VoiceNote, sound: ShownSound) -> str:
    when = f"{note.number}. {escape(note.time)} ({escape(note.place)}), {escape(note.seconds)}"
    shown = f"{when}: {sound.show(note.clip)}"
    if not note.by:
        return shown
    return f'{shown}<div class="noted"><b>{escape(capital(note.by))}:</b> <q>{escape(note.words)}</q></div>'


def _reviews(draft: Draft) -> str:
    return listed("Reviews", [_review(one) for one in draft.reviews])


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
