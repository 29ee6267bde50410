"""The course of a lesson without sound gear: what to say next, and what was heard."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from assistant.core.values.result import Control
from assistant.learning.prompts import ToSay, prompt_for
from assistant.learning.takes import Take, is_well, other_words, scores

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.library import Library
    from assistant.core.values.result import Result
    from assistant.grammar.grammar_set import GrammarSet
    from assistant.hearing.sound import Samples

MOST_OTHERS = 5
"""Most answers for which other words are tried at the end; each takes about eight seconds."""

TIMES = 2
"""How often each of those is said."""


class Lesson:
    """Which words come next, and the takes so far.

    Args:
        listed: What to say; "stop" comes last.
        library: The procedures, whose steps hear the words.
        grammars: The grammars with own words.

    Attributes:
        takes: What was said so far.
        ended: Whether the lesson is over.
    """

    def __init__(self, listed: Sequence[ToSay], library: Library, grammars: GrammarSet) -> None:
        self._library = library
        self._grammars = grammars
        last = [one for one in listed if one.result.control is Control.STOP]
        self._left = deque(one for one in listed if one.result.control is not Control.STOP)
        self._last = deque(last)
        self._others = False
        self._asked = 0
        self.takes: list[Take] = []
        self.ended = not (self._left or self._last)

    @property
    def prompt(self) -> ToSay | None:
        """What is to be said now; None when the lesson is over."""
        if self.ended:
            return None
        return self._left[0] if self._left else self._last[0]

    @property
    def position(self) -> tuple[int, int]:
        """The number of this word, and of all words."""
        return self._asked + 1, self._asked + len(self._left) + len(self._last)

    def heard(self, words: str, result: Result | None, sound: Samples, *, accepted: bool) -> Take | None:
        """Somebody spoke: a take of what was asked for, or the end of the lesson (None).

        Args:
            words: The words, "" for none.
            result: Their meaning; None if they have none.
            sound: The sound.
            accepted: Whether it would count in a session.
        """
        prompt = self.prompt
        if prompt is None:
            return None
        right = result == prompt.result
        if result is not None and result.control is Control.STOP and not right:
            self.stop()
            return None
        take = Take(prompt, words, right=right, accepted=accepted, sound=sound)
        self.takes.append(take)
        self.go_on()
        return take

    def stop(self) -> None:
        """End the lesson; what was said so far counts."""
        self.ended = True

    def go_on(self) -> None:
        """Go to the next word, which may be other words for what was heard badly."""
        self._asked += 1
        if self._left:
            self._left.popleft()
        elif self._last:
            self._last.popleft()
        if not self._left and not self._others:
            self._others = True
            self._left.extend(self._other_prompts())
        self.ended = not (self._left or self._last)

    def _other_prompts(self) -> list[ToSay]:
        """Other words for answers that were heard badly, to see whether they are heard better."""
        heard = scores(self.takes)
        found: list[ToSay] = []
        for words, score in heard.items():
            if is_well(score) or len(found) >= MOST_OTHERS:
                continue
            for other in other_words(words, self._grammars, heard)[:3]:
                prompt = prompt_for(self._library, self._grammars, other)
                if prompt is not None:
                    found.append(prompt)
                    break
        return found * TIMES
