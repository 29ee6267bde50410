"""Random bytes as keys, and texts of every kind as options: no defect, no hang, nothing printed as it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from driving import CLOSING, command, random_keys, session_command, spoils
from harness import Attack, Try, run_tries
from judging import judge_record, judge_step, judge_write_up, printed, session_folders
from mutating import NASTY, raw_signs, within

from assistant import resources
from assistant.keys.pad import KEYS, decode, settle
from assistant.loading.folder import load_folder
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    import random

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge

KEY_BYTES = "random bytes as keys"
KEY_STREAMS = "random keys into the dialogue"
TEXTS = "texts as options"

_library: list[tuple[Library, Knowledge | None]] = []


def _key_bytes(tried: Try) -> None:
    """The same bytes give the same keys in whatever pieces they come; all are known keys."""
    rng = tried.rng
    likely = b"0123456789\r\x1b\x1bOqwn+-*/. [~;\x7f\x08A" * 3 + bytes(range(256))
    data = bytes(rng.choices(likely, k=rng.randrange(1, 400)))
    whole, rest = decode(data)
    tried.check({*whole, *settle(rest)} <= set(KEYS), "a key that nobody knows")
    for _ in range(5):
        keys: list[str] = []
        state = b""
        at = 0
        while at < len(data):
            length = rng.randrange(1, 40)
            found, state = decode(data[at : at + length], state)
            keys.extend(found)
            at += length
        tried.check((tuple(keys), state) == (whole, rest), "in other pieces the bytes give other keys")
        tried.check(len(state) <= 32, f"{len(state)} bytes are kept back")
    if rng.random() < 0.02:
        _piped(tried, data)


def _piped(tried: Try, data: bytes) -> None:
    """The program takes the bytes as its keys, closes and leaves a whole record."""
    sessions = tried.folder / "sessions"
    ran = command(session_command(sessions), tried.folder, keys=data + CLOSING)
    tried.counts["by the program"] += 1
    for spoilt in spoils(ran):
        tried.wrong(spoilt)
    tried.check(not raw_signs(ran.out), f"it prints {raw_signs(ran.out)} as it is")
    for folder in session_folders(sessions):
        session = judge_record(tried, folder, may_be_torn=False)
        if session is not None:
            judge_step(tried, session)
            judge_write_up(tried, folder)


def _key_streams(tried: Try) -> None:
    """Any keys in any order: the dialogue answers, and never gives up."""
    rng = tried.rng
    if not _library:
        _library.append(load_folder(resources.directory("procedures")))
    dialogue = Dialogue(_library[0][0], knowledge=_library[0][1])
    with within(60.0):
        dialogue.begin(rng.choice(sorted(_library[0][0].procedures)))
        for _ in range(200):
            keys = decode(random_keys(rng, 1))[0] if rng.random() < 0.8 else (rng.choice(KEYS),)
            dialogue.key(*keys)
            if rng.random() < 0.1:
                dialogue.wait(rng.choice((1.0, 7.0, 31.0, 600.0, 1e7)))
    tried.counts["keys"] += 200


_COMMANDS: tuple[tuple[str, ...], ...] = (
    ("run", "order"), ("run", "vin"), ("run", "complaint"), ("run", "technician"), ("run", "vehicle"),
    ("run", "odometer"),
    ("run", "procedure"), ("run", "resume"), ("run", "sessions"), ("run", "procedures"), ("run",
    "speech-rate"),
    ("sessions", "order"), ("sessions", "vin"), ("sessions", "from"), ("sessions", "to"), ("sessions", "on"),
    ("sessions", "verdict"),
    ("sessions", "complaint"), ("sessions", "limit"), ("sessions", "sessions"), ("sessions", ""), ("verify",
    ""), ("replay", ""),
    ("writeup", ""), ("writeup", "out"), ("review", "by"), ("review", "done"), ("review", "found"),
    ("review", "part"),
    ("review", "labour"), ("pack", "out"), ("picture", "step"), ("lint", "grammars"), ("demo", "script"),
    ("hear", "model"),
)  # fmt: skip


def _texts(tried: Try) -> None:
    rng, sessions = tried.rng, tried.folder / "sessions"
    name, option = _COMMANDS[tried.number % len(_COMMANDS)]
    text = _text(rng)
    arguments = _arguments(name, option, text, str(sessions))
    if name != "run" or option == "resume":
        command(session_command(sessions, "--order", "4711"), tried.folder, keys=b"1\r2" + CLOSING)
    ran = command(arguments, tried.folder, keys=b"1\r2\r" + CLOSING)
    (tried.folder / "printed.txt").write_bytes(repr(arguments).encode() + b"\n" + ran.out + ran.errors)
    shown = f"{name} {option} {text[:40]!r}"
    tried.counts[f"status {ran.status}"] += 1
    for spoilt in spoils(ran):
        tried.wrong(f"{shown}: {spoilt}")
    signs = raw_signs(ran.out + ran.errors)
    tried.check(not signs, f"{shown}: it prints {signs} as it is")
    tried.check(len(ran.errors) < 4000, f"{shown}: a message of {len(ran.errors)} bytes")
    if name == "run" and option in ("order", "complaint", "technician", "vehicle") and ran.status == 0:
        _judge_recorded(tried, sessions, ran.out)


def _arguments(name: str, option: str, text: str, sessions: str) -> list[str]:
    given = [f"--{option}={text}"] if option and option != "procedure" else [text]
    if name == "run":
        chosen = [] if option == "sessions" else ["--sessions", sessions]
        return ["run", "--keys-only", "--silent", "--plain", *chosen, *given]
    before = {
        "review": ["review", "last", "--sessions", sessions], "pack": ["pack", "last", "--sessions",
        sessions],
        "picture": ["picture", "--procedure", "coil-control"], "hear": ["hear", "--grammar", "lamp",
        "/dev/null"],
        "writeup": ["writeup", *(["last"] if option else []), "--sessions", sessions],
    }.get(name, [name])  # fmt: skip
    if name in ("sessions", "verify", "replay") and option != "sessions":
        before = [name, "--sessions", sessions]
    return [*before, *given]


def _text(rng: random.Random) -> str:
    """A nasty text, or several joined, or random signs of all planes."""
    what = rng.random()
    if what < 0.6:
        return rng.choice(NASTY)
    if what < 0.8:
        return "".join(rng.choices(NASTY, k=3))[:60_000]
    signs = [
        chr(rng.choice((rng.randrange(1, 128), rng.randrange(1, 0xD800), rng.randrange(0xE000, 0x110000))))
        for _ in range(30)
    ]
    return "".join(signs)


def _judge_recorded(tried: Try, sessions: object, out: bytes) -> None:
    for folder in session_folders(sessions):  # type: ignore[arg-type]
        session = judge_record(tried, folder, may_be_torn=False)
        if session is None:
            continue
        tried.check(len(printed(out).says) > 0, "it said nothing")
        judge_write_up(tried, folder)
        for arguments in (
            ["sessions", "--sessions", str(sessions)],
            ["writeup", str(folder)],
            ["replay", "--show", str(folder)],
        ):
            ran = command(arguments, tried.folder)
            for spoilt in spoils(ran):
                tried.wrong(f"then {arguments[0]}: {spoilt}")
            signs = raw_signs(ran.out + ran.errors)
            tried.check(not signs, f"then {arguments[0]} prints {signs} as it is")


ATTACKS = (
    Attack(KEY_BYTES, 5000, 40, lambda plan: run_tries(KEY_BYTES, _key_bytes, plan, processes=True)),
    Attack(KEY_STREAMS, 600, 4, lambda plan: run_tries(KEY_STREAMS, _key_streams, plan, processes=True)),
    Attack(TEXTS, 700, 4, lambda plan: run_tries(TEXTS, _texts, plan)),
)
