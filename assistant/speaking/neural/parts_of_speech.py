"""What kind of word a word is, where that decides how it is pronounced: "close it" or "too close".

Few words need it (790 of 183,561 in the lexicon), so a table of the trade's phrases and a handful of rules about
the words beside them do instead of a tagger. They are made for short instructions: a sentence begins with an order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

VERB, NOUN, ADJECTIVE, PAST, DETERMINER = "VERB", "NOUN", "ADJ", "VBN", "DT"

LETTER = "LETTER"
"""The kind of a letter that stands for itself: "A" in "A C volts"."""

INITIALS = "INITIALS"
"""The kind of a word in capitals among others, which may be read letter by letter: "ECM", "ABS"."""

PART = "PART"
"""The kind of a part of a word with hyphens."""

PARENTS = {"VBD": VERB, "VBN": VERB, "VBP": VERB}
"""The wider kind of a kind, for words whose pronunciations do not tell them apart."""

_DETERMINERS = frozenset(
    "a an the this that these those my your his her its our their each every no any some another one two".split()
)
_VERB_NEXT = frozenset(
    "to can could will would must should shall may might do does did not don't doesn't didn't won't can't cannot "
    "couldn't wouldn't shouldn't let's please i you we they then and or never always".split()
)
_PARTICIPLE_NEXT = frozenset("is are was were be been being has have had it's that's get gets got".split())
_PREPOSITIONS = frozenset(
    "of in on at by for with from to into under over until when where before after if".split()
)
_AFTER_A_VERB = _DETERMINERS | frozenset(
    "it them him me us at to on in off for with from into through up down out again all both only back".split()
)


def kind(words: Sequence[str], place: int, *, begins: bool, ends: bool) -> str | None:
    """The likely kind of the word at `place` among the words of a sentence in small letters; None for the usual.

    Args:
        words: The words.
        place: The number of the word.
        begins: Whether a sentence, or a new thought behind a mark, begins with it.
        ends: Whether a mark or nothing follows.
    """
    word = words[place]
    before = "" if begins or place == 0 else words[place - 1]
    after = "" if ends or place + 1 >= len(words) else words[place + 1]
    if word == "that":
        return _that(words, place, before, after)
    if word == "that's":
        return DETERMINER
    if word in _ALWAYS:
        return _ALWAYS[word]
    if before in _DETERMINERS or before.endswith("'s"):
        return NOUN if not after or after in _AFTER_A_VERB or after in _PARTICIPLE_NEXT else ADJECTIVE
    if before in _VERB_NEXT:
        return VERB
    if before in _PREPOSITIONS:
        return NOUN
    if before in _PARTICIPLE_NEXT:
        return PAST if word == "read" else ADJECTIVE
    if before and word == "read":
        return PAST  # "codes read and cleared"
    if not before and after in _AFTER_A_VERB:
        return VERB
    return None


_ALWAYS = {
    "relay": NOUN,  # the part, never "to pass on"
    "relays": NOUN,
    "minute": NOUN,  # sixty seconds, never "tiny"
    "minutes": NOUN,
    "suspect": NOUN,
    "present": ADJECTIVE,  # there, never "to show"
    "contact": NOUN,
}
"""Words that a shop uses in one meaning only (common practice, no source)."""


def _that(words: Sequence[str], place: int, before: str, after: str) -> str | None:
    """Stressed where it points ("that test", "fix that"), weak where it joins ("the test that failed")."""
    joins = (
        before
        and after
        and before not in _PREPOSITIONS
        and not _DETERMINERS.isdisjoint(words[max(0, place - 3) : place - 1])
    )
    return None if joins else DETERMINER
