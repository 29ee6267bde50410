"""The screen that a technician glances at while both hands are busy."""
