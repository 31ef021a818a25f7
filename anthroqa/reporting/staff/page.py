"""The sections of a review of staff, as its notebook asks for them, and what it leaves behind."""

from __future__ import annotations

from pathlib import Path

from anthroqa import files
from anthroqa.program.staff.reviewed import Review
from anthroqa.reporting.page import outputs
from anthroqa.reporting.page.html import Html
from anthroqa.reporting.session.about_the_data import run_record
from anthroqa.reporting.staff.changes import (
    due_again,
    moved,
    reference_and_instruments,
    retraining,
)
from anthroqa.reporting.staff.folder import folders_of
from anthroqa.reporting.staff.in_short import opening
from anthroqa.reporting.staff.people import (
    by_session,
    cannot_show,
    differing,
    moderated_beside,
    notes,
)

__all__ = [
    "by_session", "cannot_show", "differing", "due_again", "folders_of", "moderated_beside",
    "moved", "notes", "opening", "reference_and_instruments", "retraining", "saved",
]  # fmt: skip

TABLES = (
    "history", "funnel", "drifts", "named", "moderated", "retrained", "due", "instrument_drifts",
)  # fmt: skip


def saved(review: Review, tables_folder: str | Path) -> Html:
    """Write the tables of a review and `run.json`; from what the page was made."""
    program = review.program
    record = files.run_record(
        program.name, program.title, program.sessions[-1].date, program.files,
        {"recheck_months": review.months, "confidence": review.confidence, "seed": review.seed},
    )  # fmt: skip
    record["problems"] = [str(problem) for problem in program.problems]
    outputs.save(tables_folder, {name: getattr(review, name) for name in TABLES}, record)
    return run_record(record)
