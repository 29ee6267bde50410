"""What results say about the faults together."""
