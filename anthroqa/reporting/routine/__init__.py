"""The page of routine records, from their counts."""
