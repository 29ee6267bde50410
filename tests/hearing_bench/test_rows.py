"""Every kind of row, made from small stand-ins: what is in it, and that two processes count the same as one."""

from __future__ import annotations

import importlib.util
import json
import shutil
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from assistant import resources
from assistant.cli import main
from assistant.hearing.sound import RATE
from assistant.hearing_bench.manifest import NAME, BenchVoice
from assistant.hearing_bench.speech import SpeechCache

BUNDLED = resources.directory("audio_fixtures") / NAME
WORDS = ("car", "tree", "dog")
ORDERS = {"a.flac": "small coffee with milk", "b.flac": "large coffee", "c.flac": "large coffee with milk"}
SLOTS = {
    "a.flac": {"coffeeDrink": "coffee", "size": "small", "milkAmount": "milk"},
    "b.flac": {"coffeeDrink": "coffee", "size": "large"},
    "c.flac": {"coffeeDrink": "coffee", "size": "large", "milkAmount": "milk"},
}

pytestmark = pytest.mark.skipif(shutil.which("flite") is None, reason="flite speaks the stand-ins")


def small(folder: Path) -> Path:
    """A manifest with little in every row, a set of three words, and three orders, all spoken by flite."""
    data: dict[str, Any] = json.loads(BUNDLED.read_text(encoding="utf-8"))
    data["levels_db"] = ["clean"]
    data["answers"] = [part | {"voices": ["flite-slt"], "count": 1} for part in data["answers"]]
    data["phrases"], data["recordings"] = [], []
    data["other"] = [
        data["other"][0] | {"voices": ["flite-slt"], "sentences": data["other"][0]["sentences"][:1]}
    ]
    data["hours"] |= {"hours": 20 / 3600, "voices": ["flite-slt"], "block_s": 10, "gap_s": 2}
    rows = data["rows"]
    rows["orders"] |= {"levels_db": ["clean"], "talk_db": [18], "voices": ["flite-rms"], "beside": 1}
    rows["single-words"] |= {"choices": 2, "levels_db": ["clean"], "beside": 1}
    rows["radio"] |= {"of": ["lamp"], "count": 1, "talk_db": [18], "voices": ["flite-rms"]}
    rows["radio"]["sentences"] = rows["radio"]["sentences"][:2]
    rows["hardships"] |= {"count": 1, "levels_dbfs": [-42], "over_db": [6]}
    rows["cut-files"] |= {"questions": ["lamp"], "voices": ["flite-slt"], "count": 1}
    at = rows["nobody"]["at"][:1]
    rows["nobody"] |= {"voices": ["flite-slt"], "levels_db": ["clean"], "at": at}
    rows["made-misses"] |= {"voices": ["flite-slt"], "levels_db": ["clean"], "at": at, "count": 2}
    rows["digits"] |= {"count": 1, "levels_db": ["clean"]}
    path = folder / NAME
    path.write_text(json.dumps(data, indent=1), encoding="utf-8")
    speech = SpeechCache(folder / "cache")
    voice = BenchVoice("flite-slt", "flite", "slt")
    for folder_name, said in (("words", {f"{one}.wav": one for one in WORDS}), ("orders", ORDERS)):
        (folder / folder_name).mkdir()
        for name, words in said.items():
            sound = np.rint(speech.say(voice, words) * 32767).astype(np.int16)
            soundfile.write(folder / folder_name / name, sound, RATE)
    (folder / "orders" / "labels.json").write_text(json.dumps(SLOTS), encoding="utf-8")
    (folder / "orders-held.json").write_text('[["a.flac"], ["b.flac", "c.flac"]]', encoding="utf-8")
    one = {
        "name": "words, made",
        "package": "p",
        "folder": str(folder / "words"),
        "files": ["*.wav"],
        "speaker": "x",
    }
    absent = one | {"name": "words, absent", "folder": "/nowhere"}
    (folder / "people-words.json").write_text(json.dumps({"sets": [one, absent]}), encoding="utf-8")
    return path


def bench(folder: Path, manifest: Path, *arguments: str) -> dict[str, Any]:
    made = folder / "figures.json"
    options = ["--manifest", str(manifest), "--cache", str(folder / "cache"), "--out", str(made)]
    options += ["--orders", str(folder / "orders")]
    assert main(["bench", "hearing", *options, *arguments]) == 0
    figures: dict[str, Any] = json.loads(made.read_text(encoding="utf-8"))
    return figures


def test_every_row_is_heard_in_each_of_its_conditions(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Orders clean and under talk, words among ten and not, a radio, levels, a room, cut files, nobody, too early."""
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    groups = [
        "orders",
        "single-words",
        "radio",
        "hardships",
        "cut-files",
        "nobody",
        "made-misses",
        "digits",
        "live-talk",
        "early",
    ]
    figures = bench(tmp_path, small(tmp_path), "--jobs", "1", "--only", *groups)
    counted = {(row["part"], row["level"]): row["n"] for row in figures["rows"]}
    assert counted.pop(("talk to nobody, through the ear", "near")) >= 3
    counted.pop(("talk to nobody, through the ear", "15 dB farther"), None)
    early = {place: counted.pop(place) for place in list(counted) if "the assistant's end" in place[0]}
    assert early[("lamp, begun after the assistant's end", "0.4 s")] == 1
    assert early[("readings, begun before the assistant's end", "0.2 s")] == 1
    before = [row for row in figures["rows"] if "before the assistant's end" in row["part"]]
    assert sum(row["wrong"] for row in before) == 0
    assert counted == {
        ("orders", "clean"): 3,
        ("orders, one person talking", "18 dB under"): 3,
        ("orders, one synthetic voice talking", "18 dB under"): 3,
        ("words, made", "clean"): 3,
        ("words, made, not among the choices", "clean"): 3,
        ("lamp, a radio talking", "18 dB under"): 1,
        ("lamp, level", "-42 dBFS"): 1,
        ("lamp, clipped", "6 dB over full scale"): 1,
        ("lamp, room", "1.2 s"): 1,
        ("lamp, telephone", "clean"): 1,
        ("lamp, telephone", "10 dB"): 1,
        ("files cut tightly, heard by `hear`", "clean"): 1,
        ("addressed to nobody, people", "clean"): 6,
        ("addressed to nobody, synthetic voices", "clean"): 2,
        ("near misses, made", "clean"): 2,
        ("readings, first turn", "clean"): 1,
        ("readings, digit by digit", "clean"): 1,
        ("readings, in two turns", "clean"): 1,
    }
    said = {row["part"] for row in figures["rows"] if row["in_grammar"]}
    assert {part for part, _ in counted} - said == {
        "words, made, not among the choices",
        "addressed to nobody, people",
        "addressed to nobody, synthetic voices",
        "near misses, made",
    }
    assert sum(row["right"] for row in figures["rows"] if row["part"] == "orders") >= 2
    assert figures["silent"]["bundled model"]["all"]["answers"] == sum(
        row["n"] for row in figures["rows"] if row["in_grammar"]
    )
    out = capsys.readouterr().out
    assert "The recordings 'words, absent' are left out" in out
    assert "by what it would do" in out


def test_two_processes_count_what_one_counts(tmp_path: Path) -> None:
    """The same utterances with the same results, whoever hears them, beside the other recogniser as well."""
    manifest = small(tmp_path)
    groups = ["--only", "remarks", "single-words", "hours"]
    one = bench(tmp_path, manifest, *groups, "--jobs", "1")
    two = bench(tmp_path, manifest, *groups, "--jobs", "2")
    key = lambda row: (row["part"], row["recogniser"], row["level"])  # noqa: E731
    assert sorted(one["rows"], key=key) == sorted(two["rows"], key=key)
    assert one["hours"]["bundled model"]["hours"] == two["hours"]["bundled model"]["hours"]
    names = {row["recogniser"] for row in one["rows"]}
    assert len(names) == 1 + (importlib.util.find_spec("pocketsphinx") is not None)


def test_without_their_folder_orders_are_left_out_and_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The recordings are not part of the program."""
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    options = ["--manifest", str(small(tmp_path)), "--cache", str(tmp_path / "cache"), "--jobs", "1"]
    assert main(["bench", "hearing", *options, "--only", "orders"]) == 0
    assert "name the folder of their recordings with --orders" in capsys.readouterr().out
