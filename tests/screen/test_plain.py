"""The picture of a board."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings, strategies as st

from assistant.core.values.board import Board
from assistant.screen import lettering
from assistant.screen.lettering import clean, columns
from assistant.screen.plain import Level, render

WORDS = st.text(max_size=30)
PAIRS = st.lists(st.tuples(WORDS, WORDS), max_size=6).map(tuple)
NUMBERS = st.floats(allow_nan=True, allow_infinity=True)
BOARDS = st.builds(
    Board,
    title=WORDS,
    step=st.integers(0, 99),
    headline=st.sampled_from(["FEED SIDE", "SWITCHED SIDE", "DRIVER END"]) | WORDS,
    lines=st.lists(WORDS, max_size=4).map(tuple),
    choices=st.just((("1", "lit"), ("2", "dim"), ("3", "dark"))) | PAIRS,
    keys=PAIRS,
    mode=st.sampled_from(["asking", "caution", "cranking", "finished"]) | WORDS,
    heard=WORDS,
    typed=st.sampled_from(["", "12.4"]) | WORDS,
    message=WORDS,
    keys_only=st.booleans(),
    countdown=st.none() | st.tuples(WORDS, NUMBERS),
    caution=st.sampled_from(["", "DANGER", "NOTICE"]) | WORDS,
    lost=st.just((("microphone", "exact silence"), ("speaker", "the sound server is gone"))) | PAIRS,
)
LEVELS = st.none() | st.builds(Level, NUMBERS, st.none() | NUMBERS, st.none() | NUMBERS)

ASKING = Board(
    title="Control test",
    step=3,
    headline="Switched side",
    lines=("Clip the lamp to battery negative.", "Probe the switched side of the coil."),
    choices=(("1", "flickering"), ("2", "steady"), ("3", "dark")),
    keys=(("0", "say again"), ("enter", "affirm")),
    heard="feed lit",
)


@pytest.mark.parametrize("order", [("microphone", "speaker"), ("speaker", "microphone")])
@pytest.mark.parametrize("size", [(100, 30), (80, 24), (40, 12), (28, 8)])
def test_all_that_is_lost_can_be_read_at_any_common_size(
    order: tuple[str, str], size: tuple[int, int]
) -> None:
    """Both losses stand on the picture, in either order, beside a message; where there is room with the reason."""
    why = "The sound server does not answer: Connection refused."
    board = replace(
        ASKING, lost=tuple((gear, why) for gear in order), message="I didn't get that.", keys_only=True
    )
    text = " ".join(" ".join(render(board, *size, 0.0)).split())
    for gear in order:
        assert f"No {gear}" in text
    assert text.count("Connection refused.") == (2 if size[1] > 8 else 0)


@settings(max_examples=150)
@given(
    board=BOARDS,
    width=st.integers(20, 130),
    height=st.integers(6, 50),
    level=LEVELS,
    colour=st.booleans(),
    blocks=st.booleans(),
)
def test_any_board_fits_any_size(
    board: Board, width: int, height: int, level: Level | None, *, colour: bool, blocks: bool
) -> None:
    """The picture has exactly the lines that there are, none wider, and no control character but colours."""
    lines = render(board, width, height, 1.0, level, colour, blocks=blocks)
    assert height == len(lines)
    for line in lines:
        bare = re.sub(r"\x1b\[[0-9;]*m", "", line) if colour else line
        assert clean(bare) == bare
        assert columns(bare) <= width


@pytest.mark.parametrize(("width", "height"), [(20, 6), (40, 12), (80, 24), (200, 60)])
def test_what_matters_is_always_there(width: int, height: int) -> None:
    """At every size a person can read each choice with its digit, as text or in large letters."""
    text = "\n".join(render(ASKING, width, height, 0.0)).lower()
    large = "▄" in text
    assert large or all(words in text for words in ("1] flick", "2] steady", "3] dark"))


@pytest.mark.parametrize("word", ["DANGER", "WARNING", "CAUTION", "NOTICE"])
@pytest.mark.parametrize(("width", "height"), [(20, 6), (40, 12)])
def test_signal_word_stands_as_a_word(word: str, width: int, height: int) -> None:
    """A caution is a word, never colour alone, and comes first on the smallest screens."""
    lines = render(replace(ASKING, caution=word, mode="caution"), width, height, 0.0)
    first = next(line for line in lines if word in line and "!!" in line)
    assert f"!!  {word}  !!" == first.strip()


def test_signal_word_is_large_where_there_is_room() -> None:
    """At 80 by 24 the signal word is framed and larger than any other line of text."""
    lines = render(replace(ASKING, caution="DANGER"), 80, 24, 0.0)
    assert any("█" * 40 in line for line in lines)


def test_colour_adds_nothing_but_colour() -> None:
    """Without colour the same words stand in the same places."""
    board = replace(ASKING, caution="WARNING", message="Say again.", countdown=("rest", 60.0))
    plain = render(board, 80, 24, 3.0, Level(-30, -40, 12))
    coloured = render(board, 80, 24, 3.0, Level(-30, -40, 12), colour=True)
    assert plain == [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in coloured]
    assert plain != coloured


def test_countdown_never_shows_less_than_is_left() -> None:
    """A second that has begun is still shown, and the end is 0, never negative."""
    board = Board(countdown=("crank", 8.0))
    shown = [
        re.search(r"crank (\d+) s", "\n".join(render(board, 20, 6, now, blocks=False)))
        for now in (0.0, 0.1, 7.0, 7.2, 8.0, 9.0)
    ]
    assert [match and match[1] for match in shown] == ["8", "8", "1", "1", "0", "0"]


def test_level_and_noise_in_numbers() -> None:
    """Noise and signal-to-noise ratio are numbers with their unit, and the bar follows the level."""
    last = render(Board(), 80, 24, 0.0, Level(-30.0, -41.4, 16.6))[-1]
    assert "noise -41 dB  voice +17 dB over noise" in last
    quiet = render(Board(), 80, 24, 0.0, Level(-60.0))[-1]
    loud = render(Board(), 80, 24, 0.0, Level(0.0))[-1]
    assert (quiet.count("█"), loud.count("█")) == (0, 24)


def test_too_loud_is_said_in_words() -> None:
    """When only keys work, the screen says so in so many words."""
    assert any("USE THE KEYS" in line for line in render(replace(ASKING, keys_only=True), 80, 24, 0.0))


def test_without_blocks_the_picture_is_ascii() -> None:
    """A terminal that has no block characters gets none."""
    board = replace(ASKING, typed="12.4", countdown=("crank", 5.0), caution="NOTICE")
    text = "".join(render(board, 100, 50, 0.0, Level(-20, -40, 9), blocks=False))
    assert text.isascii()


AFTER = Board(
    title="Coil, control wire and driver",
    step=8,
    headline="OPEN CONTROL WIRE",
    lines=("The control wire does not carry from driver to coil.", "Find and repair the open wire. " * 4),
    choices=(("Enter", "next: after repair"), ("+", "close")),
    keys=(("-", "take back"), ("9", "voice note")),
    heard="affirm",
    mode="concluding",
)


def _height(lines: list[str], words: str) -> int:
    """Lines that the letters of these words take: as text, low, or tall and broad."""
    for letters, height in ((lettering.broad, 7), (lettering.tall, 7), (lettering.low, 4)):
        for word in words.split():
            rows = letters(word, blocks=True)
            if rows and all(any(row.strip() in line for line in lines) for row in rows):
                return height
    return 1


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 40)])
@pytest.mark.parametrize(
    "headline", ["OPEN CONTROL WIRE", "IGNITION COIL BAD", "LOOK AT THE TIMING BELT, COVER OFF"]
)
def test_after_a_verdict_nothing_is_larger_than_the_cause(headline: str, size: tuple[int, int]) -> None:
    """On each common size the cause has the largest letters, and on 80 by 24 they are large letters."""
    lines = render(replace(AFTER, headline=headline), *size, 0.0)
    own = _height(lines, headline)
    assert own >= max(_height(lines, words) for _, words in AFTER.choices)
    assert own >= _height(lines, AFTER.heard)
    assert own > 1 or size == (60, 20)


@given(
    words=st.lists(
        st.text(alphabet="ABCDEFGHIJKLMNOPRSTUVWXYZ", min_size=1, max_size=14), min_size=1, max_size=6
    ),
    width=st.integers(20, 130),
)
def test_large_letters_break_only_between_words(words: list[str], width: int) -> None:
    """Each word of a headline stands whole in one line of its letters, however narrow the screen is."""
    lines = render(Board(headline=" ".join(words), mode="concluding"), width, 60, 0.0)
    for word in words:
        drawn = [
            letters(word, blocks=True) or [word]
            for letters in (lettering.broad, lettering.tall, lettering.low)
        ]
        whole = [
            rows
            for rows in (*drawn, [word])
            if all(any(row.rstrip() in line for line in lines) for row in rows)
        ]
        assert whole or len(word) > width - 2


@given(text=st.text(alphabet="abcdefgh ", max_size=60), width=st.integers(10, 40))
def test_what_does_not_fit_ends_with_a_whole_word(text: str, width: int) -> None:
    """A title or what was heard is cut between words."""
    kept = lettering.fit(text, width)
    assert columns(kept) <= width
    assert kept.split() == text.split()[: len(kept.split())] or len(text.split(maxsplit=1)[0]) > width


def test_gear_that_was_switched_off_is_not_called_lost() -> None:
    """Sound off and keys only are said so, without alarm; a lost microphone beside it keeps its reason."""
    off = replace(ASKING, lost=(("speaker", ""), ("microphone", "")), keys_only=True)
    text = " ".join(render(off, 80, 24, 0.0))
    assert "Sound off. Keys only." in text
    assert "No speaker" not in text
    assert "No microphone" not in text
    assert "USE THE KEYS" not in text
    lost = replace(ASKING, lost=(("speaker", ""), ("microphone", "unplugged")), keys_only=True)
    text = " ".join(render(lost, 80, 24, 0.0))
    assert "Sound off." in text
    assert "No microphone: unplugged" in text
    assert "USE THE KEYS" in text


def test_the_seconds_are_the_largest_while_it_cranks() -> None:
    """On 80 by 24 they have broad or tall letters, and stop can be read with its key."""
    board = replace(ASKING, mode="cranking", countdown=("crank", 7.0), choices=(("1", "lit"), ("/", "stop")))
    lines = render(board, 80, 24, 0.0)
    assert 7 == _height(lines, "7")
    assert 4 == _height(lines, "stop")
