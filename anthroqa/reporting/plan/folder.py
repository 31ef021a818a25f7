"""A plan becomes a session folder that is ready to use: settings, workbook, sheets, page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from anthroqa.files import whole_folder
from anthroqa.reporting.page import notebooks

if TYPE_CHECKING:
    import pandas as pd

    from anthroqa.planning import Plan

PAGE, SHEETS, PRINT = "session_plan.html", "sheets.html", "sheets.pdf"
WORKBOOK, RECORD = "readings.xlsx", "run.json"
FILES = (
    PAGE, SHEETS, PRINT, "session.toml", WORKBOOK, "order.csv", "chances.csv", RECORD,
)  # fmt: skip


def plan(folder: str | Path, **parameters: Any) -> list[Path]:
    """Make a session folder from the `plan.toml` in it.

    It holds `session.toml`, the workbook `readings.xlsx`, the sheets to print (`sheets.html`,
    and `sheets.pdf` where the extra `pdf` is installed), `session_plan.html` on what the session
    can settle, `chances.csv`, `order.csv` and `run.json`. All of them appear together, or none.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder with a `plan.toml`.
    **parameters
        Parameters of the notebook `session_plan`, such as `confidence`.

    Returns
    -------
    list of pathlib.Path
        The files written, the page first.

    Raises
    ------
    SessionError
        If the plan needs attention, or a file in the folder is not as a plan left it.
    ValueError
        If a parameter is unknown.
    """
    from anthroqa.planning import check_free, read_plan, sha256

    folder = Path(folder).resolve()
    read_plan(folder)
    check_free(folder, FILES)
    with whole_folder(folder) as draft:
        values = {"session_folder": str(folder), "tables_folder": str(draft), **parameters}
        done = notebooks.run("session_plan", values)
        record = json.loads((draft / RECORD).read_text(encoding="utf-8"))
        page = notebooks.to_html(done, title=record["title"])
        (draft / PAGE).write_text(page, encoding="utf-8", newline="")
        made = [name for name in FILES if (draft / name).exists()]
        record["outputs"] = {name: sha256(draft / name) for name in made if name != RECORD}
        _write_json(draft / RECORD, record)
        check_free(folder, FILES)  # somebody may have typed meanwhile
    for name in set(FILES) - set(made):
        (folder / name).unlink(missing_ok=True)  # of an earlier order
    return [folder / name for name in made]


def record(folder: str | Path, plan: Plan, parameters: Mapping[str, Any]) -> dict[str, Any]:
    """From which plan, with which versions and parameters?"""
    from anthroqa.planning import sha256
    from anthroqa.planning.plan import FILE
    from anthroqa.reporting.page.outputs import record_of

    folder = Path(folder).resolve()
    files = {FILE: sha256(folder / FILE)}
    return record_of(folder.name, plan.title, plan.date, files, parameters)


def save(
    folder: str | Path, plan: Plan, tables: Mapping[str, pd.DataFrame], record: Mapping[str, Any]
) -> None:
    """Write what a session needs into a folder, and the tables as CSV files; none for ""."""
    if not str(folder):
        return
    from anthroqa.planning import check_free, planned, session_toml, write_workbook
    from anthroqa.reporting.page.outputs import csv_text
    from anthroqa.reporting.plan.sheets import sheets_html, sheets_pdf

    check_free(folder, FILES)
    with whole_folder(Path(folder)) as draft:
        _write(draft / "session.toml", session_toml(plan))
        sheets = sheets_html(plan)
        _write(draft / SHEETS, sheets)
        if (pdf := sheets_pdf(sheets)) is not None:
            (draft / PRINT).write_bytes(pdf)
        order = planned(plan)
        write_workbook(plan, order, draft / WORKBOOK)
        for name, table in {"order": order, **tables}.items():
            _write(draft / f"{name}.csv", csv_text(table))
        _write_json(draft / RECORD, record)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


def _write_json(path: Path, record: Mapping[str, Any]) -> None:
    _write(path, json.dumps(record, indent=2, ensure_ascii=False) + "\n")
