"""`bay-assistant bench speech`: how well the assistant's own sentences are understood, in quiet and in noise."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import whole
from assistant.commands.console import print_json, remark
from assistant.commands.time_left import ToldTime
from assistant.errors import GearProblem

if TYPE_CHECKING:
    import argparse

    from assistant.hearing_bench.listening.measuring import SentenceListener
    from assistant.hearing_bench.listening.talkers import Talker

ABOUT = "Measure how well recognisers understand the assistant's own voice, in quiet and in noise."
EXAMPLE = "bay-assistant bench speech --sentences 20 --listen examples"

LISTENERS = ("pocketsphinx", "whisper")
SENTENCES = 40
"""How many sentences are drawn without an option: some minutes of work."""


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--sentences",
        type=whole(0, 100_000),
        default=SENTENCES,
        metavar="N",
        help=f"draw N sentences (default: {SENTENCES}; 0: all)",
    )
    parser.add_argument(
        "--seed", type=whole(0, 1_000_000), default=1, metavar="N", help="draw others (default: 1)"
    )
    parser.add_argument(
        "--speech-rate",
        type=whole(80, 450),
        metavar="N",
        help="speaking rate in words a minute (default: as in a session)",
    )
    parser.add_argument(
        "--voice",
        action="append",
        default=[],
        metavar="NAME",
        help="only this voice, plain and shaped for noise; may be repeated",
    )
    parser.add_argument(
        "--listener",
        action="append",
        default=[],
        choices=LISTENERS,
        help="only this listener (default: all that are installed); may be repeated",
    )
    parser.add_argument(
        "--half",
        choices=("measuring", "tuning", "both"),
        default="measuring",
        help="draw from this half of the sentences; the other one is for tuning (default: measuring)",
    )
    parser.add_argument(
        "--listen",
        type=Path,
        metavar="DIR",
        help="measure nothing; write three prompts into DIR as sound files to listen to, with index.txt",
    )


def run(options: argparse.Namespace) -> int:
    """Print the report, or write the sound files."""
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415
    from assistant.hearing_bench.listening import (  # noqa: PLC0415
        drawing,
        examples,
        keywords,
        measuring,
        noise,
        report,
        scores,
        sphinx,
        talkers,
    )
    from assistant.hearing_bench.listening.words import as_read, canonical  # noqa: PLC0415
    from assistant.linting import all_spoken  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415

    library, knowledge = load_folder(resources.directory("procedures"))
    spoken = all_spoken(library, knowledge)
    everything = list(dict.fromkeys(one.sentence for one in spoken))
    half = drawing.Half(options.half)
    drawn = drawing.draw(everything, options.sentences, options.seed, half)
    able, missing = talkers.able(_talkers(options))
    if options.listen is not None:
        every = drawing.draw(everything, 0, options.seed, half)
        steps = {one.sentence for one in spoken if one.where.startswith("step ") and "," not in one.where}
        wanted = examples.prompts(library, every, [one for one in every if one in steps])
        written = examples.write(options.listen, wanted, able, options.seed)
        for one in missing:
            remark(one)
        if options.json:
            print_json({"written": [str(path) for path in written]})
        else:
            print(f"{len(written)} files written. Begin with {written[-1]}.")
        return 0
    if not able:
        raise GearProblem(" ".join(missing))
    grammars = GrammarSet.load(resources.directory("grammars"))
    vocabulary = {word for sentence in everything for word in canonical(as_read(sentence))}
    hearer = sphinx.Sphinx(vocabulary, grammars.lexicon)
    hearing, deaf = listeners(options.listener, hearer)
    missing += [*deaf, *filter(None, (noise.missing_noise(), scores.missing_estoi()))]
    conditions = [one for one in noise.CONDITIONS if not (one.noise == "babble" and noise.missing_noise())]
    bench = measuring.ListeningBench(
        able,
        hearing,
        conditions,
        keywords.keywords(library, grammars),
        hearer.sound,
        estoi=not scores.missing_estoi(),
    )
    with ToldTime("Measuring") as progress:
        measured = bench.measure(drawn, options.seed, progress.tell)
    measured.missing[:0] = missing
    if options.json:
        print_json(report.to_json(measured))
    else:
        print(report.text(measured), end="")
    return 0 if measured.done == len(drawn) else 130


def _talkers(options: argparse.Namespace) -> list[Talker]:
    """The named voices; without one the default voice, the second voice, and one from outside."""
    from assistant.hearing_bench.listening.talkers import OUTSIDE, FliteVoice, Talker, ours  # noqa: PLC0415
    from assistant.speaking import DEFAULT_RATE  # noqa: PLC0415
    from assistant.speaking.voice import Voice  # noqa: PLC0415

    pace = options.speech_rate or DEFAULT_RATE
    if options.voice:
        return [one for name in options.voice for one in ours(Voice(pace, name), shaped=True)]
    return [
        *ours(Voice(pace, "espeak"), shaped=False),
        *ours(Voice(pace), shaped=True),
        Talker(OUTSIDE, FliteVoice(OUTSIDE.partition(":")[2])),
    ]


def listeners(wanted: list[str], hearer: SentenceListener) -> tuple[list[SentenceListener], list[str]]:
    """The wanted listeners that are installed, and a sentence about the others."""
    from assistant.hearing_bench.listening.whisper import Whisper  # noqa: PLC0415

    found: list[SentenceListener] = []
    missing = []
    if not wanted or "whisper" in wanted:
        try:
            found.append(Whisper())
        except GearProblem as problem:
            if wanted == ["whisper"]:
                raise
            missing.append(str(problem))
    if not wanted or "pocketsphinx" in wanted:
        found.append(hearer)
    return found, missing
