"""Procedures, terms and cautions: the data model, and YAML turned into it."""
