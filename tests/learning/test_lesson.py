"""The course of a lesson, without sound gear."""

from __future__ import annotations

import io
import random
import threading
from collections.abc import Callable

import numpy as np
import pytest

from assistant import resources
from assistant.core.values.events import GearLost, Heard, NoMatch
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.grammar.grammar_set import GrammarSet
from assistant.learning import advice, sitting
from assistant.learning.learnt import Learnt
from assistant.learning.lesson import Lesson
from assistant.learning.prompts import ToSay, prompts
from assistant.learning.sitting import Sitting
from assistant.learning.takes import scores
from assistant.loading.folder import load_library
from assistant.screen.terminal import LineScreen

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
LIBRARY = load_library(resources.directory("procedures"))
LISTED = prompts(LIBRARY, GRAMMARS, (), random.Random(1))  # noqa: S311
SOUND = np.zeros(1600, np.int16)
STOP = Result(control=Control.STOP)


def lesson(count: int | None = None) -> Lesson:
    listed = LISTED if count is None else [*LISTED[:count], LISTED[-1]]
    return Lesson(listed, LIBRARY, GRAMMARS)


def test_some_twenty_words_come_twice_in_random_order_and_stop_comes_last() -> None:
    """Each word is heard by a real step; half of the words teach and the other half checks, never one word both."""
    words = [one.words for one in LISTED[:-1]]
    assert 18 <= len(set(words)) <= 26
    assert all(words.count(one) == 2 for one in words)
    assert LISTED[-1].words == "stop"
    teach = {one.words for one in LISTED if one.teaches}
    check = {one.words for one in LISTED if not one.teaches}
    assert not teach & check
    assert abs(len(teach) - len(check)) <= 2
    assert all(GRAMMARS.request(one.request).parse(one.words) == one.result for one in LISTED)
    assert words != [one.words for one in prompts(LIBRARY, GRAMMARS, (), random.Random(2))[:-1]]  # noqa: S311


def test_stop_ends_it_at_any_time_and_keeps_what_was_said() -> None:
    """The word ends a lesson while something else is asked for."""
    course = lesson()
    first = course.prompt
    assert first is not None
    course.heard(first.words, first.result, SOUND, accepted=True)
    assert course.heard("stop", STOP, SOUND, accepted=True) is None
    assert course.ended
    assert course.prompt is None
    assert [take.right for take in course.takes] == [True]


def test_a_word_that_is_heard_badly_is_tried_in_other_words_at_the_end() -> None:
    """The other form has the same meaning, comes twice, before "stop"; the advice names it if it was heard."""
    course = lesson(4)
    bad = LISTED[0]
    later: list[ToSay] = []
    while (prompt := course.prompt) is not None:
        if prompt.words in [one.words for one in LISTED[:4]]:
            wrong = prompt.words == bad.words
            course.heard(
                "" if wrong else prompt.words, None if wrong else prompt.result, SOUND, accepted=not wrong
            )
        else:
            later.append(prompt)
            course.heard(prompt.words, prompt.result, SOUND, accepted=True)
    assert [one.words for one in later[:-1]] == [later[0].words] * 2
    assert later[0].result == bad.result or later[0].words != bad.words
    assert later[-1].words == "stop"
    text = list(advice.lines(Learnt("Sam", scores=scores(course.takes)), GRAMMARS))
    assert any(
        f"Not heard well: {bad.words}" in one and f"Say '{later[0].words}' instead" in one for one in text
    )


class Out:
    """A loudspeaker that is done at once."""

    def play(self, speech: object, on_finished: Callable[[bool], object]) -> None:
        on_finished(False)

    def cut(self) -> None:
        pass


class SlowOut(Out):
    """A loudspeaker that speaks until it is cut; `then` is what happens meanwhile, on another thread."""

    def __init__(self) -> None:
        self.then: Callable[[], object] = self.cut
        self.played = 0
        self._finished: Callable[[bool], object] | None = None

    def play(self, speech: object, on_finished: Callable[[bool], object]) -> None:
        self.played += 1
        self._finished = on_finished
        threading.Thread(target=self.then).start()

    def cut(self) -> None:
        finished, self._finished = self._finished, None
        if finished is not None:
            finished(True)


class Voice:
    """A voice without sound."""

    def render(self, text: str) -> str:
        return text


class Technician:
    """Stands for the ear: answers what is listened for by a script, from another thread."""

    def __init__(self, answer: Callable[[int, GrammarRequest], object]) -> None:
        self.answer, self.count = answer, 0
        self.sitting: Sitting | None = None

    def listen(self, request: GrammarRequest) -> None:
        self.count += 1
        threading.Thread(target=self.answer, args=(self.count, request)).start()

    def pause(self) -> None:
        pass


def held(course: Lesson, answer: Callable[[Sitting, int], object]) -> None:
    made = Sitting(course, Voice(), Out(), LineScreen(open("/dev/null", "w")), lambda: 0.0)  # type: ignore[arg-type]  # noqa: PTH123, SIM115
    made.ears = Technician(lambda count, _: answer(made, count))  # type: ignore[assignment]
    made.run()


def say(made: Sitting, course: Lesson) -> None:
    prompt = course.prompt
    assert prompt is not None
    made.keep(SOUND)
    made.happened(lambda at: Heard(at, prompt.words, prompt.result, 0.9))


def test_a_whole_lesson_by_voice() -> None:
    """Every word is asked once when every word is heard, and each take has its sound."""
    course = lesson(6)
    held(course, lambda made, _: say(made, course))
    assert len(course.takes) == 7
    assert all(take.right and take.accepted and take.sound.size for take in course.takes)


def test_keys_say_again_skip_and_stop() -> None:
    """Enter asks again for the same word, plus leaves it out, Escape ends."""
    course = lesson(6)
    asked: list[str] = []

    def press(made: Sitting, count: int) -> None:
        assert course.prompt is not None
        asked.append(course.prompt.words)
        made.press({1: "enter", 2: "plus", 3: "7", 4: "stop"}.get(count, "stop"))
        if count == 3:
            made.press("stop")

    held(course, press)
    assert asked[0] == asked[1] == LISTED[0].words
    assert asked[2] == LISTED[1].words
    assert course.takes == []
    assert course.ended


def test_a_lost_microphone_and_a_signal_end_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was said before counts; a microphone that is not back after two silences is not waited for."""
    monkeypatch.setattr(sitting, "SILENCE_S", 0.05)
    for end in (lambda made: made.happened(lambda at: GearLost(at, "microphone", "gone")), Sitting.leave):
        course = lesson(6)
        held(
            course, lambda made, count, end=end, course=course: say(made, course) if count == 1 else end(made)
        )
        assert len(course.takes) == 1
        assert course.ended


@pytest.mark.parametrize("end", [Sitting.leave, lambda made: made.press("stop")])
def test_the_end_waits_for_no_word(end: Callable[[Sitting], object]) -> None:
    """Ctrl-C or Escape cuts the word that the assistant is saying; the loudspeaker here would say it for ever."""
    course, output = lesson(6), SlowOut()
    made = Sitting(course, Voice(), output, LineScreen(io.StringIO()), lambda: 0.0)  # type: ignore[arg-type]
    output.then = lambda: end(made)
    made.run()
    assert (course.ended, output.played) == (True, 1)


def test_silence_leaves_a_word_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """After two silences the next word comes; a no-match is a take that was not understood."""
    monkeypatch.setattr(sitting, "SILENCE_S", 0.05)
    course = lesson(2)

    def answer(made: Sitting, count: int) -> None:
        if count == 3:
            made.keep(SOUND)
            made.happened(lambda at: NoMatch(at, "", 0.1))
        elif count > 3:
            made.press("stop")

    held(course, answer)
    assert [(take.prompt.words, take.right) for take in course.takes] == [(LISTED[1].words, False)]
