"""The assistant's voice: text becomes sound, and sound leaves the loudspeaker until it is cut."""

DEFAULT_RATE = 175
"""Words per minute, the synthesiser's own.

`bench speech` found no gain in slower speech, and a loss at 210 (the README of this room has the figures).
"""

LEAST_WORDS, MOST_WORDS = 80, 450
"""Limits of the speaking rate, words per minute."""
