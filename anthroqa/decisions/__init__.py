"""Findings in three states, with the interval beside them, against the program's limits."""

from anthroqa.decisions.decide import decide
from anthroqa.decisions.kit import kit
from anthroqa.decisions.marks_reach import marks_reach
from anthroqa.decisions.reach import reach
from anthroqa.decisions.reference import reference_doubts
from anthroqa.decisions.retakes import take_again
from anthroqa.decisions.too_fine import too_fine
from anthroqa.decisions.variants import variants

__all__ = [
    "decide", "kit", "marks_reach", "reach", "reference_doubts", "take_again", "too_fine",
    "variants",
]  # fmt: skip
