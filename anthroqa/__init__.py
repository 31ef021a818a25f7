"""anthroqa: does a trained person now measure well?

Exact readings from a standardisation exercise, a tidy table of figures, decisions in three
states, and a report. Everything is loaded when it is first asked for.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "Session": "anthroqa.intake",
    "SessionError": "anthroqa.intake",
    "decide": "anthroqa.decisions",
    "instrument_checks": "anthroqa.decisions",
    "mark_findings": "anthroqa.scores",
    "read_session": "anthroqa.intake",
    "residuals": "anthroqa.scores",
    "score": "anthroqa.scores",
    "slips": "anthroqa.scores",
}

__all__ = [
    "Session", "SessionError", "decide", "instrument_checks", "mark_findings", "read_session", "residuals", "score",
    "slips",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
