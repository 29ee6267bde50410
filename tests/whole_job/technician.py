"""A technician who works at a modelled car, speaks in bay noise, and answers what he hears.

Nothing that he says about the car is written down beforehand: at each test he reports what the circuit model shows
for the fault that the car has, so that a script cannot contradict physics; only what no model has (is the brake
set, is there fuel on the floor) is given by hand.
He listens: what is read back wrongly he denies or corrects, what was not understood he says again, and when he is
asked for keys he uses them.
With a meter that reports by itself and an ear for the starter he says neither readings nor "cranking": the made-up
meter shows what the model gives, and the ear hears each crank.  So does a clamp at the one step that asks for a ramp.
Beside that he does what a scene tells him to do once: says a wrong word and takes it back, is not sure, talks to
somebody else, says stop.

He speaks with a voice of flite, unless another is named.  The bundled recogniser was trained on "rms", "awb" and
"kal16", among others, and never heard "slt" or eSpeak.
"""

from __future__ import annotations

import io
import random
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from assistant import resources
from assistant.circuit.catalogue import Mechanism, mechanism_named
from assistant.circuit.likelihoods import model_shares
from assistant.circuit.observing import observe
from assistant.circuit.parameters import Systems
from assistant.circuit.problems import CircuitProblem
from assistant.core.dialogue.asking import WORDS
from assistant.core.dialogue.perceiving import SCOPE, recognise_perceived
from assistant.core.dialogue.policy import SETTLED_S
from assistant.core.dialogue.sayable import REASONS
from assistant.core.dialogue.states import State
from assistant.core.dialogue.triggers import Trigger
from assistant.core.library.library import Library
from assistant.core.library.procedure import Engine
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import SENSES
from assistant.core.values.entries import Entry
from assistant.core.values.events import Event, Heard, NoMatch, Note
from assistant.core.values.perceived import CrankSound, Perceived, StarterHeard
from assistant.core.values.result import Result
from assistant.core.values.units import UNIT_WORDS, number_words
from assistant.core.values.witness import Figure, Witness
from assistant.core.words import placing
from assistant.core.words.perceiving import reading_asked
from assistant.demo.person import PlayedPerson
from assistant.demo.scenario import PlayedTurn, Scenario
from assistant.demo.stage import Stage
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.numbers import in_words
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing_bench.manifest import BenchVoice as Spoken
from assistant.hearing_bench.mixing import speech_power
from assistant.hearing_bench.speech import SpeechCache
from assistant.hearing_bench.talk import running
from assistant.loading.folder import load_library
from assistant.record import Facts, SessionLog
from assistant.rehearsal.player import MadeClock
from assistant.screen.terminal import LineScreen
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from assistant.core.dialogue.talk import Talk
    from assistant.core.library.procedure import Step
    from assistant.core.values.board import Board

RATE = 16000
SPEECH_DB = -22.0
LEAD_S, TAIL_S = 0.4, 0.6
LOUD_DB = -8.0
MOST = 300
"""More utterances than any session needs."""

NO_NUMBER_OHM = 1e6
"""From here on he says "over range": nobody reads out the digits of a wire that touches nothing."""

KILOHM = 1000
"""From so many ohms on he says kilohms."""

TRIES = 4
"""After so many times of not being understood at one question a person takes the keys."""


@dataclass(frozen=True)
class Aside:
    """Something that the technician does once, instead of the answer.

    Attributes:
        at: Step at which he does it, with its procedure where that is needed: "feed-dead/crank-signal".
        state: In this state of the dialogue.
        does: ``say`` words, ``slip`` (a wrong answer that he then takes back), ``note`` (a voice note of these
            words), ``loud`` (his answer drowns in noise, he takes the keys, then it is quiet again), ``skip`` for a
            reason, ``other`` (another test, by this name).
        words: What he says.
    """

    at: str
    state: State
    does: str
    words: str = ""


@dataclass
class Car:
    """The readings of a car at each test, by the circuit model.

    Attributes:
        fault: Name of its fault, and of how it came about.
        given: What no model has: by "procedure/step", an outcome, or a number in the unit of the step.
        repaired_for: Procedures at which the fault is mended already.
    """

    fault: tuple[str, str | None]
    given: Mapping[str, str] = field(default_factory=dict)
    repaired_for: frozenset[str] = frozenset({"after-repair"})
    system: Systems = field(default_factory=Systems.typical)

    def shows(self, library: Library, procedure: str, step: Step) -> tuple[str | None, Decimal | None]:
        """The outcome that is seen, or the number that is read in the unit of the step."""
        by_hand = self.given.get(f"{procedure}/{step.name}")
        if by_hand is not None:
            return (by_hand, None) if step.reading is None else (None, Decimal(by_hand))
        circuit = library.procedures[procedure].circuit
        try:
            mechanism = self._mechanism(circuit, procedure)
            if step.reading is None:
                shares = model_shares(circuit, mechanism, step, self.system)[0]
                return step.answers[int(np.argmax(shares))].outcome, None
            value = observe(circuit, mechanism, step.measure, self.system).value
            assert value is not None
            if not np.isfinite(value[0]) or (step.reading.unit == "ohm" and value[0] >= NO_NUMBER_OHM):
                return "over-range", None
            return None, _as_a_meter_shows(float(value[0]), step.reading.unit)
        except CircuitProblem:
            answer = step.answer(step.good or "") or step.choices()[0]
            if step.reading is None:
                return answer.outcome, None
            return None, _inside(step, answer)

    def _mechanism(self, circuit: str, procedure: str) -> Mechanism:
        if procedure in self.repaired_for:
            return mechanism_named(circuit, "none")
        return mechanism_named(circuit, *self.fault)


def _spelled(signs: str) -> str:
    """Signs as they are said into a microphone, by the spelling alphabet."""
    return " ".join(WORDS[sign] for sign in signs).replace("x-ray", "xray")


def _as_a_meter_shows(value: float, unit: str) -> Decimal:
    if unit == "ohm" and value >= KILOHM:
        return Decimal(round(value / 100) * 100)
    digits = "0.01" if abs(value) < 2 and unit != "A" else "0.1"
    return Decimal(repr(value)).quantize(Decimal(digits))


def _inside(step: Step, answer: Any) -> Decimal:
    """A number that this band holds."""
    assert step.reading is not None
    low = answer.low if answer.low is not None else step.reading.plausible[0]
    high = answer.high if answer.high is not None else min(step.reading.plausible[1], low + 3)
    return ((low + high) / 2).quantize(Decimal("0.1"))


class EndlessSession(AssertionError):
    """A session went on for longer than any needs."""


@dataclass(frozen=True)
class Uttered:
    """One thing that was said, and what was heard: right, wrong, or nothing.

    `of_fact` if a fact was asked for; `scripted` if the scene had it; `step` and `state` say where it was.
    """

    said: str
    heard: str
    understood: bool
    snr_db: float
    of_fact: bool = False
    scripted: bool = False
    step: str = ""
    state: str = ""

    def kind(self) -> str:
        """The kind of words, for a table of them."""
        if self.of_fact:
            return "facts"
        if self.scripted:
            return "scene"
        if self.said in ("yes", "no", "ready", "take it", "cranking", "go ahead", "correction"):
            return self.said
        if self.state in (State.ASKING, State.CRANKING):
            return "reading" if self.said.split()[-1] in _UNITS else "place and answer"
        return "other"


_UNITS = {more.split()[-1] for _, more in UNIT_WORDS.values()}


def meant(words: str) -> str:
    """Words with the same meaning as one: "oh" is zero, and a last zero behind the point adds nothing to a number."""
    plain = re.sub(r"\boh\b", "zero", words)
    return re.sub(r"(\bpoint(?: \w+)*?)(?: zero)+(?= (?:volts|ohms|amps)\b|$)", r"\1", plain)


@dataclass(frozen=True)
class Radio:
    """Somebody on a radio, who talks without a pause.

    Attributes:
        voice: His voice.
        sentences: What he says.
        under_db: How far his speech is under the technician's.
    """

    voice: Spoken
    sentences: tuple[str, ...]
    under_db: float

    def talking(self, speech: SpeechCache, length: int, near_db: float, seed: int) -> NDArray[np.float64]:
        """So many samples of it, beside a technician at this level."""
        pieces = [speech.say(self.voice, words) for words in self.sentences]
        talk = running(pieces, length, random.Random(seed))  # noqa: S311  a test
        return talk * (10 ** ((near_db - self.under_db) / 20) / np.sqrt(speech_power(talk)))


class Mouth:
    """Words into sound files: speech in generated bay noise, the same for the same seed."""

    def __init__(
        self,
        folder: Path,
        voice: Spoken,
        seed: int,
        snr_db: tuple[float, float],
        radio: Radio | None = None,
    ) -> None:
        self._folder = folder
        self._speech = SpeechCache(folder)
        self._voice = voice
        self._radio = radio
        self._chance = np.random.default_rng(seed)
        self._range = snr_db
        self._seed = seed
        self._number = 0

    def say(self, words: str, snr_db: float | None = None, lead_s: float = LEAD_S) -> tuple[Path, float]:
        """A sound file in which these words are said, and its ratio of speech to noise, dB."""
        self._number += 1
        ratio = float(self._chance.uniform(*self._range)) if snr_db is None else snr_db
        kind = KINDS[int(self._chance.integers(len(KINDS)))] if words else "fans"
        level = 10 ** (SPEECH_DB / 20)
        spoken = self._speech.say(self._voice, words) if words else np.zeros(0)
        if spoken.size:
            spoken = spoken * (level / np.sqrt(speech_power(spoken)))
        placed = np.concatenate([np.zeros(round(lead_s * RATE)), spoken, np.zeros(round(TAIL_S * RATE))])
        noise = bay_noise(kind, len(placed) / RATE, RATE, self._seed * 1000 + self._number)
        mixed: NDArray[np.float64] = placed + noise * level * 10 ** (-ratio / 20)
        if self._radio is not None:
            mixed += self._radio.talking(
                self._speech, len(placed), SPEECH_DB, self._seed * 1000 + self._number
            )
        mixed /= max(1.0, float(np.max(np.abs(mixed))) / 0.89)
        path = self._folder / f"{self._seed}-{self._number:03}.wav"
        soundfile.write(path, np.round(mixed * 32767).astype(np.int16), RATE)
        return path, ratio


class Watching(LineScreen):
    """The screen and the loudspeaker as the technician has them: the last words spoken and the board."""

    board: Board | None = None
    last = ""

    def says(self, text: str, at: float) -> None:
        """Keep what was spoken."""
        self.last = text
        super().says(text, at)

    def show(self, board: Board, at: float) -> None:
        """Keep what is shown."""
        self.board = board
        super().show(board, at)


@dataclass
class Technician(PlayedPerson):
    """The played person who decides as he goes along."""

    library: Library = field(init=False)
    position: Any = field(init=False)
    step_now: Any = field(init=False)
    asked: Any = field(init=False)
    screen: Watching = field(init=False)
    mouth: Mouth = field(init=False)
    car: Car = field(init=False)
    grammars: GrammarSet = field(init=False)
    facts: Mapping[str, str] = field(default_factory=dict)
    asides: list[Aside] = field(default_factory=list)
    happened: Callable[[Callable[[float], Event]], None] | None = None
    uttered: list[Uttered] = field(default_factory=list)
    saying: tuple[str, float] | None = None
    _fresh: bool = False
    _doing: Aside | None = None
    _slipped: bool = False
    _note: str = ""
    _other: str = ""
    _reason: str = ""
    _loud_at: str = ""
    _quiet: int = 0
    _cranked: tuple[str, str] | None = None
    _tries: int = 0
    _last_said: str = ""
    _intended: str = ""
    _turning: bool = False
    _turns_since: float | None = None
    _where: tuple[bool, str, State] = (False, "", State.UNOPENED)
    _watched: bool = False
    _of_fact: bool = False
    held: Callable[[Perceived], bool] = field(default=lambda _: False)

    # --- where a microphone is ---

    def listen(self, request: Any) -> None:
        """The assistant listens: what is to be said now is thought of anew."""
        self._fresh = True
        super().listen(request)

    def record_note(self, longest_s: float) -> None:
        """A note is being taken."""
        self._fresh = True
        super().record_note(longest_s)

    def pause(self) -> None:
        """A sentence that was talked over is not said again by itself; a scene that was cut off comes again."""
        cut = self._sounding is not None and self.saying is not None
        super().pause()
        self.turns.clear()
        # What is meant to drown in noise is cut off by the assistant itself: it is done.
        if cut and self._doing is not None and self._doing.does != "loud":
            self.asides.insert(0, self._doing)
        self._doing = None

    def _ready(self) -> None:
        self._next = None
        if not (self._heard and self._fresh and not self._keys and self._sounding is None):
            return
        done = self.decide()
        if done is None:
            return
        self._fresh = (
            done.play is not None and not self._last_said
        )  # only the bay was heard: he goes on by himself
        self.turns.clear()
        self.turns.append(done)
        self._next = (self.clock.now + done.after_s, done)

    # --- what he does ---

    def decide(self) -> PlayedTurn | None:
        """The next thing to do; None: wait."""
        state = self.state()
        procedure, name = self.position()
        step = self.step_now()
        if state is State.CRANKING:
            self._cranked = (procedure, name)
            self._turns_since = self.clock.now if self._turns_since is None else self._turns_since
        else:
            self._turns_since, self._watched = None, False
        if self._loud_at not in ("", name) and state is State.ASKING:
            if self.screen.board is not None and self.screen.board.keys_only and self._quiet < TRIES:
                self._quiet += 1
                return self._speak("", 22.0, lead_s=5.0)
            self._loud_at = ""
        here = (name, f"{procedure}/{name}")
        aside = next((one for one in self.asides if one.at in here and one.state is state), None)
        if aside is not None:
            self.asides.remove(aside)
            self._doing = aside
            return self._aside(aside, step)
        return self._answer(state, procedure, step)

    def _aside(self, aside: Aside, step: Step | None) -> PlayedTurn:
        match aside.does:
            case "slip":
                self._slipped = True
                return self._speak(aside.words)
            case "note":
                self._note = aside.words
                return self._speak("voice note")
            case "skip":
                self._reason = aside.words
                return self._speak("skip this")
            case "other":
                self._other = aside.words
                return self._speak("other test")
            case "loud":
                assert step is not None
                self._loud_at = step.name
                return self._speak(self._result(step), LOUD_DB, lead_s=3.4)
            case _:
                return self._speak(aside.words)

    def _answer(self, state: State, procedure: str, step: Step | None) -> PlayedTurn | None:
        keyed = self.screen.board is not None and self.screen.board.keys_only
        # He does as he is told, and takes the pad when nothing that he says is understood.
        keyed = keyed or self.screen.last.startswith("Use the keys") or self._tries > TRIES
        match state:
            case State.INQUIRING:
                return self._fact(keyed=keyed)
            case State.CONFIRMING:
                return self._confirm()
            case State.CHOOSING:
                return self._speak(self._other)
            case State.ACKNOWLEDGING:
                return self._press("enter") if keyed else self._speak("ready")
            case State.ASKING | State.CRANKING:
                assert step is not None
                return self._test(state, procedure, step, keyed=keyed)
            case State.READING_BACK:
                number = " " if self._intended[:1].isdigit() else ""  # "1.2" is not in "11.2"
                right = (
                    f"{number}{self._intended}" in f" {self.screen.last}"
                    or "Already measured" in self.screen.last
                )
                if self._slipped:
                    self._slipped, right = False, False
                if keyed:
                    return self._press("enter" if right else "minus")
                return self._speak("yes" if right else "no")
            case State.SKIPPING:
                return self._speak(self._reason or next(iter(REASONS.values())))
            case State.NOTING:
                words, self._note = self._note or "nothing to add", ""
                return self._speak(words)
            case State.STANDING_BY:
                return self._press("enter") if keyed else self._speak("go ahead")
            case State.CONCLUDING:
                return self._conclude(keyed=keyed)
            case _:
                return None

    def _test(self, state: State, procedure: str, step: Step, *, keyed: bool) -> PlayedTurn | None:
        if self._slipped:  # the wrong word was taken: the next step is asked already
            self._slipped = False
            return self._speak("correction")
        here = (procedure, step.name)
        turning = step.measure.engine is Engine.CRANKING
        if state is State.ASKING and turning and self._cranked != here and self.happened is not None:
            self._cranked, self._turning = here, True
            self.happened(lambda at: StarterHeard(at, CrankSound.BEGINS, 0.4, 0.95))
            return None
        if state is State.ASKING and turning and self._cranked != here:
            return self._press("enter") if keyed else self._speak("cranking")
        words = self._result(step)
        if self.happened is not None and step.measure.instrument == SCOPE and state is State.CRANKING:
            self._on_clamp(step)
            return None
        if self.happened is not None and step.reading is not None:
            if self._on_meter(step):
                return None  # it is read back by itself
            if state is State.CRANKING and not self._watched:
                self._watched = True
                return self._speak("", 22.0, lead_s=3.0)  # he watches the meter while it cranks
            if keyed:
                return self._press("enter")
            words = "take it"
        if keyed:
            return self._press(*self._digits(step))
        return self._speak(words, after_s=2.0 if state is State.CRANKING else 0.8)

    def _result(self, step: Step) -> str:
        """The words for what is seen; how it will be read back is remembered."""
        outcome, value = self.car.shows(self.library, self.position()[0], step)
        place = placing.place_words(self.library, step)
        sayable = [
            str(form) for name in self.grammars.places() for form in self.grammars.forms("place", name)
        ]
        before = f"{place} " if place in sayable and step.measure.instrument != "ohmmeter" else ""
        if value is not None:
            assert step.reading is not None
            unit = step.reading.unit
            if unit == "ohm" and value >= KILOHM:
                value, unit = value / KILOHM, "kilohm"
            self._intended = number_words(value, unit)
            number = f"zero {in_words(value)}" if 0 < value < 1 else in_words(value)
            return f"{before}{number} {UNIT_WORDS[unit][1]}"
        assert outcome is not None
        spoken = self.library.terms.outcomes[outcome].spoken
        whole = step.measure.instrument in SENSES and self.library.terms.places[step.measure.probe].says
        self._intended = f"{spoken[:1].upper()}{spoken[1:]}." if whole else f": {spoken}."
        return f"{before}{spoken}"

    def _on_meter(self, step: Step) -> bool:
        """What the model gives stands on the meter for two seconds; whether that is enough."""
        assert self.happened is not None
        assert step.reading is not None
        outcome, value = self.car.shows(self.library, self.position()[0], step)
        unit = step.reading.unit
        if unit == "ohm" and value is not None and value >= KILOHM:
            value, unit = value / KILOHM, "kilohm"
        result = Result(outcome) if value is None else Result(value=value, unit=unit)
        if value is not None:
            self._intended = reading_asked(value, unit, step.reading.unit).rstrip("?")
        stood = 2.1
        if self._turns_since is not None:
            stood = min(stood, max(0.0, self.clock.now - self._turns_since - SETTLED_S))
        figures = (Figure("samples", "5 in 0.8 s"),)
        seen = Perceived(self.clock.now, Witness.METER, result, 1.0, 0.0, figures, stood)
        self.happened(lambda at: replace(seen, at=at))
        return self.held(seen)

    def _on_clamp(self, step: Step) -> None:
        """The clamp shows the ramp that the model gives, once a crank; he waits for what is made of it."""
        assert self.happened is not None
        if self._watched:
            return
        self._watched = True
        outcome, _ = self.car.shows(self.library, self.position()[0], step)
        self.happened(lambda at: Perceived(at, Witness.CLAMP, Result(outcome), 0.95))

    def _digits(self, step: Step) -> Sequence[str]:
        outcome, value = self.car.shows(self.library, self.position()[0], step)
        self._result(step)
        if value is not None:
            return [*("point" if sign == "." else sign for sign in format(value, "f")), "enter"]
        if step.reading is not None:
            return [*"9999999", "enter"]
        return [str(1 + [answer.outcome for answer in step.answers].index(outcome or ""))]

    def _conclude(self, *, keyed: bool) -> PlayedTurn:
        said = self.screen.last
        if "Say yes, or correction" in said:
            words, key = "yes", "enter"
        elif "go ahead" in said or (said == "Say again." and self.uttered[-1].said == "go ahead"):
            words, key = "go ahead", "enter"
        else:
            words, key = "close session", "plus"
        return self._press(key) if keyed else self._speak(words)

    def _fact(self, *, keyed: bool) -> PlayedTurn:
        """The facts asked for about car, order and gear; signs are spelled four in a breath, checked by the
        read-back.
        """
        asked = self.asked()
        value = self.facts.get(asked.inquiry.name)
        if self._tries > TRIES:  # nothing that he says is understood: it stays blank
            return self._press("plus")
        if value is None:
            return self._press("plus") if keyed else self._speak("leave blank")
        if asked.inquiry.kind is FactKind.CHOICE:
            return self._speak(asked.inquiry.choices[value])
        if not asked.spells:
            unit = asked.inquiry.unit
            number = in_words(Decimal(value)) if Decimal(value) < 10000 else _spelled(value)
            return self._speak(f"{number} {UNIT_WORDS[unit][1]}" if unit else number)
        if not value.startswith(asked.signs):
            return self._speak("correction")
        rest = value[len(asked.signs) :][:4]
        return self._speak(_spelled(rest) if rest else "that is all")

    def _confirm(self) -> PlayedTurn:
        waiting = self.asked().waiting
        value = self.facts[self.asked().inquiry.name]
        right = waiting.value == value or (
            not self.asked().spells and Decimal(waiting.value) == Decimal(value)
        )
        return self._speak("yes" if right else "no")

    # --- how he does it ---

    def _speak(
        self, words: str, snr_db: float | None = None, lead_s: float = LEAD_S, after_s: float = 0.8
    ) -> PlayedTurn:
        if len(self.uttered) > MOST:
            raise EndlessSession(f"the session does not end; last said: {self.screen.last}")
        self._tries = self._tries + 1 if words == self._last_said else 0
        self._last_said = words
        self._of_fact = self.state() in (State.INQUIRING, State.CONFIRMING)
        self._where = (self._doing is not None, self.position()[1], self.state())
        self._doing = None if words else self._doing
        if words in ("stop", "not sure", "correction", "no"):
            self._cranked = None  # the test is made again
        path, ratio = self.mouth.say(words, snr_db, lead_s)
        self.saying = (words, ratio)
        return PlayedTurn(frozenset(), after_s, path, (), once=True)

    def _press(self, *keys: str) -> PlayedTurn:
        self._tries = 0
        self._last_said = ""
        return PlayedTurn(frozenset(), 0.8, None, keys, once=True)

    def hears_itself_heard(self, event: Event) -> None:
        """Take down what became of what was said; whoever has looked lets the key go."""
        if self._turning and self.happened is not None and isinstance(event, Heard):
            self._turning = False
            self.happened(lambda at: StarterHeard(at, CrankSound.ENDS, 0.2, 0.95))
        if not isinstance(event, Heard | NoMatch) or self.saying is None:
            return
        words, ratio = self.saying
        self.saying = None
        understood = isinstance(event, Heard)
        self.uttered.append(Uttered(words, event.words, understood, ratio, self._of_fact, *self._where))


def _held(talk: Talk, seen: Perceived) -> bool:
    """Whether the dialogue takes what stands on the meter by itself."""
    known = recognise_perceived(talk, seen)
    return known is not None and known.trigger is Trigger.RESULT


class _Watched:
    """The record, with the technician told of each event."""

    def __init__(
        self, log: SessionLog, technician: Technician, entries: list[Entry], said: list[str]
    ) -> None:
        self._log = log
        self._technician = technician
        self._entries = entries

    def append(self, event: Event, actions: Any) -> Any:
        """As the log's own."""
        self._technician.hears_itself_heard(event)
        self._entries.extend(action.entry for action in actions if isinstance(action, Note))
        return self._log.append(event, actions)


@dataclass
class Played:
    """The results of a session."""

    folder: Path
    shown: str
    entries: list[Entry]
    uttered: list[Uttered]
    seconds: float
    left: list[Aside]

    def misheard(self) -> tuple[int, int, int]:
        """Of what was said in the grammar: how much was right, taken for something else, not understood."""
        said = [one for one in self.uttered if one.said and one.snr_db > 0]
        right = sum(one.understood and meant(one.heard) == meant(one.said) for one in said)
        wrong = sum(one.understood and meant(one.heard) != meant(one.said) for one in said)
        return right, wrong, len(said) - right - wrong

    def words(self, *, facts: bool = True) -> int:
        """Words that the technician said, perhaps without those to spell order, VIN and other facts."""
        return sum(len(one.said.split()) for one in self.uttered if facts or not one.of_fact)


def play(
    folder: Path,
    procedure: str,
    car: Car,
    asides: Iterable[Aside],
    *,
    facts: Mapping[str, str],
    complaint: str,
    vehicle: str,
    voice: str | Spoken = "rms",
    seed: int = 1,
    snr_db: tuple[float, float] = (10.0, 20.0),
    recogniser: Recogniser | None = None,
    radio: Radio | None = None,
    perceiving: bool = False,
    assistant: Voice | None = None,
) -> Played:
    """Play one session to its end, seal it, and give what it left.

    A voice by its name alone is one of flite's; with `perceiving` the technician has a meter, a clamp and an ear;
    the assistant has its default voice unless another one is given.
    """
    procedures = resources.directory("procedures")
    grammars = GrammarSet.load(resources.directory("grammars"))
    sounds = folder / "sounds"
    sounds.mkdir(parents=True, exist_ok=True)
    clock = MadeClock()
    stream = io.StringIO()
    entries: list[Entry] = []
    scenario = Scenario(procedure, Facts(complaint=complaint, vehicle=vehicle), ())
    started = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)  # an invented morning
    with SessionLog.create(
        folder / "sessions",
        scenario.facts,
        procedures,
        now=lambda: started + timedelta(seconds=clock()),
    ) as log:
        screen = Watching(stream)
        ears = recogniser or Recogniser(find_model(None))
        voices = assistant or Voice(cache_folder=folder / "speech")
        stage = Stage(scenario, log, ears, grammars, clock, voices, screen, Technician)
        technician = stage.person
        assert isinstance(technician, Technician)
        technician.library = load_library(procedures)
        runner = stage.session._runner
        technician.position = lambda: runner.position
        technician.step_now = lambda: runner.talk.work.step
        technician.asked = lambda: runner.asked
        technician.screen, technician.car, technician.grammars = screen, car, grammars
        spoken = Spoken(voice, "flite", voice) if isinstance(voice, str) else voice
        technician.mouth = Mouth(sounds, spoken, seed, snr_db, radio)
        technician.facts, technician.asides = facts, list(asides)
        stage.session.log = _Watched(log, technician, entries, [])
        if perceiving:
            technician.happened = stage.session.happened
            technician.held = lambda seen: _held(runner.talk, seen)
        stage.play(tuple(Witness) if perceiving else ())
        if stage.session.outcome in ("verdict", "closed"):
            log.seal()
        return Played(log.folder, stream.getvalue(), entries, technician.uttered, clock(), technician.asides)
