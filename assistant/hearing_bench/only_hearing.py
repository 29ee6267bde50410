"""A process that only hears, to measure how much memory that takes.

Run as ``python -m assistant.hearing_bench.only_hearing MODEL``: opens the model, the voice-activity model and the
grammar of one step, hears one answer of the fixtures, and prints its highest resident memory in MB.
"""

from __future__ import annotations

import sys
from pathlib import Path

from assistant import resources
from assistant.benchmarks import resident_mb
from assistant.core.values.result import Control, GrammarRequest
from assistant.errors import BayAssistantError
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import read_sound
from assistant.hearing_bench.streaming import Attentive
from assistant.measured import DEFAULT_THRESHOLDS

REQUEST = GrammarRequest(
    outcomes=("lit", "dim", "dark", "steady", "blinking", "flickering"),
    controls=(Control.STOP, Control.STAND_BY, Control.SAY_AGAIN, Control.CORRECTION, Control.NOT_SURE),
)
"""The request of a lamp step."""

SOUND = "feed-lit.flac"


def main(model: str) -> None:
    """Hear, and print the memory."""
    grammars = GrammarSet.load(resources.directory("grammars"))
    ear = Attentive(Recogniser(find_model(Path(model))), grammars, DEFAULT_THRESHOLDS)
    ear.listen(REQUEST)
    ear.feed(read_sound(resources.directory("audio_fixtures") / SOUND).samples)
    print(resident_mb(highest=True))


if __name__ == "__main__":
    try:
        main(sys.argv[1])
    except BayAssistantError as problem:
        sys.exit(str(problem))
