"""The sections of the page of routine records, as its notebook asks for them, and its tables."""

from __future__ import annotations

from pathlib import Path

from anthroqa.program.routine.audited import RoutineAudit
from anthroqa.reporting.page import outputs
from anthroqa.reporting.page.html import Html
from anthroqa.reporting.routine.besides import by_months, conversions, no_readings, repeated
from anthroqa.reporting.routine.in_short import chances, opening
from anthroqa.reporting.routine.made_from import Asked, opened, record_of
from anthroqa.reporting.routine.sections import by_person, by_place, positions
from anthroqa.reporting.session.about_the_data import run_record

__all__ = [
    "audited", "by_months", "by_person", "by_place", "chances", "conversions", "no_readings",
    "opening", "positions", "repeated", "saved",
]  # fmt: skip


def audited(source: str, *, confidence: float, **asked: str) -> RoutineAudit:
    """The counts of a source, and what they say; `asked` is that of `made_from.Asked`."""
    return RoutineAudit(tally=opened(source, Asked(**asked)), confidence=confidence)


def saved(records: RoutineAudit, tables_folder: str | Path) -> Html:
    """Write the tables of the page and `run.json`; from what the page was made."""
    tables = {
        "audit": records.audit,
        "conversions": records.conversions,
        "changes": records.changes,
        "repeated": records.repeated,
        "quality": records.quality,
        "months": records.months,
    }
    record = record_of(records.tally, {"confidence": records.confidence})
    outputs.save(tables_folder, tables, record)
    return run_record(record)
