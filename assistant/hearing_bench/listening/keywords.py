"""The words that decide what is done: a listener who misses one does something else, or nothing.

They are derived, not chosen: every word that an answer can have (the grammars), every number and unit, every place,
instrument and outcome by its names in ``terms.yaml``, the names of measurements, the signal words, and the words of
refusal. Words that only join others are left out wherever they come from.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.terms import SignalWord
from assistant.hearing_bench.listening.words import NUMBER_WORDS, UNIT_NAMES, as_read, canonical

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.grammar.grammar_set import GrammarSet

_JOINING = """
    a an the this that these those it its he she you your yours i my me we our us they their them
    of at to in for from by with as than then and or but if so
    is are was were be been am do does did has have had will would can could may must
    what which who whose there here how when where
"""

JOINING = frozenset(_JOINING.split())
"""Articles, pronouns, prepositions, conjunctions and auxiliary verbs of English.

"On", "off", "out", "up", "down", "before", "after" and "until" are not among them: they say what is done, and when.
"""

REFUSING = frozenset(["no", "not", "never", "nothing", "nobody", "none", "without", "stop"])


def keywords(library: Library, grammars: GrammarSet) -> frozenset[str]:
    """Every keyword, in the spelling of `canonical`."""
    terms = library.terms
    texts = [
        *grammars.words(),
        *(text for place in terms.places.values() for text in (place.spoken, place.short, place.plug_short)),
        *(text for tool in terms.instruments.values() for text in (tool.spoken, tool.short)),
        *(outcome.spoken for outcome in terms.outcomes.values()),
        *(called.name for called in terms.called.values()),
        *(word.lower() for word in SignalWord),
    ]
    found = {word for text in texts for word in canonical(as_read(text))}
    return frozenset(found | NUMBER_WORDS | UNIT_NAMES | REFUSING) - JOINING
