"""Figures of measurement quality from exact readings; one file a question."""

from anthroqa.scores.agreement.by_sizes import by_size
from anthroqa.scores.agreement.two_views import both_views
from anthroqa.scores.components.division import parts
from anthroqa.scores.instruments.confounding import entangled
from anthroqa.scores.marks.screening import mark_findings
from anthroqa.scores.odd.distances import residuals
from anthroqa.scores.odd.explained import slips
from anthroqa.scores.odd.hidden import hidden_kinds
from anthroqa.scores.odd.patterns import watch_for
from anthroqa.scores.table import score

__all__ = [
    "both_views", "by_size", "entangled", "hidden_kinds", "mark_findings", "parts", "residuals",
    "score", "slips", "watch_for",
]  # fmt: skip
