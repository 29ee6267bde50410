"""What the page shows, as values for JSON: everything is taken from the one `Board` and its `Particulars`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from assistant.core.values.key_names import TWICE, label
from assistant.core.values.particulars import Asks
from assistant.core.values.result import Control
from assistant.screen.parts import MODE_WORDS, left_out_words

if TYPE_CHECKING:
    from assistant.core.values.board import Board
    from assistant.core.values.particulars import Particulars
    from assistant.screen.parts import Level

SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
"""Signal words of ANSI Z535; the page's style sheet has their colours."""

_LOWEST_DB = -60.0

_COMMANDS = {word.letter: word.key for word in Control if word.letter}


def view(board: Board, particulars: Particulars, *, question: int, drawing: Drawing | None) -> dict[str, Any]:
    """All that the page shows of a board, without what runs in the page's own time.

    Args:
        board: The board.
        particulars: What belongs to its step.
        question: Its question's number.
        drawing: Address and words of the connection's drawing; None if there is none.
    """
    return {
        "question": question,
        "mode": board.mode,
        "modeWords": MODE_WORDS.get(board.mode, board.mode),
        "title": board.title,
        "step": board.step,
        "headline": board.headline,
        "signal": board.caution.upper() if board.caution.upper() in SIGNALS else "",
        "lines": list(board.lines),
        "choices": [_button(names, words) for names, words in board.choices],
        "keys": [
            _button(names, words)
            for names, words in board.keys
            if not (particulars.asks is Asks.SIGNS and names.startswith("point "))  # the page has letters
        ],
        "typed": board.typed,
        "heard": board.heard,
        "message": board.message,
        "gear": _gear(board),
        "hears": _hears(board),
        "asks": particulars.asks.value,
        "unit": particulars.unit,
        "plausible": list(particulars.plausible) if particulars.plausible else None,
        "overRange": bool(particulars.over_range),
        "done": [{"number": one.number, "words": one.words} for one in particulars.done],
        "results": particulars.results,
        "drawing": {"address": drawing[0], "words": drawing[1]} if drawing else None,
    }


Drawing = tuple[str, str]
"""Address of a drawing, and the connection in words."""


def _button(names: str, words: str) -> dict[str, Any]:
    return {"names": names, "label": label(names), "words": words, "twice": names == TWICE}


def _gear(board: Board) -> list[dict[str, Any]]:
    """A sentence for each piece of gear that is missing, or that is ``off`` on purpose."""
    return [
        {"words": f"No {gear}: {why}" if why else left_out_words(gear), "off": not why}
        for gear, why in board.lost
    ]


def _hears(board: Board) -> str:
    """Whether speech is understood now: ``off`` on purpose, ``lost``, ``loud`` or ``yes``."""
    for gear, why in board.lost:
        if gear == "microphone":
            return "lost" if why else "off"
    return "loud" if board.keys_only else "yes"


def countdown(board: Board, now: float) -> dict[str, Any] | None:
    """Name and seconds left of the running countdown, for a clock that the page runs itself."""
    if board.countdown is None or not math.isfinite(board.countdown[1] - now):
        return None
    return {"name": board.countdown[0], "seconds": round(max(0.0, board.countdown[1] - now), 2)}


def level(now: Level) -> dict[str, Any]:
    """Levels of sound as shares of the meter, 0 to 1, from 60 dB below full scale on."""
    return {"level": _share(now.level_db), "noise": None if now.noise_db is None else _share(now.noise_db)}


def _share(level_db: float) -> float:
    if not math.isfinite(level_db):
        return 0.0
    return round(min(1.0, max(0.0, 1.0 - level_db / _LOWEST_DB)), 2)


def pad() -> list[dict[str, str]]:
    """The whole number pad, row by row, each key with the word that it has in most states."""
    words = {word.key: word.value.replace("-", " ") for word in Control if word.key}
    words |= {
        "enter": "yes, done",
        "erase": "delete",
        "minus": "correction",
        "point": "not sure",
        "0": "say again",
    }
    rows = "7 8 9 slash 4 5 6 star 1 2 3 minus 0 point enter plus erase why note close"
    signs = {"erase": "\N{ERASE TO THE LEFT}"}
    return [
        {"names": key, "label": signs.get(key, label(key)), "words": words.get(key, "")}
        for key in rows.split()
    ]


def letters() -> list[dict[str, str]]:
    """The keys with which a VIN or an order number is spelled; all letters are letters there."""
    signs = "1234567890abcdefghijklmnopqrstuvwxyz"
    return [{"names": _COMMANDS.get(sign, sign), "label": sign.upper()} for sign in signs]
