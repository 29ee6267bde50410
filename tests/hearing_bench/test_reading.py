"""The manifest of the hearing measurement: the bundled one is sound, and a wrong one is refused with its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from assistant import resources
from assistant.errors import FileProblem
from assistant.hearing_bench.manifest import NAME
from assistant.hearing_bench.mixing import CLEAN_DB
from assistant.hearing_bench.reading import read_manifest

BUNDLED = resources.directory("audio_fixtures") / NAME
TEXT = BUNDLED.read_text(encoding="utf-8")


def test_the_bundled_manifest_holds_what_the_documents_promise() -> None:
    """Sixty remarks, clean sound first, an unheard voice by two synthesisers, and no voice that does not exist."""
    manifest = read_manifest(BUNDLED)
    assert manifest.mixing.levels_db == (CLEAN_DB, 20, 10, 5, 0)
    assert [len(one.sentences) for one in manifest.other if one.name == "remarks"] == [60]
    assert {manifest.voices[voice].synthesiser for voice in manifest.answers[0].voices} == {
        "flite",
        "festival",
    }
    assert set(manifest.mixing.noises) == {"fans", "compressor", "cranking", "impact-wrench"}
    assert manifest.parts()[-3:] == ("hours", "turns", "memory")


def test_the_measured_voices_speak_nothing_that_a_model_is_tuned_with() -> None:
    """Answers and remarks are said by the held-out speaker and by eSpeak only; others may chatter."""
    manifest = read_manifest(BUNDLED)
    parts = (*manifest.answers, *manifest.phrases, *manifest.other)
    spoken = {manifest.voices[voice] for part in parts for voice in part.voices}
    assert all(
        voice.voice in ("slt", "voice_cmu_us_slt_arctic_hts") or voice.synthesiser == "espeak-ng"
        for voice in spoken
    )


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('"seed": 20261125', '"seed": "many"', "'seed' is not a number"),
        ('"seed": 20261125', '"seed": 1.5', "'seed' is not a whole number"),
        ('"seed": 20261125', '"sead": 20261125', "'seed' is missing"),
        ('"stretch": 0.08', '"stretch": 7', "'stretch' is not a number from 0 to 0.5"),
        ('"fans", "compressor", "cranking"', '"fans", "surf", "cranking"', "there is no 'surf' here"),
        ('"say": "control"', '"say": "nonsense"', "'say' is not one of outcome, control, reading"),
        ('"synthesiser": "festival"', '"synthesiser": "fest"', "'synthesiser' is not one of"),
        ('"count": 30', '"count": 30, "loud": 1', "'loud' means nothing here"),
        (
            '"lamp": "coil-and-driver/led',
            '"lamp": "coil-and-driver-led',
            "'lamp' is not 'procedure/step'",
        ),
        ('"noise_db": [-50, -22]', '"noise_db": [-22, -50]', "'noise_db' is not two numbers"),
        ('"chatter": "remarks"', '"chatter": "gossip"', "'chatter' is not one of remarks"),
        ('"of": ["lamp", "control"', '"of": ["lamps", "control"', "there is no 'lamps' here"),
        ('"question": "volts",\n', '"question": "weight",\n', "'question' is not one of"),
        ('"name": "near-misses"', '"name": "remarks"', "two parts are named 'remarks'"),
    ],
)
def test_a_wrong_part_is_named_with_its_line(tmp_path: Path, old: str, new: str, problem: str) -> None:
    """Each mistake is found, named, and placed in the file."""
    assert TEXT.count(old) >= 1
    path = tmp_path / "wrong.json"
    path.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(FileProblem, match=re.escape(problem)) as caught:
        read_manifest(path)
    if "missing" not in problem and "two parts" not in problem:
        assert caught.value.line == line_of(TEXT, old)
        assert str(caught.value).startswith(f"{path}:{caught.value.line}: ")


@pytest.mark.parametrize("data", [b"", b"[]", b"{", b'{"seed": 1,}', b"\xff", b"null", b'{"a": 1, "a": 2}'])
def test_what_is_no_manifest_is_refused(tmp_path: Path, data: bytes) -> None:
    """Any bytes give a manifest or the one documented error."""
    path = tmp_path / "wrong.json"
    path.write_bytes(data)
    with pytest.raises(FileProblem):
        read_manifest(path)


def test_a_missing_manifest_is_named(tmp_path: Path) -> None:
    """The sentence names the file."""
    with pytest.raises(FileProblem, match="cannot be read"):
        read_manifest(tmp_path / "none.json")
