"""The page and the printed sheets of a plan."""
