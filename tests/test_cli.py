"""Every command as a person meets it: what is right, and above all what is wrong.

Each bad input must give one clear sentence on standard error, the exit status that the documents promise, no
traceback, and nothing lost.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import queue
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant import resources
from assistant.cli import main
from assistant.core.values.entries import ResultTaken
from assistant.core.values.events import Note
from assistant.hearing import openfst
from assistant.record import SessionLog, read_session, verify
from assistant.speaking.portaudio import load_sounddevice

ROOT = Path(__file__).resolve().parent.parent
SOUNDS = resources.directory("audio_fixtures")
KEYS_ONLY = ("--keys-only", "--silent", "--plain")


class Refused:
    """Calls the command line in this process and gives the one sentence with which it refuses."""

    def __init__(self, capture: pytest.CaptureFixture[str]) -> None:
        self._capture = capture

    def __call__(self, *arguments: object, status: int = 2) -> str:
        self._capture.readouterr()
        assert status == main([str(argument) for argument in arguments])
        said = self._capture.readouterr()
        assert_clear(said.err)
        return said.err


def assert_clear(text: str) -> None:
    """One message to a person: it names the program, is a sentence, and is no defect and no traceback."""
    assert text.startswith("bay-assistant: ")
    assert text.count("bay-assistant: ") == 1
    last = text.rstrip().rsplit(". ", 1)[-1]
    assert last[-1] in ".?" or any(command in last for command in ("bay-assistant run", "apt install"))
    assert "Traceback" not in text
    assert "defect" not in text


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Refused:
    return Refused(capsys)


@pytest.fixture(autouse=True)
def _own_home(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test sees or leaves anything in the person's own folders; no command leaves a signal handler behind."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("HOME", str(home))
    for variable in ("XDG_DATA_HOME", "XDG_STATE_HOME", "BAY_ASSISTANT_SESSIONS", "BAY_ASSISTANT_MODEL"):
        monkeypatch.delenv(variable, raising=False)
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    yield
    assert before == [signal.getsignal(number) for number in numbers]


def call(*arguments: object, environment: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    """The program itself, in a process of its own, without keys."""
    return subprocess.run(
        [sys.executable, "-m", "assistant", *map(str, arguments)],
        cwd=ROOT,
        env={**os.environ, **(environment or {})},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        stdin=subprocess.DEVNULL,
    )


class Piped:
    """A session in a process of its own that gets its keys through a pipe.

    Args:
        arguments: More arguments of `run`.
        file_limit: Largest file that it may write, bytes.
    """

    def __init__(self, *arguments: object, file_limit: int | None = None) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "assistant", "run", *KEYS_ONLY, *map(str, arguments)],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        if file_limit is not None:
            resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (file_limit, file_limit))
        self.text = ""
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line)
        self._lines.put(None)

    def wait_for(self, words: str, seconds: float = 30.0) -> None:
        """Wait until a line with these words comes."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            try:
                line = self._lines.get(timeout=left)
            except queue.Empty:
                break
            if line is None:
                break
            self.text += line
            if words in line:
                return
        self.process.kill()
        pytest.fail(f"{words!r} did not come:\n{self.text}")

    def press(self, keys: str) -> None:
        """Press keys."""
        assert self.process.stdin is not None
        self.process.stdin.write(keys)
        self.process.stdin.flush()

    def ended(self) -> tuple[int, str]:
        """Wait for the end without pressing anything more: exit status and standard error."""
        assert self.process.stdin is not None
        assert self.process.stderr is not None
        error = self.process.stderr.read()
        status = self.process.wait(timeout=30)
        self._reader.join(timeout=10)
        while (line := self._lines.get()) is not None:
            self.text += line
        with contextlib.suppress(BrokenPipeError):  # it ended before it had read all keys
            self.process.stdin.close()
        self.process.stderr.close()
        return status, error


def until_a_result(program: Piped) -> None:
    """Through the first cautions to the first result, 12.5 V, affirmed."""
    program.wait_for("No microphone")
    program.press("\r")
    program.wait_for("Live circuit")
    program.press("\r")
    program.wait_for("Key the volts")
    program.press("12.5\r")
    program.wait_for("Affirm or negative")
    program.press("\r")
    program.wait_for("The engine will turn")


def results(folder: Path) -> list[tuple[str, str]]:
    """Steps and values of a session."""
    entries = [
        action.entry
        for line in read_session(folder).lines
        for action in line.actions
        if isinstance(action, Note)
    ]
    return [(entry.step, str(entry.value)) for entry in entries if isinstance(entry, ResultTaken)]


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished and sealed session, made once by the program itself."""
    sessions = tmp_path_factory.mktemp("recorded") / "sessions"
    program = Piped(
        "battery-and-cranking", "--sessions", sessions, "--order", "R-7", "--vin", "1m8gdm9a-xkp042788"
    )
    until_a_result(program)
    program.press("\r")
    program.wait_for("Read the meter")
    program.press("8.5\r")
    program.wait_for("Affirm or negative")
    program.press("\r")
    program.wait_for("Keep clear")
    program.press("\r")
    program.wait_for("The starter rests")
    program.press("+2")
    program.wait_for("Affirm, or say correction")
    program.press("\r")
    program.wait_for("Verdict")
    program.press("q")
    assert (0, "") == program.ended()
    assert "closed" in program.text
    (folder,) = sessions.iterdir()
    return folder


@pytest.fixture
def session(recorded: Path, tmp_path: Path) -> Path:
    """A copy of that session, to be damaged."""
    return shutil.copytree(recorded, tmp_path / "sessions" / recorded.name)


@pytest.fixture
def procedures(tmp_path: Path) -> Path:
    return shutil.copytree(resources.directory("procedures"), tmp_path / "procedures")


@pytest.fixture
def grammars(tmp_path: Path) -> Path:
    return shutil.copytree(resources.directory("grammars"), tmp_path / "grammars")


def change(path: Path, old: str, new: str) -> int:
    """Replace a piece of a text file; the line that it stands in."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


# --- procedures and grammars ----------------------------------------------------------------------


def test_a_word_that_no_procedure_has_is_refused_with_the_ones_that_would_do(
    refused: Refused, procedures: Path
) -> None:
    """A wrong unit: file and line, and the units that are right; `run` and `lint` say the same."""
    file = procedures / "battery-and-cranking.yaml"
    line = change(file, "unit: V", "unit: furlong")
    for arguments in (("lint",), ("run", *KEYS_ONLY)):
        said = refused(*arguments, "--procedures", procedures)
        assert f"{file}:{line}: " in said
        assert "furlong" in said
        assert "Known are: V, mV" in said


def test_broken_yaml_is_refused_with_its_line(refused: Refused, procedures: Path) -> None:
    """What is not YAML at all is named by file and line."""
    file = procedures / "feed-dead.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text + "broken: [\n", encoding="utf-8")
    said = refused("lint", "--procedures", procedures)
    assert f"{file}:{text.count(chr(10)) + 1}" in said or f"{file}:{text.count(chr(10)) + 2}" in said


def test_a_lead_to_nowhere_is_refused(refused: Refused, procedures: Path) -> None:
    """A step that does not exist is named with file, line and the steps there are."""
    file = procedures / "battery-and-cranking.yaml"
    line = change(file, "next: battery-while-cranking", "next: battery-while-dancing")
    said = refused("lint", "--procedures", procedures)
    assert f"{file}:{line}: " in said
    assert "battery-while-dancing" in said
    assert "battery-while-cranking" in said


def test_a_broken_grammar_is_refused_with_its_line(refused: Refused, grammars: Path) -> None:
    """An open bracket in a grammar: file, line, and what would be right; `hear` and `lint` say the same."""
    file = grammars / "lamp.jsgf"
    line = change(file, "(dim | lamp dim)", "(dim | lamp dim")
    for arguments in (("lint",), ("hear", "--grammar", "lamp", SOUNDS / "feed-lit.flac")):
        said = refused(*arguments, "--grammars", grammars)
        found = int(said.split(f"{file}:", 1)[1].split(":", 1)[0])
        assert line <= found <= line + 4
        assert ")" in said


def test_a_tag_without_meaning_is_refused(refused: Refused, grammars: Path) -> None:
    """A tag that names no outcome, place, unit or control: file, line and how to write it."""
    file = grammars / "lamp.jsgf"
    line = change(file, "{outcome=dim}", "{dim}")
    said = refused("lint", "--grammars", grammars)
    assert f"{file}:{line}: " in said
    assert "{outcome=" in said


@pytest.mark.parametrize("option", ["--procedures", "--grammars"])
def test_a_folder_that_is_not_there_is_refused(refused: Refused, tmp_path: Path, option: str) -> None:
    """A folder that does not exist is named."""
    assert str(tmp_path / "nowhere") in refused("lint", option, tmp_path / "nowhere")


def test_an_unknown_procedure_is_refused_with_the_known_ones(refused: Refused, tmp_path: Path) -> None:
    """The names that would be right, and no session folder."""
    said = refused("run", "nonesuch", *KEYS_ONLY, "--sessions", tmp_path / "sessions")
    assert "'nonesuch'" in said
    assert "coil-control" in said
    assert not (tmp_path / "sessions").exists()


def test_lint_of_what_is_shipped_is_clean(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 0; `--json` is an empty list."""
    assert 0 == main(["lint"])
    assert "no finding" in capsys.readouterr().out
    assert 0 == main(["lint", "--json"])
    assert [] == json.loads(capsys.readouterr().out)


def test_a_finding_of_lint_is_no_refusal(capsys: pytest.CaptureFixture[str], procedures: Path) -> None:
    """What is only doubtful exits 1, and `--json` holds path, line, problem and remedy."""
    change(
        procedures / "battery-and-cranking.yaml",
        "look_for: Touch the posts themselves, not the clamps.",
        "look_for: Touch the very posts themselves with both of the tips and not the clamps around them.",
    )
    assert 1 == main(["lint", "--procedures", str(procedures)])
    assert "battery-and-cranking.yaml" in capsys.readouterr().out
    assert 1 == main(["lint", "--json", "--procedures", str(procedures)])
    (finding,) = json.loads(capsys.readouterr().out)
    assert {"path", "line", "problem", "remedy"} == set(finding)


def test_the_schema_is_written_beside_the_procedures(
    capsys: pytest.CaptureFixture[str], refused: Refused, procedures: Path
) -> None:
    """`lint --write-schema` gives the schema that is shipped; a place that cannot be written is refused."""
    schema = procedures / "procedure.schema.json"
    shipped = schema.read_text(encoding="utf-8")
    schema.unlink()
    assert 0 == main(["lint", "--write-schema", "--procedures", str(procedures)])
    assert str(schema) in capsys.readouterr().out
    assert json.loads(shipped) == json.loads(schema.read_text(encoding="utf-8"))
    schema.unlink()
    schema.mkdir()
    assert str(schema) in refused("lint", "--write-schema", "--procedures", procedures)


# --- the model ------------------------------------------------------------------------------------


@pytest.fixture
def model(tmp_path: Path) -> Path:
    """A copy of the bundled model."""
    return shutil.copytree(resources.bundled_model(), tmp_path / "model")


def test_an_absent_model_is_refused(
    refused: Refused, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The place, and who named it: the option or the environment."""
    said = refused("run", "--silent", "--model", tmp_path / "none", "--sessions", tmp_path / "sessions")
    assert str(tmp_path / "none") in said
    assert "--model" in said
    monkeypatch.setenv("BAY_ASSISTANT_MODEL", str(tmp_path / "none"))
    said = refused("hear", "--grammar", "lamp", SOUNDS / "feed-lit.flac")
    assert "BAY_ASSISTANT_MODEL" in said
    assert not (tmp_path / "sessions").exists()


@pytest.mark.parametrize("part", ["am/final.mdl", "conf/mfcc.conf", "graph/phones/word_boundary.int"])
def test_a_model_with_a_file_missing_or_empty_is_refused(refused: Refused, model: Path, part: str) -> None:
    """The missing or empty file is named, before the recogniser could abort over it."""
    (model / part).unlink()
    assert part in refused("run", "--silent", "--model", model)
    (model / part).touch()
    said = refused("demo", "--model", model, "--out", model.parent / "demo")
    assert part in said
    assert "empty" in said
    assert not (model.parent / "demo" / "sessions").exists()


def test_a_file_is_no_model(refused: Refused, tmp_path: Path) -> None:
    """A packed model, not yet unpacked, is refused with what to do."""
    packed = tmp_path / "model.zip"
    packed.write_bytes(b"PK")
    assert "Unpack" in refused("run", "--silent", "--model", packed)


def test_a_model_without_a_needed_word_is_refused_with_word_and_place(refused: Refused, model: Path) -> None:
    """A plain Vosk model whose word list lacks what an answer needs: the word, and file and line of the grammar.

    Without its list of phones the bundled model is a plain one, with the word list of its own graph.
    """
    (model / "phones.txt").unlink()
    words = openfst.read_fst(model / "graph" / "Gr.fst")
    lost = {
        words.symbols.pop(word)
        for word in ("blinking", "blink", "blinks", "flashing")
        if word in words.symbols
    }
    words.arcs = [[arc for arc in arcs if arc[0] not in lost] for arcs in words.arcs]
    (model / "graph" / "Gr.fst").write_bytes(words.written(acceptor=True, sorted_by="input"))
    line = line_of("lamp.jsgf", "sharp blink")
    said = refused("hear", "--grammar", "lamp", "--model", model, SOUNDS / "feed-lit.flac")
    assert f"'blinking' ({resources.directory('grammars') / 'lamp.jsgf'}:{line})" in said
    said = refused("run", "--silent", "--model", model, "--sessions", model.parent / "sessions")
    line = line_of(
        "condition.jsgf", "{outcome=done}"
    )  # the first that a session asks for and its word list lacks
    assert f"'done' ({resources.directory('grammars') / 'condition.jsgf'}:{line})" in said
    assert not (model.parent / "sessions").exists()


def test_a_model_that_knows_another_form_works(
    capsys: pytest.CaptureFixture[str], model: Path, grammars: Path
) -> None:
    """Where another form of the phrase has only known words, the model is used with that form."""
    (model / "phones.txt").unlink()
    (grammars / "lamp.jsgf").write_text(
        "#JSGF V1.0 UTF-8 en;\ngrammar lamp;\n"
        "public <lamp> = (lit | luminous) {outcome=lit} | (dark | tenebrous) {outcome=dark};\n",
        encoding="utf-8",
    )
    with (grammars / "lexicon.txt").open("a", encoding="utf-8") as lexicon:
        lexicon.write("luminous L UW M AH N AH S\ntenebrous T EH N AH B R AH S\n")
    arguments = ["hear", "--grammar", "lamp", "--grammars", str(grammars), "--model", str(model)]
    status = main([*arguments, str(SOUNDS / "lamp-dark.flac")])
    said = capsys.readouterr()
    assert (0, "") == (status, said.err)
    assert "tenebrous" not in json.loads(said.out)["words"]


def line_of(grammar: str, piece: str) -> int:
    """The line of a shipped grammar in which this stands."""
    text = (resources.directory("grammars") / grammar).read_text(encoding="utf-8")
    return next(number for number, line in enumerate(text.splitlines(), start=1) if piece in line)


# --- sound gear -----------------------------------------------------------------------------------


def without_portaudio(folder: Path) -> dict[str, str]:
    """An environment in which sounddevice fails as it does where the system library is missing."""
    folder.mkdir()
    (folder / "sounddevice.py").write_text("raise OSError('PortAudio library not found')\n", encoding="utf-8")
    return {"PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"}


def test_without_portaudio_it_says_what_to_install(tmp_path: Path) -> None:
    """`run` names the Debian package, exits 2, and makes no session; `gear` says the same as a finding."""
    environment = without_portaudio(tmp_path / "lacking")
    done = call("run", "--sessions", tmp_path / "sessions", environment=environment)
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "apt install libportaudio2" in done.stderr
    assert not (tmp_path / "sessions").exists()
    done = call("gear", "--json", environment=environment)
    assert 1 == done.returncode
    report = json.loads(done.stdout)
    assert report["able"] is False
    assert "apt install libportaudio2" in {i["name"]: i["text"] for i in report["items"]}["sound"]
    assert [True, True] == [i["able"] for i in report["items"] if i["name"] in ("model", "voice")]


def test_keys_and_screen_alone_need_no_portaudio(tmp_path: Path) -> None:
    """A session with keys only and without speech runs where there is no sound library at all."""
    environment = without_portaudio(tmp_path / "lacking")
    done = call("run", *KEYS_ONLY, "--sessions", tmp_path / "sessions", environment=environment)
    assert (0, "") == (done.returncode, done.stderr)
    assert 1 == len(list((tmp_path / "sessions").iterdir()))


def test_a_failing_import_of_sounddevice_is_a_missing_portaudio(monkeypatch: pytest.MonkeyPatch) -> None:
    """The error that sounddevice raises without its library becomes the sentence with the package's name."""

    def fail(name: str) -> None:
        raise OSError("PortAudio library not found")

    monkeypatch.setattr(importlib, "import_module", fail)
    with pytest.raises(Exception, match="apt install libportaudio2") as caught:
        load_sounddevice()
    assert "GearProblem" == type(caught.value).__name__


@pytest.mark.parametrize("arguments", [("--silent",), ("--keys-only",)])
def test_a_device_that_is_not_there_is_refused_before_a_session_is_made(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    """No such microphone or loudspeaker: one sentence that says what to do, exit 2, no session folder."""
    done = call(
        "run", *arguments, "--microphone", "nonesuch", "--speaker", "nonesuch", "--sessions", tmp_path / "s"
    )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert ("microphone" if "--silent" in arguments else "loudspeaker") in done.stderr.lower()
    assert not (tmp_path / "s").exists()


def test_closed_standard_input_is_refused_before_a_session_is_made(tmp_path: Path) -> None:
    """Without any standard input no key can come: said at once, and no session folder is left."""
    done = subprocess.run(
        [
            "sh",
            "-c",
            'exec "$0" -m assistant run "$@" <&-',
            sys.executable,
            *KEYS_ONLY,
            "--sessions",
            tmp_path / "sessions",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "keys" in done.stderr
    assert not (tmp_path / "sessions").exists()


# --- disks and permissions ------------------------------------------------------------------------


def places_that_cannot_be_written(folder: Path) -> tuple[Path, ...]:
    """For everybody, the superuser too: under a file, and in a file system that makes no files."""
    (folder / "file").touch()
    return folder / "file" / "below", Path("/proc/nowhere")


def test_a_place_that_cannot_be_written_is_refused(refused: Refused, tmp_path: Path, recorded: Path) -> None:
    """`run`, `demo` and `writeup` name the place; none of them leaves a session behind."""
    for place in places_that_cannot_be_written(tmp_path):
        done = call("run", *KEYS_ONLY, "--sessions", place)
        assert 2 == done.returncode
        assert_clear(done.stderr)
        assert str(place) in done.stderr
        assert str(place) in refused("demo", "--out", place)
        assert str(place) in refused("writeup", recorded, "--out", place)
    assert [tmp_path / "file"] == list(tmp_path.iterdir())


def test_a_file_is_no_folder_of_sessions(refused: Refused, tmp_path: Path) -> None:
    """Naming a file where sessions should be is refused, not shown as "none"."""
    (tmp_path / "file").touch()
    for arguments in (("sessions",), ("verify", "last"), ("run", *KEYS_ONLY)):
        assert "is a file" in refused(*arguments, "--sessions", tmp_path / "file")


def test_without_permission_to_write_it_says_so(tmp_path: Path) -> None:
    """A folder without permission is named with what to do, and nothing is put into it.

    The superuser is let through everywhere, so the program is started without that right (capabilities(7)).
    """
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    command = [sys.executable, "-m", "assistant", "run", *KEYS_ONLY, "--sessions", str(closed)]
    if os.geteuid() == 0:
        taken = "-dac_override,-dac_read_search"
        command = ["setpriv", f"--bounding-set={taken}", f"--inh-caps={taken}", *command]
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60, stdin=subprocess.DEVNULL
    )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "no permission to write" in done.stderr
    assert str(closed) in done.stderr
    assert [] == list(closed.iterdir())


def test_a_log_that_cannot_grow_goes_on_in_a_new_file(tmp_path: Path) -> None:
    """At the largest file size allowed the record goes on in another file: said once, and nothing is lost."""
    sessions = tmp_path / "sessions"
    # More than any copied procedure has, less than the log of this session; the likelihoods are left out.
    procedures = tmp_path / "procedures"
    procedures.mkdir()
    for path in resources.directory("procedures").glob("*.yaml"):
        shutil.copy(path, procedures)
    largest = max(path.stat().st_size for path in procedures.iterdir())
    program = Piped(
        "battery-and-cranking", "--procedures", procedures, "--sessions", sessions, file_limit=largest + 1000
    )
    until_a_result(program)
    for _ in range(200):
        program.press("*")
        time.sleep(0.02)
        if "log-2.jsonl" in program.text:
            break
    program.press("qq")
    status, error = program.ended()
    (folder,) = sessions.iterdir()
    assert (0, "") == (status, error)
    assert "goes on in log-2.jsonl" in program.text
    assert {"log.jsonl", "log-2.jsonl"} <= {path.name for path in folder.iterdir()}
    assert [] == verify(folder)
    assert [("battery-at-rest", "12.5")] == results(folder)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 2 MiB, where one may be mounted; a session begins with a copy of its procedures."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)], check=False, capture_output=True
    )
    if mounted.returncode:
        pytest.skip("no disk may be mounted here; the record's own tests stand in for this one")
    try:
        yield disk
    finally:
        subprocess.run(["umount", "--lazy", str(disk)], check=True)


def fill(disk: Path) -> Path:
    """Leave no space on a disk; gives the file that takes it up."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as out:
        for size in (4096, 1):
            try:
                while True:
                    out.write(b"\0" * size)
            except OSError:
                pass
    return filler


def test_a_disk_that_fills_up_moves_the_session_and_loses_nothing(
    small_disk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Full in the middle of a session: it goes on in a place that it names, and from there at the same step."""
    sessions = small_disk / "sessions"
    program = Piped("battery-and-cranking", "--sessions", sessions)
    until_a_result(program)
    fill(small_disk)
    for _ in range(40):  # the last page of the log may still have room
        program.press("*")
        time.sleep(0.05)
    program.wait_for("goes on, in")
    program.press("//qq")
    assert (0, "") == program.ended()
    (folder,) = (Path(os.environ["HOME"]) / ".local" / "state" / "bay-assistant" / "kept").iterdir()
    assert f"in {folder}." in program.text
    assert "disk is full" in program.text
    assert [("battery-at-rest", "12.5")] == results(folder)
    assert [] == verify(folder)
    assert 0 == main(["replay", str(folder)])
    capsys.readouterr()


def test_a_full_disk_refuses_a_new_session(small_disk: Path) -> None:
    """No room for a session: said so, and no half of one is left."""
    filler = fill(small_disk)
    done = call("run", *KEYS_ONLY, "--sessions", small_disk / "sessions")
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "disk is full" in done.stderr
    filler.unlink()
    left = small_disk / "sessions"
    assert [] == (list(left.iterdir()) if left.exists() else [])


def test_output_that_cannot_be_written_is_said(recorded: Path) -> None:
    """Standard output on a full disk: a sentence and exit 2 (``/dev/full`` is always full, full(4))."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "assistant", "writeup", str(recorded)],
            cwd=ROOT,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "No space left" in done.stderr


def test_a_reader_that_leaves_early_is_no_error(recorded: Path) -> None:
    """`| head` ends quietly with exit 0."""
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "replay", str(recorded), "--show"],
        cwd=ROOT,
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        timeout=60,
    )
    os.close(writing)
    assert (0, "") == (done.returncode, done.stderr)


def test_a_terminal_with_few_signs_is_written_to_all_the_same(recorded: Path) -> None:
    """What the terminal's character set lacks becomes a question mark."""
    done = call("writeup", recorded, environment={"PYTHONIOENCODING": "ascii"})
    assert (0, "") == (done.returncode, done.stderr)
    assert "12.5 V" in done.stdout


# --- sessions: read back, damaged, absent ---------------------------------------------------------


def test_a_finished_session_is_listed_verified_replayed_and_written_up(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was keyed comes out of every command that reads a session, by folder, by name and as "last"."""
    assert ["battery-at-rest", "battery-while-cranking"] == [step for step, _ in results(recorded)]
    where = ["--sessions", str(recorded.parent)]
    assert 0 == main(["sessions", *where])
    listed = capsys.readouterr().out
    assert recorded.name in listed
    assert "order R-7" in listed
    assert "cranking-voltage-low" in listed
    assert 0 == main(["sessions", "--json", *where])
    (summary,) = json.loads(capsys.readouterr().out)
    assert (recorded.name, True, 2) == (summary["id"], summary["sealed"], summary["results"])
    assert "1M8GDM9AXKP042788" == summary["facts"]["vin"]
    for name in (str(recorded), recorded.name, "last"):
        assert 0 == main(["verify", name, *where])
        assert "chain unbroken" in capsys.readouterr().out
    assert 0 == main(["verify", "last", "--json", *where])
    assert [] == json.loads(capsys.readouterr().out)
    assert 0 == main(["replay", "last", "--show", *where])
    shown = capsys.readouterr().out
    assert "KEY    enter" in shown
    assert "Key the volts" in shown
    assert "same actions again" in shown
    assert 0 == main(["replay", "last", "--json", *where])
    assert [] == json.loads(capsys.readouterr().out)
    assert 0 == main(["writeup", "last", *where])
    text = capsys.readouterr().out
    assert "12.5 V" in text
    assert "R-7" in text
    assert text == (recorded / "write-up.txt").read_text(encoding="utf-8")
    page = tmp_path / "order.html"
    assert 0 == main(["writeup", "last", "--html", "--out", str(page), *where])
    assert str(page) in capsys.readouterr().out
    assert page.read_text(encoding="utf-8") == (recorded / "write-up.html").read_text(encoding="utf-8")


def test_a_session_cut_short_is_found_and_still_written_up(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """A last line cut by a power failure: `verify` finds it, and what came before is there."""
    (session / "seal.json").unlink()
    log = session / "log.jsonl"
    log.write_bytes(log.read_bytes()[:-20])
    assert 1 == main(["verify", str(session)])
    assert "cut short" in capsys.readouterr().out
    assert 1 == main(["verify", "--json", str(session)])
    (finding,) = json.loads(capsys.readouterr().out)
    assert "log.jsonl" == finding["path"]
    assert finding["line"] > 1
    assert 0 == main(["writeup", str(session)])
    assert "12.5 V" in capsys.readouterr().out
    assert 0 == main(["replay", str(session)])


def test_a_sealed_session_that_lost_its_end_is_a_finding_everywhere(session: Path, refused: Refused) -> None:
    """Whole lines taken from the end of a sealed log: exit 1 from each command that reads it."""
    log = session / "log.jsonl"
    lines = log.read_bytes().splitlines(keepends=True)
    log.write_bytes(b"".join(lines[:-3]))
    assert 1 == main(["verify", str(session)])
    for command in ("writeup", "replay"):
        assert "not what was recorded" in refused(command, session, status=1)


def test_an_altered_session_is_a_finding_everywhere(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """A changed value: `verify` names file and line, and neither write-up nor replay uses it."""
    line = change(session / "log.jsonl", '"12.5"', '"13.5"')
    assert 1 == main(["verify", str(session)])
    found = capsys.readouterr().out
    assert f"log.jsonl:{line + 1}" in found or f"log.jsonl:{line}" in found
    for arguments in (("writeup",), ("writeup", "--html"), ("replay",), ("replay", "--show")):
        said = refused(arguments[0], session, *arguments[1:], status=1)
        assert "bay-assistant verify" in said
    shown = main(["sessions", "--sessions", str(session.parent)])
    assert 0 == shown


def test_an_altered_procedure_of_a_session_is_a_finding(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """The limits that were used cannot be changed afterwards without being noticed."""
    change(session / "procedures" / "battery-and-cranking.yaml", "below: 11.9", "below: 10.9")
    assert 1 == main(["verify", str(session)])
    assert "procedures/battery-and-cranking.yaml" in capsys.readouterr().out
    for command in ("writeup", "replay"):
        assert "altered" in refused(command, session, status=1)


def test_a_header_that_is_no_json_is_a_finding_and_is_listed(
    session: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """A damaged header hides no session from the list, and is said by the other commands."""
    (session / "session.json").write_text("{", encoding="utf-8")
    assert 0 == main(["sessions", "--sessions", str(session.parent)])
    assert session.name in capsys.readouterr().out
    assert 1 == main(["verify", str(session)])
    capsys.readouterr()
    refused("writeup", session, status=1)
    refused("replay", session, status=1)


@pytest.mark.parametrize("command", ["verify", "writeup", "replay"])
def test_what_is_no_session_is_refused(refused: Refused, tmp_path: Path, command: str) -> None:
    """A folder without a header, a name that does not exist, and "last" where there is none."""
    assert "is not a session" in refused(command, tmp_path)
    where = ("--sessions", tmp_path / "sessions")
    assert "bay-assistant sessions" in refused(command, "nonesuch", *where)
    assert "no sessions" in refused(command, "last", *where)


def test_what_cannot_be_resumed_is_refused(refused: Refused, session: Path, tmp_path: Path) -> None:
    """Nothing to go on with, no such session, a sealed one: each is said, and the sealed one is unchanged."""
    where = ("--sessions", session.parent)
    for name, words in (
        ("last", "no interrupted session"),
        ("nonesuch", "nonesuch"),
        (session, "sealed"),
    ):
        done = call("run", *KEYS_ONLY, "--resume", name, *where)
        assert 2 == done.returncode
        assert_clear(done.stderr)
        assert words in done.stderr
    assert [] == verify(session)


def test_a_session_in_use_is_refused(tmp_path: Path) -> None:
    """Two programs never write one session."""
    from assistant.record import Facts  # noqa: PLC0415

    with SessionLog.create(tmp_path, Facts(), resources.directory("procedures")) as log:
        done = call("run", *KEYS_ONLY, "--resume", log.folder)
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "in use" in done.stderr


def test_no_sessions_is_no_error(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """An empty list is a sentence, or an empty JSON list; also before the first session made its folder."""
    for where in (["--sessions", str(tmp_path)], []):
        assert 0 == main(["sessions", *where])
        assert "No sessions" in capsys.readouterr().out
        assert 0 == main(["sessions", "--json", *where])
        assert [] == json.loads(capsys.readouterr().out)


def test_a_folder_of_sessions_that_is_named_and_missing_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A slip of the finger in --sessions must not pass for an empty shop."""
    assert 2 == main(["sessions", "--sessions", str(tmp_path / "none")])
    told = capsys.readouterr()
    assert ("", True) == (told.out, f"{tmp_path / 'none'} does not exist" in told.err)


# --- what is typed --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("vin", "words"),
    [
        ("1M8GDM9A1KP042788", "give X"),
        ("1M8GDM9AXKP04278", "has 16"),
        ("1M8GDM9AXKPO42788", "may be the digit 0"),
    ],
)
def test_a_wrong_vin_says_what_would_be_right(refused: Refused, tmp_path: Path, vin: str, words: str) -> None:
    """Check digit of 49 CFR 565 with the one that fits, length, and letters that no VIN has; no session is made.

    1M8GDM9AXKP042788 is the worked example that is commonly given for the check digit, from memory.
    """
    said = refused("run", *KEYS_ONLY, "--vin", vin, "--sessions", tmp_path / "sessions")
    assert words in said
    assert not (tmp_path / "sessions").exists()


@pytest.mark.parametrize("arguments", [[], ["nonesuch"], ["hear"], ["run", "--speech-rate", "fast"]])
def test_wrong_use_exits_with_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """The usage of the command and what is wrong with it."""
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert 2 == left.value.code
    assert "usage: bay-assistant" in capsys.readouterr().err


def test_a_defect_is_said_without_a_traceback_and_kept_for_its_makers(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Whatever nobody thought of: one sentence, exit 2, and the details in a file."""

    def fail(_folder: Path, _wanted: object, **_more: object) -> None:
        raise LookupError("nobody thought of it")

    monkeypatch.setattr("assistant.record.find_sessions", fail)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert 2 == main(["sessions", "--sessions", str(tmp_path)])
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert "nobody thought of it" in said
    kept = tmp_path / "bay-assistant" / "defect.txt"
    assert str(kept) in said
    assert "Traceback" in kept.read_text(encoding="utf-8")
