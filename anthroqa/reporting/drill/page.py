"""The sections of a drill's page, as its notebook asks for them, and what it leaves behind."""

from __future__ import annotations

from pathlib import Path

from anthroqa.analysis import Analysis
from anthroqa.reporting.drill.sections import by_person, opening
from anthroqa.reporting.page import outputs
from anthroqa.reporting.page.html import Html
from anthroqa.reporting.session.about_the_data import data_notes, run_record
from anthroqa.scores.table import score_rows

__all__ = ["by_person", "data_notes", "opening", "saved"]


def saved(analysis: Analysis, tables_folder: str | Path) -> Html:
    """Write the tables of a drill and `run.json`; from what the page was made."""
    shifts = score_rows(
        analysis.cubes, confidence=analysis.confidence, seed=analysis.seed, only=["rounding_shift"]
    )
    record = outputs.run_record(analysis.session, {"confidence": analysis.confidence})
    outputs.save(tables_folder, {"marks": analysis.drill_marks, "scores": shifts}, record)
    return run_record(record)
