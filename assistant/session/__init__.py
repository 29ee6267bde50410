"""A session: the loop that wires the dialogue to sound, keys, screen and record."""
