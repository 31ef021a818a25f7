"""How do tables reach the disk: unrounded, and safe to open in a spreadsheet?"""

from __future__ import annotations

import datetime as dt
import json
import platform
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

import anthroqa
from anthroqa.files import whole_folder
from anthroqa.intake import Session

_LIBRARIES = ("matplotlib", "numpy", "pandas", "scipy")
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
    """Hashes of the inputs, versions and parameters; no clock time and no path."""
    return record_of(session.name, session.title, session.date, session.files, parameters)


def record_of(
    name: str, title: str, date: dt.date | None, files: Mapping[str, str],
    parameters: Mapping[str, Any],
) -> dict[str, Any]:  # fmt: skip
    """What `run.json` says of a run on these files."""
    versions = {"anthroqa": anthroqa.__version__, "python": platform.python_version()}
    versions |= {library: version(library) for library in _LIBRARIES}
    return {
        "session": name,
        "title": title,
        "date": date.isoformat() if date else None,
        "inputs": dict(sorted(files.items())),
        "parameters": dict(parameters),
        "versions": versions,
    }


def save(folder: str | Path, tables: Mapping[str, pd.DataFrame], record: Mapping[str, Any]) -> None:
    """Write each table as a CSV file of its name, and `run.json`, into a folder; none for ""."""
    if not str(folder):
        return
    with whole_folder(Path(folder)) as draft:
        for name, table in tables.items():
            (draft / f"{name}.csv").write_text(csv_text(table), encoding="utf-8", newline="")
        text = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
        (draft / "run.json").write_text(text, encoding="utf-8", newline="")
