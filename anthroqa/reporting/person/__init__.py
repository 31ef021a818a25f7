"""The page that one person gets: their own readings, and nobody else's."""
