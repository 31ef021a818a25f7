"""The words beside staff over many sessions and routine records."""
