"""Spoken language: JSGF grammars, strict parsing, spoken numbers, and a check for look-alikes."""
