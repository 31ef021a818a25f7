"""Findings in three states, with the interval beside them, against the program's limits."""

from anthroqa.decisions.findings import decide
from anthroqa.decisions.fine_limits import too_fine
from anthroqa.decisions.reach_of_marks import marks_reach
from anthroqa.decisions.reference import reference_doubts
from anthroqa.decisions.retakes import take_again
from anthroqa.decisions.session_reach import reach
from anthroqa.decisions.tolerance_checks import instrument_checks
from anthroqa.decisions.with_and_without import variants

__all__ = [
    "decide", "instrument_checks", "marks_reach", "reach", "reference_doubts", "take_again",
    "too_fine", "variants",
]  # fmt: skip
