"""Settings in use: the command that shows and sets them, `run` and `sessions` with them, and options that win."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from calling import KEYS_ONLY, Refused, call
from recorded import BAD_COIL, folder as recorded_folder, scripted

from assistant import places
from assistant.cli import main
from assistant.commands import parser
from assistant.commands.options import board_options, own_procedures_folder, sessions_folder
from assistant.commands.settled import settle
from assistant.errors import UsageProblem
from assistant.record.header import HEADER_FILE, Shop, parse_header
from assistant.writeup import write_html, write_text

pytestmark = pytest.mark.usefixtures("own_home")


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The place of the settings of this test."""
    path = tmp_path / "settings.toml"
    monkeypatch.setenv(places.SETTINGS_VARIABLE, str(path))
    return path


def options_of(*arguments: str) -> Any:
    """`run` with these arguments, filled from the settings."""
    options = parser().parse_args(["run", *arguments])
    options.settled = settle(options, resumed=bool(options.resume))
    return options


# --- the command ----------------------------------------------------------------------------------


def test_each_value_is_shown_with_where_it_comes_from(
    file: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Option, variable, file and default, in the list and as JSON."""
    file.write_text('voice = "espeak"\nheadset = true\n', encoding="utf-8")
    monkeypatch.setenv("BAY_ASSISTANT_PAD", "Numbers")
    assert 0 == main(["settings", "--json", "--", "--no-headset"])
    body = json.loads(capsys.readouterr().out)
    found = {row["key"]: (row["value"], row["from"], row["place"]) for row in body["settings"]}
    assert ("espeak", "file", f"{file}:1") == found["voice"]
    assert (False, "option", "--headset") == found["headset"]
    assert ("Numbers", "environment", "BAY_ASSISTANT_PAD") == found["pad"]
    assert (175, "default", "") == found["speech-rate"]
    assert 0 == main(["settings"])
    said = capsys.readouterr().out
    assert [f"voice             {'espeak':<30}  file, line 1"] == [
        line for line in said.splitlines() if line.startswith("voice ")
    ]
    assert str(file) in said


def test_settings_are_set_and_taken_out(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All at once or none; the result is told on standard error, and a comment stays."""
    file.write_text("# ours\n", encoding="utf-8")
    assert 0 == main(
        ["settings", "--set", "shop.name", "Elm Street Garage", "--set", "technicians.JD", "Jane Doe"]
    )
    assert f"Written: {file}" in (said := capsys.readouterr()).err
    assert "" == said.out
    written = file.read_text(encoding="utf-8")
    assert '[shop]\nname = "Elm Street Garage"\n' in written
    assert written.startswith("# ours\n")
    assert 2 == main(["settings", "--set", "silent", "yes", "--set", "speech-rate", "fast"])
    assert written == file.read_text(encoding="utf-8")
    assert 0 == main(["settings", "--unset", "technicians.JD"])
    assert "Jane" not in file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--set", "voise", "heart"], "There is no setting 'voise'. Perhaps you meant 'voice'."),
        (["--set", "speech-rate", "fast"], "speech-rate is 'fast'. Right would be a whole number from 80 to 450."),
        (["--set", "sessions", "jobs"], "Right would be the whole path of a folder"),
        (["--unset", "nothing"], "There is no setting 'nothing'."),
        (["--set", "silent", "yes", "--check"], "Leave out what only shows it."),
    ],
)  # fmt: skip
def test_what_cannot_be_set_is_refused(refused: Refused, file: Path, arguments: list[str], said: str) -> None:
    """One sentence with what would be right, and no file."""
    assert said in refused("settings", *arguments)
    assert not file.exists()


def test_a_check_finds_every_mistake(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line for each with its place, also for a folder that is not there; the status is that of a finding."""
    file.write_text('voise = 1\nboard = "x"\nprocedures = "/nowhere/at/all"\n', encoding="utf-8")
    assert 1 == main(["settings", "--check"])
    lines = capsys.readouterr().out.splitlines()
    assert [f"{file}:{number}:" for number in (1, 2, 3)] == [line.split(" ")[0] for line in lines]
    assert "does not exist" in lines[2]
    assert 0 == main(["settings", "--unset", "voise", "--unset", "board", "--unset", "procedures"])
    assert 0 == main(["settings", "--check"])
    assert "no mistake" in capsys.readouterr().out


# --- run ------------------------------------------------------------------------------------------


def test_wrong_settings_stop_a_session_before_it_is_made(file: Path, tmp_path: Path) -> None:
    """One sentence with file and line, status 2, no folder; `--no-settings` goes on without them."""
    file.write_text("silent = true\nvoise = 'heart'\n", encoding="utf-8")
    done = call("run", *KEYS_ONLY, "--sessions", tmp_path / "sessions")
    assert (2, "") == (done.returncode, done.stdout)
    assert (
        done.stderr == f"bay-assistant: {file}:2: there is no setting 'voise'. Perhaps you meant 'voice'.\n"
    )
    assert not (tmp_path / "sessions").exists()
    done = call("run", *KEYS_ONLY, "--no-settings", "--sessions", tmp_path / "sessions")
    assert (0, "") == (done.returncode, done.stderr)


def test_commands_that_need_no_settings_go_on(
    file: Path, session: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A broken file hinders neither `verify` and `writeup` of a folder, nor the demo, which reads none."""
    file.write_text("this is no TOML", encoding="utf-8")
    assert 0 == main(["verify", str(session)])
    assert 0 == main(["writeup", str(session)])
    assert "settings" not in capsys.readouterr().err
    monkeypatch.setattr("assistant.preferences.keeping.load", lambda: pytest.fail("the settings were read"))
    monkeypatch.setattr("assistant.demo.running.run", lambda *_, **__: 0)
    assert 0 == main(["demo", "--out", str(file.parent / "demo")])


@pytest.mark.parametrize(
    "command",
    [
        ("lint",),
        ("lint", "--speech"),
        ("prove", "coil-control"),
        ("picture", "--procedure", "coil-control", "--step", "feed-and-switched"),
        ("procedures",),
        ("procedures", "coil-control"),
        ("hear", "--procedure", "coil-control", "--step", "feed-and-switched", "nothing.wav"),
        ("learn", "--word", "she is lit", "--means", "lit"),
        ("sessions", "--odds"),
        ("run", *KEYS_ONLY),
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_every_command_takes_the_procedures_that_are_set(
    command: tuple[str, ...], file: Path, procedures: Path, refused: Refused
) -> None:
    """One folder for all: each command stumbles over the mistake in the folder that the file of settings names."""
    (procedures / "terms.yaml").write_text("places: 1\n", encoding="utf-8")
    file.write_text(f'procedures = "{procedures}"\n', encoding="utf-8")
    assert f"bay-assistant: {procedures}/terms.yaml:1: " in refused(*command)


def test_procedures_that_are_set_can_be_left_out(
    file: Path, tmp_path: Path, procedures: Path, refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An option and the variable win over the file; a folder that is gone is told with the line that names it."""
    file.write_text(f'voise = 1\nprocedures = "{tmp_path}/gone"\n', encoding="utf-8")
    assert f"{file}:2 names {tmp_path}/gone, which is no folder" in refused("procedures")
    assert 0 == main(["procedures", "--procedures", "bundled"])
    assert 0 == main(["procedures", "--procedures", ""])
    options = parser().parse_args(["run", "--no-settings"])
    assert own_procedures_folder(options) is None
    monkeypatch.setenv("BAY_ASSISTANT_PROCEDURES", str(procedures))
    assert procedures == own_procedures_folder(parser().parse_args(["lint"]))


def test_only_the_key_that_is_needed_has_to_be_right(file: Path, tmp_path: Path) -> None:
    """Past sessions are found though another setting is wrong; an option or the environment goes before the file."""
    file.write_text(f'sessions = "{tmp_path}/kept"\nvoise = 1\n', encoding="utf-8")
    options = parser().parse_args(["sessions"])
    assert tmp_path / "kept" == sessions_folder(options)
    assert tmp_path / "other" == sessions_folder(
        parser().parse_args(["sessions", "--sessions", f"{tmp_path}/other"])
    )
    assert places.sessions_folder() == sessions_folder(parser().parse_args(["sessions", "--sessions", ""]))


def test_every_setting_can_be_taken_back_by_its_option(file: Path) -> None:
    """What the file turns on, an option turns off; what it names, an empty option takes back."""
    file.write_text(
        'technician = "JD"\nmicrophone = "a"\nloudspeaker = "b"\nheadset = true\npad = "c"\nkeys-only = true\n'
        'silent = true\nplain = true\nvoice = "espeak"\nspeech-rate = 120\nboard = true\nboard-watch = true\n'
        'board-cert = "/d"\nboard-address = "e"\nboard-port = 99\n',
        encoding="utf-8",
    )
    plain = options_of()
    assert ("a", "b", "c", "espeak", 120, "JD") == (
        plain.microphone, plain.speaker, plain.pad, plain.voice, plain.speech_rate, plain.technician,
    )  # fmt: skip
    assert all((plain.headset, plain.keys_only, plain.silent, plain.plain, plain.board, plain.board_watch))
    assert Path("/d") == plain.board_cert
    back = options_of(
        "--technician", "", "--microphone", "", "--loudspeaker", "", "--no-headset", "--no-pad", "--no-keys-only",
        "--no-silent", "--no-plain", "--voice", "heart", "--speech-rate", "175", "--no-board", "--procedures", "",
    )  # fmt: skip
    assert not any((back.technician, back.microphone, back.speaker, back.headset, back.pad, back.keys_only))
    assert not any((back.silent, back.plain))
    assert own_procedures_folder(back) is None
    assert ("heart", 175) == (back.voice, back.speech_rate)
    assert board_options(back) is None
    bare = board_options(
        options_of("--no-board-watch", "--board-cert", "", "--board-address", "", "--board-port", "0")
    )
    assert bare is not None
    assert (False, None, "", 0) == (bare.watch, bare.certificate, bare.address, bare.port)


def test_what_belongs_to_a_board(file: Path) -> None:
    """An address needs a board, from wherever; an option that means a board turns it on; contradictions are refused."""
    with pytest.raises(UsageProblem, match="belong to a board"):
        options_of("--board-address", "x")
    with pytest.raises(UsageProblem, match="exclude each other"):
        options_of("--no-board", "--board-watch")
    assert options_of("--board-watch").board
    file.write_text("board = true\n", encoding="utf-8")
    assert "x" == options_of("--board-address", "x").board_address
    file.write_text("board-watch = true\nboard-port = 99\n", encoding="utf-8")
    assert board_options(options_of()) is None


def test_a_resumed_session_keeps_its_own(file: Path) -> None:
    """Voice, rate and technician of a session that goes on are those of its record, unless an option says so."""
    file.write_text(
        'voice = "espeak"\nspeech-rate = 120\ntechnician = "JD"\nheadset = true\n', encoding="utf-8"
    )
    options = options_of("--resume", "last")
    assert (None, None, None, True) == (
        options.voice,
        options.speech_rate,
        options.technician,
        options.headset,
    )
    assert "heart" == options_of("--resume", "last", "--voice", "heart").voice


def test_initials_become_a_name(file: Path) -> None:
    """In capitals or small letters; what is not known stays as it was typed."""
    file.write_text('[technicians]\nJD = "Jane Doe"\n', encoding="utf-8")
    settled = options_of().settled
    assert ["Jane Doe", "Jane Doe", "RA", ""] == [settled.name_of(given) for given in ("JD", "jd", "RA", "")]


SHOP = """
technician = "jd"
clamp = "DC clamp to 40 A"
[shop]
name = "Elm Street Garage"
address = "12 Elm Street\\nSpringfield"
telephone = "555 0100"
[technicians]
JD = "Jane Doe"
[lamp]
kind = "bulb"
current = 0.3
"""


def test_the_record_and_the_write_up_carry_the_shop(file: Path, tmp_path: Path) -> None:
    """From the header, so that the write-up stays what it is when the settings change or are gone."""
    file.write_text(SHOP, encoding="utf-8")
    done = call("run", *KEYS_ONLY, "--sessions", tmp_path / "sessions")
    assert (0, "") == (done.returncode, done.stderr)
    assert "Test lamp, as set: bulb type, 0.3 A." in done.stdout
    (folder,) = (tmp_path / "sessions").iterdir()
    header = parse_header((folder / HEADER_FILE).read_bytes(), HEADER_FILE)
    assert (
        Shop("Elm Street Garage", "12 Elm Street\nSpringfield", "555 0100", "DC clamp to 40 A") == header.shop
    )
    assert ("Jane Doe", "filament", "0.3") == (
        header.facts.technician, header.facts.lamp_kind, header.facts.lamp_current,
    )  # fmt: skip
    file.unlink()
    text = write_text(folder)
    assert text.startswith(
        "Elm Street Garage\n12 Elm Street\nSpringfield\n555 0100\n\nDIAGNOSIS AND REPAIR\n"
    )
    assert "Technician:   Jane Doe\n" in text
    assert "Test lamp: bulb type (typed before the session)" in text
    assert (
        '<div class="shop"><b>Elm Street Garage</b><div>12 Elm Street, Springfield, 555 0100</div>'
        in write_html(folder)
    )
    assert "clamp to 40" not in text  # nothing was measured with it


def test_options_win_over_shop_lamp_and_clamp(file: Path, tmp_path: Path) -> None:
    """What an option of `run` says goes into the header in place of the setting, and "" takes a setting back."""
    file.write_text(SHOP, encoding="utf-8")
    said = [
        "--shop-name", "Oak Road Garage", "--shop-address", "1 Oak Road\\nSpringfield", "--shop-telephone", "",
        "--lamp", "led", "--lamp-current", "0.02 A", "--clamp", "AC/DC clamp",
    ]  # fmt: skip
    done = call("run", *KEYS_ONLY, *said, "--sessions", tmp_path / "sessions")
    assert (0, "") == (done.returncode, done.stderr)
    assert "Test lamp, as set: LED light, 0.02 A." in done.stdout
    (folder,) = (tmp_path / "sessions").iterdir()
    header = parse_header((folder / HEADER_FILE).read_bytes(), HEADER_FILE)
    assert Shop("Oak Road Garage", "1 Oak Road\nSpringfield", "", "AC/DC clamp") == header.shop
    assert ("led", "0.02") == (header.facts.lamp_kind, header.facts.lamp_current)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--lamp", "gas"], "lamp.kind is 'gas'. Right would be 'bulb'"),
        (["--lamp-current", "90"], "lamp.current is 90.0. Right would be a number from 0.005 to 6 (A)"),
        (["--shop-name", "x" * 81], "Right would be text of 1 to 80 characters"),
    ],
)
def test_an_option_takes_what_its_setting_takes(
    capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    """A wrong value is refused in the words of the settings, before anything is made."""
    with pytest.raises(SystemExit):
        parser().parse_args(["run", *arguments])
    assert said in capsys.readouterr().err


def test_without_a_shop_nothing_stands_above_the_title(tmp_path: Path) -> None:
    """A session without settings, and one of an earlier version, begin as they always did."""
    folder = recorded_folder(tmp_path, scripted(*BAD_COIL))
    assert write_text(folder).startswith("DIAGNOSIS AND REPAIR\n")
    assert '<div class="shop">' not in write_html(folder)
    path = folder / HEADER_FILE
    body = json.loads(path.read_bytes())
    del body["shop"], body["facts"]["lamp_kind"], body["facts"]["lamp_current"]
    old = parse_header(json.dumps(body).encode(), HEADER_FILE)
    assert (Shop(), "") == (old.shop, old.facts.lamp_kind)


# --- the questions --------------------------------------------------------------------------------


class Typing:
    """Answers questions, and keeps what was asked."""

    def __init__(self, *answers: str | None) -> None:
        self.answers = list(answers)
        self.asked: list[str] = []

    def __call__(self, question: str) -> str | None:
        self.asked.append(question)
        return self.answers.pop(0)


def test_at_most_three_questions_and_only_what_is_not_set(capsys: pytest.CaptureFixture[str]) -> None:
    """Who, order, complaint; one that is set is not asked; the end of the input ends the questions."""
    from assistant.commands.first_minutes import ask_facts  # noqa: PLC0415

    typing = Typing("JD", "", "cranks, no start")
    options: Any = SimpleNamespace(technician=None, order=None, complaint=None)
    ask_facts(options, typing)
    assert (3, "JD", "", "cranks, no start") == (
        len(typing.asked), options.technician, options.order, options.complaint,
    )  # fmt: skip
    assert "bay-assistant settings --set technician JD" in capsys.readouterr().out
    typing = Typing("4711", None)
    options = SimpleNamespace(technician="JD", order=None, complaint=None)
    ask_facts(options, typing)
    assert ["Repair order number: ", "The customer's complaint: "] == typing.asked
    assert ("4711", None) == (options.order, options.complaint)


def test_gear_that_fails_is_told_in_a_sentence_and_left_out_after_a_yes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No microphone: by keys. No loudspeaker: by the screen. No sound system: both at once. And n stops."""
    from assistant.commands import first_minutes, gear_check  # noqa: PLC0415
    from assistant.errors import GearProblem  # noqa: PLC0415

    def broken(*_: object) -> str:
        raise GearProblem("It is not plugged in.")

    def options() -> Any:
        return SimpleNamespace(
            silent=False, keys_only=False, microphone=None, speaker=None, voice=None, speech_rate=None
        )

    monkeypatch.setattr(gear_check, "sound_trouble", lambda: "")
    monkeypatch.setattr(gear_check, "try_loudspeaker", lambda *_: "spoke.")
    monkeypatch.setattr(gear_check, "try_microphone", broken)
    first_minutes.try_gear(tried := options(), Typing(""))
    assert (False, True) == (tried.silent, tried.keys_only)
    assert "Microphone: It is not plugged in." in capsys.readouterr().out
    with pytest.raises(GearProblem, match="Stopped before a session"):
        first_minutes.try_gear(options(), Typing("n"))
    monkeypatch.setattr(gear_check, "try_loudspeaker", broken)
    first_minutes.try_gear(tried := options(), Typing("", ""))
    assert (True, True) == (tried.silent, tried.keys_only)
    monkeypatch.setattr(gear_check, "sound_trouble", lambda: "PortAudio is missing.")
    typing = Typing("")
    first_minutes.try_gear(tried := options(), typing)
    assert (True, True, 1) == (tried.silent, tried.keys_only, len(typing.asked))


@pytest.mark.parametrize(
    "more", [["--resume", "last"], ["coil-control"], ["--order", "1"], ["--technician", ""], []]
)
def test_nobody_is_asked_who_knows_what_to_give(more: list[str]) -> None:
    """A fact, a procedure, a resumed session, or no terminal: no question."""
    from assistant.commands.first_minutes import due  # noqa: PLC0415

    assert not due(parser().parse_args(["run", *more]))
