"""The commands: parse, call, print.

Exit status: 0 done; 1 a finding (a lint, a broken record, a difference in a replay); 2 wrong use or bad input.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import json
import os
import shutil
import stat
import sys
import time
import traceback
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.arguments import Parser, real, whole
from assistant.errors import BayAssistantError, UsageProblem
from assistant.files import kind_of
from assistant.places import state_folder
from assistant.printing import escaping, in_line, unescaped

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.core.library.library import Library
    from assistant.core.values.finding import Finding
    from assistant.proof import order as proof_order
    from assistant.proof.result import Request

# Every command imports what it needs when it runs, so that `--help` and `verify` do not load a recogniser.


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status and never lets a traceback through."""
    with escaping():
        return _main(arguments)


def _main(arguments: Sequence[str] | None) -> int:
    try:
        options = _parser().parse_args(arguments)
        command: Callable[[argparse.Namespace], int] = options.command
        status = command(options)
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()  # its reader has gone, as with `| head`; nothing is left to say to it
        return 0
    except OSError as error:
        if _terminal_gone(error):
            _drop_output()  # closed under the program: what it had to keep is kept, and nobody reads the rest
            return 0
        try:
            sys.stdout.flush()
        except OSError:
            _drop_output()
        _complain(_unusable(error))
        return 2
    except BayAssistantError as error:
        _complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        _complain("Interrupted.")
        return 130
    except Exception as error:  # noqa: BLE001  the last resort before a technician would see a traceback
        _complain(f"This is a defect of bay-assistant ({type(error).__name__}: {error}). {_keep_trace()}")
        return 2
    return status


def _drop_output() -> None:
    """Point standard output to nowhere, so that Python does not fail on it once more while it ends."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
            continue
        with contextlib.suppress(OSError, ValueError):
            os.dup2(nowhere, stream.fileno())


def _terminal_gone(error: OSError) -> bool:
    """Whether the output failed because its terminal was closed, termios(4): reading and writing give EIO."""
    if error.errno != errno.EIO or error.filename is not None:
        return False
    try:
        return stat.S_ISCHR(os.fstat(sys.stdout.fileno()).st_mode)
    except (OSError, ValueError):
        return False


_LONGEST = 2000
"""Signs of an error that are shown."""


def _complain(text: str) -> None:
    if len(text) > _LONGEST:  # it repeats something that was given or read
        text = f"{text[: _LONGEST // 2]} … {text[-_LONGEST // 2 :]}"
    with contextlib.suppress(OSError, ValueError):  # standard error may be closed; the exit status is left
        print(f"bay-assistant: {in_line(text)}", file=sys.stderr)


def _unusable(error: OSError) -> str:
    """The sentence for something that the system refused and nobody has put into words nearer to it."""
    try:
        Path.cwd()
    except OSError:
        return (
            "The folder in which bay-assistant was started is gone. Change to another one and start it again."
        )
    return f"{error.filename or 'The output'} cannot be used: {error.strerror or error}."


def _keep_trace() -> str:
    """Write the traceback, which may hold what was typed, where a developer finds it, and say where."""
    from assistant.private import write_named  # noqa: PLC0415

    try:
        path = state_folder() / "defect.txt"
        path.parent.mkdir(0o700, parents=True, exist_ok=True)
        write_named(path, traceback.format_exc().encode("utf-8", "backslashreplace"))
    except (OSError, UsageProblem):
        return "What was recorded so far is safe."
    return f"What was recorded so far is safe. Details for its makers are in {path}."


# --- the commands ---------------------------------------------------------------------------------


def _run(options: argparse.Namespace) -> int:
    from assistant.session import live, settings  # noqa: PLC0415

    if options.resume and options.procedure:
        raise UsageProblem(
            f"A resumed session goes on where it was; it cannot start '{options.procedure}'. "
            "Leave out the procedure, or leave out --resume."
        )
    if options.resume and options.no_history:
        raise UsageProblem(
            "A resumed session keeps the odds that it began with. Leave out --no-history, or leave out --resume."
        )
    wanted = settings.Settings(
        procedure=options.procedure or "no-start",
        facts=_facts(options),
        sessions=_sessions(options),
        resume=options.resume,
        history=not options.no_history,
        gear=settings.Gear(
            microphone=options.microphone,
            speaker=options.speaker,
            headset=options.headset,
            keys_only=options.keys_only,
            silent=options.silent,
            plain=options.plain,
            speech_rate=options.speech_rate,
        ),
        folders=settings.Folders(options.procedures, options.grammars, options.model),
    )
    return live.run(wanted)


def _demo(options: argparse.Namespace) -> int:
    from assistant.session import demo  # noqa: PLC0415

    return demo.run(options.out, model=options.model, real_time=options.real_time, script=options.script)


def _hear(options: argparse.Namespace) -> int:
    from assistant import hear  # noqa: PLC0415

    def write(line: dict[str, Any]) -> None:
        print(json.dumps(line), flush=True)
        if "error" in line:
            _complain(line["error"])

    return hear.run(
        options.files,
        grammar=options.grammar,
        procedure=options.procedure,
        step=options.step,
        model=options.model,
        grammars=options.grammars,
        procedures=options.procedures,
        write=write,
    )


def _lint(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.core.library.schema import procedure_schema  # noqa: PLC0415
    from assistant.grammar.grammar import GrammarSet  # noqa: PLC0415
    from assistant.linting import lint  # noqa: PLC0415
    from assistant.loading.folder import load_knowledge, load_library  # noqa: PLC0415

    folder = options.procedures or resources.directory("procedures")
    # A damaged table is written anew, so it is not read here.
    library = load_library(folder)
    knowledge = None if options.write_likelihoods else load_knowledge(folder, library.terms)
    if options.write_schema:
        path = folder / "procedure.schema.json"
        text = json.dumps(procedure_schema(library.terms, library.cautions), indent=2) + "\n"
        try:
            path.write_text(text, encoding="utf-8")
        except OSError as error:
            raise UsageProblem(f"The schema cannot be written to {path}: {error.strerror}.") from error
        print(f"Written: {path}")
        if not options.write_likelihoods:
            return 0
    if options.write_likelihoods:
        from assistant.circuit import likelihoods  # noqa: PLC0415
        from assistant.loading.folder import LIKELIHOODS_FILE  # noqa: PLC0415

        path = folder / LIKELIHOODS_FILE
        _write(path, likelihoods.to_bytes(likelihoods.table(library)).decode())
        return 0
    if options.speech:
        from assistant.linting import all_spoken  # noqa: PLC0415
        from assistant.rehearsal import amount, judging  # noqa: PLC0415
        from assistant.speaking.voice import DEFAULT_RATE  # noqa: PLC0415

        said = all_spoken(library, knowledge)
        measured = amount.measure(library, knowledge, said, DEFAULT_RATE)
        findings = judging.findings(library, said)
        if not options.json:
            print("\n".join(measured.lines()))
        return _report(findings, "No finding.", as_json=options.json)
    grammars = GrammarSet.load(options.grammars or resources.directory("grammars"))
    findings = lint(library, knowledge, grammars)
    steps = sum(len(procedure.steps) for procedure in library.procedures.values())
    good = f"{len(library.procedures)} procedures with {steps} steps and {len(grammars.names())} grammars: no finding."
    return _report(findings, good, as_json=options.json)


def _prove(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.loading.folder import load_library, load_odds  # noqa: PLC0415
    from assistant.proof import order as proof_order, report as proof_report  # noqa: PLC0415
    from assistant.proof.result import Request  # noqa: PLC0415
    from assistant.proof.story import stories  # noqa: PLC0415
    from assistant.proof.work import prove  # noqa: PLC0415

    folder = options.procedures or resources.directory("procedures")
    library = load_library(folder)
    asked = Request(
        procedures=tuple(dict.fromkeys(options.names)),
        systems=options.systems or 200,
        seed=options.seed,
        misreading=options.misreading,
    )
    odds = load_odds(folder, library.terms) if options.order else None
    if options.pairs:
        return _prove_pairs(options, library, asked)
    bar = _Bar("Proving")
    orders: tuple[proof_order.Ordered, ...] = ()
    try:
        report = prove(library, asked, bar.show)
        if odds is not None:
            names = asked.procedures or tuple(library.procedures)
            orders = proof_order.order(library, odds, names)
    finally:
        bar.end()
    told = tuple(stories(library, report.procedures, asked))
    if options.json:
        print(json.dumps(proof_report.to_json(report, told, orders), indent=1))
    else:
        print(proof_report.text(report, library, told, orders), end="")
    return 0 if report.holds else 1


def _prove_pairs(options: argparse.Namespace, library: Library, asked: Request) -> int:
    from assistant.proof import pairs as proof_pairs  # noqa: PLC0415

    all_hold = True
    for entry in asked.procedures or ("coil-control",):
        bar = _Bar("Proving pairs")
        try:
            pairs = proof_pairs.prove_pairs(
                library, entry, cars=options.systems or proof_pairs.CARS, seed=asked.seed, progress=bar.show
            )
        finally:
            bar.end()
        cars = options.systems or proof_pairs.CARS
        if options.json:
            print(json.dumps(proof_pairs.to_json(entry, pairs, cars), indent=1))
        else:
            print(proof_pairs.text(entry, pairs, cars), end="")
            print(proof_pairs.fleeting_text(entry, proof_pairs.prove_fleeting(library, entry)), end="")
        all_hold = all_hold and proof_pairs.holds(pairs)
    return 0 if all_hold else 1


class _Bar:
    """A progress bar on standard error, on a terminal only; it appears when the work takes more than a second."""

    _WIDTH = 30

    def __init__(self, what: str) -> None:
        self._what = what
        self._terminal = sys.stderr is not None and sys.stderr.isatty()
        self._began = time.monotonic()
        self._shown = False

    def show(self, done: int, of: int) -> None:
        """Show how much is done."""
        if not self._terminal or time.monotonic() - self._began < 1:
            return
        full = self._WIDTH * done // of
        bar = "#" * full + "." * (self._WIDTH - full)
        print(
            f"\r\x1b[K{self._what} [{bar}] {100 * done // of} %",
            end="",
            file=unescaped(sys.stderr),
            flush=True,
        )
        self._shown = True

    def end(self) -> None:
        """Clear the line."""
        if self._shown:
            print("\r\x1b[K", end="", file=unescaped(sys.stderr), flush=True)


def _writeup(options: argparse.Namespace) -> int:
    from assistant import writeup  # noqa: PLC0415
    from assistant.private import write_named  # noqa: PLC0415

    if options.schema:
        from assistant.writeup.data import schema_text  # noqa: PLC0415

        print(schema_text(), end="")
        return 0
    if options.session is None:
        raise UsageProblem("Name a session: its folder, its name, or 'last'.")
    folder = _session(options)
    if options.embed_sound and not options.html:
        raise UsageProblem("Sound can be put into the page of --html only.")
    if options.pdf:
        if options.out is None:
            raise UsageProblem("A PDF needs a file: add --out FILE.pdf.")
        data = writeup.write_pdf(folder)
    elif options.html:
        beside = options.out.resolve().parent if options.out is not None else None
        data = writeup.write_html(folder.resolve(), beside=beside, embed=options.embed_sound).encode("utf-8")
    else:
        data = (writeup.write_json(folder) if options.json else writeup.write_text(folder)).encode("utf-8")
    if options.out is None:
        print(data.decode("utf-8"), end="")
        return 0
    try:
        write_named(options.out, data)
    except OSError as error:
        raise UsageProblem(f"The write-up cannot be written to {options.out}: {error.strerror}.") from error
    print(f"Written: {options.out}")
    return 0


def _review(options: argparse.Namespace) -> int:
    from assistant import reviewing  # noqa: PLC0415

    folder = _session(options)
    wanted = reviewing.Wanted(
        reviewer=options.by or "",
        done=options.done or "",
        found=tuple(options.found),
        parts=tuple(options.part),
        labour=tuple(options.labour),
        remarks=options.remark or "",
        sign=options.sign,
    )
    if not wanted.says_something():
        print(reviewing.show(folder), end="")
        if not (sys.stdin and sys.stdin.isatty() and sys.stdout.isatty()):
            return 0
        try:
            wanted = reviewing.ask(folder, wanted, lambda question: input(in_line(question)), print)
        except EOFError:
            print()
            wanted = reviewing.Wanted()
        if not wanted.says_something():
            print("No review was kept.")
            return 0
    review = reviewing.record_review(folder, wanted)
    signed = f"signed by {review.signed.name}" if review.signed else "not signed"
    print(f"Review {review.number} of {folder.name}: kept, {signed}.")
    return 0


def _pack(options: argparse.Namespace) -> int:
    from assistant import packing  # noqa: PLC0415

    packed = packing.pack(_session(options), options.out)
    if packed.left_out:
        _complain(packed.left_out)
    print(f"Packed: {options.out}")
    print("Whoever gets it gets:")
    for line in packed.told:
        print(f"  {line}")
    return 0


def _picture(options: argparse.Namespace) -> int:
    from assistant import picturing, resources  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.picture.whole import png  # noqa: PLC0415

    library = load_library(options.procedures or resources.directory("procedures"))
    svg = picturing.picture(
        library,
        options.procedure,
        options.step,
        options.fault,
        mechanism=options.mechanism,
        lamp=options.lamp,
        system=options.system,
    )
    if options.png is not None:
        drawn = png(svg)
        try:
            options.png.write_bytes(drawn)
        except OSError as error:
            raise UsageProblem(f"{options.png} cannot be written: {error.strerror}.") from error
        print(f"Written: {options.png}", file=sys.stderr)
    if options.out is not None:
        _write(options.out, svg + "\n")
    elif options.png is None:
        print(svg)
    return 0


def _verify(options: argparse.Namespace) -> int:
    from assistant.record import (  # noqa: PLC0415
        bag,
        read_session,
        verify,
    )
    from assistant.record.verifying import remarks  # noqa: PLC0415

    folder = _session(options)
    if bag.is_bag(folder):
        good = f"{folder.name}: the bag is whole, and its session is what was recorded."
        return _report(bag.check(folder), good, as_json=options.json)
    findings = verify(folder)
    good = ""
    if not findings:
        session = read_session(folder)
        state = "sealed" if session.sealed else "not sealed"
        good = f"{folder.name}: {len(session.lines)} lines, chain unbroken, clips as recorded, {state}."
    status = _report(findings, good, as_json=options.json)
    if not findings and not options.json:
        for remark in remarks(folder):
            print(remark)
    return status


def _replay(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.record import read_session  # noqa: PLC0415
    from assistant.record.replaying import other_likelihoods, replay  # noqa: PLC0415

    folder = _session(options)
    differences = replay(folder)
    if options.json:
        print(json.dumps([str(difference) for difference in differences]))
        return 1 if differences else 0
    session = read_session(folder)
    if options.show:
        from assistant.replayed import show  # noqa: PLC0415

        show(session, sys.stdout)
    for difference in differences:
        print(difference)
    other = other_likelihoods(session, load_folder(resources.directory("procedures"))[1])
    if other:
        print(other)
    if not differences:
        print(f"{folder.name}: {len(session.lines)} events give the same actions again.")
    return 1 if differences else 0


def _list(options: argparse.Namespace) -> int:
    from assistant import past, resources  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.record import find_sessions  # noqa: PLC0415
    from assistant.record.summaries import check_parent  # noqa: PLC0415

    folder = _sessions(options)
    if options.sessions and not folder.exists():
        raise UsageProblem(
            f"The folder {folder} does not exist. Name the folder that holds the sessions, or leave out --sessions."
        )
    check_parent(folder)
    asked = past.Asked(
        words=tuple(options.words),
        order=options.order,
        vin=options.vin,
        since=options.since,
        until=options.until,
        on=options.on,
        verdict=options.verdict,
        complaint=options.complaint,
        sealed=options.sealed,
    )
    if options.odds:
        return _show_odds(folder, asked != past.Asked(), as_json=options.json)
    today = datetime.now().astimezone().date()
    wanted = asked.wanted(today)
    bar = _Bar("Reading records")
    try:
        found = find_sessions(folder, wanted, rebuild=options.rebuild, progress=bar.show)
    finally:
        bar.end()
    if wanted.verdict and wanted.verdict not in found.verdicts:
        library = load_library(resources.directory("procedures"))
        past.check_verdict(wanted.verdict, found.verdicts, library)
    for remark in past.remarks(found):
        _complain(remark)
    terminal = sys.stdout.isatty()
    limit = (past.AT_ONCE if terminal else 0) if options.limit is None else options.limit
    shown = found.summaries[:limit] if limit else found.summaries
    if options.json:
        print(json.dumps([summary.to_json() for summary in shown], indent=2))
    elif not shown:
        print(past.nothing(found, folder, wanted))
    elif terminal:
        width = shutil.get_terminal_size().columns
        for line in past.listing(found, today=today, width=width, limit=limit):
            print(line)
    else:
        for summary in shown:
            print(summary.line())
    return 0


def _show_odds(folder: Path, searching: bool, *, as_json: bool) -> int:
    from assistant import past, resources  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.record.history import read_history  # noqa: PLC0415

    if searching:
        raise UsageProblem("--odds counts all reviewed sessions. Leave out the search, or leave out --odds.")
    library, knowledge = load_folder(resources.directory("procedures"))
    if knowledge is None:
        raise UsageProblem("The procedures have no likelihoods or no odds, so there is nothing to show.")
    history = read_history(folder, library.terms)
    if as_json:
        print(json.dumps(past.odds_json(history, knowledge), indent=2))
    else:
        for line in past.odds_text(history, knowledge, library.terms):
            print(line)
    return 0


def _gear(options: argparse.Namespace) -> int:
    from assistant import gear  # noqa: PLC0415

    report = gear.check(
        model=options.model, microphone=options.microphone, speaker=options.speaker, say=options.say
    )
    if options.json:
        print(json.dumps(report.to_json(), indent=2))
    else:
        print(report.text(), end="")
    return 0 if report.able else 1


def _bench(options: argparse.Namespace) -> int:
    from assistant import bench  # noqa: PLC0415

    figures = bench.measure(
        model=options.model, progress=lambda text: print(text, file=sys.stderr, flush=True)
    )
    if options.json:
        print(json.dumps(figures.to_json(), indent=2))
    else:
        print(figures.text(), end="")
    return 0


def _bench_circuit(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.bench import machine  # noqa: PLC0415
    from assistant.circuit.timing import measure  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415

    found = measure(load_library(resources.directory("procedures")))
    if options.json:
        print(json.dumps([vars(timing) for timing in found], indent=1))
        return 0
    print(machine())
    for timing in found:
        print(f"{timing.systems:5d} systems, {timing.observations} observations each: {timing.seconds:.2f} s")
    return 0


def _bench_procedures(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.mistakes.running import measure  # noqa: PLC0415

    bar = _Bar("Trying mistakes")
    try:
        report = measure(
            options.procedures or resources.directory("procedures"),
            resources.directory("grammars"),
            count=options.count,
            systems=options.systems,
            seed=options.seed,
            processes=options.processes,
            progress=bar.show,
        )
    finally:
        bar.end()
    print(json.dumps(report.to_json(), indent=1) if options.json else report.text().rstrip("\n"))
    return 0 if report.holds else 1


def _bench_sessions(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.bench import machine  # noqa: PLC0415
    from assistant.record.timing import COUNT, measure  # noqa: PLC0415

    progress = _Progress()
    found = measure(
        resources.directory("procedures"), COUNT if options.count is None else options.count, progress.tell
    )
    progress.end()
    if options.json:
        print(json.dumps([vars(timing) for timing in found], indent=1))
        return 0
    print(machine())
    for timing in found:
        print(f"{timing.name:<50} {timing.seconds:8.3f} s")
    return 0


def _bench_long(options: argparse.Namespace) -> int:
    from assistant import long_bench, resources  # noqa: PLC0415
    from assistant.bench import machine  # noqa: PLC0415

    progress = _Progress()
    found = long_bench.measure(
        resources.directory("procedures"),
        lines=long_bench.LINES if options.lines is None else options.lines,
        pdf=options.pdf,
        progress=progress.tell,
    )
    progress.end()
    if options.json:
        print(json.dumps([vars(figure) for figure in found], indent=1))
        return 0
    print(machine())
    for figure in found:
        print(f"{figure.name:<75} {figure.limit:>6} {figure.value}")
    return 0


def _bench_rehearsal(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.bench import machine  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.rehearsal import erring as rehearsal  # noqa: PLC0415

    wanted = rehearsal.Wanted(
        procedure=options.procedure,
        cars=options.cars,
        habits=rehearsal.habits(options.misreading),
        seed=options.seed,
        processes=options.processes,
        weighing=options.weighing,
    )
    presumed = load_library(resources.directory("procedures")).procedure(wanted.procedure).presumes_no
    found = rehearsal.rehearse(wanted)
    if options.json:
        print(json.dumps(rehearsal.to_json(wanted, found), indent=1))
        return 0
    print(machine())
    print(rehearsal.text(wanted, found, sorted(presumed)), end="")
    return 0


def _bench_speech(options: argparse.Namespace) -> int:
    from assistant import resources  # noqa: PLC0415
    from assistant.grammar.grammar import GrammarSet  # noqa: PLC0415
    from assistant.hearing_bench import listening  # noqa: PLC0415
    from assistant.linting import all_spoken  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.speaking.voice import DEFAULT_RATE, Voice  # noqa: PLC0415

    library, knowledge = load_folder(resources.directory("procedures"))
    said = list(dict.fromkeys(one.sentence for one in all_spoken(library, knowledge)))
    if options.sentences > 0:
        said = said[:: max(1, len(said) // options.sentences)]
    lexicon = GrammarSet.load(resources.directory("grammars")).lexicon
    progress = _Progress()
    voice = Voice(options.speech_rate or DEFAULT_RATE, options.voice)
    report = listening.measure(said, lexicon, voice, progress=progress.tell)
    progress.end()
    print(json.dumps(report.to_json(), indent=1) if options.json else report.text(), end="")
    return 0


def _bench_hearing(options: argparse.Namespace) -> int:
    from assistant.hearing_bench import report  # noqa: PLC0415
    from assistant.hearing_bench.running import Options, measure  # noqa: PLC0415

    wanted = Options(
        models=(*([options.model] if options.model else []), *options.models),
        quick=options.quick,
        hours=options.hours,
        only=tuple(options.only),
        cache=options.cache,
        manifest=options.manifest,
    )
    for path in (options.json_file, options.svg_file):
        if path is not None and not path.resolve().parent.is_dir():
            raise UsageProblem(f"The folder of {path} does not exist. Name a file in a folder that does.")
    progress = _Progress()
    measured = measure(wanted, progress.tell)
    progress.end()
    if options.json:  # said before the word "hearing", it means what it means for `bench`
        print(json.dumps(report.to_json(measured), indent=1))
    else:
        print(report.text(measured), end="")
    if options.json_file is not None:
        _write(options.json_file, json.dumps(report.to_json(measured), indent=1) + "\n")
    if options.svg_file is not None:
        _write(options.svg_file, report.svg(measured))
    return 0


class _Progress:
    """What is being done: on a terminal one line that changes, elsewhere a line for each new thing."""

    def __init__(self) -> None:
        self._terminal = sys.stderr is not None and sys.stderr.isatty()
        self._last = ""

    def tell(self, text: str) -> None:
        """Show it."""
        if self._terminal:
            print(f"\r\x1b[K{in_line(text)}", end="", file=unescaped(sys.stderr), flush=True)
        elif text.partition(":")[0] != self._last:
            print(text.partition(":")[0], file=sys.stderr, flush=True)
        self._last = text.partition(":")[0]

    def end(self) -> None:
        """Clear the line."""
        if self._terminal:
            print("\r\x1b[K", end="", file=unescaped(sys.stderr), flush=True)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageProblem(f"{path} cannot be written: {error.strerror}.") from error
    print(f"Written: {path}", file=sys.stderr)


# --- shared parts ---------------------------------------------------------------------------------


def _report(findings: Sequence[Finding], good: str, *, as_json: bool) -> int:
    if as_json:
        rows = [{"path": f.path, "line": f.line, "problem": f.problem, "remedy": f.remedy} for f in findings]
        print(json.dumps(rows, indent=2))
    elif findings:
        for finding in findings:
            print(in_line(str(finding)))
    else:
        print(in_line(good))
    return 1 if findings else 0


def _facts(options: argparse.Namespace) -> Any:
    from assistant.core.library.identity import check_odometer, check_vin  # noqa: PLC0415
    from assistant.record import Facts  # noqa: PLC0415

    vin = str(check_vin(options.vin)) if options.vin else ""
    return Facts(
        order=options.order or "",
        vin=vin,
        vehicle=options.vehicle or "",
        complaint=options.complaint or "",
        technician=options.technician or "",
        odometer=str(check_odometer(options.odometer)) if options.odometer else "",
    )


def _sessions(options: argparse.Namespace) -> Path:
    from assistant.record import sessions_folder  # noqa: PLC0415

    given: Path | None = options.sessions
    folder: Path = given or sessions_folder()
    if folder.exists() and not folder.is_dir():
        kind = kind_of(folder.stat().st_mode) or "a file"
        raise UsageProblem(f"{folder} is {kind}. Name the folder that holds the sessions.")
    return folder


def _session(options: argparse.Namespace) -> Path:
    """A session by its folder, by its name among the sessions or the end of it, or the newest one as 'last'."""
    from assistant.record.summaries import session_named  # noqa: PLC0415

    name = str(options.session)
    return Path(name) if Path(name).is_dir() else session_named(_sessions(options), name)


def _parser() -> Parser:
    parser = Parser(
        prog="bay-assistant",
        description="Hands-free, offline helper for no-spark diagnosis with a test lamp.",
        epilog="Try it without any sound gear: bay-assistant demo --out demo-session",
    )
    parser.add_argument("--version", action="version", version=f"bay-assistant {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    def add(
        name: str, call: Callable[[argparse.Namespace], int], about: str, example: str
    ) -> argparse.ArgumentParser:
        command = commands.add_parser(
            name,
            help=about,
            description=about,
            epilog=f"Example: {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        command.set_defaults(command=call)
        return command

    def add_model(command: argparse.ArgumentParser) -> None:
        command.add_argument(
            "--model",
            type=Path,
            metavar="DIR",
            help="recogniser model in Vosk's format (default: $BAY_ASSISTANT_MODEL, else the bundled one)",
        )

    def add_data(command: argparse.ArgumentParser) -> None:
        command.add_argument(
            "--procedures", type=Path, metavar="DIR", help="folder of procedures (default: bundled)"
        )
        command.add_argument(
            "--grammars", type=Path, metavar="DIR", help="folder of grammars (default: bundled)"
        )

    def add_sessions(command: argparse.ArgumentParser) -> None:
        command.add_argument(
            "--sessions",
            type=Path,
            metavar="DIR",
            help="folder of the sessions (default: $BAY_ASSISTANT_SESSIONS, else the user's data folder)",
        )

    def add_sound(command: argparse.ArgumentParser) -> None:
        command.add_argument(
            "--microphone", metavar="NAME", help="input device by name or number (default: the system's)"
        )
        command.add_argument(
            "--speaker", metavar="NAME", help="output device by name or number (default: the system's)"
        )

    run = add(
        "run",
        _run,
        "A live session.",
        "bay-assistant run coil-control --order 4711 --complaint 'cranks, no start'",
    )
    run.add_argument(
        "procedure", nargs="?", help="procedure to start with (default: no-start, which asks where to begin)"
    )
    run.add_argument(
        "--resume", metavar="SESSION", help="go on with an interrupted session: its folder, name, or 'last'"
    )
    run.add_argument("--order", metavar="NUMBER", help="number of the repair order")
    run.add_argument(
        "--vin", metavar="VIN", help="vehicle identification number; its check digit is verified"
    )
    run.add_argument("--vehicle", metavar="TEXT", help="the vehicle in words")
    run.add_argument("--complaint", metavar="TEXT", help="the complaint in the customer's words")
    run.add_argument(
        "--odometer", metavar="NUMBER", help="what the odometer shows, as '98200 miles' or '158000 km'"
    )
    run.add_argument("--technician", metavar="TEXT", help="who does the work")
    run.add_argument(
        "--headset",
        action="store_true",
        help="the microphone does not hear the speaker: listen while speaking",
    )
    run.add_argument("--keys-only", action="store_true", help="no microphone: answers by number pad")
    run.add_argument(
        "--silent", action="store_true", help="no loudspeaker: read the screen, acknowledge cautions by key"
    )
    run.add_argument(
        "--plain", action="store_true", help="print a line for each thing said instead of drawing a screen"
    )
    run.add_argument(
        "--no-history",
        action="store_true",
        help="leave the findings of past sessions out of the odds; 'sessions --odds' shows them",
    )
    run.add_argument(
        "--speech-rate",
        type=whole(80, 450),
        default=160,
        metavar="WORDS",
        help="words a minute, 80 to 450 (default: 160)",
    )
    add_sound(run)
    add_model(run)
    add_data(run)
    add_sessions(run)

    demo = add(
        "demo",
        _demo,
        "The same session fed from recorded sounds; needs no sound gear.",
        "bay-assistant demo --out demo-session",
    )
    demo.add_argument(
        "--out",
        type=Path,
        default=Path("demo-session"),
        metavar="DIR",
        help="folder for the results (default: demo-session)",
    )
    demo.add_argument(
        "--real-time", action="store_true", help="take the time that it would take, instead of hurrying"
    )
    demo.add_argument("--script", type=Path, metavar="FILE", help="another scenario than the bundled one")
    add_model(demo)

    hear = add(
        "hear",
        _hear,
        "Recognise sound files; one JSON object a line.",
        "bay-assistant hear --grammar lamp answer.wav",
    )
    hear.add_argument("files", nargs="+", type=Path, metavar="FILE", help="WAV or FLAC, any rate")
    hear.add_argument("--grammar", metavar="NAME", help="a whole grammar: lamp, number, control …")
    hear.add_argument("--procedure", metavar="NAME", help="with --step: what that step listens for")
    hear.add_argument("--step", metavar="NAME")
    add_model(hear)
    add_data(hear)

    lint = add(
        "lint",
        _lint,
        "Check procedures, cautions and grammars.",
        "bay-assistant lint --procedures my-procedures",
    )
    lint.add_argument("--json", action="store_true", help="print the findings as JSON")
    lint.add_argument(
        "--speech",
        action="store_true",
        help="only what is spoken: how long its sentences are, and what is said before the first crank",
    )
    lint.add_argument(
        "--write-schema",
        action="store_true",
        help="write procedure.schema.json for editors, beside the procedures",
    )
    lint.add_argument(
        "--write-likelihoods",
        action="store_true",
        help="write likelihoods.json, with which a session weighs its results, beside the procedures",
    )
    add_data(lint)

    prove = add(
        "prove",
        _prove,
        "Prove procedures: every fault of the circuit, over many random cars, led to its verdict.",
        "bay-assistant prove coil-control --systems 500 --order",
    )
    prove.add_argument("names", nargs="*", metavar="PROCEDURE", help="procedures to prove (default: all)")
    prove.add_argument(
        "--systems",
        type=whole(1, 100_000),
        metavar="N",
        help="random cars for each way in which a fault comes about (default: 200; 30 for each pair)",
    )
    prove.add_argument(
        "--seed", type=whole(0, 10**9), default=1, metavar="N", help="seed of the random cars (default: 1)"
    )
    prove.add_argument(
        "--misreading",
        type=real(0, 0.5, "a share"),
        default=0.02,
        metavar="SHARE",
        help="share of wrong answers of the observer who misreads, 0 to below 0.5 (default: 0.02)",
    )
    prove.add_argument(
        "--order", action="store_true", help="compare the order of tests with the exact optimum, in minutes"
    )
    prove.add_argument(
        "--pairs", action="store_true", help="lead all pairs of faults through (default: coil-control)"
    )
    prove.add_argument("--json", action="store_true", help="print the proof as JSON")
    prove.add_argument(
        "--procedures", type=Path, metavar="DIR", help="folder of procedures (default: bundled)"
    )

    writeup = add(
        "writeup",
        _writeup,
        "Write a session up for the repair order.",
        "bay-assistant writeup last --html --out order-4711.html",
    )
    writeup.add_argument("session", nargs="?", help="folder or name of the session, or 'last'")
    form = writeup.add_mutually_exclusive_group()
    form.add_argument(
        "--html", action="store_true", help="one HTML page instead of plain text, with sound linked beside it"
    )
    form.add_argument("--pdf", action="store_true", help="PDF; needs --out and bay-assistant[pdf]")
    form.add_argument("--json", action="store_true", help="JSON, each statement with its sources")
    form.add_argument("--schema", action="store_true", help="print the JSON Schema of --json")
    writeup.add_argument("--embed-sound", action="store_true", help="put the sound into the page of --html")
    writeup.add_argument("--out", type=Path, metavar="FILE", help="write to this file instead of printing")
    add_sessions(writeup)

    review = add(
        "review",
        _review,
        "Review a session's write-up: what was done, what was found, parts and labour; and sign it.",
        "bay-assistant review last --done 'Mended the control wire.' --found control-wire-open --by 'J. Okoye' --sign",
    )
    review.add_argument("session", help="folder or name of the session, or 'last'")
    review.add_argument("--done", metavar="TEXT", help="what was really done")
    review.add_argument(
        "--found",
        action="append",
        default=[],
        metavar="FAULT",
        help="a fault that was found to be true, by name or in plain words; again for another one",
    )
    review.add_argument(
        "--part", action="append", default=[], metavar="'PART; QUANTITY; PRICE'", help="a part line"
    )
    review.add_argument(
        "--labour", action="append", default=[], metavar="'WORK; HOURS; PRICE'", help="a labour line"
    )
    review.add_argument("--remark", metavar="TEXT", help="anything else")
    review.add_argument("--by", metavar="NAME", help="who reviews")
    review.add_argument("--sign", action="store_true", help="put the name under the write-up as it stands")
    add_sessions(review)

    pack = add(
        "pack",
        _pack,
        "Pack a session with its write-ups for hand-over, as a BagIt bag that anybody can check.",
        "bay-assistant pack last --out order-4711.zip",
    )
    pack.add_argument("session", help="folder or name of the session, or 'last'")
    pack.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="PLACE",
        help="a new folder, or a new file that ends in .zip",
    )
    add_sessions(pack)

    picture = add(
        "picture",
        _picture,
        "Draw a step of a procedure on a car with a fault: the connection, and what the circuit model shows.",
        "bay-assistant picture --procedure coil-control --step switched-while-cranking --fault shorted-primary --out steady.svg",
    )
    picture.add_argument("--procedure", required=True, metavar="NAME", help="a procedure")
    picture.add_argument(
        "--step", required=True, metavar="NAME", help="one of its steps that measures something"
    )
    picture.add_argument(
        "--fault",
        default="none",
        metavar="NAME",
        help="a fault of terms.yaml; a wrong name lists them (default: none)",
    )
    picture.add_argument(
        "--mechanism",
        metavar="NAME",
        help="one way in which the fault comes about; a wrong name lists them (default: the first)",
    )
    picture.add_argument(
        "--lamp", default="194", metavar="NAME", help="the test lamp; a wrong name lists them (default: 194)"
    )
    picture.add_argument(
        "--system",
        default="typical",
        metavar="WHICH",
        help="'typical', or 'seed:N' for a car drawn at random (default: typical)",
    )
    picture.add_argument(
        "--out", type=Path, metavar="FILE", help="write the SVG to this file instead of printing it"
    )
    picture.add_argument(
        "--png", type=Path, metavar="FILE", help="also write it as PNG; needs bay-assistant[picture]"
    )
    picture.add_argument(
        "--procedures", type=Path, metavar="DIR", help="folder of procedures (default: bundled)"
    )

    verify = add(
        "verify",
        _verify,
        "Check that a session, or one in a bag, is what was recorded.",
        "bay-assistant verify last",
    )
    verify.add_argument("session", help="folder or name of the session, or 'last'; or a bag made by 'pack'")
    verify.add_argument("--json", action="store_true", help="print the findings as JSON")
    add_sessions(verify)

    replay = add(
        "replay",
        _replay,
        "Give a session's events to the dialogue again and compare.",
        "bay-assistant replay last --show",
    )
    replay.add_argument("session", help="folder or name of the session, or 'last'")
    replay.add_argument("--show", action="store_true", help="print the dialogue with its times")
    replay.add_argument("--json", action="store_true", help="print the differences as JSON")
    add_sessions(replay)

    sessions = add(
        "sessions",
        _list,
        "Find past sessions, newest first.",
        "bay-assistant sessions pickup --on 'last week' --complaint 'wet'",
    )
    sessions.add_argument(
        "words",
        nargs="*",
        metavar="WORD",
        help="words of order, VIN, vehicle, complaint, technician, procedure or verdict; beginnings will do",
    )
    sessions.add_argument("--order", metavar="NUMBER", help="number of the repair order")
    sessions.add_argument("--vin", metavar="VIN", help="the VIN or a part of it; the last 8 are enough")
    sessions.add_argument(
        "--from",
        dest="since",
        metavar="DATE",
        help="first day: 2026-11-25, 2026-11, today, yesterday, monday, 'last week', 'last month'",
    )
    sessions.add_argument("--to", dest="until", metavar="DATE", help="last day, written in the same ways")
    sessions.add_argument("--on", metavar="DATE", help="that day, week or month only: --from and --to in one")
    sessions.add_argument(
        "--verdict", metavar="NAME", help="verdict that was reached; a wrong name lists them"
    )
    sessions.add_argument(
        "--complaint", metavar="WORDS", help="words of the complaint, in any order; beginnings will do"
    )
    state = sessions.add_mutually_exclusive_group()
    state.add_argument(
        "--open", dest="sealed", action="store_const", const=False, help="only those that can be gone on with"
    )
    state.add_argument(
        "--sealed", dest="sealed", action="store_const", const=True, help="only those that were closed"
    )
    sessions.add_argument(
        "--limit",
        type=whole(0, 10**9),
        metavar="N",
        help="show at most N; 0 for all (default: 20 on a terminal, else all)",
    )
    sessions.add_argument(
        "--rebuild", action="store_true", help="make the index anew from the records before looking"
    )
    sessions.add_argument(
        "--odds",
        action="store_true",
        help="show how the signed reviews of this shop change the odds of faults",
    )
    sessions.add_argument("--json", action="store_true", help="print as JSON")
    add_sessions(sessions)

    gear = add(
        "gear", _gear, "Check microphone, loudspeaker, voice, model and levels.", "bay-assistant gear --say"
    )
    gear.add_argument(
        "--say",
        action="store_true",
        help="also speak a test sentence and measure the microphone for two seconds",
    )
    gear.add_argument("--json", action="store_true", help="print the report as JSON")
    add_sound(gear)
    add_model(gear)

    bench = add("bench", _bench, "Measure the figures that the README gives.", "bay-assistant bench")
    bench.add_argument("--json", action="store_true", help="print the figures as JSON")
    add_model(bench)
    further = bench.add_subparsers(metavar="")
    _add_bench_hearing(further)
    about = "Measure how long the circuit model takes for all measurements of the procedures."
    further.add_parser(
        "circuit", help=about, description=about, epilog="Example: bay-assistant bench circuit"
    ).set_defaults(command=_bench_circuit)
    _add_bench_procedures(further)
    about = "Measure how long it takes to find past sessions, with the index and without."
    past = further.add_parser(
        "sessions", help=about, description=about, epilog="Example: bay-assistant bench sessions --count 500"
    )
    past.add_argument("--count", type=whole(0, 100_000), metavar="N", help="made-up sessions (default: 2000)")
    past.set_defaults(command=_bench_sessions)
    about = "Measure very long sessions: memory, resuming, writing up; some minutes."
    long = further.add_parser(
        "long", help=about, description=about, epilog="Example: bay-assistant bench long --lines 30000"
    )
    long.add_argument(
        "--lines", type=whole(100, 1_000_000), metavar="N", help="lines of each session (default: 30000)"
    )
    long.add_argument("--pdf", action="store_true", help="also make the PDFs, which takes many minutes")
    long.set_defaults(command=_bench_long)
    _add_bench_rehearsal(further)
    about = "Measure how well the assistant's own sentences are understood, by PocketSphinx and beside another voice."
    speech = further.add_parser(
        "speech", help=about, description=about, epilog="Example: bay-assistant bench speech --sentences 100"
    )
    speech.set_defaults(command=_bench_speech)
    speech.add_argument(
        "--sentences",
        type=whole(0, 100_000),
        default=0,
        metavar="N",
        help="only about so many, evenly spread (default: all)",
    )
    speech.add_argument(
        "--speech-rate", type=whole(80, 450), metavar="N", help="words a minute (default: that of a session)"
    )
    speech.add_argument("--voice", metavar="NAME", help="another voice of eSpeak NG, such as gmw/en-us+f3")
    return parser


def _add_bench_rehearsal(further: Any) -> None:
    about = (
        "Rehearse whole sessions on modelled cars with a person who misreads or misses contact: good parts condemned, "
        "and how often the dialogue asks again."
    )
    rehearsal = further.add_parser(
        "rehearsal",
        help=about,
        description=about,
        epilog="Example: bay-assistant bench rehearsal --cars 20 --misreading 0.05",
    )
    rehearsal.set_defaults(command=_bench_rehearsal)
    rehearsal.add_argument(
        "--procedure", default="coil-control", metavar="NAME", help="where it starts (default: coil-control)"
    )
    rehearsal.add_argument(
        "--cars", type=whole(1, 10_000), default=20, metavar="N", help="cars a mechanism (default: 20)"
    )
    rehearsal.add_argument(
        "--misreading",
        type=real(0, 0.5, "a share"),
        default=0.05,
        metavar="SHARE",
        help="share of wrong answers (default: 0.05)",
    )
    rehearsal.add_argument(
        "--seed", type=whole(0, 2**32 - 1), default=20261126, metavar="N", help="of cars and chance"
    )
    rehearsal.add_argument(
        "--processes", type=whole(1, 2), default=2, metavar="N", help="at most so many (default: 2)"
    )
    rehearsal.add_argument(
        "--no-weighing",
        dest="weighing",
        action="store_false",
        help="do not weigh the results together, so that nothing is asked again",
    )


def _add_bench_procedures(further: Any) -> None:
    about = "Make mistakes in the procedures, and count what loader, lint and proof catch; some minutes."
    procedures = further.add_parser(
        "procedures",
        help=about,
        description=about,
        epilog="Example: bay-assistant bench procedures --count 120 --seed 2",
    )
    procedures.set_defaults(command=_bench_procedures)
    procedures.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="print the figures as JSON"
    )
    procedures.add_argument(
        "--procedures", type=Path, metavar="DIR", help="folder of procedures (default: the built-in ones)"
    )
    procedures.add_argument(
        "--count",
        type=whole(1, 100_000),
        default=90,
        metavar="N",
        help="mistakes, spread over all kinds (default: 90)",
    )
    procedures.add_argument(
        "--systems",
        type=whole(1, 1000),
        default=40,
        metavar="N",
        help="random cars for each way in which a fault comes about (default: 40)",
    )
    procedures.add_argument(
        "--seed",
        type=whole(0, 10**9),
        default=1,
        metavar="N",
        help="of the choice of mistakes and of the random cars (default: 1)",
    )
    procedures.add_argument(
        "--processes", type=whole(1, 64), default=2, metavar="N", help="at most so many at once (default: 2)"
    )


def _add_bench_hearing(further: Any) -> None:
    about = (
        "Measure how well the recogniser hears: right, wrong, rejected, in noise, and beside PocketSphinx."
    )
    hearing = further.add_parser(
        "hearing",
        help=about,
        description=about,
        epilog="Example: bay-assistant bench hearing --quick --json hearing.json",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    hearing.set_defaults(command=_bench_hearing)
    hearing.add_argument(
        "--model",
        dest="models",
        type=Path,
        metavar="DIR",
        nargs="+",
        action="extend",
        default=[],
        help="further models to measure beside the one of a session",
    )
    hearing.add_argument("--quick", action="store_true", help="about two minutes: a fifth of it, two ratios")
    hearing.add_argument(
        "--hours",
        type=real(0, 1000, "a number of hours"),
        metavar="H",
        help="hours of noise and chatter (default: 2; 0 leaves them out)",
    )
    hearing.add_argument(
        "--only", metavar="NAME", nargs="+", default=[], help="only these parts; a wrong name lists them"
    )
    hearing.add_argument(
        "--json", dest="json_file", type=Path, metavar="FILE", help="write the figures as JSON"
    )
    hearing.add_argument(
        "--svg", dest="svg_file", type=Path, metavar="FILE", help="write a reliability diagram"
    )
    hearing.add_argument(
        "--cache",
        type=Path,
        metavar="DIR",
        help="where synthesised speech is kept (default: the user's cache folder)",
    )
    hearing.add_argument(
        "--manifest", type=Path, metavar="FILE", help="another test set than the bundled one"
    )


if __name__ == "__main__":
    sys.exit(main())
