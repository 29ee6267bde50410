"""Sentences of the dialogue besides instructions and results: cautions, reasons, doubts, verdicts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.terms import Caution, Hazard, SignalWord, Terms
from assistant.core.values.units import number_words, plain_number
from assistant.core.words.placing import listed
from assistant.core.words.sentences import sentences

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import NextCheck, Procedure, Verdict


def caution_text(caution: Caution, form: str) -> str:
    """A caution as spoken, its signal word first."""
    return f"{caution.signal.capitalize()}. {caution.full if form == 'full' else caution.short}"


_GRAVEST_FIRST = tuple(SignalWord)

SHORT_WORDS = 9
"""Most words of short forms with DANGER before them: about four seconds."""


def cautions_text(due: Sequence[tuple[Caution, str]]) -> str:
    """Cautions with their forms as they are spoken together, the gravest first.

    The short ones come first, as one sentence; then the full ones, each signal word once.
    """
    grave = sorted(due, key=lambda one: _GRAVEST_FIRST.index(one[0].signal))
    words = [short_forms([caution for caution, form in grave if form == "short"])]
    said = ""
    for caution in (caution for caution, form in grave if form == "full"):
        new = caution.signal != said
        words.append(f"{caution.signal.capitalize()}: {_inside(caution.full)}" if new else caution.full)
        said = caution.signal
    return " ".join(filter(None, words))


def short_forms(cautions: Sequence[Caution]) -> str:
    """Short forms of cautions as one sentence, after DANGER where there is time for it; "" for none."""
    parts = [sentence.rstrip(".") for caution in cautions for sentence in sentences(caution.short)]
    if not parts:
        return ""
    first, *others = parts
    text = ", ".join((first, *(_inside(part) for part in others)))
    danger = any(caution.signal is SignalWord.DANGER for caution in cautions)
    if danger and len(text.split()) < SHORT_WORDS:
        text = f"Danger: {_inside(text)}"
    return f"{text}."


def _inside(sentence: str) -> str:
    """A sentence as it stands inside another one: with a small letter, unless it begins with letters alone."""
    return sentence if sentence[1:2].isupper() else f"{sentence[:1].lower()}{sentence[1:]}"


def never_skipped(caution: Caution) -> bool:
    """Whether this caution is spoken before every step that names it, at least in its short form.

    Cranking and high voltage hurt at once; the others are repeated when they have not been spoken for a while.
    """
    return bool({Hazard.CRANKING, Hazard.SECONDARY_VOLTAGE, Hazard.SWITCHED_VOLTAGE} & set(caution.covers))


def fault_spoken(library: Library, fault: str) -> str:
    """A fault as it is spoken: its plain name without the brackets that are for readers."""
    return library.terms.faults[fault].plain.partition(" (")[0]


def findings_counted(cars: int) -> str:
    """One short sentence: the odds count the shop's own findings."""
    return f"That counts {cars} past job{'' if cars == 1 else 's'} of this shop."


def misfit(results: tuple[str, str], again: str, *, rare: bool) -> str:
    """Two results that do not fit together, or seldom come together, as read back, and the test that is repeated."""
    first, second = results
    begin = "That's unusual." if rare else "These don't match."
    return f"{begin} {first} {second} Repeat: {again}."


KNOWN_PATTERN = "That's unusual, but it happens."


def before_part(again: str) -> str:
    """The test that is repeated before a part is named."""
    return f"Make sure before buying a part. Repeat: {again}."


def not_adding_up(total: Decimal, whole: Decimal, again: str) -> str:
    """The pieces of a drop do not add up to the whole, and this one is measured again."""
    given = f"{plain_number(whole)}" if whole else "nothing"
    return f"The pieces add up to {number_words(total, 'V')}. The whole was {given}. Repeat: {again}."


LED_BACK = "These tests go in a circle. Stop here."


def next_safe_test(test: str) -> str:
    """The advice after the dialogue has stopped, if the results show which test tells most."""
    return f"Get a second pair of eyes. Next safe test: {test}."


def repeat_last(test: str) -> str:
    """The advice after the dialogue has stopped, if no other test would tell anything."""
    return f"Let somebody else repeat: {test}."


def new_since(results: Sequence[str]) -> str:
    """Results since a procedure was entered, as read back: "Since then: feed side lit."."""
    return " ".join(f"Since then: {text[:1].lower()}{text[1:].replace(': ', ' ', 1)}" for text in results)


def verdict_text(verdict: Verdict, continue_title: str = "", *, heard: bool = False) -> str:
    """A verdict as it is spoken; `heard`: its words were spoken just before, with the read-back."""
    text = "Okay." if heard else f"Result. {verdict.says}"
    if verdict.next_check:
        text += f" {verdict.next_check.do}"
    if continue_title:
        text += f" Next: {continue_title}."
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


def procedure_intro(
    terms: Terms, procedure: Procedure, presumed_no: Sequence[str] = (), *, titled: bool = True
) -> str:
    """The first words of a procedure: its title, and the parts that it presumes good because of these faults."""
    presumed = dict.fromkeys(terms.faults[fault].part for fault in presumed_no)
    title = f"{procedure.title}." if titled else ""
    good = f"Assumed good: {listed(list(presumed))}." if presumed else ""
    return " ".join(filter(None, (title, good)))


def procedure_short(name: str) -> str:
    """The few words by which a procedure is called for: its name."""
    return name.replace("-", " ")
