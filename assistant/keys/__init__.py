"""The number pad: turns keys from a terminal into the key names of the dialogue."""
