"""Whether each sentence that the assistant can say can be held in the head.

`findings` judges each sentence:

- *length*: at most `LONGEST` words; a number counts as the words that it is read as ("12.4" is three);
- *one action*: two commands in one sentence are one too many.  Two ways to do the same thing, joined by "or", are
  one action, and so is a warning against the opposite ("Key on, don't crank.");
- *it sounds as it is meant*: no units or signs in letters, no brackets, no long numbers;
- *shop English*: no word that nobody says in a shop (`FOREIGN`).

The order of the instructions, and what they may ask, is judged in `assistant.rehearsal.ordering`.

It cannot be satisfied by chopping: a fragment of a sentence that begins with a word that only joins
("and", "which", "because") is a finding as well.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from assistant.core.values.finding import Finding
from assistant.core.words import remarking
from assistant.core.words.sentences import count_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assistant.core.library.library import Library
    from assistant.rehearsal.saying import SpokenSentence

AIM = 12
"""Words of a sentence that are aimed at: about as many as are held in the head at once; our aim, no source."""

LONGEST = 14
"""Words above which a sentence is a finding.

Twelve are aimed at, and a sentence that names two tests, or four choices with their digits, comes to thirteen or
fourteen without being hard: its parts are heard one after the other.  Our judgement, no source.
"""

_LISTED = """
    aim attach back-probe bring check clear clip close compare connect crank disconnect do find fit follow
    ground hold install keep key leave lift listen look measure move note open plug press probe prove pull push put
    read reconnect remove repair repeat replace reset restore rest return say scratch see set show skip stand start
    stay stop switch take test touch trace try turn unplug use wait watch write zero
"""
_COMMANDS = frozenset(_LISTED.split())
"""Words that are a command at the beginning of a clause.  "key" is none before "on" or "off"."""

FOREIGN = {
    "affirm": "yes",
    "anew": "again",
    "condemn": "what not to buy",
    "condemned": "what not to buy",
    "likeliest": "most likely",
    "maker": "service manual, or spec",
    "maker's": "service manual, or spec",
    "mend": "fix",
    "mended": "fixed",
    "presumed": "assumed",
    "renew": "replace",
    "signalled": "what signal it gets",
    "unbidden": "by itself",
    "verdict": "result",
    "whoever": "helper",
}
"""Words that a shop in the United States does not use, each with what is said instead; our judgement, no source."""

TO_REPEAT = "Say: "
"""Begins a request to repeat words: they command nothing, and are those of the grammars."""

_JOINED = re.compile(r"(?:[,;:]|\band\b|\bthen\b)\s*")
_ORDERED = re.compile(r"(?:\band\b|\bthen\b)\s*")
_JOINING = ("and", "which", "because", "but", "than")
_UNITS = re.compile(r"\b(?:\d+(?:\.\d+)?\s?)(?:V|mV|A|mA|k|W|Hz|kHz|ms|s|rpm|mm|C|F)\b")
_SIGNS = re.compile(r"[()\[\]/%°Ω±<>=&#~+*_]|\be\.g\.|\bi\.e\.|\bohm\b(?!s|meter)")
_CAPITALS = re.compile(r"\b(?!LED\b|VIN\b|DANGER\b|WARNING\b|CAUTION\b|NOTICE\b)[A-Z]{2,}\b")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def commands(sentence: str, names: Iterable[str] = ()) -> list[str]:
    """The words of command in a sentence, one for each clause that begins with one; "do not …" is none.

    Args:
        sentence: The sentence.
        names: Names that hold words of command without commanding: "crank signal", "open feed"; longest first.
    """
    found = []
    plain = sentence.lower()
    for name in names:
        if name in plain:
            plain = re.sub(rf"\b{re.escape(name)}\b", "it", plain)
    # After "say" come words to be said, parted by commas: they command nothing.
    joined = _ORDERED if plain.startswith("say ") else _JOINED
    for clause in joined.split(plain):
        words = re.findall(r"[\w'-]+", clause.lower())
        if not words or words[0] not in _COMMANDS or words[:2] == ["do", "not"]:
            continue
        if words[0] == "key" and (len(words) == 1 or words[1] in ("on", "off")):
            continue
        found.append(words[0])
    return found


def findings(library: Library, spoken: Iterable[SpokenSentence]) -> list[Finding]:
    """Findings about sentences, each sentence of a place once."""
    terms = library.terms
    nodes = [place for place in terms.places.values() if place.kind == "node"]
    called = [words for place in nodes for words in (place.spoken, place.short, place.at_plug, place.at_coil)]
    places = _longest_first(words.removeprefix("the ") for words in called if words)
    faults = [remarking.fault_spoken(library, name) for name in terms.faults]
    labels = [fact.label for fact in terms.facts.values()]  # "Repair order: zero." commands nothing
    names = _longest_first([*places, *faults, *labels])
    found: dict[Finding, None] = {}
    for one in spoken:
        for problem, remedy in _judged(one.sentence, names):
            found[Finding(one.file, one.line, f"{one.where}: {problem}: '{one.sentence}'", remedy)] = None
    return list(found)


def _longest_first(words: Iterable[str]) -> list[str]:
    return sorted({word.lower() for word in words}, key=len, reverse=True)


def _judged(sentence: str, names: list[str]) -> Iterator[tuple[str, str]]:
    words = count_words(sentence)
    if words > LONGEST:
        yield f"a spoken sentence has {words} words", f"Aim at {AIM}, at most {LONGEST}"
    own = TO_REPEAT if sentence.startswith(TO_REPEAT) else sentence
    told = commands(own, names)
    if len(told) > 1:
        yield (
            f"a spoken sentence asks for {len(told)} actions ({', '.join(told)})",
            "Give each its own sentence",
        )
    for word in re.findall(r"[a-z'-]+", own.lower()):
        if word in FOREIGN:
            yield f"nobody in a shop says '{word}'", f"Say {FOREIGN[word]}"
    if _UNITS.search(sentence) or _SIGNS.search(sentence) or _CAPITALS.search(sentence):
        yield "a voice does not read this well", "Write units and signs as words"
    if any(len(number.partition(".")[0]) > 4 for number in _NUMBER.findall(sentence)):
        yield "a spoken number is too long", "Say it in a larger unit, or leave it out"
    first = re.findall(r"[\w'-]+", sentence.lower())[:1]
    if first and first[0] in _JOINING and not sentence.endswith("?"):
        yield "a spoken sentence is only the rest of another", "Say a whole sentence"
