"""Suggestions for mistyped names: near ones are found, and far-off words get none."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant.commands import COMMANDS
from assistant.core.nearest import among, did_you_mean, nearest

NEAR = {
    "rnu": "run", "dmeo": "demo", "haer": "hear", "lern": "learn", "procedure": "procedures", "lnit": "lint",
    "porve": "prove", "write-up": "writeup", "Write_Up": "writeup", "reveiw": "review", "pakc": "pack",
    "pciture": "picture", "verfy": "verify", "reply": "replay", "session": "sessions", "setting": "settings",
    "geer": "gear", "benhc": "bench", "license": "licences", "licenses": "licences", "proc": "procedures",
    "RUN": "run", "writeups": "writeup", "complet": "completion",
}  # fmt: skip
"""Slips of fingers: letters that changed places, are wrong, lacking or too many; and beginnings."""

FAR = """
help start stop open close update install remove copy print car engine spark report log version config quit exit status
check test doctor info new delete export import build show get lamp key wheel table chair house water music paper green
seven monday battery crank coil wire tire brake oil
""".split()  # noqa: SIM905  a list of a few dozen words is read more easily so
"""Common words of the language, of other programs and of the trade, none of which is a slip for a command."""


@pytest.mark.parametrize(("typed", "meant"), NEAR.items())
def test_a_slip_finds_its_command(typed: str, meant: str) -> None:
    """What people mistype leads to what they meant."""
    assert meant == nearest(typed, COMMANDS)
    assert f"Did you mean '{meant}'? " == did_you_mean(typed, COMMANDS)


@pytest.mark.parametrize("typed", FAR)
def test_a_far_off_word_gets_no_suggestion(typed: str) -> None:
    """A wrong suggestion is worse than none: somebody may follow it."""
    assert nearest(typed, COMMANDS) is None
    assert "" == did_you_mean(typed, COMMANDS)


def test_a_beginning_of_several_names_is_none_of_them() -> None:
    """What could be each of several is not guessed."""
    assert nearest("ignition", ["ignition-kind", "ignition-feed-side"]) is None
    assert "ignition-kind" == nearest("ignition", ["ignition-kind", "coil-control"])


def test_all_that_is_known_is_listed_in_its_order() -> None:
    """The nearest name comes first, then all; without any name it says so."""
    assert "Did you mean 'lit'? Known are: dark, lit" == among("lti", ["dark", "lit"])
    assert "Its steps are: one, two" == among("battery", ["one", "two"], "Its steps are")
    assert "None is defined" == among("lit", [])


@given(st.text(max_size=200), st.lists(st.text(max_size=30), max_size=8))
def test_any_text_gives_a_known_name_or_none(typed: str, known: list[str]) -> None:
    """Whatever is typed, nothing is made up, and a name is nearest to itself or to one that looks the same."""
    found = nearest(typed, known)
    assert found is None or found in known
    for name in known:
        near = nearest(name, known)
        assert near is not None or not name.strip() or len(name) > 60
