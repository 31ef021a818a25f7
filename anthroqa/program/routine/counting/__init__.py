"""Routine records become counts, inside the engine that holds them."""
