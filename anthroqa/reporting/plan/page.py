"""The sections of a plan's page, as its notebook asks for them, and what it leaves behind."""

from __future__ import annotations

from pathlib import Path

from anthroqa import files
from anthroqa.notes.cells import worded
from anthroqa.planning import Outlook, check_free, planned, session_toml, write_workbook
from anthroqa.planning.plan import FILE
from anthroqa.reporting.page.html import Html
from anthroqa.reporting.page.outputs import csv_text
from anthroqa.reporting.plan.folder import FILES, PRINT, SHEETS, WORKBOOK
from anthroqa.reporting.plan.sections import changed, day, opening, settled
from anthroqa.reporting.plan.sheets import sheets_html, sheets_pdf
from anthroqa.reporting.session.about_the_data import run_record

__all__ = ["changed", "day", "opening", "saved", "settled"]


def saved(outlook: Outlook, session_folder: str | Path, tables_folder: str | Path) -> Html:
    """Write what the session needs, the chances and `run.json`; from what the page was made."""
    folder, plan = Path(session_folder).resolve(), outlook.plan
    record = files.run_record(
        folder.name, plan.title, plan.date, {FILE: files.sha256_of(folder / FILE)},
        {"confidence": outlook.confidence, "seed": outlook.seed},
    )  # fmt: skip
    if str(tables_folder):
        check_free(tables_folder, FILES)
        with files.whole_folder(Path(tables_folder)) as draft:
            _write(outlook, draft)
            files.write_record(draft, record)
    return run_record(record)


def _write(outlook: Outlook, draft: Path) -> None:
    """What a session needs, and the chances."""
    plan, order = outlook.plan, planned(outlook.plan)
    files.write(draft / "session.toml", session_toml(plan))
    sheets = sheets_html(plan)
    files.write(draft / SHEETS, sheets)
    if (pdf := sheets_pdf(sheets)) is not None:
        (draft / PRINT).write_bytes(pdf)
    write_workbook(plan, order, draft / WORKBOOK)
    files.write(draft / "order.csv", csv_text(order))
    files.write(draft / "chances.csv", csv_text(worded(outlook.chances)))
