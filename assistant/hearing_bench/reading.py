"""Reads `audio_fixtures/hearing-test.json` strictly and reports every mistake with its line."""

from __future__ import annotations

from pathlib import Path

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
    ThroughTheEar,
    Turns,
)
from assistant.hearing_bench.reader import StrictReader, opened
from assistant.hearing_bench.reading_rows import STATES, rows_plan


def read_manifest(path: Path) -> Manifest:
    """Read a manifest.

    Raises:
        FileProblem: It cannot be read, is not JSON, or has a part that is missing, unknown, or of the wrong kind.
    """
    return _manifest(opened(path))


def _manifest(reader: StrictReader) -> Manifest:
    voices = reader.map("voices", lambda r, key: r.inner(key, lambda v: _voice(v, key)))
    questions = reader.map("questions", _question)
    spoken, asked = tuple(voices), tuple(questions)
    answers = reader.each("answers", lambda r: _answers(r, spoken))
    recordings = reader.each("recordings", lambda r: _recordings(r, asked))
    other = reader.each("other", lambda r: _other(r, spoken, asked))
    said = tuple(one.name for one in other if one.sentences)
    made = Manifest(
        path=reader.path,
        seed=reader.whole("seed", 0, 10**9),
        mixing=SpeechInNoise(
            lead_s=reader.number("lead_s", 0, 10),
            tail_s=reader.number("tail_s", 0, 10),
            speech_dbfs=reader.number("speech_dbfs", -60, -6),
            stretch=reader.number("stretch", 0, 0.5),
            levels_db=reader.levels("levels_db"),
            noises=reader.texts("noises", KINDS),
        ),
        voices=voices,
        questions=questions,
        answers=answers,
        phrases=reader.each("phrases", lambda r: _phrases(r, spoken, asked)) if reader.has("phrases") else (),
        recordings=recordings,
        other=other,
        ear=ThroughTheEar(
            reader.inner("hours", lambda r: _hours(r, said, spoken, asked)),
            reader.inner("turns", lambda r: _turns(r, tuple(part.name for part in answers))),
        ),
        rows=reader.inner(
            "rows",
            lambda r: rows_plan(r, spoken, asked, tuple(part.name for part in answers), said),
        ),
        quick=reader.inner(
            "quick",
            lambda r: Quick(r.number("share", 0.01, 1), r.levels("levels_db"), r.number("hours", 0, 100)),
        ),
    )
    reader.end()
    names = made.parts()
    for name in names:
        if names.count(name) > 1:
            raise FileProblem(reader.path, 0, f"two parts are named '{name}'", "Give each its own name")
    return made


def _voice(reader: StrictReader, name: str) -> BenchVoice:
    synthesiser = reader.text("synthesiser")
    if synthesiser not in SYNTHESISERS:
        raise reader.wrong("synthesiser", f"is not one of {', '.join(SYNTHESISERS)}")
    return BenchVoice(name, synthesiser, reader.text("voice"))


def _question(reader: StrictReader, name: str) -> tuple[str, str]:
    procedure, slash, step = reader.text(name).partition("/")
    if not slash:
        raise reader.wrong(name, "is not 'procedure/step'")
    return procedure, step


def _answers(reader: StrictReader, voices: tuple[str, ...]) -> Answers:
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


def _phrases(reader: StrictReader, voices: tuple[str, ...], questions: tuple[str, ...]) -> SpokenPhrases:
    def at(inner: StrictReader) -> list[SpokenPhrase]:
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


def _recordings(reader: StrictReader, questions: tuple[str, ...]) -> Recordings:
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


def _other(reader: StrictReader, voices: tuple[str, ...], questions: tuple[str, ...]) -> Other:
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
    reader: StrictReader, said: tuple[str, ...], voices: tuple[str, ...], questions: tuple[str, ...]
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


def _turns(reader: StrictReader, answers: tuple[str, ...]) -> Turns:
    return Turns(
        reader.texts("of", answers),
        reader.whole("count", 1, 10_000),
        reader.levels("levels_db"),
        reader.number("tail_s", 1, 10),
    )
