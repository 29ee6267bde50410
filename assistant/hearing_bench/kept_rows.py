"""The finished rows of a measurement, kept in the cache so that it can go on after it was broken off.

They count only for the same program, models, test set, machine and options: a table must not be put together from
measurements of different things. What is kept is every utterance, and the figures are worked out anew from it.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import files, resources
from assistant.core.values.codec import to_json
from assistant.core.values.decoding import Decoder
from assistant.core.values.result import Result
from assistant.errors import UsageProblem
from assistant.hearing_bench.manifest import NAME
from assistant.hearing_bench.measurements import HeardUtterance, Options
from assistant.hearing_bench.scoring import FalseAccepts, Hearing
from assistant.hearing_bench.speech import cache_folder
from assistant.hearing_bench.working import Done

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

MOST_BYTES = 1 << 29
"""Size of the largest file that is read."""

_DECODE = Decoder({kind.__name__: kind for kind in (HeardUtterance, Hearing, Result)})


class KeptRows:
    """The finished rows of one measurement, in a file of their own.

    Args:
        options: The options of the measurement.
        models: Name of each recogniser and the digest of its weights.
        machine: The machine, because processing times belong to it.
        date: When the measurement begins.

    Attributes:
        path: The file.
        rows: What was found for each finished row.
        began: When the measurement began the first time.
        goes: How often it has begun or gone on.
        took_s: Time that its finished rows took in earlier goes, s.
    """

    def __init__(self, options: Options, models: Mapping[str, str], machine: str, date: str) -> None:
        folder = options.cache or cache_folder()
        same = json.dumps([_wanted(options), dict(models), machine, _program()])
        self.path = folder / f"measured-{hashlib.sha256(same.encode()).hexdigest()[:24]}.jsonl"
        self.rows: dict[str, Done] = {}
        self.began = date
        self.goes = 1
        self.took_s = 0.0
        self._lines: list[str] = []

    def read(self) -> None:
        """Go on from what is kept.

        Raises:
            UsageProblem: Nothing is kept, or the file is damaged.
        """
        try:
            text = files.read_text(self.path, MOST_BYTES)
        except FileNotFoundError:
            raise UsageProblem(
                "Nothing is kept of a measurement with these options, by this program, with these models and this test "
                "set on this machine. Measure without --go-on."
            ) from None
        except OSError as error:
            raise UsageProblem(f"{self.path} cannot be read: {error.strerror or error}.") from error
        try:
            head, *lines = text.splitlines()
            body = json.loads(head)
            self.began, self.goes = str(body["began"]), int(body["goes"]) + 1
            self.took_s = float(body["took_s"])
            for line in lines:
                part, done = _row(json.loads(line))
                self.rows[part] = done
            self._lines = lines
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise UsageProblem(
                f"{self.path} is damaged ({error}). Remove it, and measure without --go-on."
            ) from error

    def keep(self, part: str, done: Done, took_s: float) -> None:
        """Keep one more row; whoever breaks off meanwhile finds the file as it was before.

        Args:
            part: The row.
            done: What was found.
            took_s: Time of the whole measurement so far, s.

        Raises:
            UsageProblem: The cache cannot be written.
        """
        self.rows[part] = done
        self._lines.append(json.dumps(_line(part, done)))
        head = json.dumps({"began": self.began, "goes": self.goes, "took_s": took_s})
        replace(self.path, "\n".join([head, *self._lines, ""]))

    def forget(self) -> None:
        """Remove the file: the measurement is finished."""
        self.path.unlink(missing_ok=True)


def replace(path: Path, text: str) -> None:
    """Write a whole file in place of another one, so that nobody ever finds half of it.

    Raises:
        UsageProblem: It cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, suffix=".part", delete=False
        ) as file:
            try:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
                Path(file.name).replace(path)
            except BaseException:
                Path(file.name).unlink(missing_ok=True)
                raise
    except OSError as error:
        raise UsageProblem(f"{path} cannot be written: {error.strerror or error}.") from error


def _line(part: str, done: Done) -> dict[str, Any]:
    return {
        "part": part,
        "records": [to_json(record) for record in done.records],
        "streams": {name: asdict(stream) for name, stream in done.streams.items()},
        "notes": done.notes,
        "lost": done.lost,
    }


def _row(line: Any) -> tuple[str, Done]:
    streams = {name: FalseAccepts(**stream) for name, stream in line["streams"].items()}
    for stream in streams.values():
        stream.examples = [(str(words), float(confidence)) for words, confidence in stream.examples]
    records = [_DECODE(record) for record in line["records"]]
    return str(line["part"]), Done(records, streams, [str(note) for note in line["notes"]], str(line["lost"]))


def _wanted(options: Options) -> dict[str, Any]:
    """The options on which a row depends; how many processes share the work is not among them."""
    return {
        "quick": options.quick,
        "hours": options.hours,
        "only": options.only,
        "orders": str(options.orders.resolve()) if options.orders else "",
        "part": _digest([options.part]) if options.part else "",
        "manifest": _digest([options.manifest]) if options.manifest else "",
        "beside": options.beside,
        "share": options.share,
    }


def _program() -> str:
    """A digest of the program, its grammars and procedures, and the bundled test set."""
    grammars, procedures = resources.directory("grammars"), resources.directory("procedures")
    test_set = (resources.directory("audio_fixtures") / NAME).parent.glob("*.json")
    package = Path(resources.__file__).parent
    return _digest([*_files(package), *_files(grammars), *_files(procedures), *sorted(test_set)])


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in sorted(folder.rglob("*")) if path.is_file() and "__pycache__" not in path.parts)


def _digest(paths: list[Path]) -> str:
    found = hashlib.sha256()
    for path in paths:
        data = path.read_bytes()
        found.update(f"{path.name} {len(data)}\n".encode())
        found.update(data)
    return found.hexdigest()
