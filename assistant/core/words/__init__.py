"""Measurements, numbers and answers as they are spoken and written."""
