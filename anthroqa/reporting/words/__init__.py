"""The words of every note and problem, in plain English: another language is another such room."""

from anthroqa.reporting.words import decisions, planning
from anthroqa.reporting.words.intake import beside, problems, session, settings, written
from anthroqa.reporting.words.program import program_problems, routine, routine_problems, staff
from anthroqa.reporting.words.scores import (  # fmt: skip
    components,
    figures,
    instruments,
    marks,
    odd,
    slips,
)

__all__ = [
    "beside", "components", "decisions", "figures", "instruments", "marks", "odd", "planning",
    "problems", "program_problems", "routine", "routine_problems", "session", "settings", "slips",
    "staff", "written",
]  # fmt: skip
