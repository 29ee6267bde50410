"""What goes into the dialogue and comes out of it, as plain values with their JSON."""
