"""Help pages: they fit, break no words, group what belongs together, and their examples are understood."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator

import pytest

from assistant.cli import main
from assistant.commands import COMMANDS, FOR_WRITERS, SIGNALS, parser
from assistant.commands.arguments import CommandParser
from assistant.commands.bench import MEASUREMENTS
from assistant.commands.help_pages import example_lines

PAGES = [(), *((name,) for name in COMMANDS), *(("bench", name) for name in MEASUREMENTS)]


def page(capsys: pytest.CaptureFixture[str], *command: str) -> str:
    """What ``--help`` prints."""
    with pytest.raises(SystemExit) as left:
        main([*command, "--help"])
    assert 0 == left.value.code
    return capsys.readouterr().out


def parser_of(*command: str) -> CommandParser:
    """The parser of a command."""
    found = parser()
    for name in command:
        found = found._commands().choices[name]  # type: ignore[union-attr,index]
    return found


def words_of(one: CommandParser) -> Iterator[str]:
    """Every word of the help texts of a parser's options."""
    for action in one._actions:
        yield from (action.help or "").split()


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize("command", PAGES, ids=" ".join)
def test_a_page_fits_and_breaks_no_word(
    command: tuple[str, ...], width: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No line is longer than the terminal, every word of the help texts is whole, and the exit status is stated."""
    monkeypatch.setenv("COLUMNS", str(width))
    text = page(capsys, *command)
    assert [] == [line for line in text.splitlines() if len(line) > width]
    shown = set(text.split())
    assert [] == [word for word in words_of(parser_of(*command)) if "%" not in word and word not in shown]
    assert "exit status: 0 done; " in " ".join(text.split())


@pytest.mark.parametrize("command", PAGES, ids=" ".join)
def test_an_example_is_understood(command: tuple[str, ...]) -> None:
    """The parser takes the example of each page, at its full length and as the page breaks it."""
    for example in parser_of(*command).examples:
        if "COMMAND" in example or "$(" in example:
            continue
        for text in (example, re.sub(r" \\\n *", " ", "\n".join(example_lines(example, 56)))):
            name, *words = shlex.split(text)
            assert "bay-assistant" == name
            options = parser().parse_args(words)
            assert callable(options.command)


def test_the_first_page_groups_the_commands(capsys: pytest.CaptureFixture[str]) -> None:
    """A technician finds the commands for the job first; every command is in one of both lists."""
    text = page(capsys)
    job, writers = text.index("commands for the job:"), text.index("commands for writers of procedures:")
    for name in COMMANDS:
        at = re.search(rf"^  {name}\b", text, re.MULTILINE)
        assert at is not None
        assert (job < at.start() < writers) == (name not in FOR_WRITERS)
    assert all(status in " ".join(text.split()) for status in SIGNALS)


def test_options_stand_by_their_purpose(capsys: pytest.CaptureFixture[str]) -> None:
    """The many options of `run` are in groups."""
    text = page(capsys, "run")
    order = [
        "facts of the job:",
        "way of working:",
        "number pad:",
        "board for tablets:",
        "voice and sound:",
        "folders:",
    ]
    places = [text.index(f"\n{title}") for title in order]
    assert sorted(places) == places


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["rnu"], "there is no command 'rnu'. Did you mean 'run'?"),
        (["bench", "hering"], "there is no command 'hering'. Did you mean 'hearing'?"),
        (["run", "--ordr", "4711"], "there is no option '--ordr'. Did you mean '--order'?"),
        (["pack", "last", "--uot=x"], "there is no option '--uot'. Did you mean '--out'?"),
        (["--hlep"], "there is no option '--hlep'. Did you mean '--help'?"),
        (["run", "--colour"], "there is no option '--colour'. All options: bay-assistant run --help."),
        (
            ["bench", "speech", "--listener", "wisper"],
            "'wisper' is none of its values. Did you mean 'whisper'?",
        ),
        (["completion", "bsh"], "'bsh' is none of its values. Did you mean 'bash'?"),
        (["verify", "a", "b"], "there is no argument for 'b'."),
    ],
)
def test_a_wrong_word_gets_the_nearest_right_one(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Commands, options and values; a far-off word gets the way to all of them."""
    with pytest.raises(SystemExit) as left:
        main(words)
    assert 2 == left.value.code
    assert said in capsys.readouterr().err
