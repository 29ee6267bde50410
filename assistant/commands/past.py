"""Past sessions: turns typed options into a search, and its result into words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from assistant.core.nearest import among
from assistant.errors import UsageProblem
from assistant.printing import in_line as plain
from assistant.record.searching import Wanted, read_day, vin_part, words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assistant.core.library.library import Library
    from assistant.record import Found, Summary

AT_ONCE = 20
"""Default number of sessions to show on a terminal: about a screen and a half."""


@dataclass(frozen=True)
class TypedSearch:
    """A search as it was typed; an option that was not typed is None or empty."""

    words: tuple[str, ...] = ()
    order: str | None = None
    vin: str | None = None
    since: str | None = None
    until: str | None = None
    on: str | None = None
    verdict: str | None = None
    complaint: str | None = None
    sealed: bool | None = None

    def wanted(self, today: date) -> Wanted:
        """The search.

        Args:
            today: The day by the clock of the shop.

        Raises:
            UsageProblem: A day, a part of a VIN, or a word is invalid, or the days are in the wrong order.
        """
        if self.on is not None and (self.since, self.until) != (None, None):
            raise UsageProblem("--on sets both --from and --to. Leave out --on, or leave out the others.")
        first, last = (self.since, self.until) if self.on is None else (self.on, self.on)
        since = None if first is None else read_day(first, today)
        until = None if last is None else read_day(last, today, last=True)
        if since and until and since > until:
            raise UsageProblem(f"--from {since} is after --to {until}. Give the earlier day with --from.")
        return Wanted(
            order=_given("--order", self.order),
            vin="" if self.vin is None else vin_part(self.vin),
            since=since,
            until=until,
            verdict="-".join(_given("--verdict", self.verdict).casefold().split()),
            complaint=_words("--complaint", self.complaint),
            words=tuple(word for text in self.words for word in _words("A search", text)),
            sealed=self.sealed,
        )


def _given(option: str, text: str | None) -> str:
    if text is not None and not text.strip():
        raise UsageProblem(f"{option} is empty. Say what to look for, or leave it out.")
    return text or ""


def _words(option: str, text: str | None) -> tuple[str, ...]:
    words = words_of(_given(option, text))
    if text is not None and not words:
        raise UsageProblem(f"{option} needs a word of letters or digits, and {text!r} has none.")
    return words


def check_verdict(name: str, reached: Iterable[str], library: Library) -> None:
    """Check that there is such a verdict, now or in a past session.

    Raises:
        UsageProblem: There is none; the message names the nearest one and all known ones.
    """
    known = {verdict for procedure in library.procedures.values() for verdict in procedure.verdicts}
    known |= set(reached)
    if name not in known:
        raise UsageProblem(f"There is no verdict '{name}'. {among(name, sorted(known))}.")


def row(summary: Summary) -> dict[str, Any]:
    """A session of the list as JSON."""
    body = summary.to_json()
    return {"session": body.pop("id"), **body}


# --- the list -------------------------------------------------------------------------------------


def listing(found: Found, *, today: date, width: int, limit: int = 0) -> Iterator[str]:
    """The sessions for a terminal: two lines each, under headings like "Last week".

    Args:
        found: The result of the search.
        today: The day by the clock of the shop.
        width: Columns of the terminal.
        limit: Largest number to show; 0 for all.
    """
    shown = found.summaries[:limit] if limit else found.summaries
    heading = None
    for summary in shown:
        group = _group(summary.day, today)
        if group != heading:
            if heading is not None:
                yield ""
            yield group
            heading = group
        yield from (_cut(line, width) for line in _two_lines(summary))
    left = len(found.summaries) - len(shown)
    if len(found.summaries) == 1:
        yield ""
        yield _next_command(shown[0])
    if left:
        yield ""
        yield f"{left} more: --limit 0 shows all; --on, --order, --vin or a word finds one."


def _next_command(summary: Summary) -> str:
    """The likeliest next command for the one session that was found."""
    name = summary.folder.name
    if summary.problem:
        return plain(f"Find out what is wrong: bay-assistant verify {name}")
    if not summary.sealed:
        return plain(f"Resume it: bay-assistant run --resume {name}")
    return plain(f"Read it: bay-assistant writeup {name}")


def _group(day: date | None, today: date) -> str:
    if day is None:
        return "Damaged"
    monday = today - timedelta(days=today.weekday())
    if day >= today:
        return "Today" if day == today else "Later than today"
    if day == today - timedelta(days=1):
        return "Yesterday"
    if day >= monday:
        return "This week"
    if day >= monday - timedelta(days=7):
        return "Last week"
    return f"{day:%B %Y}"


def _two_lines(summary: Summary) -> tuple[str, str]:
    facts = summary.facts
    when = f"{summary.started:%a %d %b %H:%M}" if summary.started else "no date"
    told = [
        f"order {facts.order}" if facts.order else "no order",
        facts.vehicle,
        f"VIN …{facts.vin[-8:]}" if facts.vin else "",
        f'"{facts.complaint}"' if facts.complaint else "",
    ]
    first = "  ".join(" ".join(part.split()) for part in (when, *told) if part)
    if summary.problem:
        return plain(f"  {first}"), plain(f"    {summary.id}  damaged: {summary.problem}")
    results = f"{summary.results} result{'' if summary.results == 1 else 's'}"
    end = f"{summary.procedure}: {summary.end}" if summary.procedure else "not begun"
    return plain(f"  {first}"), plain(f"    {summary.id}  {summary.state}  {end}, {results}")


def _cut(line: str, width: int) -> str:
    return line if len(line) <= width else f"{line[: max(width - 1, 1)]}…"


def nothing(found: Found, folder: object, wanted: Wanted) -> str:
    """The sentence when no session is listed."""
    if not found.of:
        return f"No sessions in {folder}."
    hint = (
        f" 'bay-assistant sessions {plain(wanted.order)}' finds numbers that begin with it."
        if wanted.order
        else ""
    )
    return f"None of {found.of} session{'' if found.of == 1 else 's'} matches: {_told(wanted)}.{hint}"


def _told(wanted: Wanted) -> str:
    parts = [
        f"order {wanted.order}" if wanted.order else "",
        f"{wanted.vin} in the VIN" if wanted.vin else "",
        f"begun on or after {wanted.since}" if wanted.since else "",
        f"begun on or before {wanted.until}" if wanted.until else "",
        f"verdict {wanted.verdict}" if wanted.verdict else "",
        f"'{' '.join(wanted.complaint)}' in the complaint" if wanted.complaint else "",
        f"'{' '.join(wanted.words)}' in its details" if wanted.words else "",
        "" if wanted.sealed is None else "sealed" if wanted.sealed else "not sealed",
    ]
    return plain(", ".join(part for part in parts if part))


def remarks(found: Found) -> Iterator[str]:
    """Remarks for the person beside the list, a sentence each."""
    yield from found.notices
    if found.unsearched:
        names = ", ".join(summary.folder.name for summary in found.unsearched)
        yield plain(
            f"Damaged, so only partly searched: {names}. 'bay-assistant verify NAME' says what is wrong with one."
        )
