"""Hands-free, offline voice and number-pad helper for no-spark diagnosis with a test lamp."""

__version__ = "0.1.0"
