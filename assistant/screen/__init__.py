"""What a glance shows while both hands are busy."""
