"""A session before it takes place: who, whom, in which order, and what it would settle."""

from anthroqa.planning.durations import day_minutes, timetable, workload
from anthroqa.planning.order import Balance, balance
from anthroqa.planning.plan import Block, Plan, read_plan
from anthroqa.planning.planned_rows import planned, turns
from anthroqa.planning.prospects import (
    Outlook,
    chances,
    changes,
    least_subjects,
    look_ahead,
    naming,
)
from anthroqa.planning.session_files import check_free, session_toml
from anthroqa.planning.workbook import write_workbook

__all__ = [
    "Balance", "Block", "Outlook", "Plan", "balance", "chances", "changes", "check_free",
    "day_minutes", "least_subjects", "look_ahead", "naming", "planned", "read_plan",
    "session_toml", "timetable", "turns", "workload", "write_workbook",
]  # fmt: skip
