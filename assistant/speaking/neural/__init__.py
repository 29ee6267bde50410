"""The neural voice "heart": phonemes become sound with numpy alone. README.md says what its parts are."""
