"""Mutated procedures, grammars, pronunciations and sounds: taken, or refused with file and line; never a hang."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile
import yaml
from driving import command, spoils
from harness import Attack, Try, run_tries
from mutating import mutated_bytes, mutated_tree, raw_signs, within

from assistant import resources
from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Began, KeyPressed
from assistant.errors import BayAssistantError, FileProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.sound import read_sound
from assistant.keys.pad import KEYS
from assistant.loading.folder import load_folder, load_library
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

PROCEDURES = "mutated procedures"
GRAMMARS = "mutated grammars"
SOUNDS = "mutated sound files"

LONGEST_S = 20.0
"""Nothing here takes a tenth of it, s, on a machine that does nothing else."""


def _refused_or_taken(tried: Try, path: Path, call: Callable[[], Any]) -> Any:
    """Return what `call` gives, or None when it refused with one documented error, which names the file."""
    try:
        with within(LONGEST_S):
            taken = call()
    except FileProblem as problem:
        tried.counts["refused"] += 1
        tried.counts["with a line"] += problem.line > 0
        text = str(problem)
        tried.check(path.name in text, f"the error does not name {path.name}: {text[:200]!r}")
        tried.check(not raw_signs(text), f"the error shows {raw_signs(text)} as it is: {text[:200]!r}")
        tried.check(len(text) < 2000, f"an error of {len(text)} signs: {text[:100]!r}")
        return None
    except BayAssistantError as error:
        tried.wrong(f"refused with {type(error).__name__}, not with file and line: {str(error)[:200]!r}")
        return None
    tried.counts["taken"] += 1
    return taken


def _mutate_file(rng: random.Random, path: Path) -> None:
    if path.suffix == ".yaml" and rng.random() < 0.5:
        tree = mutated_tree(rng, yaml.safe_load(path.read_text(encoding="utf-8")))
        path.write_text(yaml.safe_dump(tree, sort_keys=False, allow_unicode=True), encoding="utf-8")
    else:
        path.write_bytes(mutated_bytes(rng, path.read_bytes()))


_YAML_TRAPS = (
    # A thousand million strings of nine aliases each (billion laughs).
    b"a0: &a0 [x,x,x,x,x,x,x,x,x]\n"
    + b"".join(b"a%d: &a%d [%s]\n" % (n, n, b",".join([b"*a%d" % (n - 1)] * 9)) for n in range(1, 10)),
    b"[" * 100_000,
    b"a:\n" + b"".join(b" " * n + b"a:\n" for n in range(1, 1500)),
    b"&a [*a]\n",
    b"procedure: &p {a: *p}\n",
    b"? " * 5000,
    b"'" + b"x" * 5_000_000,
    b"\x00" * 1000,
    b"",
)


def _procedures(tried: Try) -> None:
    rng, folder = tried.rng, tried.folder / "procedures"
    shutil.copytree(resources.directory("procedures"), folder)
    path = rng.choice(sorted(folder.glob("*.yaml")))
    weighing = path.name == "odds.yaml" or rng.random() < 0.05
    if rng.random() < 0.06:
        path.write_bytes(rng.choice(_YAML_TRAPS))
    else:
        _mutate_file(rng, path)
    loaded = _refused_or_taken(
        tried, path, lambda: load_folder(folder) if weighing else (load_library(folder), None)
    )
    if loaded is not None:
        library, knowledge = loaded
        with within(LONGEST_S):
            runner = Runner(library, knowledge, DEFAULT_THRESHOLDS)
            runner.receive(Began(0.0, rng.choice(sorted(library.procedures))))
            for at in range(1, 25):
                runner.receive(KeyPressed(float(at), rng.choice(KEYS)))
    if rng.random() < 0.03:
        _by_the_program(tried, ["lint", "--procedures", str(folder)])


def _exponential(rng: random.Random) -> bytes:
    """A small grammar with more phrases than there is room for."""
    rules = [b"#JSGF V1.0;\ngrammar many;\npublic <r0> = a | b;\n"]
    doubling = rng.choice((b"<r%d> <r%d>", b"[<r%d>] [<r%d>]", b"(<r%d> | x <r%d>)"))
    rules += [
        b"public <r%d> = %s;\n" % (n, doubling % (n - 1, n - 1)) for n in range(1, rng.randrange(5, 40))
    ]
    return b"".join(rules)


def _grammars(tried: Try) -> None:
    rng, folder = tried.rng, tried.folder / "grammars"
    shutil.copytree(resources.directory("grammars"), folder)
    path = rng.choice([*sorted(folder.glob("*.jsgf")), folder / "lexicon.txt"])
    trap = rng.random()
    if trap < 0.08 and path.suffix == ".jsgf":
        path.write_bytes(_exponential(rng))
    elif trap < 0.12:
        deep = rng.choice((b"(", b"[")) * rng.choice((100, 3000, 100_000))
        path.write_bytes(b"#JSGF V1.0;\ngrammar deep;\npublic <x> = " + deep + b"a;\n")
    else:
        path.write_bytes(mutated_bytes(rng, path.read_bytes()))

    def use() -> GrammarSet:
        grammars = GrammarSet.load(folder)
        for name in grammars.names():
            grammars.named(name).phrases()
        return grammars

    # A fault may show in a file that uses the mutated one, so the file's name is checked only as a grammar's.
    try:
        with within(LONGEST_S):
            use()
        tried.counts["taken"] += 1
    except FileProblem as problem:
        tried.counts["refused"] += 1
        tried.counts["with a line"] += problem.line > 0
        tried.check(
            str(problem).startswith(str(folder)),
            f"the error does not begin with a file: {str(problem)[:200]!r}",
        )
        tried.check(
            not raw_signs(str(problem)), f"the error shows {raw_signs(str(problem))}: {str(problem)[:200]!r}"
        )
    except BayAssistantError as error:
        tried.counts["refused"] += 1
        tried.check(bool(str(error)), "an error without words")
    if rng.random() < 0.03:
        _by_the_program(tried, ["lint", "--grammars", str(folder)])


def _by_the_program(tried: Try, arguments: list[str]) -> None:
    ran = command(arguments, tried.folder, longest_s=60.0)
    tried.counts["by the program"] += 1
    for spoilt in spoils(ran):
        tried.wrong(f"{arguments[0]}: {spoilt}")
    shown = raw_signs(ran.out + ran.errors)
    tried.check(not shown, f"{arguments[0]} prints {shown} as it is")


def _sounds(tried: Try) -> None:
    rng = tried.rng
    suffix = rng.choice((".wav", ".flac"))
    made = io.BytesIO()
    samples = (np.sin(np.arange(rng.randrange(0, 4000)) / 5) * 9000).astype(np.int16)
    kind = rng.choice(("PCM_16", "PCM_24") if suffix == ".flac" else ("PCM_16", "FLOAT", "ULAW", "PCM_U8"))
    soundfile.write(made, samples, rng.choice((8000, 16000, 44100, 192000)), kind, format=suffix[1:].upper())
    path = tried.folder / f"sound{suffix}"
    data = made.getvalue()
    # The header decides most, so it is altered more often than the sound.
    data = mutated_bytes(rng, data[:60], 4) + data[60:] if rng.random() < 0.6 else mutated_bytes(rng, data)
    path.write_bytes(data)
    try:
        with within(LONGEST_S):
            read_sound(path)
        tried.counts["taken"] += 1
    except BayAssistantError as error:
        tried.counts["refused"] += 1
        tried.check(path.name in str(error), f"the error does not name the file: {error}")
    if rng.random() < 0.01:
        _by_the_program(tried, ["hear", "--grammar", "lamp", str(path)])


ATTACKS = (
    Attack(PROCEDURES, 1500, 8, lambda plan: run_tries(PROCEDURES, _procedures, plan, processes=True)),
    Attack(GRAMMARS, 1500, 12, lambda plan: run_tries(GRAMMARS, _grammars, plan, processes=True)),
    Attack(SOUNDS, 3000, 60, lambda plan: run_tries(SOUNDS, _sounds, plan, processes=True)),
)
