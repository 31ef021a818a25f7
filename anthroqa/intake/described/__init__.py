"""What a session describes: its measures, conditions, limits and instruments."""
