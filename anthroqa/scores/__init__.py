"""Figures of measurement quality from exact readings; one file a question."""

from anthroqa.scores.leads import leads
from anthroqa.scores.residuals import residuals
from anthroqa.scores.table import score

__all__ = ["leads", "residuals", "score"]
