"""The number pad: keys that a terminal sends become the key names of the dialogue."""
