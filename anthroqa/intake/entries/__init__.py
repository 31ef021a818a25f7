"""Rows that were entered: readings, and what stands beside them."""
