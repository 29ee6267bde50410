"""Rules of the trade that the lint holds every procedure to."""
