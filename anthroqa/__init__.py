"""anthroqa: does a trained person now measure well?

Exact readings from a standardisation exercise, a tidy table of figures, decisions in three
states, and a report. Everything is loaded when it is first asked for.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "Analysis": "anthroqa.analysis",
    "Session": "anthroqa.intake",
    "SessionError": "anthroqa.intake",
    "analyse": "anthroqa.analysis",
    "check": "anthroqa.reporting.check.listing",
    "decide": "anthroqa.decisions",
    "drill": "anthroqa.reporting.drill.folder",
    "feedback": "anthroqa.reporting.person.folder",
    "instrument_checks": "anthroqa.decisions",
    "mark_findings": "anthroqa.scores",
    "plan": "anthroqa.reporting.plan.folder",
    "read_session": "anthroqa.intake",
    "records": "anthroqa.reporting.routine.folder",
    "report": "anthroqa.reporting.session.folder",
    "residuals": "anthroqa.scores",
    "review": "anthroqa.reporting.staff.folder",
    "score": "anthroqa.scores",
    "slips": "anthroqa.scores",
}

__all__ = [
    "Analysis", "Session", "SessionError", "analyse", "check", "decide", "drill", "feedback",
    "instrument_checks", "mark_findings", "plan", "read_session", "records", "report",
    "residuals", "review", "score", "slips",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
