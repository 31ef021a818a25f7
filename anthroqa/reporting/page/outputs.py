"""How do tables reach the disk: unrounded, and safe to open in a spreadsheet?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from anthroqa import files
from anthroqa.intake import Session

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(table: pd.DataFrame) -> str:
    """A table as CSV; no cell that people typed starts a formula in a spreadsheet.

    Text that would start one gets an apostrophe in front; numbers are unrounded.
    """
    safe = table.copy()
    for column in safe.columns:
        if not pd.api.types.is_numeric_dtype(safe[column]):
            text = safe[column].astype(object)
            risky = text.map(lambda cell: str(cell).startswith(_FORMULA))
            safe[column] = text.where(~risky, "'" + text.astype(str))
    return safe.to_csv(index=False, lineterminator="\n")


def json_text(table: pd.DataFrame) -> str:
    """A table as a JSON list of rows; blank is null."""
    rows = table.astype(object).where(table.notna(), None).to_dict(orient="records")
    return json.dumps(rows, indent=1, ensure_ascii=False) + "\n"


def run_record(session: Session, parameters: Mapping[str, Any]) -> dict[str, Any]:
    """What `run.json` says of a page of a session."""
    return files.run_record(session.name, session.title, session.date, session.files, parameters)


def save(folder: str | Path, tables: Mapping[str, pd.DataFrame], record: Mapping[str, Any]) -> None:
    """Write each table as a CSV file of its name, and `run.json`, into a folder; none for ""."""
    if not str(folder):
        return
    with files.whole_folder(Path(folder)) as draft:
        for name, table in tables.items():
            files.write(draft / f"{name}.csv", csv_text(table))
        files.write_record(draft, record)
