"""The neural voice "heart": text becomes phonemes, and phonemes become sound with numpy alone.

README.md says what its parts are.
"""
