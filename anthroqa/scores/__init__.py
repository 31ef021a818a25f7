"""Figures of measurement quality from exact readings; one file a question."""

from anthroqa.scores.residuals import residuals
from anthroqa.scores.table import score

__all__ = ["residuals", "score"]
