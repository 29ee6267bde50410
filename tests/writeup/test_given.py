"""The facts asked for stand in the write-up: given, corrected, left blank, and what was judged with them."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from small_shop import Story, small_library

from assistant.core.library.library import Library
from assistant.core.library.procedure import Answer, Leads, Specified, Target
from assistant.core.library.terms import FactKind, Inquiry
from assistant.core.library.vocabulary import UNJUDGED
from assistant.core.values.entries import (
    FactGiven,
    FactUndone,
    ModeChanged,
    ProcedureEntered,
    ProcedurePaused,
    ResultTaken,
)
from assistant.record import Facts
from assistant.writeup import Draft, Source, draft, html, text

NUMBER = FactKind.NUMBER


def library() -> Library:
    """The small shop, with a primary that is judged by the maker's limits, leads and temperature allowed for."""
    found = small_library()
    facts = (
        Inquiry("order", FactKind.SPELLED, "Repair order", "Which order?", longest=16),
        Inquiry("vin", FactKind.VIN, "VIN", "What's the VIN?"),
        Inquiry("lamp-kind", FactKind.CHOICE, "Test lamp", "Which lamp?",
                choices={"filament": "filament lamp", "led": "LED"}),
        Inquiry("lead-resistance", NUMBER, "Resistance of the leads", "How many ohms?", unit="ohm",
                plausible=(Decimal(0), Decimal(5))),
        Inquiry("coil-temperature", NUMBER, "Coil temperature", "How warm?", unit="celsius",
                plausible=(Decimal(-50), Decimal(150))),
        Inquiry("primary-lowest", NUMBER, "Lowest primary resistance", "How many ohms?", unit="ohm",
                plausible=(Decimal(0), Decimal(20)), specification=True),
    )  # fmt: skip
    coil = found.procedures["coil"]
    step = coil.steps["primary"]
    assert step.reading is not None
    low, high = step.reading.bands
    limit = Specified("primary-lowest")
    reading = replace(
        step.reading,
        bands=(
            replace(low, high=limit, source="the maker's value"),
            replace(high, low=limit, source="the maker's value"),
        ),
        subtract="lead-resistance",
        at_20_celsius="coil-temperature",
        unjudged=Answer(UNJUDGED, Target(Leads.VERDICT, "no-control")),
    )
    steps = {**coil.steps, "primary": replace(step, reading=reading)}
    return replace(
        found,
        terms=replace(found.terms, facts={one.name: one for one in facts}),
        procedures={**found.procedures, "coil": replace(coil, steps=steps)},
    )


def said(fact: str, value: str, unit: str = "", how: str = "voice") -> FactGiven:
    """A fact that was told."""
    blank = not value
    return FactGiven(fact, value, unit, "left blank" if blank else how, f"{value} spoken", 0.9,
                     "left blank" if blank else "affirmed", None if blank else "clips/0009.flac")  # fmt: skip


def primary(value: str, outcome: str, following: str, judged: str | None) -> ResultTaken:
    """The ohmmeter's reading."""
    return ResultTaken(1, "coil", "primary", outcome, Decimal(value), "ohm", "keypad", value, 1.0, None, "affirmed",
                       None, following, Decimal(judged) if judged else None)  # fmt: skip


def made(story: Story, facts: Facts = Facts()) -> Draft:  # noqa: B008  a frozen value
    """The draft."""
    return draft(story.session(facts), library())


def told_story() -> Story:
    """Leads and temperature were told, the lamp anew, a specification given."""
    return (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(0.2, said("order", "B52"))
        .add(0.5, said("lamp-kind", "led"))
        .add(0.7, FactUndone("lamp-kind", "led", "other lamp"))
        .add(0.8, said("lamp-kind", "filament", how="keypad"))
        .add(1, said("lead-resistance", "0.2", "ohm"))
        .add(1.2, said("coil-temperature", "68", "fahrenheit"))
        .add(1.5, said("primary-lowest", "0.40", "ohm"))
        .add(2, primary("0.50", "shorted", "verdict:coil-shorted", "0.30"))
    )


def test_a_box_of_the_head_takes_what_was_told() -> None:
    """The order that was spelled stands in its box; what was typed before it and taken back does not."""
    facts = {fact.label: fact for fact in made(told_story(), Facts(order="9")).facts}
    assert ("B52", (Source("log", "2"),)) == (facts["Repair order"].value, facts["Repair order"].sources)
    story = (
        Story()
        .add(0, said("vin", "1G4AH59H45G118341"))
        .add(1, FactUndone("vin", "1G4AH59H45G118341", "voice"))
    )
    assert "" == next(fact.value for fact in made(story, Facts(vin="X")).facts if fact.label == "VIN")


def test_lamp_and_temperature_stand_with_how_they_were_told() -> None:
    """Each with its value, unit and capture; the earlier answer is shown, not hidden."""
    found = {fact.label: fact for fact in made(told_story()).conditions}
    assert ["Test lamp", "Resistance of the leads", "Coil temperature"] == list(found)
    assert ("filament lamp", ("LED, taken back 14:32 other lamp",)) == (
        found["Test lamp"].value,
        found["Test lamp"].taken_back,
    )
    assert '14:33 by voice, "68 spoken"; read back and affirmed' == found["Coil temperature"].captured
    for form in (text(made(told_story())), html(made(told_story()))):
        assert "filament lamp" in form
    assert "<del>LED, taken back 14:32 other lamp</del>" in html(made(told_story()))


def test_a_reading_is_shown_with_what_was_judged_and_the_makers_limit() -> None:
    """Leads subtracted, temperature allowed for, and the number of the specification in the limit."""
    (test,) = made(told_story()).tests
    assert "0.50 ohm, below the usual range" == test.seen
    assert test.judged.startswith("0.30 ohm, less the leads (0.2 ohm), at 20 celsius, from ")
    assert "below the maker's 0.40 ohm" == test.limit
    assert {Source("log", number) for number in ("6", "7", "8", "9")} <= set(test.sources)
    assert "Judged: 0.30 ohm, less the leads (0.2 ohm)" in " ".join(text(made(told_story())).split())


def test_a_fact_that_was_told_later_does_not_change_an_earlier_test() -> None:
    """Limits are those that were known when the reading was taken."""
    story = (
        told_story()
        .add(3, FactUndone("primary-lowest", "0.40", "voice"))
        .add(3.1, said("primary-lowest", "0.25", "ohm"))
    )
    assert "below the maker's 0.40 ohm" == made(story).tests[0].limit
    (specification,) = made(story).specifications
    assert ("0.25 ohm", ("0.40 ohm, taken back 14:35 by voice",)) == (
        specification.value,
        specification.taken_back,
    )


def test_a_specification_that_was_left_blank_is_said_and_judges_nothing() -> None:
    """The reading is kept, the reason stands beside it, and the blank is in the list."""
    story = (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(1, said("primary-lowest", ""))
        .add(2, primary("0.50", UNJUDGED, "verdict:no-control", None))
    )
    found = made(story)
    assert ["left blank"] == [fact.value for fact in found.specifications]
    assert "0.50 ohm, not judged: no limit from the maker was given" == found.tests[0].seen
    assert ["Test 1 was not judged; left blank: Lowest primary resistance."] == [
        one.text for one in found.not_judged
    ]
    assert "READINGS NOT JUDGED" in text(found)
    assert "Readings not judged" in html(found)


def test_what_was_set_aside_and_gone_back_to_is_told() -> None:
    """Another test in between: both moments, and the session stands at the step that was set aside."""
    story = (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(1, ProcedurePaused("coil", "feed"))
        .add(1, ProcedureEntered("battery", "coil"))
        .add(3, ProcedureEntered("coil", "battery", came_back=True))
        .add(4, ModeChanged("closed", "asked for"))
    )
    says = [one.says for one in made(story).moments]
    assert "'Control test at the coil' was set aside (feed side)." in says
    assert "Back to 'Control test at the coil'." in says
    assert "probe on the feed side of the coil; cranking" in made(story).no_verdict.text
