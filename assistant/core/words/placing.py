"""Places and connections in words: where a lead goes, the name of a test, the meaning of a place that was said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.procedure import Engine, Measurement, Step
from assistant.core.library.vocabulary import SAME_POINT, SENSES

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.library.terms import Called, Terms

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
    """An instruction about a place: "Probe the coil feed." from "Probe {place}.".

    Terms that were copied earlier have only a verb, "probe", and get the place first: "Coil feed: probe.".
    """
    if "{place}" in what:
        return what.replace("{place}", place)
    return f"{capital(place.removeprefix('the '))}: {what}."


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return f"{text[:1].upper()}{text[1:]}"


def calling(terms: Terms, measure: Measurement) -> Called | None:
    """The first name of the terms that fits this measurement; None if its place names it."""
    leads = {measure.clip, measure.probe}
    for called in terms.called.values():
        if measure.instrument not in called.instruments:
            continue
        if called.between and leads != set(called.between):
            continue
        if called.probe in ("", measure.probe):
            return called
    return None


def key_of(terms: Terms, measure: Measurement) -> str:
    """The key of that name in ``terms.yaml``, so that a report can name its source; "" if there is none."""
    found = calling(terms, measure)
    return next((key for key, called in terms.called.items() if called is found), "")


def name_of(terms: Terms, measure: Measurement) -> str:
    """What a measurement is called by its part: "drop, battery to fuse", "primary"; "" if its place names it."""
    called = calling(terms, measure)
    if called is None:
        return ""
    name = called.name
    for end, place in (("{clip}", measure.clip), ("{probe}", measure.probe)):
        if place is not None:
            name = name.replace(end, terms.places[place].end or terms.places[place].short)
    return name


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
        name, _, load = instrument.spoken.partition(", with ")
        parts = [f"{name} from {place_spoken(terms, measure, measure.clip)} to {probe}"]
        parts += [f"with {load}"] if load else []
    else:
        parts = [f"{instrument.spoken} clipped to {terms.places[measure.clip].spoken}, probe on {probe}"]
    if measure.compared_with:
        parts.append(f"compared with {terms.places[measure.compared_with].spoken}")
    if measure.unplugged:
        parts.append(f"{listed([terms.places[part].short for part in measure.unplugged])} unplugged")
    return ", ".join(parts)


def headline(library: Library, step: Step) -> str:
    """The one thing that matters, for large letters: the places in the order of the hands, and what is unplugged."""
    measure, places = step.measure, library.terms.places
    words = place_words(library, step)
    if measure.compared_with and not name_of(library.terms, measure):
        first, second = places[measure.compared_with].short, places[measure.probe].short
        same = first.split()[-1] == second.split()[-1]  # "feed, then switched side"
        words = f"{first.rpartition(' ')[0] if same and ' ' in first else first}, then {second}"
    elif words == "unplugged":
        words = (
            f"{places[measure.probe].short}, {listed([places[part].short for part in measure.unplugged])} off"
        )
    return words.upper()


def place_words(library: Library, step: Step) -> str:
    """What a step is about, as spoken in a read-back: a part's name, else its place.

    With the coil unplugged its connector's pin is named; terms that name none say "unplugged".
    """
    places = library.terms.places
    name = name_of(library.terms, step.measure)
    if name:
        return name
    if step.measure.instrument == "ohmmeter" and step.measure.clip:
        return f"{places[step.measure.clip].short} to {places[step.measure.probe].short}"
    pin = places[step.measure.probe].plug_short
    if pin and {"coil", "load"} & set(step.measure.unplugged):
        return pin
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
    name, place = name_of(terms, measure), place_words(library, step)
    if place == "unplugged":
        place = terms.places[measure.probe].short
    words = [terms.instruments[measure.instrument].short, place]
    if (
        name
        and terms.instruments[measure.instrument].units
        and measure.instrument not in ("voltmeter", "ohmmeter")
    ):
        words = [name]  # "drop, battery to fuse": the name says what it is taken with
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
    """A drop by its name: "drop, battery to coil"."""
    name = name_of(library.terms, measure)
    if name:
        return name
    places = library.terms.places
    return f"{places[measure.probe].short} to {places[measure.clip or measure.probe].short}"
