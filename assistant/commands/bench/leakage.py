"""`bay-assistant bench leakage`: whether the assistant answers itself through a headset."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import whole
from assistant.commands.console import print_json
from assistant.commands.time_left import ToldTime

if TYPE_CHECKING:
    import argparse

ABOUT = "Measure whether the assistant answers itself when a headset's microphone hears it, and whether it is heard."
EXAMPLE = "bay-assistant bench leakage --every 3 --speak-over slt"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--every",
        type=whole(1, 10_000),
        default=1,
        metavar="N",
        help="take only every Nth turn (default: all)",
    )
    parser.add_argument("--voice", metavar="NAME", help="the assistant's voice (default: as in a session)")
    parser.add_argument(
        "--speak-over",
        metavar="VOICE",
        help="flite's voice of a technician who speaks meanwhile, such as slt",
    )
    parser.add_argument("--without", action="store_true", help="leave out what tells the own voice")
    parser.add_argument("--every-noise", action="store_true", help="measure every turn at every noise")


def run(options: argparse.Namespace) -> int:
    """Print the counts."""
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415
    from assistant.hearing.recogniser import Recogniser, find_model  # noqa: PLC0415
    from assistant.hearing_bench import leakage  # noqa: PLC0415
    from assistant.hearing_bench.manifest import BenchVoice  # noqa: PLC0415
    from assistant.hearing_bench.speech import SpeechCache, cache_folder  # noqa: PLC0415
    from assistant.hearing_bench.spoken_turns import spoken_turns  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.speaking import DEFAULT_RATE  # noqa: PLC0415
    from assistant.speaking.voice import Voice  # noqa: PLC0415

    library, _ = load_folder(resources.directory("procedures"))
    turns = spoken_turns(library)
    random.Random(5).shuffle(turns)  # noqa: S311  the same order every time
    speak_over = None
    if options.speak_over:
        cache = SpeechCache(cache_folder())
        technician = BenchVoice(options.speak_over, "flite", options.speak_over)
        speak_over = lambda word: cache.say(technician, word)  # noqa: E731
    plan = leakage.LeakagePlan(
        turns[:: options.every],
        Voice(DEFAULT_RATE, options.voice),
        speak_over,
        cure=not options.without,
        every_noise=options.every_noise,
    )
    grammars = GrammarSet.load(resources.directory("grammars"))
    with ToldTime("Measuring", {f"leakage at {leak_db} dB": 1.0 for leak_db in leakage.LEAKS_DB}) as progress:
        found = leakage.measure(plan, Recogniser(find_model()), grammars, progress.tell)
    if options.json:
        print_json(leakage.to_json(found))
    else:
        print(leakage.text(found), end="")
    return 0
