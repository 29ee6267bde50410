"""What differs between two versions of a step: its measurement, cautions, limits, answers and words."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.comparison.change import About, Alteration, names, quoted, told
from assistant.core.library.procedure import Band, Specified, Step
from assistant.core.library.terms import Terms
from assistant.core.words import reporting
from assistant.core.words.placing import engine_words, listed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.comparison.change import Path
    from assistant.core.library.procedure import Answer, Limit, Measurement, Reading, Target


@dataclass(frozen=True)
class Sides:
    """A step before and after, each with its terms.

    Attributes:
        file: Name of the procedure's file.
        before: The earlier step.
        after: The later step.
        terms_before: Words for the earlier one.
        terms_after: Words for the later one.
    """

    file: str
    before: Step
    after: Step
    terms_before: Terms
    terms_after: Terms

    def change(self, path: Path, about: About, what: str, before: str, after: str) -> Alteration:
        """The change of a value of this step."""
        whole = ("steps", self.after.name, *path)
        return Alteration(self.file, whole, about, told(what, before, after), before, after)


def step_changes(sides: Sides) -> Iterator[Alteration]:
    """All differences of a step."""
    yield from _measurement(sides)
    yield from _cautions(sides)
    yield from _reading(sides)
    yield from _answers(sides)
    yield from _rest(sides)


def leads(target: Target | None) -> str:
    """Where something leads, in words: "step feed-volts"; "nowhere" for no target."""
    return f"{target.leads} {target.name}" if target else "nowhere"


def _measurement(sides: Sides) -> Iterator[Alteration]:
    one, other = sides.before.measure, sides.after.measure

    def place(terms: Terms, name: str | None) -> str:
        return terms.places[name].spoken if name in terms.places else ""

    def parts(terms: Terms, found: tuple[str, ...]) -> str:
        return names([terms.places[name].short for name in found])

    old, new = sides.terms_before, sides.terms_after
    rows = (
        ("with", "instrument", one.instrument, other.instrument, _tool(old, one), _tool(new, other)),
        ("clip", "clip", one.clip, other.clip, place(old, one.clip), place(new, other.clip)),
        ("probe", "probe", one.probe, other.probe, place(old, one.probe), place(new, other.probe)),
        (
            "engine",
            "key and engine",
            one.engine,
            other.engine,
            engine_words(one.engine),
            engine_words(other.engine),
        ),
        (
            "unplugged",
            "unplugged",
            one.unplugged,
            other.unplugged,
            parts(old, one.unplugged),
            parts(new, other.unplugged),
        ),
        (
            "compared_with",
            "compared with",
            one.compared_with,
            other.compared_with,
            place(old, one.compared_with),
            place(new, other.compared_with),
        ),
    )
    for key, what, before, after, said_before, said_after in rows:
        if before != after:
            if said_before == said_after:  # two names with the same words
                words = quoted(str(before)), quoted(str(after))
            else:
                words = said_before, said_after
            yield sides.change(("measure", key), About.MEASUREMENT, what, *words)


def _tool(terms: Terms, measure: Measurement) -> str:
    return terms.instruments[measure.instrument].spoken


def _cautions(sides: Sides) -> Iterator[Alteration]:
    yield from listed_changes(
        sides.file, ("steps", sides.after.name), sides.before.cautions, sides.after.cautions
    )


def listed_changes(
    file: str, owner: Path, before: tuple[str, ...], after: tuple[str, ...]
) -> Iterator[Alteration]:
    """Cautions that came and went; their order only if they are the same ones."""
    path = (*owner, "cautions")
    for name in after:
        if name not in before:
            yield Alteration(file, path, About.CAUTION, f"the caution '{name}' was added", "", name)
    for name in before:
        if name not in after:
            yield Alteration(file, path, About.CAUTION, f"the caution '{name}' was taken out", name, "")
    if before != after and set(before) == set(after):
        said = f"the cautions are in another order: {names(after)}"
        yield Alteration(file, path, About.CAUTION, said, names(before), names(after))


def _reading(sides: Sides) -> Iterator[Alteration]:
    one, other = sides.before.reading, sides.after.reading
    if one is None or other is None:
        if one is not other:
            yield sides.change(("reading",), About.LIMIT, "reading", _spoken(one), _spoken(other))
        return
    rows = (
        ("unit", "unit", one.unit, other.unit),
        ("plausible", "plausible range", _range(one), _range(other)),
        ("subtract", "subtracted", one.subtract, other.subtract),
        ("at_20_celsius", "temperature allowed for", one.at_20_celsius, other.at_20_celsius),
    )
    for key, what, before, after in rows:
        if before != after:
            yield sides.change(("reading", key), About.LIMIT, what, before, after)
    if one.unjudged != other.unjudged:
        before, after = (_way(reading.unjudged) for reading in (one, other))
        what = "without the maker's limit"
        yield sides.change(("reading", "unjudged"), About.ANSWER, what, before, after)
    yield from _limits(sides, one, other)


def _spoken(reading: Reading | None) -> str:
    return f"a number in {reading.unit}" if reading else ""


def _range(reading: Reading) -> str:
    low, high = reading.plausible
    return f"{low:f} to {high:f} {reading.unit}"


def _limits(sides: Sides, one: Reading, other: Reading) -> Iterator[Alteration]:
    """Limits between the same bands once each; those of other bands each by its band."""
    bands = ("reading", "bands")
    if [band.outcome for band in one.bands] == [band.outcome for band in other.bands]:
        for (low, _), (low_now, high_now) in zip(
            itertools.pairwise(one.bands), itertools.pairwise(other.bands), strict=True
        ):
            if low.high != low_now.high:
                what = f"limit between '{low.outcome}' and '{high_now.outcome}'"
                before, after = _limit(low.high, one.unit), _limit(low_now.high, other.unit)
                yield sides.change((*bands, low.outcome, "below"), About.LIMIT, what, before, after)
        first, last = (one.bands[0].low, other.bands[0].low), (one.bands[-1].high, other.bands[-1].high)
        for (was, now), at, key, word in ((first, 0, "from", "lowest"), (last, -1, "below", "highest")):
            if was != now:
                before, after = _limit(was, one.unit), _limit(now, other.unit)
                path = (*bands, other.bands[at].outcome, key)
                yield sides.change(path, About.LIMIT, f"{word} limit", before, after)
        return
    known = {band.outcome: band for band in one.bands}
    for band in other.bands:
        was_band = known.get(band.outcome)
        if was_band and (was_band.low, was_band.high) != (band.low, band.high):
            before = reporting.limits(was_band, one.unit)
            after = reporting.limits(band, other.unit)
            for key, moved in (("from", was_band.low != band.low), ("below", was_band.high != band.high)):
                if moved:
                    path = (*bands, band.outcome, key)
                    yield sides.change(path, About.LIMIT, f"'{band.outcome}'", before, after)


def _limit(limit: Limit | None, unit: str) -> str:
    if limit is None:
        return "none"
    return f"the maker's '{limit.fact}'" if isinstance(limit, Specified) else f"{limit:f} {unit}"


def _answers(sides: Sides) -> Iterator[Alteration]:
    one = {answer.outcome: answer for answer in sides.before.choices()}
    other = {answer.outcome: answer for answer in sides.after.choices()}
    for name, answer in other.items():
        if name not in one:
            yield sides.change(_keys(answer), About.ANSWER, f"answer '{name}'", "", _way(answer, sides.after))
        else:
            yield from _answer(sides, one[name], answer)
    yield from _sources(sides)
    for name, answer in one.items():
        if name not in other:
            yield sides.change(
                _keys(answer), About.ANSWER, f"answer '{name}'", _way(answer, sides.before), ""
            )
    if list(one) != list(other) and set(one) == set(other) and not sides.after.reading:
        before, after = names(list(one)), names(list(other))
        said = f"the answers are in another order, so their keys are others: {after}"
        path = ("steps", sides.after.name, "answers")
        yield Alteration(sides.file, path, About.ANSWER, said, before, after)


def _keys(answer: Answer) -> Path:
    return ("reading", "bands", answer.outcome) if isinstance(answer, Band) else ("answers", answer.outcome)


def _way(answer: Answer | None, step: Step | None = None) -> str:
    """An answer in words: where it leads and, for a band, its limits."""
    if answer is None:
        return ""
    limits = (
        f"{reporting.limits(answer, step.reading.unit)}, "
        if isinstance(answer, Band) and step is not None and step.reading
        else ""
    )
    return f"{limits}leads to {leads(answer.target)}"


def _answer(sides: Sides, one: Answer, other: Answer) -> Iterator[Alteration]:
    """Differences of an answer that both have, limits aside."""
    path, name = _keys(other), other.outcome
    if one.target != other.target:
        before, after = leads(one.target), leads(other.target)
        said = f"answer '{name}': led to {before}, now leads to {after}"
        whole = ("steps", sides.after.name, *path, "leads")
        yield Alteration(sides.file, whole, About.ANSWER, said, before, after)
    if one.rules_out != other.rules_out:
        what = f"ruled out by the answer '{name}'"
        before, after = names(one.rules_out), names(other.rules_out)
        yield sides.change((*path, "rules_out"), About.ANSWER, what, before, after)
    if one.known_after != other.known_after:
        what = f"answer '{name}' is known after"
        yield sides.change((*path, "known_after"), About.ANSWER, what, one.known_after, other.known_after)
    if isinstance(one, Band) and isinstance(other, Band) and one.seen != other.seen:
        what = f"'{name}' in a report"
        yield sides.change((*path, "seen"), About.WORDS, what, quoted(one.seen), quoted(other.seen))


def _sources(sides: Sides) -> Iterator[Alteration]:
    """Sources of limits; neighbours share a limit, so its source is given once."""
    known = {band.outcome: band for band in sides.before.choices() if isinstance(band, Band)}
    moved: dict[tuple[str, str], list[str]] = {}
    for band in sides.after.choices():
        was = known.get(band.outcome)
        if was is not None and isinstance(band, Band) and was.source != band.source:
            moved.setdefault((was.source, band.source), []).append(band.outcome)
    for (before, after), bands in moved.items():
        path = ("reading", "bands", bands[0], "source") if len(bands) == 1 else ("reading", "bands")
        what = f"source of the limits of {listed([quoted(name) for name in bands])}"
        yield sides.change(path, About.WORDS, what, quoted(before), quoted(after))


def _rest(sides: Sides) -> Iterator[Alteration]:
    one, other = sides.before, sides.after
    if one.good != other.good:
        before, after = quoted(one.good or ""), quoted(other.good or "")
        yield sides.change(("good",), About.ANSWER, "good answer", before, after)
    if one.if_skipped != other.if_skipped:
        before, after = (leads(step.if_skipped) if step.if_skipped else "" for step in (one, other))
        said = (
            f"skipped: led to {before}, now leads to {after}"
            if before and after
            else f"it can now be skipped, and then leads to {after}"
            if after
            else f"it can no longer be skipped; skipping it led to {before}"
        )
        path = ("steps", other.name, "if_skipped")
        yield Alteration(sides.file, path, About.ANSWER, said, before, after)
    if one.look_for != other.look_for:
        before, after = quoted(one.look_for), quoted(other.look_for)
        yield sides.change(("look_for",), About.WORDS, "hint", before, after)
    if one.asks != other.asks:
        before, after = names(one.asks), names(other.asks)
        yield sides.change(("asks",), About.MEASUREMENT, "asked before it", before, after)
    if one.repeat != other.repeat:
        yield sides.change(("repeat",), About.MEASUREMENT, "repeats", one.repeat, other.repeat)
    if one.watch != other.watch:
        said = "it is now watched" if other.watch else "it is no longer watched"
        path = ("steps", other.name, "watch")
        yield Alteration(sides.file, path, About.MEASUREMENT, said, str(one.watch), str(other.watch))
