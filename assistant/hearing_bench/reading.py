"""Reads `audio_fixtures/hearing-test.json` strictly and reports every mistake with its line.

The file is JSON. It is read twice: once to check that it is JSON, and once by the reader of the procedures, which
remembers lines (JSON is YAML as well).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from assistant import files
from assistant.core.dialogue.states import State
from assistant.core.library import tree
from assistant.errors import FileProblem
from assistant.hearing.baynoise import KINDS
from assistant.hearing_bench.manifest import (
    SAY,
    SYNTHESISERS,
    Answers,
    BenchVoice,
    Hours,
    Manifest,
    Other,
    Quick,
    Recording,
    Recordings,
    SpeechInNoise,
    SpokenPhrase,
    SpokenPhrases,
    Turns,
)
from assistant.hearing_bench.mixing import CLEAN_DB

if TYPE_CHECKING:
    from collections.abc import Callable

_Made = TypeVar("_Made")

STATES = tuple(state.value for state in State)
"""Names of the states of the dialogue."""


def read_manifest(path: Path) -> Manifest:
    """Read a manifest.

    Raises:
        FileProblem: It cannot be read, is not JSON, or has a part that is missing, unknown, or of the wrong kind.
    """
    try:
        data = files.read_bytes(path, files.SETTINGS)
    except OSError as error:
        raise FileProblem(path, 0, f"the manifest cannot be read ({error.strerror})") from error
    try:
        json.loads(data)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", 0)
        raise FileProblem(path, line, "this is not JSON", "Write one object") from error
    return _Reader(path, tree.parse(data, str(path))).manifest()


class _Reader:
    """A map of the file: each part is taken once, by name; leftovers are mistakes."""

    def __init__(self, path: Path, node: tree.Node) -> None:
        if not isinstance(node, tree.MapNode):
            raise FileProblem(path, node.line, f"this is {tree.type_names[type(node).__name__]}", "Write {…}")
        self.path, self.node, self.line = path, node, node.line
        self._left = dict(node.items)
        self._left.pop("about", None)

    def wrong(self, name: str, what: str) -> FileProblem:
        return FileProblem(self.path, self.node.key_lines.get(name, self.line), f"'{name}' {what}")

    def take(self, name: str) -> tree.Node:
        if name not in self._left:
            raise FileProblem(self.path, self.line, f"'{name}' is missing", "Add it")
        return self._left.pop(name)

    def has(self, name: str) -> bool:
        return name in self._left

    def end(self) -> None:
        for name in self._left:
            known = ", ".join(taken for taken in self.node.items if taken not in self._left)
            raise FileProblem(
                self.path, self.node.key_lines[name], f"'{name}' means nothing here", f"Known are {known}"
            )

    # --- values ---

    def text(self, name: str) -> str:
        node = self.take(name)
        if not isinstance(node, tree.TextNode):
            raise self.wrong(name, "is not a text")
        return node.value

    def number(self, name: str, least: float, most: float) -> float:
        return self._number(name, self.take(name), least, most)

    def whole(self, name: str, least: int, most: int) -> int:
        value = self.number(name, least, most)
        if value != int(value):
            raise self.wrong(name, "is not a whole number")
        return int(value)

    def _number(self, name: str, node: tree.Node, least: float, most: float) -> float:
        try:
            value = float(node.value) if isinstance(node, tree.TextNode) and not node.quoted else None
        except ValueError:
            value = None
        if value is None or not least <= value <= most:
            raise self.wrong(name, f"is not a number from {least:g} to {most:g}")
        return value

    def items(self, name: str) -> list[tree.Node]:
        node = self.take(name)
        if not isinstance(node, tree.ListNode):
            raise self.wrong(name, "is no list")
        return node.items

    def texts(self, name: str, known: tuple[str, ...] | None = None) -> tuple[str, ...]:
        return tuple(text for text, _ in self.lines(name, known))

    def lines(self, name: str, known: tuple[str, ...] | None = None) -> list[tuple[str, int]]:
        found = []
        for node in self.items(name):
            if not isinstance(node, tree.TextNode):
                raise self.wrong(name, "holds something that is not a text")
            if known is not None and node.value not in known:
                raise FileProblem(
                    self.path, node.line, f"there is no '{node.value}' here", f"Known are {', '.join(known)}"
                )
            found.append((node.value, node.line))
        return found

    def pair(self, name: str, least: float, most: float) -> tuple[float, float]:
        values = [self._number(name, node, least, most) for node in self.items(name)]
        if len(values) != 2 or values[0] > values[1]:
            raise self.wrong(name, "is not two numbers, the smaller one first")
        return values[0], values[1]

    def levels(self, name: str) -> tuple[float, ...]:
        """Ratios in dB; "clean" is `CLEAN_DB`."""
        return tuple(
            CLEAN_DB
            if isinstance(node, tree.TextNode) and node.value == "clean"
            else self._number(name, node, -20, 60)
            for node in self.items(name)
        )

    def map(self, name: str, make: Callable[[_Reader, str], _Made]) -> dict[str, _Made]:
        node = self.take(name)
        if not isinstance(node, tree.MapNode):
            raise self.wrong(name, "is no map of names")
        inner = _Reader(self.path, node)
        return {key: make(inner, key) for key in list(inner._left)}

    def each(self, name: str, make: Callable[[_Reader], _Made]) -> tuple[_Made, ...]:
        made = []
        for node in self.items(name):
            reader = _Reader(self.path, node)
            made.append(make(reader))
            reader.end()
        return tuple(made)

    def inner(self, name: str, make: Callable[[_Reader], _Made]) -> _Made:
        reader = _Reader(self.path, self.take(name))
        made = make(reader)
        reader.end()
        return made

    # --- the manifest ---

    def manifest(self) -> Manifest:
        voices = self.map("voices", lambda r, key: r.inner(key, lambda v: _voice(v, key)))
        questions = self.map("questions", _question)
        spoken, asked = tuple(voices), tuple(questions)
        answers = self.each("answers", lambda r: _answers(r, spoken))
        recordings = self.each("recordings", lambda r: _recordings(r, asked))
        other = self.each("other", lambda r: _other(r, spoken, asked))
        said = tuple(one.name for one in other if one.sentences)
        made = Manifest(
            path=self.path,
            seed=self.whole("seed", 0, 10**9),
            mixing=SpeechInNoise(
                lead_s=self.number("lead_s", 0, 10),
                tail_s=self.number("tail_s", 0, 10),
                speech_dbfs=self.number("speech_dbfs", -60, -6),
                stretch=self.number("stretch", 0, 0.5),
                levels_db=self.levels("levels_db"),
                noises=self.texts("noises", KINDS),
            ),
            voices=voices,
            questions=questions,
            answers=answers,
            phrases=self.each("phrases", lambda r: _phrases(r, spoken, asked)) if self.has("phrases") else (),
            recordings=recordings,
            other=other,
            hours=self.inner("hours", lambda r: _hours(r, said, spoken, asked)),
            turns=self.inner("turns", lambda r: _turns(r, tuple(part.name for part in answers))),
            quick=self.inner(
                "quick",
                lambda r: Quick(r.number("share", 0.01, 1), r.levels("levels_db"), r.number("hours", 0, 100)),
            ),
        )
        self.end()
        names = made.parts()
        for name in names:
            if names.count(name) > 1:
                raise FileProblem(self.path, 0, f"two parts are named '{name}'", "Give each its own name")
        return made


def _voice(reader: _Reader, name: str) -> BenchVoice:
    synthesiser = reader.text("synthesiser")
    if synthesiser not in SYNTHESISERS:
        raise reader.wrong("synthesiser", f"is not one of {', '.join(SYNTHESISERS)}")
    return BenchVoice(name, synthesiser, reader.text("voice"))


def _question(reader: _Reader, name: str) -> tuple[str, str]:
    procedure, slash, step = reader.text(name).partition("/")
    if not slash:
        raise reader.wrong(name, "is not 'procedure/step'")
    return procedure, step


def _answers(reader: _Reader, voices: tuple[str, ...]) -> Answers:
    say = reader.text("say")
    if say not in SAY:
        raise reader.wrong("say", f"is not one of {', '.join(SAY)}")
    return Answers(
        reader.text("name"),
        say,
        reader.texts("where"),
        reader.texts("voices", voices),
        reader.whole("count", 1, 10_000),
        reader.line,
    )


def _phrases(reader: _Reader, voices: tuple[str, ...], questions: tuple[str, ...]) -> SpokenPhrases:
    def at(inner: _Reader) -> list[SpokenPhrase]:
        question, state = inner.text("question"), inner.text("state")
        if question not in questions:
            raise inner.wrong("question", f"is not one of {', '.join(questions)}")
        if state not in STATES:
            raise inner.wrong("state", f"is not one of {', '.join(STATES)}")
        said = inner.map(
            "words", lambda r, words: SpokenPhrase(question, state, words, r.text(words), r.line)
        )
        return list(said.values())

    return SpokenPhrases(
        reader.text("name"),
        reader.texts("voices", voices),
        reader.whole("takes", 1, 1000),
        tuple(phrase for some in reader.each("at", at) for phrase in some),
    )


def _recordings(reader: _Reader, questions: tuple[str, ...]) -> Recordings:
    speaker = reader.text("speaker") if reader.has("speaker") else ""
    if reader.has("words"):
        words = reader.map("words", lambda r, key: (key, r.text(key)))
        clips = tuple(Recording(file, said, speaker) for said, file in words.values())
    else:
        clips = reader.each("clips", lambda r: Recording(r.text("file"), r.text("words"), r.text("speaker")))
    question = reader.text("question") if reader.has("question") else None
    if question is not None and question not in questions:
        raise reader.wrong("question", f"is not one of {', '.join(questions)}")
    return Recordings(
        reader.text("name"),
        reader.text("package"),
        Path(reader.text("folder")),
        clips,
        question,
        "\n".join(reader.texts("grammar")) if reader.has("grammar") else "",
        reader.map("same", lambda r, key: r.text(key)) if reader.has("same") else {},
        reader.whole("join", 1, 10_000) if reader.has("join") else 0,
        reader.line,
    )


def _other(reader: _Reader, voices: tuple[str, ...], questions: tuple[str, ...]) -> Other:
    name = reader.text("name")
    asked = reader.texts("questions", questions) if reader.has("questions") else ()
    if reader.has("files"):
        files = reader.texts("files")
        package, folder = reader.text("package"), Path(reader.text("folder"))
        speaker = reader.text("speaker")
        clips = tuple(Recording(file, "", speaker) for file in files)
        found = Recordings(name, package, folder, clips, None, "", {}, 0, reader.line)
        if not asked:
            raise reader.wrong("questions", "is missing or empty")
        return Other(name, (), (), found, asked)
    said: list[tuple[str, str, int]] = []
    if asked:
        for number, (words, line) in enumerate(reader.lines("sentences")):
            said.append((asked[number % len(asked)], words, line))
    else:
        by_question = reader.map("sentences", lambda r, key: r.lines(key))
        for question, sentences in by_question.items():
            if question not in questions:
                raise reader.wrong("sentences", f"names '{question}', which is no question")
            said += [(question, words, line) for words, line in sentences]
    return Other(name, reader.texts("voices", voices), tuple(said), None, asked)


def _hours(
    reader: _Reader, said: tuple[str, ...], voices: tuple[str, ...], questions: tuple[str, ...]
) -> Hours:
    question, chatter = reader.text("question"), reader.text("chatter")
    if question not in questions:
        raise reader.wrong("question", f"is not one of {', '.join(questions)}")
    if chatter not in said:
        raise reader.wrong("chatter", f"is not one of {', '.join(said)}")
    return Hours(
        reader.number("hours", 0, 1000),
        question,
        chatter,
        reader.texts("voices", voices),
        reader.number("block_s", 10, 600),
        reader.pair("noise_db", -90, 0),
        reader.pair("chatter_db", -90, 0),
        reader.number("gap_s", 0.1, 3600),
    )


def _turns(reader: _Reader, answers: tuple[str, ...]) -> Turns:
    return Turns(
        reader.texts("of", answers),
        reader.whole("count", 1, 10_000),
        reader.levels("levels_db"),
        reader.number("tail_s", 1, 10),
    )
