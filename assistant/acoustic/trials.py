"""Trials: lines of manifests as the recogniser heard them, kept in a file so that a second fit takes seconds.

A trial keeps what does not depend on the confidence: the recogniser's alternatives, voice activity and levels, and
the log-probabilities of the phones. The measures (`assistant.hearing.verification`) are made from them anew for each
fit, so a changed measure costs seconds and a changed model costs minutes.

A file holds trials of one model; with another model, or other settings of the decoder, everything is heard again.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from assistant.acoustic.in_noise import Grammars, HeardInNoise, conditions_of, sound_of, wanted_of
from assistant.core.values.answer_kind import kind_of
from assistant.errors import UsageProblem
from assistant.hearing.acoustics import OUTPUTS
from assistant.hearing.confidence import Evidence, evidence_in, measured
from assistant.hearing.foreground import prepared
from assistant.hearing.graph import Costs
from assistant.hearing.recogniser import SETTINGS, Recogniser
from assistant.hearing.recognition import Alternative, Recognition

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from assistant.acoustic.in_noise import ManifestLine

Halves = NDArray[np.float16]

AT_ONCE = 60
"""Trials that a process hears before they are kept: at most so many are lost when the work is broken off."""


@dataclass(frozen=True)
class KeptTrial:
    """One line in one condition, as it was heard.

    Attributes:
        alternatives: The recogniser's, the best first; none if nobody spoke.
        evidence: Voice activity and levels; None if there was no speech.
        logs: Log-probabilities of the steps, shape (steps, outputs), in 16 bits.
    """

    alternatives: tuple[Alternative, ...]
    evidence: Evidence | None
    logs: Halves


Kept = dict[str, KeptTrial]
"""Trials by the names that `name_of` gives."""


def name_of(line: ManifestLine, condition: str) -> str:
    """The name of a trial: the same for the same sound, the same part, what is listened for, and the condition."""
    text = repr((str(line.file), line.part, line.listened, condition))
    return hashlib.sha256(text.encode()).hexdigest()[:20]


def fingerprint(model: Path) -> str:
    """What trials of a model depend on besides the sound."""
    weights = zlib.crc32((model / "am" / "final.mdl").read_bytes())
    conf = zlib.crc32((model / "conf" / "model.conf").read_bytes())
    return f"{weights:08x} {conf:08x} {SETTINGS} {Costs()}"


def read_trials(path: Path, model: Path) -> Kept:
    """The trials of a file; none if it is missing, or of another model or other settings.

    Raises:
        UsageProblem: It is no such file.
    """
    if not path.exists():
        return {}
    try:
        with np.load(path, allow_pickle=False) as body:
            about = json.loads(body["about"].tobytes())
            logs = body["logs"].reshape(-1, OUTPUTS)
        if about["model"] != fingerprint(model):
            return {}
        kept, at = {}, 0
        for one in about["trials"]:
            evidence = None if one["evidence"] is None else Evidence(**one["evidence"])
            alternatives = tuple(Alternative(words, score) for words, score in one["alternatives"])
            kept[one["name"]] = KeptTrial(alternatives, evidence, logs[at : at + one["steps"]])
            at += one["steps"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise UsageProblem(
            f"{path} does not hold trials ({error}). Delete it, or name another file."
        ) from error
    return kept


def write_trials(path: Path, kept: Kept, model: Path) -> None:
    """Write trials, all at once: a file that was there stays whole until then."""
    about = {
        "model": fingerprint(model),
        "trials": [
            {
                "name": name,
                "steps": len(one.logs),
                "evidence": one.evidence and asdict(one.evidence),
                "alternatives": [[each.words, each.score] for each in one.alternatives],
            }
            for name, one in kept.items()
        ],
    }
    logs = [one.logs for one in kept.values()] or [np.zeros((0, OUTPUTS), np.float16)]
    written = path.with_suffix(".part.npz")
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez(written, about=np.frombuffer(json.dumps(about).encode(), np.uint8), logs=np.concatenate(logs))
    written.replace(path)


def hear(line: ManifestLine, condition: str, everything: TrialHearer) -> KeptTrial:
    """Hear one line in one condition, through the same gate as live sound."""
    raw = sound_of(line, condition, everything.lines)
    enough, evidence = evidence_in(raw)
    samples = prepared(raw)
    alternatives: tuple[Alternative, ...] = ()
    if enough:
        alternatives = everything.recogniser.hear(samples, everything.grammars.of(line.listened)).alternatives
    return KeptTrial(
        alternatives, evidence, everything.acoustics.log_probabilities(samples).astype(np.float16)
    )


class TrialHearer:
    """What one process needs to hear trials.

    Raises:
        UsageProblem: The model is not of the bundled one's layout.
    """

    def __init__(self, lines: Sequence[ManifestLine], recogniser: Recogniser) -> None:
        self.lines = lines
        self.recogniser = recogniser
        self.grammars = Grammars()
        if recogniser.acoustics is None:
            raise UsageProblem(
                f"The model {recogniser.path} is of another kind; there is nothing to calibrate."
            )
        self.acoustics = recogniser.acoustics

    def heard(self, todo: Sequence[tuple[int, str]]) -> list[tuple[str, KeptTrial]]:
        """So many trials: numbers of lines, each with a condition."""
        return [
            (name_of(self.lines[at], condition), hear(self.lines[at], condition, self))
            for at, condition in todo
        ]


_worker: list[TrialHearer] = []
"""The worker of this process, once it has begun."""


def _begin(lines: Sequence[ManifestLine], model: Path) -> None:
    _worker[:] = [TrialHearer(lines, Recogniser(model))]


def _heard(todo: Sequence[tuple[int, str]]) -> list[tuple[str, KeptTrial]]:
    return _worker[0].heard(todo)


def _batches(
    batches: Sequence[Sequence[tuple[int, str]]],
    lines: Sequence[ManifestLine],
    model: Path,
    processes: int,
) -> Iterator[list[tuple[str, KeptTrial]]]:
    if processes == 1:
        worker = TrialHearer(lines, Recogniser(model))
        yield from (worker.heard(batch) for batch in batches)
        return
    with ProcessPoolExecutor(processes, get_context("spawn"), _begin, (lines, model)) as pool:
        yield from pool.map(_heard, batches)


def hear_missing(
    lines: Sequence[ManifestLine],
    model: Path,
    path: Path | None = None,
    *,
    times: int = 1,
    processes: int = 1,
    progress: Callable[[str], None] = lambda _text: None,
) -> Kept:
    """The trials of all lines: those that the file has, and the others, which are heard now and kept in it.

    Lines are sorted by what is listened for, so that each graph is opened once.

    Args:
        lines: Lines of the manifests.
        model: Model directory.
        path: The file of trials; None to keep nothing.
        times: Number of conditions in which each line is heard.
        processes: How many at once.
        progress: Is told how far it is.

    Raises:
        UsageProblem: The file does not hold trials, or the model is of another kind.
    """
    kept = read_trials(path, model) if path else {}
    order = sorted(range(len(lines)), key=lambda at: repr(lines[at].listened))
    wanted = [(at, condition) for at in order for condition in conditions_of(lines[at], times)]
    missing = [one for one in wanted if name_of(lines[one[0]], one[1]) not in kept]
    progress(f"{len(wanted) - len(missing)} of {len(wanted)} trials are kept from before")
    batches = [missing[at : at + AT_ONCE] for at in range(0, len(missing), AT_ONCE)]
    done = 0
    for found in _batches(batches, lines, model, max(1, min(processes, len(batches)))) if batches else ():
        kept |= dict(found)
        done += len(found)
        progress(f"{done} of {len(missing)} heard")
        if path:
            write_trials(path, kept, model)
    return kept


def as_heard(
    lines: Sequence[ManifestLine], kept: Mapping[str, KeptTrial], times: int = 1
) -> list[HeardInNoise]:
    """The trials of these lines with their measures, in the order of the lines."""
    grammars = Grammars()
    return [
        _one(line, condition, kept[name_of(line, condition)], grammars)
        for line, condition in itertools.chain.from_iterable(
            ((line, condition) for condition in conditions_of(line, times)) for line in lines
        )
    ]


def _one(line: ManifestLine, condition: str, trial: KeptTrial, grammars: Grammars) -> HeardInNoise:
    grammar = grammars.of(line.listened)
    wanted = wanted_of(line, grammar)
    blank = HeardInNoise(line.voice, condition, line.about, other=wanted is None, phrase=False, right=False)
    recognition = Recognition.of(trial.alternatives, 0.0, calibrated=True)
    logs = trial.logs.astype(np.float32)
    found = measured(recognition, grammar, logs, trial.evidence, means={}) if trial.alternatives else None
    result = grammar.parse(found.words) if found else None
    if found is None or result is None:
        return blank
    kind = kind_of(result, grammar.request.controls)
    return replace(blank, phrase=True, right=result == wanted, kind=kind, measures=dict(found.measures))


def hear_all(lines: Sequence[ManifestLine], recogniser: Recogniser) -> list[HeardInNoise]:
    """Every line in its first condition, by a recogniser with settings of its own; nothing is kept."""
    worker = TrialHearer(lines, recogniser)
    order = sorted(range(len(lines)), key=lambda at: repr(lines[at].listened))
    return as_heard(lines, dict(worker.heard([(at, conditions_of(lines[at])[0]) for at in order])))
