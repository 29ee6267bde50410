"""`bay-assistant bench speech`: how well the assistant's own sentences are understood."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from assistant import resources
from assistant.commands.arguments import whole
from assistant.commands.console import ProgressLine

if TYPE_CHECKING:
    import argparse

ABOUT = (
    "Measure how well PocketSphinx understands the assistant's own sentences, compared with another voice."
)
EXAMPLE = "bay-assistant bench speech --sentences 100"


def add(parser: argparse.ArgumentParser) -> None:
    """Add its options."""
    parser.add_argument(
        "--sentences",
        type=whole(0, 100_000),
        default=0,
        metavar="N",
        help="measure only about N sentences, evenly spread (default: all)",
    )
    parser.add_argument(
        "--speech-rate",
        type=whole(80, 450),
        metavar="N",
        help="speaking rate in words a minute (default: as in a session)",
    )
    parser.add_argument("--voice", metavar="NAME", help="another voice of eSpeak NG, such as gmw/en-us+f3")


def run(options: argparse.Namespace) -> int:
    """Print the report."""
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415
    from assistant.hearing_bench import listening  # noqa: PLC0415
    from assistant.linting import all_spoken  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.speaking import DEFAULT_RATE  # noqa: PLC0415
    from assistant.speaking.voice import Voice  # noqa: PLC0415

    library, knowledge = load_folder(resources.directory("procedures"))
    said = list(dict.fromkeys(one.sentence for one in all_spoken(library, knowledge)))
    if options.sentences > 0:
        said = said[:: max(1, len(said) // options.sentences)]
    lexicon = GrammarSet.load(resources.directory("grammars")).lexicon
    with ProgressLine() as progress:
        voice = Voice(options.speech_rate or DEFAULT_RATE, options.voice)
        report = listening.measure(said, lexicon, voice, progress=progress.tell)
    print(json.dumps(report.to_json(), indent=1) if options.json else report.text(), end="")
    return 0
