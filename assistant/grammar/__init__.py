"""What can be said: JSGF grammars, strict parsing, spoken numbers, and a check for look-alikes."""
