"""The first minutes of `run` without anything: at most three questions, and a try of loudspeaker and microphone."""

from __future__ import annotations

import re
import shlex
import sys
from typing import TYPE_CHECKING

from assistant.commands.console import at_a_terminal
from assistant.errors import BayAssistantError, GearProblem
from assistant.printing import in_line

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

FACTS = (
    "order",
    "vin",
    "vehicle",
    "complaint",
    "odometer",
    "technician",
    "crank_longest",
    "crank_rest",
    "cylinders",
)
"""Options that state a fact: somebody who gives one knows what to give."""

QUESTIONS = (
    ("technician", "Who works? Name or initials: "),
    ("order", "Repair order number: "),
    ("complaint", "The customer's complaint: "),
)
"""The questions, in order, each with its option; one that the settings answer is left out."""

LONGEST = 400
"""Most characters of an answer that are kept."""

_CURSOR_KEY = re.compile(r"\x1b(\[[0-9;]*[A-Za-z~]|O[A-Z])")
"""What a cursor key sends (ECMA-48, 5.4): not meant as text."""


def due(options: argparse.Namespace) -> bool:
    """Whether to ask: at a terminal, for a new session, and only if neither a fact nor a procedure was given."""
    if options.resume or options.procedure or any(getattr(options, name) is not None for name in FACTS):
        return False
    return at_a_terminal()


def begin(options: argparse.Namespace) -> None:
    """Ask, try the gear, and put the answers into the options.

    Raises:
        GearProblem: Something does not work, and the person does not want to go on without it.
    """
    ask_facts(options, line_typed)
    try_gear(options, line_typed)


def ask_facts(options: argparse.Namespace, typed: Callable[[str], str | None]) -> None:
    """Ask what is not set; an empty answer leaves it blank.

    Args:
        options: The options, which are filled.
        typed: Shows a question and gives the answer; None at the end of the input, which ends the questions.
    """
    open_ = [(name, question) for name, question in QUESTIONS if getattr(options, name) is None]
    print("A new session. Enter leaves a question blank.")
    for name, question in open_:
        answer = typed(question)
        if answer is None:
            print()
            return
        setattr(options, name, answer)
        if answer and name == "technician":
            kept = shlex.join(["bay-assistant", "settings", "--set", "technician", answer])
            print(in_line(f"  (Not to be asked again: {kept})"))


def try_gear(options: argparse.Namespace, typed: Callable[[str], str | None]) -> None:
    """Try loudspeaker and microphone, unless the session does without; offer to go on without one that fails.

    Raises:
        GearProblem: One fails, and the person stops.
    """
    from assistant.commands import gear_check  # noqa: PLC0415  it loads the recogniser

    if options.silent and options.keys_only:
        return
    problem = gear_check.sound_trouble()
    if problem:
        without = "the screen" if options.keys_only else "the keys" if options.silent else "keys and screen"
        _go_on_without(problem, f"Go on with {without}?", typed)
        options.silent = options.keys_only = True
        return
    if not options.silent:
        print("Loudspeaker: listen …", flush=True)
        found = _tried(
            lambda: gear_check.try_loudspeaker(options.speaker or None, options.voice, options.speech_rate)
        )
        if isinstance(found, BayAssistantError):
            _go_on_without(f"Loudspeaker: {found}", "Go on without sound, and read the screen?", typed)
            options.silent = True
        else:
            print(in_line(f"Loudspeaker: {found} Heard nothing? Stop, and run: bay-assistant gear --say"))
    if not options.keys_only:
        found = _tried(lambda: gear_check.try_microphone(options.microphone or None))
        if isinstance(found, BayAssistantError):
            _go_on_without(f"Microphone: {found}", "Go on by keys?", typed)
            options.keys_only = True
        else:
            print(in_line(f"Microphone: {found}"))


def _tried(look: Callable[[], str]) -> str | BayAssistantError:
    try:
        return look()
    except BayAssistantError as problem:
        return problem


def _go_on_without(problem: str, question: str, typed: Callable[[str], str | None]) -> None:
    """Say what is wrong, and ask.

    Raises:
        GearProblem: The person stops.
    """
    print(in_line(problem))
    answer = typed(f"{question} Enter goes on, n stops: ")
    if answer is None or answer.casefold().startswith(("n", "q")):
        raise GearProblem("Stopped before a session was made.")


def line_typed(question: str) -> str | None:
    """A line from the terminal, without keys that are no text; None at the end of the input."""
    print(question, end="", flush=True)
    line = sys.stdin.readline()
    if not line:
        return None
    words = _CURSOR_KEY.sub("", line)
    return " ".join("".join(sign if sign.isprintable() else " " for sign in words).split())[:LONGEST]
