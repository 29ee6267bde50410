"""Everything that the assistant can say, sentence by sentence, and whether it can be held in the head.

`texts` gathers what procedures, cautions and terms make it say; `said_in_play` lets a dialogue meet everything
that can happen to it and takes down the rest: notices, read-backs, prompts, in the order in which they are said.
`findings` judges each sentence:

- *length*: at most `LONGEST` words; a number counts as the words that it is read as ("12.4" is three);
- *one action*: two commands in one sentence are one too many.  Two ways to do the same thing, joined by "or", are
  one action, and so is a warning against the opposite ("Key on, do not crank.");
- *the place first*: a sentence with a place and a command says the place before the command, because the hand goes
  to the place before it does anything there;
- *read as it is meant*: no units or signs in letters, no brackets, no long numbers.

It cannot be satisfied by chopping: a fragment of a sentence that begins with a word that only joins
("and", "which", "because") is a finding as well.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING

from assistant.core import wording
from assistant.core.events import (
    Began,
    CancelTimer,
    Clip,
    Event,
    GearBack,
    GearLost,
    Heard,
    KeyPressed,
    Listen,
    NoInput,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
    RecordNote,
    Say,
    SpeechFinished,
    StartTimer,
    StopListening,
    TimerElapsed,
)
from assistant.core.finding import Finding
from assistant.core.procedure import OVER_RANGE, Engine, Leads
from assistant.core.result import Control, GrammarRequest, Result
from assistant.core.runner import Runner
from assistant.core.states import State

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from assistant.core.procedure import Answer, Library, Measurement, Procedure, Step

AIM = 12
"""Words of a sentence that are aimed at: about as many as are held in the head at once; our aim, no source."""

LONGEST = 14
"""Words above which a sentence is a finding.

Twelve are aimed at, and a sentence that names two tests, or four choices with their digits, comes to thirteen or
fourteen without being hard: its parts are heard one after the other.  Our judgement, no source.
"""

DIALOGUE = "assistant/core/runner.py"
"""Where what is said comes from when no procedure, caution or term holds it."""


@dataclass(frozen=True)
class Spoken:
    """A sentence that can be said.

    Attributes:
        sentence: The sentence, with its own punctuation.
        file: File that its words come from.
        line: Line in it; 0 where the whole file is meant.
        where: What says it, for a person: "step feed-while-cranking", "caution cranking".
    """

    sentence: str
    file: str
    line: int
    where: str


def sentences(text: str) -> list[str]:
    """The sentences of a text, each with its own punctuation; a decimal point does not end one.

    Characters that cannot be spoken (controls, halves of surrogate pairs) count as spaces.
    """
    plain = text
    if not text.isprintable():
        plain = "".join(" " if unicodedata.category(letter) in ("Cc", "Cs") else letter for letter in text)
    return [part for part in re.split(r"(?<=[.!?])\s+", plain.strip()) if re.search(r"\w", part)]


# --- what can be said -----------------------------------------------------------------------------


def texts(library: Library, beside: Callable[[str], str]) -> list[Spoken]:
    """Every sentence that procedures, cautions and terms make the assistant say, each once for each of its places.

    Args:
        library: The procedures with their terms.
        beside: The path of a file of the procedures' folder, such as ``terms.yaml``.
    """
    found: dict[Spoken, None] = {}

    def add(text: str, file: str, line: int, where: str) -> None:
        found.update(dict.fromkeys(Spoken(part, file, line, where) for part in sentences(text)))

    for name, caution in library.cautions.items():
        for form in ("full", "short"):
            add(wording.caution_text(caution, form), beside("cautions.yaml"), 0, f"caution {name}, {form}")
    for name, inquiry in library.terms.facts.items():
        for text in (inquiry.question, inquiry.look_for):
            add(text, beside("terms.yaml"), 0, f"fact {name}")
    for procedure in library.procedures.values():
        for alone in (True, False):
            intro = wording.procedure_intro(library.terms, procedure, alone=alone)
            add(intro, procedure.file, 0, "title")
        for step in procedure.steps.values():
            where = f"step {step.name}"
            for before in (None, *_measured_before(library, procedure, step)):
                for whole in (False, True):
                    for text in wording.instruction(library, step, before, whole=whole):
                        add(text, procedure.file, step.line, where)
            add(wording.keyed_choices(library, step), procedure.file, step.line, where)
            add(step.look_for, procedure.file, step.line, f"{where}, look_for")
            for answer in step.choices():
                add(_read_back(library, step, answer), procedure.file, step.line, f"{where}, read back")
            if step.reading and OVER_RANGE in step.heard:
                over = wording.read_back(library, step, step.reading.bands[-1], None, None)
                add(over, procedure.file, step.line, f"{where}, read back")
        for name, verdict in procedure.verdicts.items():
            title = library.procedures[verdict.continue_with].title if verdict.continue_with else ""
            for text in (wording.verdict_text(verdict, title), wording.would_mean(verdict)):
                add(text, procedure.file, 0, f"verdict {name}")
    return list(found)


def _read_back(library: Library, step: Step, answer: Answer) -> str:
    if step.reading is None:
        return wording.read_back(library, step, answer, None, None)
    return wording.read_back(library, step, answer, _example(step, answer), step.reading.unit)


def _example(step: Step, answer: Answer) -> Decimal:
    """A number that this band of a reading holds, with no more digits than a meter shows."""
    assert step.reading is not None  # noqa: S101
    low, high = step.reading.plausible
    below = getattr(answer, "high", None)
    above = getattr(answer, "low", None)
    bottom = above if isinstance(above, Decimal) else low
    top = below if isinstance(below, Decimal) else min(high, bottom + 3)
    return ((bottom + top) / 2).quantize(
        Decimal("0.1") if top - bottom > 1 else Decimal("0.01")
    ).normalize() + 0


def _measured_before(library: Library, procedure: Procedure, step: Step) -> Iterator[Measurement]:
    """What can have been connected when a step begins: the step before it, here or in a procedure that hands over."""
    seen: dict[Measurement, None] = {}
    for other in library.procedures.values():
        for earlier in other.steps.values():
            targets = [answer.target for answer in earlier.choices()]
            if earlier.if_skipped is not None:
                targets.append(earlier.if_skipped)
            for target in targets:
                here = other is procedure and target.leads is Leads.STEP and target.name == step.name
                handed = (
                    target.leads is Leads.PROCEDURE
                    and target.name == procedure.name
                    and procedure.start == step.name
                )
                concluded = (
                    target.leads is Leads.VERDICT
                    and procedure.start == step.name
                    and other.verdicts[target.name].continue_with == procedure.name
                )
                if here or handed or concluded:
                    seen[earlier.measure] = None
    yield from seen


# --- what is said when everything happens ---------------------------------------------------------

_KEYS = (*"1234567890", "enter", "minus", "plus", "point", "star", "slash", "erase")


_SPELLED = ("47", "1J9R", "P1A36A1644345", "IO")
"""What is spelled: a little, the beginning and the end of a VIN with a check digit that fits, letters it never has."""

_NUMBERS = (Decimal(3), Decimal("0.2"), Decimal(9999))


class _Player:
    """Leads one dialogue through everything that can happen to it, the rarest first."""

    def __init__(self, library: Library, procedure: str, tried: dict[tuple[str, ...], int]) -> None:
        self._library = library
        self.runner = Runner(library)
        self.said: list[str] = []
        self._now = 0.0
        self._tried = tried
        self._timers: dict[str, float] = {}
        self._request = GrammarRequest()
        self._lost: list[str] = []
        self.send(Began(0.0, procedure))

    def send(self, event: Event) -> None:
        """Give the dialogue an event; speech ends by itself, a note is as long as it is."""
        spoken: int | None = None
        note = False
        for action in self.runner.receive(event):
            match action:
                case Say():
                    self.said.append(action.text)
                    spoken = action.utterance
                case StartTimer():
                    self._timers[action.timer] = self._now + action.seconds
                case CancelTimer():
                    self._timers.pop(action.timer, None)
                case Listen():
                    self._request = action.request
                case StopListening():
                    self._request = GrammarRequest()
                case RecordNote():
                    note = True
                case _:
                    pass
        if spoken is not None:
            self._now += 3
            self.send(SpeechFinished(self._now, spoken))
        if note:
            self._now += 5
            self.send(NoteRecorded(self._now, Clip("clips/0001.flac", "0" * 64, 5.0)))

    def play(self, turns: int) -> None:
        """Let so many things happen, unless the session ends before."""
        for _ in range(turns):
            if self.runner.state is State.FINISHED:
                return
            self._now += 2
            here = (*self.runner.position, self.runner.state.value)
            label, make = min(self._possible(), key=lambda one: self._tried.get((*here, one[0]), 0))
            self._tried[(*here, label)] = self._tried.get((*here, label), 0) + 1
            self.send(make())

    def _possible(self) -> list[tuple[str, Callable[[], Event]]]:
        """What can happen now, each with a name; results first, so that the dialogue gets on."""
        now, request = self._now, self._request

        def heard(result: Result, words: str, confidence: float = 0.97) -> Callable[[], Event]:
            return lambda: Heard(now, words, result, confidence)

        found: list[tuple[str, Callable[[], Event]]] = []
        found += [(name, heard(Result(name), name)) for name in request.outcomes]
        if request.spelling:
            found += [(f"signs {signs}", heard(Result(signs=signs), signs)) for signs in _SPELLED]
        fact = self.runner.state in (State.INQUIRING, State.CONFIRMING)
        if request.counting or (request.units and fact):
            found += [(f"number {value}", heard(Result(value=value), str(value))) for value in _NUMBERS]
        elif request.units:
            step = self._library.step(*self.runner.position)
            for answer in step.choices():
                value = _example(step, answer)
                found.append((answer.outcome, heard(Result(value=value), str(value))))
            if step.reading is not None:
                # Where the highest believable number is more than can be said, nothing beyond it is said.
                beyond = min(step.reading.plausible[1] * 2, Decimal(9999))
                found.append(("beyond", heard(Result(value=beyond), str(beyond))))
        if request.outcomes and request.places:
            place = "feed" if self.runner.position[1] != "feed" else "relay"
            found.append(("elsewhere", heard(Result(request.outcomes[0], place=place), "elsewhere")))
            found.append(("doubtful", heard(Result(request.outcomes[0]), "doubtful", 0.8)))
        found += [(control, heard(Result(control=control), control)) for control in request.controls]
        if self._timers:
            found.append(("timer", self._timer))
        found += [
            ("no match", lambda: NoMatch(now, "", 0.2)),
            ("no input", lambda: NoInput(now)),
            ("loud", lambda: NoiseChanged(now, -20.0, hopeless=True)),
            ("quiet", lambda: NoiseChanged(now, -60.0, hopeless=False)),
            ("gear", self._gear),
        ]
        found += [(f"key {key}", partial(KeyPressed, now, key)) for key in _KEYS]
        return found

    def good(self) -> bool:
        """Let what goes well happen; False when nothing more can."""
        self._now += 2
        now, state = self._now, self.runner.state
        if state is State.ACKNOWLEDGING:
            self.send(Heard(now, "ready", Result(control=Control.READY), 0.97))
        elif state is State.INQUIRING:
            self.send(Heard(now, "leave blank", Result(control=Control.LEAVE_BLANK), 0.97))
        elif state in (State.READING_BACK, State.CONFIRMING):
            self.send(Heard(now, "affirm", Result(control=Control.AFFIRM), 0.97))
        elif state is State.ASKING:
            step = self._library.step(*self.runner.position)
            if step.measure.engine is Engine.CRANKING:
                return False
            answer = step.answer(step.good or "") or step.choices()[0]
            value = None if step.reading is None else _example(step, answer)
            result = Result(answer.outcome) if value is None else Result(value=value)
            self.send(Heard(now, "good", result, 0.97))
        elif state is State.CONCLUDING:
            before = self.runner.position
            self.send(Heard(now, "go ahead", Result(control=Control.GO_AHEAD), 0.97))
            return self.runner.position != before
        else:
            return False
        return True

    def _timer(self) -> Event:
        name, at = min(self._timers.items(), key=lambda item: item[1])
        del self._timers[name]
        self._now = max(self._now, at)
        return TimerElapsed(self._now, name)

    def _gear(self) -> Event:
        """A microphone that is lost comes back the next time."""
        if self._lost:
            return GearBack(self._now, self._lost.pop())
        self._lost.append("microphone")
        return GearLost(self._now, "microphone", "unplugged")


def said_in_play(library: Library, procedure: str, turns: int = 1500) -> list[str]:
    """What the dialogue says while everything that can happen happens; the same for the same library.

    Args:
        library: The procedures.
        procedure: Where it begins.
        turns: How many things happen, over as many sessions as they take.
    """
    tried: dict[tuple[str, ...], int] = {}
    said: dict[str, None] = {}
    done = 0
    while done < turns:
        player = _Player(library, procedure, tried)
        player.play(60)
        done = sum(tried.values())
        said.update(dict.fromkeys(part for text in player.said for part in sentences(text)))
    return list(said)


def everything(library: Library, beside: Callable[[str], str], turns: int = 1500) -> list[Spoken]:
    """All that can be said: first what stands in a file, then what only the dialogue says.

    Sentences that differ only in their numbers are taken once.
    """
    found = texts(library, beside)
    known = {shape(spoken.sentence) for spoken in found}
    for name in library.procedures:
        for sentence in said_in_play(library, name, turns):
            if shape(sentence) not in known:
                known.add(shape(sentence))
                found.append(Spoken(sentence, DIALOGUE, 0, f"the dialogue, in {name}"))
    return found


def shape(sentence: str) -> str:
    """The sentence without its numbers: two of one shape are said alike."""
    return re.sub(r"\d+(\.\d+)?", "#", sentence)


# --- how it is judged -----------------------------------------------------------------------------

_LISTED = """
    aim attach back-probe bring check clear clip close compare connect crank disconnect do find fit follow
    ground hold install keep key leave lift listen look measure move note open plug press probe prove pull push put
    read reconnect remove repair repeat replace reset restore rest return say scratch see set show skip stand start
    stay stop switch take test touch trace try turn unplug use wait watch write zero
"""
_COMMANDS = frozenset(_LISTED.split())
"""Words that are a command at the beginning of a clause.  "key" is none before "on" or "off"."""

_JOINED = re.compile(r"(?:[,;:]|\band\b|\bthen\b)\s*")
_ORDERED = re.compile(r"(?:\band\b|\bthen\b)\s*")
_JOINING = ("and", "which", "because", "but", "than")
_UNITS = re.compile(r"\b(?:\d+(?:\.\d+)?\s?)(?:V|mV|A|mA|k|W|Hz|kHz|ms|s|rpm|mm|C|F)\b")
_SIGNS = re.compile(r"[()\[\]/%°Ω±<>=&#~+*_]|\be\.g\.|\bi\.e\.|\bohm\b(?!s|meter)")
_CAPITALS = re.compile(r"\b(?!LED\b|VIN\b|DANGER\b|WARNING\b|CAUTION\b|NOTICE\b)[A-Z]{2,}\b")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def count_words(sentence: str) -> int:
    """Words as they are read: "12.4 volts" is four, "twelve point four volts"."""
    return sum(_read(word) for word in sentence.split() if re.search(r"\w", word))


def _read(word: str) -> int:
    number = _NUMBER.search(word)
    if number is None:
        return 1
    whole, _, decimals = number.group().partition(".")
    value = int(whole)
    spoken = 1 if value <= 20 or (value < 100 and value % 10 == 0) else 2 if value < 100 else len(whole)
    return spoken + (1 + len(decimals) if decimals else 0)


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


def findings(library: Library, spoken: Iterable[Spoken]) -> list[Finding]:
    """What is wrong with sentences, each sentence of a place once."""
    terms = library.terms
    nodes = [place for place in terms.places.values() if place.kind == "node"]
    called = [words for place in nodes for words in (place.spoken, place.short, place.at_plug, place.at_coil)]
    places = _longest_first(words.removeprefix("the ") for words in called if words)
    faults = [wording.fault_spoken(library, name) for name in terms.faults]
    labels = [fact.label for fact in terms.facts.values()]  # "Repair order: zero." commands nothing
    names = _longest_first([*places, *faults, *labels])
    found: dict[Finding, None] = {}
    for one in spoken:
        for problem, remedy in _judged(one.sentence, places, names):
            found[Finding(one.file, one.line, f"{one.where}: {problem}: '{one.sentence}'", remedy)] = None
    return list(found)


def _longest_first(words: Iterable[str]) -> list[str]:
    return sorted({word.lower() for word in words}, key=len, reverse=True)


def _judged(sentence: str, places: list[str], names: list[str]) -> Iterator[tuple[str, str]]:
    words = count_words(sentence)
    if words > LONGEST:
        yield f"a spoken sentence has {words} words", f"Aim at {AIM}, at most {LONGEST}"
    told = commands(sentence, names)
    if len(told) > 1:
        yield (
            f"a spoken sentence asks for {len(told)} actions ({', '.join(told)})",
            "Give each its own sentence",
        )
    if told:
        low = sentence.lower()
        at = re.search(rf"\b{re.escape(told[0])}\b", low)
        place = next((low.find(name) for name in places if name in low), -1)
        if at is not None and place > at.start() and told[0] in _AT_A_PLACE:
            yield "a spoken sentence says the place after the action", 'Say "Feed side of the coil: probe."'
    if _UNITS.search(sentence) or _SIGNS.search(sentence) or _CAPITALS.search(sentence):
        yield "a voice does not read this well", "Write units and signs as words"
    if any(len(number.partition(".")[0]) > 4 for number in _NUMBER.findall(sentence)):
        yield "a spoken number is too long", "Say it in a larger unit, or leave it out"
    first = re.findall(r"[\w'-]+", sentence.lower())[:1]
    if first and first[0] in _JOINING and not sentence.endswith("?"):
        yield "a spoken sentence is only the rest of another", "Say a whole sentence"


_AT_A_PLACE = frozenset(
    {"attach", "back-probe", "clip", "compare", "connect", "ground", "probe", "prove", "touch"}
)
"""Commands that are done at a place; what is unplugged or looked for is the thing itself, named after its verb."""


# --- how much it is -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Measure:
    """How much a technician has to listen to.

    Attributes:
        sentences: How many different sentences there are.
        words: Words of each, as `count_words`.
        longest: The longest sentence.
        rate: Words a minute that the times are worked out with.
        before_crank: For each procedure with a cranking test on the way of good answers, the words that are spoken
            from the beginning to the first "Crank the engine.".
    """

    sentences: int
    words: tuple[int, ...]
    longest: str
    rate: int
    before_crank: dict[str, int]

    @property
    def over_aim(self) -> float:
        """Share of the sentences with more words than `AIM`."""
        return sum(count > AIM for count in self.words) / max(1, len(self.words))

    def lines(self) -> list[str]:
        """For a person."""
        ordered = sorted(self.words)

        def at(share: float) -> int:
            return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0

        seconds = 60 / self.rate
        longest = f"{at(1.0)} ({at(1.0) * seconds:.1f} s at {self.rate} words a minute)"
        found = [
            f"{self.sentences} different sentences.",
            f"Words: median {at(0.5)}, 95th percentile {at(0.95)}, longest {longest}.",
            f"Over {AIM} words: {100 * self.over_aim:.1f} %.",
            f"The longest: {self.longest}",
            "Words spoken before the first crank, everything good, nothing asked again:",
        ]
        found += [f"  {name}: {count} ({count * seconds:.0f} s)" for name, count in self.before_crank.items()]
        return found


def measure(library: Library, spoken: Iterable[Spoken], rate: int) -> Measure:
    """How much all this is.

    Args:
        library: The procedures.
        spoken: All sentences.
        rate: Words a minute of the voice.
    """
    different = list(dict.fromkeys(one.sentence for one in spoken))
    counts = tuple(count_words(sentence) for sentence in different)
    before = {name: words_before_crank(library, name) for name in library.procedures}
    return Measure(
        len(different),
        counts,
        max(different, key=count_words, default=""),
        rate,
        {name: words for name, words in before.items() if words is not None},
    )


def words_before_crank(library: Library, procedure: str) -> int | None:
    """Words spoken until "Crank the engine." when every answer is the good one; None where it is not cranked."""
    player = _Player(library, procedure, {})
    for _ in range(60):
        text = " ".join(player.said)
        if "Crank the engine." in text:
            return count_words(text.partition("Crank the engine.")[0]) + 3
        if not player.good():
            return None
    return None
