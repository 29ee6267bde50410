"""Sessions that made-up people play: what the assistant can say, and what errors do to it."""
