"""Routine records: the counts, and what they say."""
