"""Pages, tables and figures for people; computes nothing that is in no table."""

from anthroqa.reporting.notebooks import NotebookError
from anthroqa.reporting.plan_folder import plan
from anthroqa.reporting.report import drill, report

__all__ = ["NotebookError", "drill", "plan", "report"]
