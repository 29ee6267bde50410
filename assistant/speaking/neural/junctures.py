"""Short pauses that the voice makes between two words which a listener would otherwise hear as others.

Each was chosen by listening with Whisper tiny.en to sentences of the tuning half and others made for it, in quiet and
in bay noise at the same peak, shaped; its figures stand beside it. The listener's window was 10 s instead of 30.
"""

from __future__ import annotations

import re

_JUNCTURES = (
    # "Driver end to ground" was heard as "driver and ground".
    # "end" right in 3 of 11 sentences before, 11 after (quiet); 1 before, 10 after (noise).
    re.compile(r"(?<!\S)ˈɛnd(?= tə )"),
    # "Fuse supply: dark." was heard as "few supply": nothing tells the [z] from the [s] behind it.
    # "fuse" right in 0 of 11 sentences before, 10 after (quiet); 1 before, 5 after (noise).
    re.compile(r"(?<!\S)fjˈuz(?= s)"),
    # "Probe off." was heard as "pro boff": the stop goes over to the vowel.
    # Words wrong in 34 sentences: 30 before, 18 after (quiet); 38 before, 29 after (noise).
    re.compile(r"[pbtkdɡ](?= ˈɔf(?:[.,;:?!]|$))"),
)

_PAUSE = ","


def parted(phonemes: str) -> str:
    """The sentence with a pause at each such place."""
    for juncture in _JUNCTURES:
        phonemes = juncture.sub(rf"\g<0>{_PAUSE}", phonemes)
    return phonemes
