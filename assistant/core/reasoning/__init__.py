"""Reasoning from all results of a session to its faults."""
