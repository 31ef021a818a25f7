"""Figures of measurement quality from exact readings; one file a question."""

from anthroqa.scores.hidden import hidden_kinds
from anthroqa.scores.instruments import entangled
from anthroqa.scores.leads import leads
from anthroqa.scores.parts import parts
from anthroqa.scores.patterns import watch_for
from anthroqa.scores.reference import both_views
from anthroqa.scores.residuals import residuals
from anthroqa.scores.size import by_size
from anthroqa.scores.slips import slips
from anthroqa.scores.table import score

__all__ = [
    "both_views", "by_size", "entangled", "hidden_kinds", "leads", "parts", "residuals", "score",
    "slips", "watch_for",
]  # fmt: skip
