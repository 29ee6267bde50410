"""The assistant's voice: text becomes sound, and sound leaves the loudspeaker until it is cut."""

DEFAULT_RATE = 175
"""Words per minute, the synthesiser's own.

`bench speech` on 105 sentences found no gain in slower speech: 61, 59 and 62 % of the words wrong at 160, 175 and 190.
"""

LEAST_WORDS, MOST_WORDS = 80, 450
"""Limits of the speaking rate, words per minute."""
