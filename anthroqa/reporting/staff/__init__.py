"""The page of staff over many sessions."""
