"""Making and measuring the acoustic model: nothing here is needed in a session."""
