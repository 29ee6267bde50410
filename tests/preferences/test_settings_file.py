"""The file of settings: its reader, its writer and where a value comes from; tomllib is the outside check of TOML."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from assistant import places
from assistant.commands import COMMANDS, parser
from assistant.errors import FileProblem, UsageProblem
from assistant.preferences import keeping
from assistant.preferences.kinds import Value, WholePath
from assistant.preferences.known import KNOWN, SETTINGS, setting_of
from assistant.preferences.reading import SettingsFile, paths, read, statements
from assistant.preferences.resolving import ComesFrom, from_text, resolve, resolve_all
from assistant.preferences.writing import changed

NOTHING = SettingsFile("settings.toml")


def told(text: str) -> list[str]:
    """The problems of a text, a line each."""
    return [str(one) for one in read(text, "s.toml").problems]


# --- the table ------------------------------------------------------------------------------------


def test_every_setting_has_an_option_that_is_called_like_it() -> None:
    """Options win over each setting: the option exists under that name, and its parsed value under that attribute."""
    helps = {name: parser().parse_args([name]) for name in ("run", "sessions")}
    for setting in SETTINGS:
        assert f"--{setting.key.replace('.', '-')}" == setting.option
        assert any(hasattr(found, setting.dest) for found in helps.values()), setting.key
        for found in helps.values():
            assert getattr(found, setting.dest, None) is None, setting.key
    assert len(COMMANDS) > 10


def test_defaults_are_values_that_could_be_set() -> None:
    """A default is right by the setting's own rule, and every variable is named once."""
    for setting in SETTINGS:
        if setting.default is not None:
            assert setting.default == setting.kind.checked(setting.default)
    assert len({setting.variable for setting in SETTINGS}) == len(SETTINGS)


# --- reading --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('\nvoise = "heart"', "s.toml:2: there is no setting 'voise'. Perhaps you meant 'voice'."),
        ('[shop]\nadress = "x"', "s.toml:2: there is no setting 'shop.adress'. Perhaps you meant 'shop.address'."),
        ('adress = "x"', "s.toml:1: there is no setting 'adress'. Perhaps you meant 'shop.address'."),
        ("[voice]\nrate = 9", "s.toml:1: there is no table 'voice'. The tables are"),
        ("[technician]\nJD = 'x'", "s.toml:1: there is no table 'technician'. Perhaps you meant [technicians]."),
        ("[technicians]\nDoe-J = 'x'", "s.toml:2: there is no setting 'technicians.Doe-J'. Initials have 1 to 4"),
        ("speech-rate = 9", "s.toml:1: speech-rate is 9. Right would be a whole number from 80 to 450."),
        ("speech-rate = true", "s.toml:1: speech-rate is true. Right would be a whole number"),
        ('board = "yes"', "s.toml:1: board is 'yes'. Right would be true or false."),
        ('sessions = "jobs"', "s.toml:1: sessions is 'jobs'. Right would be the whole path of a folder"),
        ('voice = "nobody"', "s.toml:1: voice is 'nobody'. Right would be the name of a voice"),
        ('[lamp]\nkind = "neon"', "s.toml:2: lamp.kind is 'neon'. Right would be 'bulb'"),
        ("[lamp]\ncurrent = nan", "s.toml:2: lamp.current is nan. Right would be a number from 0.005 to 6 (A)."),
        ('[shop]\nname = """\na\nb"""', "s.toml:2: shop.name is 'a\\nb'. Right would be text of 1 to 80"),
        ('[shop]\nname = "a\\u001b[2J"', "it holds a character that cannot be printed"),
        ('shop = "x"', "s.toml:1: 'shop' is a table, not a setting. Write [shop] on a line of its own."),
        ("[[shop]]", "s.toml:1: [[shop]] makes a list of tables. Write [shop]."),
        ("silent = true\nvoice = heart", "s.toml:2: this is not TOML (invalid value). A setting is written as"),
        ("x = [1,\n2", "s.toml:2: this is not TOML (unclosed array)."),
    ],
)  # fmt: skip
def test_a_mistake_has_its_line_and_the_cure(text: str, problem: str) -> None:
    """One sentence for each mistake: where it is, what it is, and what would be right."""
    (found,) = told(text)
    assert problem in found


def test_every_mistake_is_found_and_the_right_values_count() -> None:
    """One wrong line hides neither another nor the right ones; each has its own line, behind values of many lines."""
    text = (
        "a = [\n 1,\n]\nsilent = true\nboard = 3\n[technicians]\nJD = 'Jane Doe'\n# none\n[lamp]\nkind = 2\n"
    )
    found = read(text, "s.toml")
    assert [1, 5, 10] == [one.line for one in found.problems]
    assert {"silent": True, "technicians.JD": "Jane Doe"} == dict(found.values)
    assert {"JD": "Jane Doe"} == found.people()
    assert 7 == found.lines["technicians.JD"]
    found.check_key("silent")
    with pytest.raises(FileProblem, match=r"s\.toml:5"):
        found.check_key("board")
    with pytest.raises(FileProblem, match=r"s\.toml:1"):
        found.check()


@given(st.text(max_size=200) | st.binary(max_size=200).map(lambda data: data.decode("utf-8", "replace")))
def test_any_text_gives_values_or_problems(text: str) -> None:
    """Never anything else: no error leaves the reader, and a problem has a line of the text."""
    found = read(text, "s.toml")
    for one in found.problems:
        assert 1 <= one.line <= text.count("\n") + 1
    if not found.problems and not found.broken:
        tomllib.loads(text)


# --- writing --------------------------------------------------------------------------------------

KEYS = [*(setting.key for setting in SETTINGS), "technicians.JD", "technicians.R2", "technicians.x"]


def some_value(key: str) -> st.SearchStrategy[Value]:
    """Values that a setting may have."""
    setting = setting_of(key)
    assert setting is not None
    words = st.text(
        st.characters(categories=("L", "N", "P", "S", "Zs"), exclude_characters="\u2028"), min_size=1
    )
    kinds: dict[str, st.SearchStrategy[Value]] = {
        "YesOrNo": st.booleans(),
        "WholeNumber": st.integers(getattr(setting.kind, "least", 0), getattr(setting.kind, "most", 1)),
        "Amount": st.floats(0.005, 6),
        "OneOf": st.sampled_from(["bulb", "led"]),
        "WholePath": words.map(lambda text: f"/{text}"),
        "VoiceName": st.sampled_from(["heart", "espeak", "gmw/en-us+f3"]),
        "PlainText": words,
    }
    return kinds[type(setting.kind).__name__]


ORDERS = st.lists(
    st.sampled_from(KEYS).flatmap(lambda key: st.tuples(st.just(key), st.none() | some_value(key))),
    max_size=12,
)
BEGINNINGS = [
    "",
    "# our shop\n",
    "# head\n\n# the shop\n[shop]\nname = 'A' # short\n\n# people\n[technicians]\nJD = 'Jane'\n# end\n",
    "shop.name = 'A'   # dotted\nlamp = {kind = 'led'} # inline\nsilent = false",
    "[shop]\naddress = '''\none\ntwo''' # where\n\n[technicians] # nobody yet\n",
]


def flat(text: str) -> dict[str, Any]:
    """Every value of a TOML text by its key, read by tomllib."""
    return {".".join(path): value for path, value in paths(tomllib.loads(text)) if value != {}}


@given(st.sampled_from(BEGINNINGS), ORDERS)
@settings(max_examples=200)
def test_what_is_set_stands_there_and_nothing_else_changes(
    text: str, orders: list[tuple[str, Value | None]]
) -> None:
    """After any settings and removals the file is TOML with exactly these values, and every comment is still there."""
    expected = flat(text)
    comments = [line.partition("#")[2] for line in text.split("\n") if line.lstrip().startswith("#")]
    for key, value in orders:
        text = changed(text, key, value)
        if value is None:
            expected.pop(key, None)
        else:
            expected[key] = value
        assert expected == flat(text)
    assert comments == [line.partition("#")[2] for line in text.split("\n") if line.lstrip().startswith("#")]


def test_a_comment_stays_beside_what_it_is_about() -> None:
    """A new line stands below the last one of its table; a changed line keeps the comment behind it."""
    text = "# head\n\n# the shop\n[shop]\nname = 'A' # short\n\n# people\n[technicians]\n"
    text = changed(text, "shop.address", "Elm Street")
    text = changed(text, "shop.name", "B")
    text = changed(text, "silent", value=True)
    assert text == (
        '# head\n\nsilent = true\n\n# the shop\n[shop]\nname = "B" # short\naddress = "Elm Street"\n\n'
        "# people\n[technicians]\n"
    )
    assert text == changed(changed(text, "board", value=True), "board", None)


def test_statements_have_their_lines() -> None:
    """A value may take several lines; heads open tables, also dotted ones."""
    text = "a = 1\n\nb = [\n 1\n]\n[x.y] # t\nc = '''\n# no comment\n'''\n"
    assert [(1, 1, ()), (3, 5, ()), (6, 6, ("x", "y")), (7, 9, ("x", "y"))] == [
        (one.first, one.last, one.table) for one in statements(text)
    ]


# --- where a value comes from ---------------------------------------------------------------------


@given(st.sampled_from([setting.key for setting in SETTINGS]), st.data())
def test_option_environment_file_default(key: str, data: st.DataObject) -> None:
    """The first of these that says something wins, and the place tells which."""
    setting = KNOWN[key]
    value = data.draw(some_value(key))
    written = SettingsFile("s.toml", {key: value}, {key: 7})
    assert (setting.default, ComesFrom.DEFAULT) == _of(resolve(setting, {}, {}, NOTHING))
    assert (value, ComesFrom.FILE, "s.toml:7") == (
        *_of(found := resolve(setting, {}, {}, written)),
        found.place,
    )
    typed = {setting.dest: data.draw(st.sampled_from([False, "", 3]))}
    environment = {setting.variable: "nonsense that nobody reads"}
    assert (typed[setting.dest], ComesFrom.OPTION) == _of(resolve(setting, typed, environment, written))


def _of(found: Any) -> tuple[Any, ComesFrom]:
    return found.value, found.origin


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("board", "yes", True),
        ("board", "OFF", False),
        ("speech-rate", " 160 ", 160),
        ("lamp.current", "0.3 A", 0.3),
        ("lamp.kind", "LED", "led"),
        ("shop.address", "1 Elm Street\\nSpringfield", "1 Elm Street\nSpringfield"),
        ("sessions", "~/jobs", "~/jobs"),
    ],
)
def test_the_environment_is_read_as_people_type(key: str, text: str, value: Value) -> None:
    """Words and numbers as they are typed, and an empty variable counts as none."""
    setting = KNOWN[key]
    assert (value, ComesFrom.ENVIRONMENT) == _of(resolve(setting, {}, {setting.variable: text}, NOTHING))
    assert setting.default == resolve(setting, {}, {setting.variable: ""}, NOTHING).value


def test_a_wrong_variable_is_refused_by_name() -> None:
    """The message names the variable, its value and what would be right."""
    with pytest.raises(
        UsageProblem, match=r"BAY_ASSISTANT_BOARD: board is 'perhaps'\. Right would be true or false"
    ):
        resolve_all({}, {"BAY_ASSISTANT_BOARD": "perhaps"}, NOTHING)
    with pytest.raises(
        UsageProblem, match=re.escape("--set: sessions is 'jobs'. Right would be the whole path")
    ):
        from_text(KNOWN["sessions"], "jobs", "--set")
    assert isinstance(KNOWN["sessions"].kind, WholePath)


# --- on the disk ----------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The place of the settings of this test."""
    path = tmp_path / "config" / "settings.toml"
    monkeypatch.setenv(places.SETTINGS_VARIABLE, str(path))
    return path


def test_the_file_is_private_and_written_whole(file: Path) -> None:
    """Only its owner can read it and its folder, and nothing half written is left beside it."""
    assert not keeping.load().values
    assert file == keeping.change("silent", value=True)
    keeping.change("shop.name", "Elm Street Garage")
    assert {"silent": True, "shop.name": "Elm Street Garage"} == dict(keeping.load().values)
    assert (0o600, 0o700) == (file.stat().st_mode & 0o777, file.parent.stat().st_mode & 0o777)
    assert [file] == list(file.parent.iterdir())


def test_a_link_stays_a_link(file: Path, tmp_path: Path) -> None:
    """Somebody who keeps all settings in one place and links to them keeps the link."""
    file.parent.mkdir()
    file.symlink_to(tmp_path / "kept.toml")
    keeping.change("silent", value=True)
    assert file.is_symlink()
    assert "silent = true\n" == (tmp_path / "kept.toml").read_text()


@pytest.mark.parametrize("data", [b"voice = heart\n", b"\xff\xfe", b"#" * 17000])
def test_a_file_that_is_not_understood_is_not_changed(file: Path, data: bytes) -> None:
    """It is refused by name, and stays as it is."""
    file.parent.mkdir()
    file.write_bytes(data)
    with pytest.raises(FileProblem, match=r"settings\.toml"):
        keeping.change("silent", value=True)
    assert data == file.read_bytes()


def test_a_pipe_or_a_folder_in_its_place_is_refused(file: Path) -> None:
    """Nothing waits for ever, and the message says what it is."""
    file.mkdir(parents=True)
    with pytest.raises(FileProblem, match="it is a folder"):
        keeping.load()


def test_a_value_without_an_end_is_refused_before_it_takes_long(file: Path) -> None:
    """A value of thousands of lines is refused with its line and the bound, not read again and again."""
    file.parent.mkdir()
    file.write_text('voice = "heart"\nsilent = [\n' + '"x",\n' * 2000 + "]\n", encoding="utf-8")
    with pytest.raises(
        FileProblem, match=r"settings\.toml:2: this value goes on for more than 40 lines"
    ) as caught:
        keeping.load().check()
    assert "no setting is that long" in str(caught.value)
    file.write_text("#" * 20_000, encoding="utf-8")
    with pytest.raises(FileProblem, match="it has 20000 bytes, and at most 16384 are read"):
        keeping.load()
