"""Findings in three states, with the interval beside them, against the program's limits."""

from anthroqa.decisions.decide import decide
from anthroqa.decisions.reach import reach
from anthroqa.decisions.retakes import take_again

__all__ = ["decide", "reach", "take_again"]
