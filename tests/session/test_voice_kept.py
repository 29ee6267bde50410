"""The voice of a session is kept in its record, and a resumed session goes on in it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from assistant import speaking
from assistant.errors import GearProblem, RecordBroken
from assistant.record import Facts
from assistant.record.header import HEADER_FILE, Header, HeardBy, SpokenBy, parse_header
from assistant.session.edges import open_voice
from assistant.session.live import _log_and_voice
from assistant.session.settings import Gear, Settings
from assistant.speaking.naming import DEFAULT_VOICE


def of_session(settings: Settings) -> tuple[str, int, SpokenBy]:
    """Voice and rate of a session, and what its record says about them."""
    log, voice = _log_and_voice(settings, None, HeardBy())
    log.close()
    return voice.voice_name, voice.rate_words_per_minute, log.header.spoken_by


def test_a_resumed_session_keeps_its_voice(tmp_path: Path) -> None:
    """It goes on in the voice and at the rate that it began with, unless others are named, each for itself."""
    new = Settings("coil-control", Facts(), tmp_path, gear=Gear(voice="gmw/en-us+f3", speech_rate=150))
    kept = SpokenBy("gmw/en-us+f3", 150)
    assert of_session(new) == (kept.voice, kept.rate, kept)
    again = replace(new, resume="last", gear=Gear())
    assert of_session(again) == (kept.voice, kept.rate, kept)
    assert of_session(replace(again, gear=Gear(voice="heart"))) == ("heart", 150, kept)
    assert of_session(replace(again, gear=Gear(speech_rate=200))) == (kept.voice, 200, kept)


def test_without_a_wish_the_default_is_kept(tmp_path: Path) -> None:
    """A later version with another default goes on as the session began."""
    new = Settings("coil-control", Facts(), tmp_path)
    assert of_session(new)[2] == SpokenBy(DEFAULT_VOICE, speaking.DEFAULT_RATE)


def test_a_record_without_a_voice_is_resumed_in_the_default(tmp_path: Path) -> None:
    """Sessions of earlier versions, and silent ones, say nothing about a voice."""
    new = Settings("coil-control", Facts(), tmp_path, gear=Gear(silent=True))
    assert of_session(new)[2] == SpokenBy()
    (folder,) = tmp_path.iterdir()
    header = json.loads((folder / HEADER_FILE).read_bytes())
    del header["spoken_by"]
    assert parse_header(json.dumps(header).encode(), "session.json").spoken_by == SpokenBy()
    assert of_session(replace(new, resume="last", gear=Gear()))[:2] == (DEFAULT_VOICE, speaking.DEFAULT_RATE)


@pytest.mark.parametrize(
    "spoken_by", [{"voice": 3}, {"rate": "fast"}, {"rate": True}, {"rate": 1.5}, [], "heart", None]
)
def test_a_damaged_voice_is_a_damaged_header(spoken_by: object, tmp_path: Path) -> None:
    """Anything else than a name and a whole number is told as damage."""
    settings = Settings("coil-control", Facts(), tmp_path, gear=Gear(silent=True))
    log, _ = _log_and_voice(settings, None, HeardBy())
    log.close()
    header = json.loads((log.folder / HEADER_FILE).read_bytes()) | {"spoken_by": spoken_by}
    with pytest.raises(RecordBroken):
        parse_header(json.dumps(header).encode(), "session.json")


def test_a_header_is_read_as_it_was_written() -> None:
    """Voice and rate survive the file."""
    header = parse_header(replace(_header(), spoken_by=SpokenBy("heart", 175)).to_bytes(), "session.json")
    assert header.spoken_by == SpokenBy("heart", 175)


def _header() -> Header:
    from datetime import UTC, datetime  # noqa: PLC0415

    return Header("2026-11-28-0802-k7f3", datetime(2026, 11, 28, tzinfo=UTC), "0.1.0")


def test_a_voice_that_does_not_exist_is_refused_before_there_is_a_record(tmp_path: Path) -> None:
    """ESpeak NG knows its own voices, so a wrong one is found out by letting it speak, and no session is made."""
    wanted = Gear(voice="gmw/en-us+nobody")
    with pytest.raises(GearProblem, match="There is no voice named"):
        open_voice(wanted, SpokenBy())
    with pytest.raises(GearProblem, match="There is no voice named"):
        _log_and_voice(Settings("coil-control", Facts(), tmp_path / "sessions", gear=wanted), None, HeardBy())
    assert not (tmp_path / "sessions").exists()
