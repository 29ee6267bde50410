"""The neural voice "heart": text to phonemes, and phonemes to sound."""
