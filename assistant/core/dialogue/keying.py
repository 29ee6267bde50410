"""The meaning of each key of the number pad in each state.

`triggers.KEYED` holds the keys of the dialogue's own words (`values.result.Control` names them); a state adds its own,
and some read digits.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from assistant.core.dialogue.inquiring import Origin, Waiting
from assistant.core.dialogue.perceiving import entered, heard_before, take_it
from assistant.core.dialogue.sayable import REASONS
from assistant.core.dialogue.states import State
from assistant.core.dialogue.triggers import (
    KEYED,
    SAID,
    UNEXPECTED,
    By,
    Known,
    Meaning,
    Named,
    Trigger,
)
from assistant.core.dialogue.understanding import is_watching, understand_fact, understand_result, watched
from assistant.core.library.procedure import Engine
from assistant.core.library.terms import FactKind
from assistant.core.library.vocabulary import OVER_RANGE, WATCHED
from assistant.core.values.result import Control, Result

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assistant.core.dialogue.talk import Talk

_Pad = dict[str, Meaning[By]]

_DIGITS = frozenset("0123456789")
_NUMBER_KEYS = _DIGITS | {"point", "erase"}

_LETTER_OF = {word.key: word.letter for word in Control if word.letter}
"""Keys that are letters on a computer's keyboard."""

_ANYWHERE: _Pad = {word.key: SAID[word] for word in Control if word.anywhere and word.key}

_ALSO: _Pad = {
    **KEYED,
    "0": Trigger.SAY_AGAIN,
    "9": Trigger.NOTE,
    "minus": Trigger.CORRECTION,
    "erase": Trigger.WHY,
}
_ANSWERING: _Pad = {**_ALSO, "point": Trigger.NOT_SURE}
_FACT: _Pad = {
    **_ANYWHERE,
    "plus": Trigger.BLANK,
    "slash": Trigger.STAND_BY,
    "star": Trigger.CHOICES,
    "stop": Trigger.STOP,
}

PAD: dict[State, _Pad] = {
    State.CAUTIONING: KEYED,
    State.ACKNOWLEDGING: {**_ALSO, "enter": Trigger.ACKNOWLEDGE},
    State.RESTING: {**_ALSO, "enter": Trigger.CRANK_BEGINS},
    State.ASKING: _ANSWERING,
    State.CRANKING: {**_ANSWERING, "slash": Trigger.STOP},
    State.READING_BACK: {
        **_ALSO,
        "enter": Trigger.AFFIRM,
        "minus": Trigger.DENY,
        "point": Trigger.DENY,
    },
    State.SKIPPING: {**KEYED, "0": Trigger.SAY_AGAIN, "minus": Trigger.DENY},
    State.NOTING: {**_ALSO, "enter": Trigger.END_NOTE},
    State.CHOOSING: {
        **_ANYWHERE,
        "minus": Trigger.DENY,
        "star": Trigger.CHOICES,
        "slash": Trigger.STAND_BY,
        "stop": Trigger.STOP,
        "close": Trigger.CLOSE,
    },
    State.STANDING_BY: {
        **_ALSO,
        "plus": Trigger.CLOSE,
        "enter": Trigger.GO_AHEAD,
        "1": Trigger.OTHER_TEST,
        "2": Trigger.OTHER_LAMP,
    },
    State.CONCLUDING: {
        **_ALSO,
        "plus": Trigger.CLOSE,
        "enter": Trigger.GO_AHEAD,
        "1": Trigger.OTHER_TEST,
    },
    State.CONFIRMING: {
        **_FACT,
        "enter": Trigger.AFFIRM,
        "minus": Trigger.DENY,
        "close": Trigger.CLOSE,
        "0": Trigger.SAY_AGAIN,
    },
}
"""For each state, the keys that mean the same whatever is asked."""

_SPELLING: _Pad = {**_FACT, "enter": Trigger.THAT_IS_ALL, "minus": Trigger.CORRECTION}
_COUNTING: _Pad = {**_FACT, "note": Trigger.NOTE, "close": Trigger.CLOSE, "minus": Trigger.CORRECTION}
_CHOICE: _Pad = {**_COUNTING, "0": Trigger.SAY_AGAIN, "9": Trigger.NOTE, "point": Trigger.NOT_SURE}
_NO_KEYS: _Pad = {}


def recognise_key(talk: Talk, key: str) -> Known[Any] | None:
    """The meaning of a key here, with its payload; None if it has none and is ignored.

    Args:
        talk: The session.
        key: A name as in `assistant.core.values.events.KeyPressed`.
    """
    reads = _READS.get(talk.state)
    if talk.state not in _FACTS and _is_letter(key):
        return None  # letters count only while something is spelled
    return reads(talk, key) if reads else _looked_up(talk, PAD.get(talk.state, _NO_KEYS), key)


def _is_letter(key: str) -> bool:
    return len(key) == 1 and key.isalpha()


def _looked_up(talk: Talk, pad: Mapping[str, Meaning[By]], key: str) -> Known[Any]:
    meaning = pad.get(key)
    return UNEXPECTED if meaning is None else Known(meaning, _by(talk))


def _by(talk: Talk) -> By:
    """The key that is being answered, by the way in which it came."""
    return By(talk.now.how)


def _typed(key: str) -> Known[Any]:
    return Known(Trigger.TYPED, Named(key))


# --- an answer to the step ------------------------------------------------------------------------


def _resting(talk: Talk, key: str) -> Known[Any]:
    """Like an answer to the step; in a session of earlier rules nothing is answered during a rest."""
    return _asking(talk, key) if talk.limits.paced else _looked_up(talk, PAD[talk.state], key)


def _answering(talk: Talk, key: str) -> Known[Any]:
    """The digit of an answer, digits of a number, Enter when the engine turns; otherwise the usual meaning."""
    if key not in KEYED:
        if talk.step.reading is not None:
            return _number(talk, key)
        if key == "enter":
            return _cranking_now(talk)
    return _answer(talk, key) or _looked_up(talk, PAD[talk.state], key)


def _asking(talk: Talk, key: str) -> Known[Any]:
    """Like an answer; before anything is typed, the erase key asks why.  While a step is watched, Enter ends that."""
    if is_watching(talk) and key == "enter":
        return watched(talk, Origin(talk.now.how, key))
    if is_watching(talk) and key == "minus" and talk.awaited.changes:
        return Known(Trigger.UNDO_CHANGE, _by(talk))
    if key == "erase" and not talk.said.typed:
        return Known(Trigger.WHY, _by(talk))
    return _answering(talk, key)


def _reading_back(talk: Talk, key: str) -> Known[Any]:
    """The first digit of another number, or the digit of another answer; otherwise the usual meaning."""
    if talk.step.reading is not None and key in _DIGITS and key != "0":
        return _typed(key)
    return _answer(talk, key) or _looked_up(talk, PAD[talk.state], key)


def _answer(talk: Talk, key: str) -> Known[Any] | None:
    """The meaning of an answer's digit; None if the key is not one."""
    step = talk.step
    outcomes = WATCHED if step.watch else tuple(answer.outcome for answer in step.answers)
    if step.reading is not None or not key.isdigit() or not 1 <= int(key) <= len(outcomes):
        return None
    outcome = outcomes[int(key) - 1]
    return understand_result(talk, Result(outcome=outcome), Origin(talk.now.how, key))


def _number(talk: Talk, key: str) -> Known[Any]:
    """A key while a number is asked for."""
    typed = talk.said.typed
    if key in _NUMBER_KEYS:
        return _typed(key)
    if key == "minus":
        return _typed(key) if typed else Known(Trigger.CORRECTION, By(key))
    if key != "enter":
        return UNEXPECTED
    if entered(talk):
        return take_it(talk, Origin(talk.now.how, key))
    if not typed:
        return _cranking_now(talk)
    if typed == ".":
        return Known(Trigger.NOT_SURE, _by(talk))
    try:
        value = Decimal(typed)
    except InvalidOperation:
        return _typed("minus")
    source = Origin(talk.now.how, typed)
    if talk.limits.paced and typed == "9" * talk.limits.longest_number and OVER_RANGE in talk.step.heard:
        return understand_result(talk, Result(OVER_RANGE), source)  # no meter has such a number
    return understand_result(talk, Result(value=value), source)


def _cranking_now(talk: Talk) -> Known[Any]:
    if talk.step.measure.engine is not Engine.CRANKING:
        return UNEXPECTED
    return Known(Trigger.CRANK_ANNOUNCED if heard_before(talk) else Trigger.CRANK_BEGINS, _by(talk))


# --- a choice by its number -----------------------------------------------------------------------


def _skipping(talk: Talk, key: str) -> Known[Any]:
    """The digit of a reason for skipping."""
    if key.isdigit() and 1 <= int(key) <= len(REASONS):
        return Known(Trigger.REASON, Named(list(REASONS)[int(key) - 1]))
    return _looked_up(talk, PAD[talk.state], key)


def _choosing(talk: Talk, key: str) -> Known[Any]:
    """Digits of the number of a procedure, then Enter."""
    if key == "erase" or key in _DIGITS:
        return _typed(key)
    if key != "enter":
        return _looked_up(talk, PAD[talk.state], key)
    names = list(talk.library.procedures)
    number = int(talk.said.typed) if talk.said.typed else 0
    if not 1 <= number <= len(names):
        return Known(Trigger.NO_INPUT, None)
    return Known(Trigger.CHOSEN, Named(names[number - 1]))


# --- a fact ---------------------------------------------------------------------------------------


def _inquiring(talk: Talk, key: str) -> Known[Any] | None:
    """A key while a fact is asked for."""
    asked = talk.asked
    if asked.spells:
        # On a keyboard every letter is a letter now, even those that are commands elsewhere.
        key = _LETTER_OF.get(key, key)
        spelled = key in _NUMBER_KEYS or _is_letter(key)
        return _typed(key) if spelled else _looked_up(talk, _SPELLING, key)
    if (key in _LETTER_OF and key not in _COUNTING) or _is_letter(key):
        return None
    if asked.inquiry.kind is FactKind.NUMBER:
        return _fact_number(talk, key)
    names = list(asked.inquiry.choices)
    if key.isdigit() and 1 <= int(key) <= len(names):
        return Known(Trigger.FACT, Waiting(names[int(key) - 1], "", Origin(talk.now.how, key)))
    return _looked_up(talk, _CHOICE, key)


def _fact_number(talk: Talk, key: str) -> Known[Any]:
    """A key while a fact that is a number is asked for."""
    asked = talk.asked
    low = asked.inquiry.plausible[0] if asked.inquiry.plausible else Decimal(0)
    if key in _NUMBER_KEYS or (key == "minus" and not asked.typed and low < 0):
        return _typed(key)
    if key != "enter":
        return _looked_up(talk, _COUNTING, key)
    if asked.typed == ".":
        return Known(Trigger.NOT_SURE, _by(talk))
    value = asked.number()
    if value is None:
        return Known(Trigger.NO_INPUT, None)
    return understand_fact(talk, Result(value=value), Origin(talk.now.how, asked.typed))


def _confirming(talk: Talk, key: str) -> Known[Any]:
    """A key while a fact is read back."""
    asked = talk.asked
    changed = asked.spells and (key == "erase" or (asked.open and key in _DIGITS))
    number = asked.inquiry.kind is FactKind.NUMBER and (key == "point" or (key in _DIGITS and key != "0"))
    return _typed(key) if changed or number else _looked_up(talk, PAD[talk.state], key)


_FACTS = (State.INQUIRING, State.CONFIRMING)

_READS: dict[State, Callable[[Talk, str], Known[Any] | None]] = {
    State.INQUIRING: _inquiring,
    State.CONFIRMING: _confirming,
    State.RESTING: _resting,
    State.ASKING: _asking,
    State.CRANKING: _answering,
    State.READING_BACK: _reading_back,
    State.SKIPPING: _skipping,
    State.CHOOSING: _choosing,
}
"""States in which the meaning of a key depends on the question."""
