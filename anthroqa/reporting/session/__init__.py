"""The report of one session."""
