"""The content of the screen: one plain value that the dialogue makes and the screen room draws."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.core.values.key_names import named


@dataclass(frozen=True)
class Board:
    """A glance's worth of the session.

    Attributes:
        title: Title of the procedure.
        step: Number of the current test, counted from 1; 0 before the first.
        headline: The one thing that matters, short enough for large letters: the place ("FEED SIDE"), the result
            that is read back ("FEED SIDE: LIT"), or the cause after a verdict ("OPEN CONTROL WIRE").
        lines: Instructions, a short sentence each.
        choices: Key and words of each answer, in the order spoken: ``("1", "lit")``.
        keys: Other keys that do something now: ``("enter", "yes")``.  Keys are names, as `key_names` has them.
        mode: ``caution``, ``asking``, ``cranking``, ``resting``, ``read back``, ``standing by``, ``note``,
            ``skipping``, ``finished``.
        heard: Last words understood, or what was keyed so far.
        typed: Digits of a number being keyed.
        message: A sentence about the last thing that went wrong, or "".
        lost: Gear that is missing now, each with why, in the order in which it was lost; it is shown until it is back.
            Gear that was left out on purpose has "" for why.
        keys_only: True if it is too loud to hear.
        countdown: Name and end (seconds since the session began) of the running countdown, if any.
        caution: Signal word of the caution being given ("DANGER"), or "".
    """

    title: str = ""
    step: int = 0
    headline: str = ""
    lines: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    keys: tuple[tuple[str, str], ...] = ()
    mode: str = "asking"
    heard: str = ""
    typed: str = ""
    message: str = ""
    keys_only: bool = False
    countdown: tuple[str, float] | None = None
    caution: str = ""
    lost: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        """Give the keys their names: earlier versions recorded labels, and their boards must equal those of today."""
        for part in ("choices", "keys"):
            given = getattr(self, part)
            object.__setattr__(self, part, tuple((named(key), words) for key, words in given))
