"""The page of a drill."""
