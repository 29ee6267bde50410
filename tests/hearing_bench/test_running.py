"""The measurement as a whole, small: a few utterances by flite, through the real recogniser and the real ear."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from assistant import resources
from assistant.cli import main
from assistant.core.values.result import Control, Result
from assistant.errors import GearProblem
from assistant.hearing_bench import report
from assistant.hearing_bench.kept_rows import KeptRows
from assistant.hearing_bench.manifest import NAME, BenchVoice, Recording, Recordings
from assistant.hearing_bench.measurements import HeardUtterance, HearingFigures
from assistant.hearing_bench.scoring import Hearing
from assistant.hearing_bench.speech import SpeechCache, missing_recordings
from assistant.hearing_bench.working import Done, Worker, WorkPiece

BUNDLED = resources.directory("audio_fixtures") / NAME


def small() -> dict[str, Any]:
    """The bundled manifest, cut down to a few utterances of flite."""
    data: dict[str, Any] = json.loads(BUNDLED.read_text(encoding="utf-8"))
    data["levels_db"] = ["clean", 5]
    data["answers"] = [part | {"voices": ["flite-slt"], "count": 1} for part in data["answers"]]
    data["phrases"] = [
        {
            "name": "shop",
            "voices": ["flite-slt"],
            "takes": 2,
            "at": [{"question": "lamp", "state": "reading back", "words": {"yep": "affirm"}}],
        }
    ]
    data["recordings"] = [part | {"folder": "/nowhere"} for part in data["recordings"][:1]]
    remarks = data["other"][0]
    data["other"] = [remarks | {"voices": ["flite-slt"], "sentences": remarks["sentences"][:2]}]
    data["hours"] |= {"hours": 10 / 3600, "voices": ["flite-slt"], "block_s": 10, "gap_s": 2}
    data["turns"] |= {"of": ["lamp"], "count": 1, "levels_db": ["clean"]}
    rows = data["rows"]
    rows["radio"] |= {"of": ["lamp"], "count": 1, "talk_db": [18], "voices": ["flite-rms"]}
    rows["radio"]["sentences"] = rows["radio"]["sentences"][:1]
    rows["hardships"] |= {"count": 1, "levels_dbfs": [-52], "over_db": [6]}
    rows["cut-files"] |= {"questions": ["lamp"], "voices": ["flite-slt"], "count": 1}
    rows["nobody"] |= {"voices": ["flite-slt"], "levels_db": ["clean"], "at": rows["nobody"]["at"][:1]}
    rows["made-misses"] |= {
        "at": rows["made-misses"]["at"][:1],
        "count": 1,
        "voices": ["flite-slt"],
        "levels_db": ["clean"],
    }
    rows["digits"] |= {"count": 1, "levels_db": ["clean"]}
    return data


OLD = ("lamp", "control", "readings", "shop", "remarks", "people-numbers", "hours", "turns", "memory")


def bench(folder: Path, *arguments: str, status: int = 0) -> dict[str, Any]:
    path = folder / "small.json"
    path.write_text(json.dumps(small(), indent=1), encoding="utf-8")
    made = folder / "figures.json"
    (folder / "people-words.json").write_text('{"sets": []}', encoding="utf-8")
    options = ["--manifest", str(path), "--cache", str(folder / "cache"), "--out", str(made), "--jobs", "1"]
    assert main(["bench", "hearing", *options, *arguments]) == status
    figures: dict[str, Any] = json.loads(made.read_text(encoding="utf-8"))
    return figures


needs_flite = pytest.mark.skipif(shutil.which("flite") is None, reason="flite speaks the test set")


@needs_flite
def test_a_small_measurement_from_manifest_to_figures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every utterance is counted once for each ratio; what is missing is said, and the rest is measured."""
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    figures = bench(tmp_path, "--svg", str(tmp_path / "figures.svg"), "--only", *OLD)
    said = capsys.readouterr()
    ours = [row for row in figures["rows"] if row["recogniser"] == "bundled model"]
    assert {(row["part"], row["level"]): row["n"] for row in ours} == {
        (part, level): count
        for part, count in {"lamp": 1, "control": 1, "readings": 1, "shop": 2, "remarks": 2}.items()
        for level in ("clean", "5 dB")
    }
    assert all(row["right"] + row["wrong"] + row["rejected"] == row["n"] for row in figures["rows"])
    assert sum(row["right"] for row in ours if row["level"] == "clean") >= 2
    assert not any(row["right"] for row in figures["rows"] if not row["in_grammar"])
    assert figures["hours"]["bundled model"]["hours"] == pytest.approx(10 / 3600, abs=0.001)
    assert [turn["level"] for turn in figures["turns"]] == ["clean"]
    assert len(figures["turns"][0]["all_s"]) == 1
    assert 0 < figures["real_time_factor"]["bundled model"]
    assert 20 < figures["memory_mb"]["bundled model"] < 300
    assert re.fullmatch("[0-9a-f]{12}", figures["models"]["bundled model"])
    assert "The recordings 'people-numbers' are left out: none of them is in /nowhere" in said.out
    assert "asterisk-core-sounds-en-wav" in said.out
    assert "PocketSphinx is left out" in said.out
    assert "remarks" in said.err
    assert (tmp_path / "figures.svg").read_text(encoding="utf-8").startswith("<svg")


@needs_flite
def test_a_second_run_gives_the_same_from_the_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is synthesised again, and PocketSphinx beside ours changes nothing about ours."""
    first = bench(tmp_path, "--only", "lamp", "remarks")
    beside = [row["n"] for row in first["rows"] if row["recogniser"].startswith("PocketSphinx")]
    assert beside == ([1, 1, 1, 1] if importlib.util.find_spec("pocketsphinx") else [])
    kept = {path: path.stat().st_mtime_ns for path in (tmp_path / "cache").iterdir()}
    monkeypatch.setattr("assistant.hearing_bench.speech.shutil.which", lambda _name: None)
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    second = bench(tmp_path, "--only", "lamp", "remarks")
    ours = [row for row in first["rows"] if row["recogniser"] == "bundled model"]
    assert ours == second["rows"]
    assert first["reliability"]["bundled model"] == second["reliability"]["bundled model"]
    assert kept == {path: path.stat().st_mtime_ns for path in (tmp_path / "cache").iterdir()}


@needs_flite
def test_a_measurement_that_is_broken_off_keeps_its_rows_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ctrl-C ends it with what is kept; going on measures only the rest, and all figures but times are the same.

    It goes on only with the same options, and what is finished is no longer kept.
    """
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    parts = ("--only", "lamp", "control", "remarks", "hours")
    whole = bench(tmp_path, *parts)
    heard: list[str] = []
    hear = Worker.do

    def until(worker: Worker, piece: WorkPiece, progress: Callable[[str], None]) -> Done:
        if piece.part == "remarks" and not heard.count("remarks"):
            heard.append("remarks")
            raise KeyboardInterrupt
        heard.append(piece.part)
        return hear(worker, piece, progress)

    monkeypatch.setattr(Worker, "do", until)
    begun = bench(tmp_path, *parts, status=130)
    assert "Interrupted. 2 of 4 rows are kept (lamp, control)" in capsys.readouterr().err
    assert begun["unfinished"] == ["remarks", "hours"]
    assert {row["part"] for row in begun["rows"]} == {"lamp", "control"}
    assert main(["bench", "hearing", "--go-on", "--cache", str(tmp_path / "cache"), "--only", "lamp"]) == 2
    assert "Nothing is kept of a measurement with these options" in capsys.readouterr().err
    ended = bench(tmp_path, *parts, "--go-on")
    assert heard == ["lamp", "control", "remarks", "remarks", "hours"]
    assert ended["unfinished"] == []
    assert "Measured in 2 goes." in ended["notes"]
    for name in ("rows", "reliability", "silent", "accepted", "hours", "models"):
        assert ended[name] == whole[name]
    assert not list((tmp_path / "cache").glob("measured-*"))


@needs_flite
def test_kept_rows_that_are_damaged_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half a file, or one of another form, is named, and nothing is measured from it."""
    monkeypatch.setattr(Worker, "do", lambda *_: Done())
    monkeypatch.setattr(KeptRows, "forget", lambda _: None)
    bench(tmp_path, "--only", "lamp")
    (file,) = (tmp_path / "cache").glob("measured-*")
    for damage in ("", "{", '{"began": "", "goes": 1, "took_s": 0}\n[]\n', "[]"):
        file.write_text(damage, encoding="utf-8")
        bench(tmp_path, "--only", "lamp", "--go-on", status=2)
        assert f"{file} is damaged" in capsys.readouterr().err


def test_an_unknown_part_lists_the_parts(capsys: pytest.CaptureFixture[str]) -> None:
    """`--only` with a wrong name says which there are."""
    assert main(["bench", "hearing", "--only", "lamps"]) == 2
    assert (
        "There is no part 'lamps'. Did you mean 'lamp'? Parts: lamp, control, readings"
        in capsys.readouterr().err
    )


def test_a_file_that_cannot_be_written_is_refused_before_anything_is_measured(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A quarter of an hour is not measured for nothing."""
    assert main(["bench", "hearing", "--out", str(tmp_path / "none" / "figures.json")]) == 2
    assert "does not exist" in capsys.readouterr().err


@pytest.mark.parametrize("hours", ["-1", "many", "nan", "1e9"])
def test_hours_are_a_number_that_can_be_waited_for(hours: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Anything else is refused in a sentence."""
    with pytest.raises(SystemExit) as caught:
        main(["bench", "hearing", f"--hours={hours}"])
    assert caught.value.code == 2
    assert f"'{hours}' is not a number of hours from 0 to 1000" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments", [["--model", "/nowhere", "hearing"], ["hearing", "--model", "/nowhere"]]
)
def test_a_model_that_is_not_there_is_named(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Before anything is measured, and wherever the option stands."""
    assert main(["bench", *arguments]) == 2
    assert "There is no recogniser model at /nowhere" in capsys.readouterr().err


def test_a_synthesiser_that_is_not_there_is_named_with_its_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence says what to install."""
    monkeypatch.setattr("assistant.hearing_bench.speech.shutil.which", lambda _name: None)
    why = SpeechCache(tmp_path).missing(BenchVoice("festival-slt", "festival", "voice_cmu_us_slt_arctic_hts"))
    assert why == (
        "The voice 'festival-slt' is left out: festival is not installed "
        "(Debian packages: festival festvox-us-slt-hts)."
    )


@needs_flite
def test_a_voice_that_the_synthesiser_lacks_is_not_replaced_by_another(tmp_path: Path) -> None:
    """Flite itself would take another voice and speak on; that would be measured as something else."""
    with pytest.raises(GearProblem, match="flite has no voice 'nobody'"):
        SpeechCache(tmp_path).say(BenchVoice("x", "flite", "nobody"), "ready")
    assert not list(tmp_path.iterdir())


@needs_flite
def test_a_damaged_cache_is_made_again(tmp_path: Path) -> None:
    """A file that is no sound is replaced by the same sentence."""
    voice = BenchVoice("flite-slt", "flite", "slt")
    spoken = SpeechCache(tmp_path).say(voice, "ready")
    (file,) = tmp_path.iterdir()
    file.write_bytes(b"nothing")
    assert (SpeechCache(tmp_path).say(voice, "ready") == spoken).all()


def test_one_missing_recording_is_named(tmp_path: Path) -> None:
    """A package of another version may lack one file: the row is left out, and the file is named."""
    (tmp_path / "1.wav").touch()
    clips = (Recording("1.wav", "one", "x"), Recording("2.wav", "two", "x"))
    part = Recordings("numbers", "some-package", tmp_path, clips, None, "", {}, 0, 1)
    assert "2.wav is not in" in missing_recordings(part)
    assert "some-package" in missing_recordings(part)


def test_what_was_taken_for_something_else_is_listed_by_meaning() -> None:
    """Each pair of meanings with its number in each condition; what was right or rejected is not in it."""
    yes, no = Result(control=Control.AFFIRM), Result(control=Control.NEGATIVE)
    made = HearingFigures("a machine", "2026-01-01T00:00+00:00", False, {"model": "abc"})
    for level, heard, accepted in (
        ("10 dB", yes, True),
        ("10 dB", no, True),
        ("5 dB", no, True),
        ("5 dB", no, False),
    ):
        made.records.append(
            HeardUtterance("model", "yes-no", "x", level, Hearing(yes, heard, accepted, 0.95, 0.1, 2.0))
        )
    assert "| yes-no | affirm | negative | 2 | 10 dB 1, 5 dB 1 |" in report.text(made)
    assert report.text(made).count("| yes-no |") == 1


def test_the_table_shows_counts_as_shares_with_their_interval() -> None:
    """Worked by hand: 3 of 4 right, one wrong and sure; the interval is that of `wilson`."""
    lit, dim = Result(outcome="lit"), Result(outcome="dim")
    made = HearingFigures("a machine", "2026-01-01T00:00+00:00", False, {"model": "abc"})
    for result in (lit, lit, lit, dim):
        made.records.append(
            HeardUtterance("model", "lamp", "x", "10 dB", Hearing(lit, result, True, 0.9999, 0.1, 2.0))
        )
    assert "| lamp, x | 4 | model | 75 [30-95] / 25 / 0 · 25 |" in report.text(made)
    assert "| model | 0.050 |" in report.text(made)
    assert report.to_json(made)["rows"][0]["sure_wrong"] == 1
