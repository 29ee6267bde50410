"""The dialogue: one table of states, triggers and handlers."""
