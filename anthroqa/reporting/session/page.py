"""The sections of a session's report, as its notebook asks for them, and what it leaves behind."""

from __future__ import annotations

from pathlib import Path

from anthroqa.analysis import Analysis
from anthroqa.reporting.page import outputs
from anthroqa.reporting.page.html import Html
from anthroqa.reporting.session.about_the_data import data_notes, run_record
from anthroqa.reporting.session.against import difference, growing
from anthroqa.reporting.session.error_parts import divided
from anthroqa.reporting.session.in_short import opening
from anthroqa.reporting.session.instrument_section import instruments
from anthroqa.reporting.session.marks import every_mark, indices, second_readings
from anthroqa.reporting.session.odd import odd_readings, with_and_without
from anthroqa.reporting.session.patterns import watch
from anthroqa.reporting.session.sections import agreement, repeatability, together

__all__ = [
    "agreement", "data_notes", "difference", "divided", "every_mark", "growing", "indices",
    "instruments", "odd_readings", "opening", "repeatability", "saved", "second_readings",
    "together", "watch", "with_and_without",
]  # fmt: skip


def saved(analysis: Analysis, tables_folder: str | Path) -> Html:
    """Write the tables of a report and `run.json`; from what the page was made."""
    tables = {
        "scores": analysis.scores,
        "decisions": analysis.decisions,
        "mark_findings": analysis.mark_findings,
        "slips": analysis.slips,
        "instrument_figures": analysis.instrument_checks,
        "variants": analysis.variants,
        "parts": analysis.parts,
    }
    record = outputs.run_record(
        analysis.session, {"confidence": analysis.confidence, "seed": analysis.seed}
    )
    outputs.save(tables_folder, tables, record)
    return run_record(record)
