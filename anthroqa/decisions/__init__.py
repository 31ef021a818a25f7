"""Findings in three states, with the interval beside them, against the program's limits."""

from anthroqa.decisions.decide import decide
from anthroqa.decisions.marks_reach import marks_reach
from anthroqa.decisions.reach import reach
from anthroqa.decisions.retakes import take_again

__all__ = ["decide", "marks_reach", "reach", "take_again"]
