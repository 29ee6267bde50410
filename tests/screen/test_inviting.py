"""The address of the board on the session's own screen."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, strategies as st
from test_plain import ASKING, BOARDS

from assistant.board.serving import code
from assistant.core.values.board import Board
from assistant.screen.inviting import Invitation
from assistant.screen.lettering import columns
from assistant.screen.plain import render

pytest.importorskip("segno", reason="the extra 'board' is not installed")

ADDRESS = "http://192.168.178.120:8470/in/abcdefghijklmnopqrstuv"
INVITATION = Invitation(ADDRESS, tuple(code(ADDRESS).splitlines()))
STANDING_BY = Board(
    title="Control test",
    step=3,
    headline="STANDING BY",
    lines=("Say go ahead to go on.",),
    mode="standing by",
)
SGR = re.compile(r"\x1b\[[\d;]*m")


def cells(lines: list[str], width: int) -> list[str]:
    """What stands in each column of each line; CHA (ECMA-48) moves to a column, as a terminal does it."""
    shown = []
    for line in lines:
        row = [" "] * width
        for at, part in enumerate(re.split(r"\x1b\[(\d+)G", SGR.sub("", line))):
            if at % 2:
                column = int(part) - 1
                continue
            if at == 0:
                column = 0
            for sign in part:
                row[column] = sign
                column += 1
        shown.append("".join(row))
    return shown


def scanned(lines: list[str], width: int) -> list[str]:
    """The codes that a reader of another project (zxing-cpp) finds on a picture of the terminal."""
    halves = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1)}
    light = np.zeros((2 * len(lines), width), np.uint8)
    for row, text in enumerate(cells(lines, width)):
        for column, sign in enumerate(text):
            light[2 * row : 2 * row + 2, column] = halves.get(sign, (0, 0))
    picture = np.pad(light, 4).repeat(6, 0).repeat(6, 1) * 255
    return [found.text for found in zxingcpp.read_barcodes(picture)]


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (160, 45)])
@pytest.mark.parametrize("colour", [False, True])
def test_while_standing_by_a_second_tablet_can_scan_the_address(
    size: tuple[int, int], *, colour: bool
) -> None:
    """Another project's reader finds the address on the picture, and the words beside it are whole."""
    there = replace(INVITATION, awaited=False)
    lines = render(STANDING_BY, *size, 0.0, colour=colour, invitation=there)
    assert [ADDRESS] == scanned(lines, size[0])
    left = "\n".join(row[: size[0] - there.width] for row in cells(lines, size[0]))
    assert "Say go ahead to go on." in left


def test_a_wide_screen_shows_the_code_until_a_tablet_is_there() -> None:
    """No tablet: the code stands beside 80 columns of picture; with a tablet the picture has the whole width."""
    wide = render(ASKING, 120, 30, 0.0, invitation=INVITATION)
    assert [ADDRESS] == scanned(wide, 120)
    assert [row[: 120 - INVITATION.width].rstrip() for row in cells(wide, 120)] == [
        line.rstrip() for line in render(ASKING, 120 - INVITATION.width, 30, 0.0, invitation=INVITATION)
    ]
    assert render(ASKING, 120, 30, 0.0, invitation=replace(INVITATION, awaited=False)) == [
        *render(ASKING, 120, 30, 0.0, invitation=Invitation(ADDRESS, ()))
    ]


def test_the_address_can_be_typed_from_the_screen_during_a_test() -> None:
    """On the usual 80 columns the address stands on a line of its own while a question is asked."""
    assert f"Board: {ADDRESS}" in [
        line.strip() for line in render(ASKING, 80, 24, 0.0, invitation=INVITATION)
    ]


@given(board=BOARDS, width=st.integers(1, 160), height=st.integers(1, 60), awaited=st.booleans())
def test_the_code_never_makes_a_line_wider_than_the_terminal(
    board: Board, width: int, height: int, *, awaited: bool
) -> None:
    """Whatever stands on the board, the picture has exactly its lines, and none leaves the terminal."""
    lines = render(board, width, height, 0.0, invitation=replace(INVITATION, awaited=awaited))
    assert height == len(lines)
    for line in lines:
        text, *coded = re.split(r"\x1b\[(\d+)G", line)
        assert columns(text) <= width
        if coded:
            assert columns(text) < int(coded[0])
            assert int(coded[0]) - 1 + columns(coded[1]) <= width
