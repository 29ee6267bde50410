"""The address of the board: its socket, its certificate, and its code to scan."""

from __future__ import annotations

import io
import shutil
import socket
import ssl
import subprocess
from pathlib import Path

import pytest

from assistant.board.access import Role
from assistant.board.serving import Door, code, own_address
from assistant.board.trial import HOME, BoardTrial
from assistant.cli import main
from assistant.errors import GearProblem, UsageProblem
from assistant.screen.terminal import LineScreen
from assistant.session.settings import BoardOptions

segno = pytest.importorskip("segno", reason="the extra 'board' is not installed")
pytest.importorskip("starlette", reason="the extra 'board' is not installed")


def test_a_port_that_is_taken_is_refused_by_name_or_replaced_by_a_free_one() -> None:
    """A named port must be that one; the usual one may be in use by another session."""
    first = Door(BoardOptions(address=HOME))
    try:
        second = Door(BoardOptions(address=HOME))
        assert first.socket.getsockname()[1] != second.socket.getsockname()[1]
        second.close()
        taken = first.socket.getsockname()[1]
        with pytest.raises(GearProblem, match="--board-port"):
            Door(BoardOptions(address=HOME, port=taken))
    finally:
        first.close()


def test_a_name_that_is_not_this_machines_is_refused() -> None:
    """Nobody serves a board where no tablet finds it."""
    with pytest.raises(GearProblem, match="does not know that name"):
        Door(BoardOptions(address="no name of ours\0"))


def test_the_address_has_the_token_and_the_port_and_each_session_has_its_own() -> None:
    """The same address never admits to a later session."""
    door = Door(BoardOptions(address=HOME, watch=True))
    port = door.socket.getsockname()[1]
    assert f"http://{HOME}:{port}/in/{door.tokens.press}" == door.address()
    assert f"http://{HOME}:{port}/in/{door.tokens.watch}" == door.address(Role.WATCH)
    door.close()
    again = Door(BoardOptions(address=HOME))
    assert again.tokens.press != door.tokens.press
    assert "" == again.tokens.watch
    again.close()


def test_the_code_in_the_terminal_is_the_address() -> None:
    """The modules that are printed are those that segno makes of the address, quiet zone included."""
    address = "http://127.0.0.1:8470/in/abcdefghijklmnopqrstuv"
    lines = code(address).splitlines()
    modules = [list(row) for row in segno.make(address, error="l", micro=False).matrix_iter(border=2)]
    dark = {" ": (1, 1), "█": (0, 0), "▀": (0, 1), "▄": (1, 0)}
    shown: list[list[int]] = []
    for line in lines:
        pairs = [dark[sign] for sign in line.ljust(len(modules))]
        shown += [[upper for upper, _ in pairs], [lower for _, lower in pairs]]
    assert modules == [row[: len(modules)] for row in shown[: len(modules)]]


def test_our_own_address_is_one_of_this_machine() -> None:
    """A server can listen there."""
    with socket.socket() as bound:
        bound.bind((own_address(), 0))


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate for the trial's address with its key, in one file."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl, which makes the certificate, is not installed")
    key, cert, both = tmp_path / "key", tmp_path / "cert", tmp_path / "both.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2",
         "-subj", "/CN=board", "-addext", f"subjectAltName=IP:{HOME}", "-keyout", str(key), "-out", str(cert)],
        check=True, capture_output=True,
    )  # fmt: skip
    both.write_bytes(cert.read_bytes() + key.read_bytes())
    return both


def test_with_a_certificate_the_board_is_https_and_its_cookie_stays_there(
    tmp_path: Path, certificate: Path
) -> None:
    """A browser that trusts the certificate is admitted by HTTPS, plain HTTP is not answered, the cookie is secure."""
    httpx = pytest.importorskip("httpx", reason="httpx, which sends the requests, is not installed")
    options = BoardOptions(address=HOME, certificate=certificate)
    with BoardTrial(tmp_path / "sessions", LineScreen(io.StringIO()), options=options) as trial:
        assert trial.door.address().startswith(f"https://{HOME}:")
        trusting = ssl.create_default_context(cafile=str(certificate))
        answer = httpx.get(trial.door.address(), verify=trusting)
        assert 303 == answer.status_code
        assert "; Secure" in answer.headers["set-cookie"]
        with pytest.raises(httpx.TransportError):
            httpx.get(trial.door.address().replace("https", "http"))


def test_a_certificate_without_its_key_is_refused_before_there_is_a_session(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sentence says what the file must hold."""
    wrong = tmp_path / "wrong.pem"
    wrong.write_text("no certificate")
    with pytest.raises(UsageProblem, match="one PEM file with the certificate"):
        Door(BoardOptions(address=HOME, certificate=wrong))
    with pytest.raises(UsageProblem, match="one PEM file"):
        Door(BoardOptions(address=HOME, certificate=tmp_path / "nowhere.pem"))
    assert 2 == main(["run", "--keys-only", "--silent", "--board-cert", str(wrong), "--board-address", HOME,
                      "--sessions", str(tmp_path / "sessions")])  # fmt: skip
    assert "PEM" in capsys.readouterr().err
    assert not (tmp_path / "sessions").exists()


def test_options_of_a_board_without_one_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A forgotten --board is said, instead of a session without one."""
    assert 2 == main(["run", "--keys-only", "--silent", "--board-port", "8471"])
    assert "Add --board" in capsys.readouterr().err
