"""A session before it takes place: who, whom, in which order, and what it would settle."""

from anthroqa.planning.chances import chances, changes, least_subjects, naming
from anthroqa.planning.folder import check_free, session_toml, sha256
from anthroqa.planning.order import Balance, balance
from anthroqa.planning.plan import Block, Plan, read_plan
from anthroqa.planning.readings import planned, turns
from anthroqa.planning.workbook import write_workbook
from anthroqa.planning.workload import day_minutes, timetable, workload

__all__ = [
    "Balance", "Block", "Plan", "balance", "chances", "changes", "check_free", "day_minutes",
    "least_subjects", "naming", "planned", "read_plan", "session_toml", "sha256", "timetable",
    "turns", "workload", "write_workbook",
]  # fmt: skip
