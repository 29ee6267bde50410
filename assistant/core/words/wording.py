"""Measurements, cautions and results in words: one place for all that is spoken or written.

Spoken sentences aim at twelve words at most, one action each, the place before the action.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Band, Engine, Specified
from assistant.core.library.terms import Hazard
from assistant.core.library.vocabulary import OVER_RANGE, SAME_POINT, SENSES, UNJUDGED
from assistant.core.values.units import UNIT_WORDS, number_words, number_written, plain_number

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Answer, Limit, Measurement, Procedure, Step, Verdict
    from assistant.core.library.terms import Caution, Terms

_ENGINE = {
    Engine.KEY_OFF: "key off",
    Engine.KEY_ON: "key on, engine not turning",
    Engine.CRANKING: "cranking",
    Engine.RUNNING: "engine running",
}


AS_SHOWN = "Read the meter as it shows"
"""The instruction for a meter if the assistant itself subtracts the leads."""


def engine_words(engine: Engine) -> str:
    """State of key and engine for a report."""
    return _ENGINE[engine]


def listed(names: list[str] | tuple[str, ...], word: str = "and") -> str:
    """Names in one phrase: "coil", "coil and module", "one, two, or three"."""
    if len(names) < 2:
        return "".join(names)
    comma = "," if len(names) > 2 else ""
    return f"{', '.join(names[:-1])}{comma} {word} {names[-1]}"


def place_spoken(terms: Terms, measure: Measurement, name: str) -> str:
    """A place with its article; with the coil unplugged a lead goes into its plug.

    Only an ohmmeter with both its leads on the coil, or on the part, measures that itself.
    """
    place = terms.places[name]
    if not {"coil", "load"} & set(measure.unplugged):
        return place.spoken
    return (place.at_coil if on_the_part(measure) else place.at_plug) or place.spoken


def on_the_part(measure: Measurement) -> bool:
    """Whether an ohmmeter is on both pins of an unplugged coil or part, and not in its harness."""
    pins = {SAME_POINT.get(lead or "", lead) for lead in (measure.clip, measure.probe)}
    return measure.instrument == "ohmmeter" and pins == {"feed", "switched"}


def at_place(place: str, what: str) -> str:
    """An instruction that says the place before the action: "Feed side of the coil: probe."."""
    where = place.removeprefix("the ")
    return f"{where[:1].upper()}{where[1:]}: {what}."


def connection(terms: Terms, measure: Measurement) -> str:
    """How it was connected, for a report, in one phrase."""
    instrument = terms.instruments[measure.instrument]
    probe = place_spoken(terms, measure, measure.probe)
    if measure.instrument == "eyes":
        parts = [f"looked at {probe}"]
    elif measure.instrument in SENSES:
        parts = [f"{instrument.spoken} {probe}"]
    elif measure.clip is None:
        parts = [f"{instrument.spoken} around {probe}"]
    elif instrument.units:
        parts = [f"{instrument.spoken} from {place_spoken(terms, measure, measure.clip)} to {probe}"]
    else:
        parts = [f"{instrument.spoken} clipped to {terms.places[measure.clip].spoken}, probe on {probe}"]
    if measure.compared_with:
        parts.append(f"compared with {terms.places[measure.compared_with].spoken}")
    if measure.unplugged:
        parts.append(f"{listed([terms.places[part].short for part in measure.unplugged])} unplugged")
    return ", ".join(parts)


def setup(
    library: Library, step: Step, before: Measurement | None = None, *, whole: bool = False
) -> tuple[str, ...]:
    """The instructions for connecting, a sentence each.

    The last instrument comes off first, parts are unplugged before anything is connected, and parts that the last
    measurement had unplugged are plugged in again.

    Args:
        library: All terms.
        step: The step.
        before: The measurement that was connected last; None at the beginning.
        whole: Say also what is already connected.
    """
    terms, measure = library.terms, step.measure
    instrument = terms.instruments[measure.instrument]
    sentences = []
    away = [part for part in measure.unplugged if before is None or part not in before.unplugged]
    back = [part for part in (before.unplugged if before else ()) if part not in measure.unplugged]
    last = terms.instruments[before.instrument] if before else None
    # One clamp shows a ramp, a peak and a time: what is called the same, and prepared the same, stays where it is.
    other = last is not None and (last.short, last.prepare) != (instrument.short, instrument.prepare)
    stays = before is not None and not other and before.instrument != measure.instrument
    stays = stays and before is not None and (before.clip, before.probe) == (measure.clip, measure.probe)
    if (away or back) and (before is None or before.engine is not Engine.KEY_OFF):
        sentences.append("Key off.")
    if other and last is not None and last.name not in SENSES:
        sentences.append(f"Take the {last.short} off.")
    if away:
        sentences.append(f"Unplug {listed([terms.places[part].spoken for part in away])}.")
    if back:
        sentences.append(f"Plug {listed([terms.places[part].spoken for part in back])} in again.")
    if instrument.prepare and (whole or before is None or other):
        sentences.append(instrument.prepare)
    clipped = before is not None and not other and measure.clip == before.clip
    if measure.clip and (whole or not clipped):
        sentences.append(at_place(place_spoken(terms, measure, measure.clip), instrument.clip))
    if instrument.probe and (whole or not stays):
        sentences.append(at_place(place_spoken(terms, measure, measure.probe), instrument.probe))
    if measure.compared_with:
        sentences.append(at_place(terms.places[measure.compared_with].spoken, "compare"))
    return tuple(sentences)


def act(library: Library, step: Step, after: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The instructions for key, engine and observer; "Key off." only if `after`, the setup, has not said it.

    A look or a question with the key off needs no key, so it says nothing of it.
    """
    watch = library.terms.instruments[step.measure.instrument].watch
    if step.reading and step.reading.subtract:
        watch = AS_SHOWN  # or the person subtracts the leads as well
    watched = [f"{watch}."] if watch else []
    if step.measure.engine is Engine.CRANKING:
        return ("Crank the engine.", *watched)
    if step.measure.engine is Engine.KEY_ON:
        return ("Key on, do not crank.", *watched)
    if step.measure.engine is Engine.RUNNING:
        return ("Engine running.", *watched)
    if step.measure.instrument in SENSES:
        return tuple(watched)
    return tuple(watched) if "Key off." in after else ("Key off.", *watched)


def question(library: Library, step: Step) -> str:
    """The question that ends an instruction, with the answers in the order of their digits."""
    if step.reading:
        return f"How many {UNIT_WORDS[step.reading.unit][1]}?"
    words = [library.terms.outcomes[answer.outcome].spoken for answer in step.answers]
    text = listed(words, "or")
    return f"{text[:1].upper()}{text[1:]}?"


def instruction(
    library: Library, step: Step, before: Measurement | None = None, *, whole: bool = False
) -> tuple[str, ...]:
    """The whole spoken instruction of a step, a sentence each; arguments as for `setup`."""
    connecting = setup(library, step, before, whole=whole)
    return (*connecting, *act(library, step, connecting), question(library, step))


def keyed_choices(library: Library, step: Step) -> str:
    """The answers with their digits, for the number pad."""
    if step.reading:
        return f"Key the {UNIT_WORDS[step.reading.unit][1]}, then Enter."
    return numbered([library.terms.outcomes[answer.outcome].spoken for answer in step.answers])


def numbered(choices: Iterable[str]) -> str:
    """Choices with their digits, a sentence each: "1 for lit. 2 for dim."."""
    return " ".join(f"{number} for {text}." for number, text in enumerate(choices, start=1))


def headline(library: Library, step: Step) -> str:
    """The one thing that matters, for large letters."""
    return place_words(library, step).upper()


def place_words(library: Library, step: Step) -> str:
    """The place of a step as spoken in a read-back; "unplugged" where that is what the step is about."""
    places = library.terms.places
    if step.measure.instrument == "ohmmeter" and step.measure.clip:
        return f"{places[step.measure.clip].short} to {places[step.measure.probe].short}"
    if step.measure.unplugged and step.measure.instrument == "test-lamp":
        return "unplugged"
    if step.measure.compared_with:
        return "comparison"
    return places[step.measure.probe].short


def fits(step: Step, place: str) -> bool:
    """Whether a place that was said can be meant at this step."""
    measure = step.measure
    if place == "unplugged":
        return bool(measure.unplugged)
    probed = {measure.probe, measure.compared_with} - {None}
    probed |= {SAME_POINT.get(name, name) for name in probed if name}
    if place in probed:
        return True
    if measure.instrument == "ohmmeter" and place in (measure.clip, SAME_POINT.get(measure.clip or "")):
        return True
    if place == "battery":
        return {measure.clip, measure.probe} == {"battery-positive", "battery-negative"}
    if place == "control-wire":
        return measure.probe in ("driver-end", "switched")
    return place == "feed" and measure.probe == "feed-wire"


def read_back(library: Library, step: Step, answer: Answer, value: Decimal | None, unit: str | None) -> str:
    """A result as it is spoken back: "Feed side: lit." or "Battery positive: 12.4 volts."."""
    place = place_words(library, step)
    said = f"{place[:1].upper()}{place[1:]}"
    if value is not None and unit is not None:
        return f"{said}: {number_words(value, unit)}."
    outcome = OVER_RANGE if step.reading else answer.outcome
    return f"{said}: {library.terms.outcomes[outcome].spoken}."


def seen(library: Library, step: Step, outcome: str, value: Decimal | None, unit: str | None) -> str:
    """A result for a report: "lamp lit", or "12.4 V, charged"."""
    answer = step.answer(outcome)
    if value is not None and unit is not None:
        band = f", {answer.seen}" if isinstance(answer, Band) else ""
        band = ", not judged: no limit from the maker was given" if outcome == UNJUDGED else band
        return f"{number_written(value, unit)}{band}"
    if isinstance(answer, Band):
        return f"{library.terms.outcomes[OVER_RANGE].seen}, {answer.seen}"
    return library.terms.outcomes[outcome].seen


def expected(library: Library, step: Step) -> str:
    """The good outcome of this step, for a report; "" if there is not just one."""
    if step.good is None:
        return ""
    answer = step.answer(step.good)
    if step.reading and isinstance(answer, Band):
        return limits(answer, step.reading.unit)
    return library.terms.outcomes[step.good].seen


def limits(band: Band, unit: str, facts: Mapping[str, Decimal] | None = None) -> str:
    """The limits of a band in words: "9.6 V or more", "below 0.2 V", "0.3 to below 2 ohm".

    A limit that is the vehicle maker's specification is named so, with its number where `facts` holds it.
    """

    def told(limit: Limit, *, last: bool) -> str:
        if isinstance(limit, Specified):
            known = (facts or {}).get(limit.fact)
            return "the maker's limit" if known is None else f"the maker's {plain_number(known)} {unit}"
        return f"{plain_number(limit)} {unit}" if last else plain_number(limit)

    if band.low is None and band.high is None:
        return "any reading"
    if band.low is None:
        return f"below {told(band.high or Decimal(0), last=True)}"
    if band.high is None:
        return f"{told(band.low, last=True)} or more"
    return f"{told(band.low, last=False)} to below {told(band.high, last=True)}"


def caution_text(caution: Caution, form: str) -> str:
    """A caution as spoken, its signal word first."""
    return f"{caution.signal.capitalize()}. {caution.full if form == 'full' else caution.short}"


def never_skipped(caution: Caution) -> bool:
    """Whether this caution is spoken before every step that names it, at least in its short form.

    Cranking and high voltage hurt at once; the others are repeated when they have not been spoken for a while.
    """
    return bool({Hazard.CRANKING, Hazard.SECONDARY_VOLTAGE, Hazard.SWITCHED_VOLTAGE} & set(caution.covers))


def fault_spoken(library: Library, fault: str) -> str:
    """A fault as it is spoken: its plain name without what stands in brackets for the reader."""
    return library.terms.faults[fault].plain.partition(" (")[0]


def chance(probability: float) -> str:
    """A probability as it is spoken, no finer than it is known: "about 7 in 10"."""
    if probability >= 0.95:
        return "nearly certain"
    return f"about {max(1, round(10 * probability))} in 10"


def findings_counted(cars: int) -> str:
    """One short sentence: the odds count the shop's own findings."""
    return f"{cars} finding{'' if cars == 1 else 's'} of this shop {'is' if cars == 1 else 'are'} counted in."


def named_test(library: Library, step: Step) -> str:
    """A test in a few words: "heavy lamp, feed side"; with what is unplugged, because that makes another test."""
    measure, terms = step.measure, library.terms
    places = [place_words(library, step)] if not measure.unplugged else [terms.places[measure.probe].short]
    if measure.instrument == "ohmmeter":
        places = [place_words(library, step)]
    words = [terms.instruments[measure.instrument].short, *places]
    if measure.clip == "battery-positive":
        words[0] += " from battery positive"
    if measure.compared_with:
        words[-1] = f"{terms.places[measure.probe].short} against {terms.places[measure.compared_with].short}"
    if measure.unplugged:
        words.append(f"{listed([terms.places[part].short for part in measure.unplugged])} unplugged")
    return ", ".join(words)


def differing(library: Library, step: Step, other: Step) -> str:
    """The difference from a test at the same place: the instrument, else key and engine, else the whole test."""
    mine, theirs = step.measure, other.measure
    if mine.instrument != theirs.instrument:
        return library.terms.instruments[mine.instrument].short
    if mine.engine is not theirs.engine:
        return _ENGINE[mine.engine].partition(",")[0]
    return named_test(library, step)


def misfit(results: tuple[str, str], again: str, *, rare: bool) -> str:
    """Two results that do not fit together, or seldom come together, as read back, and the test that is repeated."""
    first, second = results
    begin = "These seldom come together." if rare else "These do not fit together."
    return f"{begin} {first} {second} Once more: {again}."


KNOWN_PATTERN = "These seldom come together, but are a known pattern."


def before_part(again: str) -> str:
    """The test that is repeated before a part is named."""
    return f"Before a part is named. Once more: {again}."


def named_drop(library: Library, measure: Measurement) -> str:
    """A drop by its two ends: "battery positive to feed side"."""
    places = library.terms.places
    return f"{places[measure.probe].short} to {places[measure.clip or measure.probe].short}"


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
    if continue_title:
        text += f" Next would be: {continue_title}."
    return text


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
