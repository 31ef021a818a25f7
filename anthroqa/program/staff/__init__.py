"""Staff over many sessions: one file a question."""
