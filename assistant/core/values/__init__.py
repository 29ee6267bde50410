"""Values that go into the dialogue and come out of it, and their JSON."""
