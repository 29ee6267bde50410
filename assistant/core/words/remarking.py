"""Sentences of the dialogue besides instructions and results: cautions, reasons, doubts, verdicts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.terms import Caution, Hazard, Terms
from assistant.core.values.units import number_words, plain_number
from assistant.core.words.placing import listed

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import NextCheck, Procedure, Verdict


def caution_text(caution: Caution, form: str) -> str:
    """A caution as spoken, its signal word first."""
    return f"{caution.signal.capitalize()}. {caution.full if form == 'full' else caution.short}"


def never_skipped(caution: Caution) -> bool:
    """Whether this caution is spoken before every step that names it, at least in its short form.

    Cranking and high voltage hurt at once; the others are repeated when they have not been spoken for a while.
    """
    return bool({Hazard.CRANKING, Hazard.SECONDARY_VOLTAGE, Hazard.SWITCHED_VOLTAGE} & set(caution.covers))


def fault_spoken(library: Library, fault: str) -> str:
    """A fault as it is spoken: its plain name without the brackets that are for readers."""
    return library.terms.faults[fault].plain.partition(" (")[0]


def chance(probability: float) -> str:
    """A probability as it is spoken, no finer than it is known: "about 7 in 10"."""
    if probability >= 0.95:
        return "nearly certain"
    return f"about {max(1, round(10 * probability))} in 10"


def findings_counted(cars: int) -> str:
    """One short sentence: the odds count the shop's own findings."""
    return f"{cars} finding{'' if cars == 1 else 's'} of this shop {'is' if cars == 1 else 'are'} counted in."


def misfit(results: tuple[str, str], again: str, *, rare: bool) -> str:
    """Two results that do not fit together, or seldom come together, as read back, and the test that is repeated."""
    first, second = results
    begin = "These seldom come together." if rare else "These do not fit together."
    return f"{begin} {first} {second} Once more: {again}."


KNOWN_PATTERN = "These seldom come together, but are a known pattern."


def before_part(again: str) -> str:
    """The test that is repeated before a part is named."""
    return f"Before a part is named. Once more: {again}."


def not_adding_up(total: Decimal, whole: Decimal, again: str) -> str:
    """The pieces of a drop do not add up to the whole, and this one is measured again."""
    given = f"{plain_number(whole)}" if whole else "nothing"
    return f"The pieces give {number_words(total, 'V')}, the whole gave {given}. Measure again: {again}."


LED_BACK = "These tests lead back to the same place. Stop here."


def next_safe_test(test: str) -> str:
    """The advice after the dialogue has stopped, if the results show which test tells most."""
    return f"Hand over to a second person. Next safe test: {test}."


def repeat_last(test: str) -> str:
    """The advice after the dialogue has stopped, if no other test would tell anything."""
    return f"Have a second person repeat the last measurement: {test}."


def new_since(results: Sequence[str]) -> str:
    """Results since a procedure was entered, as read back: "New since then: feed side lit."."""
    return " ".join(f"New since then: {text[:1].lower()}{text[1:].replace(': ', ' ', 1)}" for text in results)


def verdict_text(verdict: Verdict, continue_title: str = "") -> str:
    """A verdict as it is spoken."""
    text = f"Verdict. {verdict.says}"
    if verdict.next_check:
        text += f" {verdict.next_check.do}"
    if continue_title:
        text += f" Next would be: {continue_title}."
    return text


def check_written(library: Library, check: NextCheck) -> str:
    """The next check of a verdict as it is shown and written up, with its value, source and the way back."""
    to = library.procedures.get(check.come_back)
    back = f"'{to.title}'" if to else check.come_back
    text = f"Next check: {check.do} Good: {check.value} ({check.source})."
    return f"{text} Come back to {back}." if back else text


def would_mean(verdict: Verdict) -> str:
    """The consequence of a result, spoken before it is affirmed."""
    return f"That would mean: {verdict.says}"


def procedure_intro(terms: Terms, procedure: Procedure, *, alone: bool) -> str:
    """The first words of a procedure; one that is started alone names the parts that it presumes good."""
    presumed = dict.fromkeys(terms.faults[fault].part for fault in procedure.presumes_no) if alone else ()
    return f"{procedure.title}." + (f" Presumed good: {listed(list(presumed))}." if presumed else "")


def procedure_short(name: str) -> str:
    """The few words by which a procedure is called for: its name."""
    return name.replace("-", " ")
