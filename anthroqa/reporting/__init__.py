"""Pages, tables and figures for people; computes nothing that is in no table."""

from anthroqa.reporting.page.notebooks import NotebookError
from anthroqa.reporting.person.folder import feedback
from anthroqa.reporting.plan.folder import plan
from anthroqa.reporting.routine.folder import counts_only, records, shown_sql
from anthroqa.reporting.session.folder import drill, report
from anthroqa.reporting.staff.folder import left_out, review

__all__ = [
    "NotebookError", "counts_only", "drill", "feedback", "left_out", "plan", "records", "report",
    "review", "shown_sql",
]  # fmt: skip
