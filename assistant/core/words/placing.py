"""Places and connections in words: where a lead goes, the name of a test, the meaning of a place that was said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine, Measurement, Step
from assistant.core.library.vocabulary import SAME_POINT, SENSES

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.terms import Terms

_ENGINE = {
    Engine.KEY_OFF: "key off",
    Engine.KEY_ON: "key on, engine not turning",
    Engine.CRANKING: "cranking",
    Engine.RUNNING: "engine running",
}


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
    """The connection of a measurement in one phrase, for a report."""
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


def named_drop(library: Library, measure: Measurement) -> str:
    """A drop by its two ends: "battery positive to feed side"."""
    places = library.terms.places
    return f"{places[measure.probe].short} to {places[measure.clip or measure.probe].short}"
