"""The pages after the session, as HTML: the list of past sessions, one session, signing in. All text is escaped."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING
from urllib.parse import quote

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assistant.record import Summary

FIELDS = (
    ("done", "What did you fix?", "area", ""),
    ("found", "Faults that were confirmed, one a line", "area", "open control wire"),
    ("vin", "VIN, if it is missing above", "line", ""),
    ("location", "Where did it fail?", "line", "connector, pin, splice"),
    ("codes", "Trouble codes", "line", ""),
    (
        "parts",
        "Parts, one a line: part; quantity; price; part number",
        "area",
        "ignition coil; 1; 89.50; 22-104",
    ),
    ("labour", "Labor, one a line: work; hours; price", "area", "wire repair; 0.8; 96"),
    ("remarks", "Remarks", "area", ""),
    ("reviewer", "Your name", "line", ""),
)
"""The questions of a review: name, words, kind of field, example."""


def page(title: str, *parts: str) -> str:
    """A page with this title."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>{escape(title)}</title><link rel="icon" href="data:,"><link rel="stylesheet" href="/papers.css">'
        f"</head><body><main>{''.join(parts)}</main></body></html>"
    )


def plain(words: str) -> str:
    """A paragraph."""
    return f"<p>{escape(words)}</p>"


def said(sentence: str) -> str:
    """A sentence that stands out: what was kept, or what is wrong."""
    return f'<p class="said" role="status">{escape(sentence)}</p>' if sentence else ""


def address(session: str) -> str:
    """Where a session is shown."""
    return f"/sessions/{quote(session, safe='')}"


def listing(summaries: Iterable[Summary], of: int, sought: str, remarks: Iterable[str]) -> str:
    """The list of past sessions with its search."""
    rows = "".join(_row(summary) for summary in summaries)
    nothing = "" if rows else f"<p>None of {of} sessions matches.</p>"
    return page(
        "Past sessions",
        "<h1>Past sessions</h1>",
        '<form action="/sessions" method="get" role="search"><label>Order, VIN, vehicle, complaint or verdict '
        f'<input name="find" value="{escape(sought)}"></label><button>Find</button></form>',
        *(said(remark) for remark in remarks),
        f'<ul class="list">{rows}</ul>{nothing}',
        _finish(),
    )


def _row(summary: Summary) -> str:
    facts = summary.facts
    when = f"{summary.started:%a %d %b %Y %H:%M}" if summary.started else "no date"
    told = [f"order {facts.order}" if facts.order else "", facts.vehicle, facts.complaint]
    end = summary.problem or f"{summary.state}; {summary.end}"
    words = " · ".join(filter(None, (when, *told)))
    return f'<li><a href="{address(summary.id)}"><b>{escape(words)}</b><span>{escape(end)}</span></a></li>'


def session(name: str, *, signs: bool, sealed: bool, told: str, given: Mapping[str, str]) -> str:
    """One session: its write-up, and below it the review for who has signed in at the machine.

    Args:
        name: Name of the session.
        signs: Whether this tablet may review and sign.
        sealed: Whether the session is over, so that a review fits it.
        told: What was kept, or what is wrong; "" for nothing.
        given: What was filled in and could not be kept.
    """
    frame = f'<iframe title="Write-up" src="{address(name)}/write-up" sandbox="allow-same-origin"></iframe>'
    if not sealed:
        below = "<p>This session is still open: go on with it at the machine, and review it when it is closed.</p>"
    elif signs:
        below = _review(name, given)
    else:
        below = _sign_in(name)
    return page(
        f"Session {name}",
        f'<nav><a href="/sessions">Past sessions</a></nav><h1>{escape(name)}</h1>',
        said(told),
        frame,
        below,
        _finish(),
    )


def _review(name: str, given: Mapping[str, str]) -> str:
    fields = "".join(_field(*field, given.get(field[0], "")) for field in FIELDS)
    return (
        f'<h2>Review</h2><form action="{address(name)}/review" method="post" enctype="multipart/form-data">{fields}'
        '<label>Photos<input type="file" name="photo" accept="image/jpeg,image/png" multiple></label>'
        f"{_field('captions', 'What the photos show, a line for each', 'area', '', given.get('captions', ''))}"
        '<label class="check"><input type="checkbox" name="sign" value="yes"> '
        "I sign this write-up and this review with my name.</label>"
        "<button>Keep the review</button></form>"
    )


def _field(name: str, words: str, kind: str, example: str, value: str) -> str:
    hint = f' placeholder="{escape(example)}"' if example else ""
    if kind == "area":
        return (
            f'<label>{escape(words)}<textarea name="{name}" rows="3"{hint}>{escape(value)}</textarea></label>'
        )
    return f'<label>{escape(words)}<input name="{name}" value="{escape(value)}"{hint}></label>'


def _sign_in(name: str) -> str:
    back = f'<input type="hidden" name="back" value="{escape(name)}">'
    return (
        "<h2>Review and sign</h2><p>To review, sign in with the code that the machine shows.</p>"
        f'<form action="/sign-in/code" method="post">{back}<button>Show a code on the machine</button></form>'
        f'<form action="/sign-in" method="post">{back}<label>Code <input name="code" inputmode="numeric" '
        'autocomplete="off" maxlength="6"></label><button>Sign in</button></form>'
    )


def _finish() -> str:
    return '<form action="/finish" method="post"><button class="quiet">Close the board</button></form>'
