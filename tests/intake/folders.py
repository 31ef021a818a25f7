"""Session folders made for one test, and the problems that reading one gives."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from anthroqa import Session, SessionError, read_session

HEADER = "measurer,subject,measure,round,reading"
TOML = """\
title = "A test"

[measure.weight]
recorded_to = "1 oz"

[measure.length]
recorded_to = "1/8 in"

[measure.mass]
recorded_to = "0.1 kg"
"""
CORRECTIONS = "measurer,subject,measure,round,corrected,reason,by"


def write_session(
    tmp_path: Path,
    rows: list[str] | str | bytes,
    *,
    header: str = HEADER,
    toml: str = TOML,
    corrections: list[str] | None = None,
) -> Path:
    """A folder with `session.toml` and `readings.csv`; a text or bytes is the whole file."""
    folder = tmp_path / "autumn"
    folder.mkdir()
    (folder / "session.toml").write_text(toml, encoding="utf-8")
    if isinstance(rows, list):
        rows = "\n".join([header, *rows, ""])
    data = rows.encode() if isinstance(rows, str) else rows
    (folder / "readings.csv").write_bytes(data)
    if corrections is not None:
        text = "\n".join([CORRECTIONS, *corrections, ""])
        (folder / "corrections.csv").write_text(text, encoding="utf-8")
    return folder


def write_workbook(
    tmp_path: Path, grid: list[list[Any]], *, sheet: str = "readings", toml: str = TOML
) -> Path:
    """A folder with `session.toml` and `readings.xlsx`."""
    import openpyxl

    folder = tmp_path / "autumn"
    folder.mkdir(exist_ok=True)
    (folder / "session.toml").write_text(toml, encoding="utf-8")
    book = openpyxl.Workbook()
    book.active.title = sheet
    for cells in grid:
        book.active.append(cells)
    book.save(folder / "readings.xlsx")
    return folder


def problems_of(folder: Path) -> list[dict[str, Any]]:
    """Every problem of a folder that must not be readable, as rows of the table."""
    with pytest.raises(SessionError) as caught:
        read_session(folder)
    table = caught.value.problems
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    assert all(row["problem"] and row["remedy"] for row in rows)
    return rows


def only_problem(folder: Path) -> dict[str, Any]:
    """The one problem of a folder."""
    rows = problems_of(folder)
    assert len(rows) == 1, rows
    return rows[0]


def place(problem: dict[str, Any]) -> tuple[str, int | None, str, str]:
    """Where a problem is and what stands there: file, row, column, found."""
    return problem["file"], problem["row"], problem["column"], problem["found"]


def counts_of(folder: Path) -> list[int]:
    """The counts of a folder that must be readable, in the order of its rows."""
    return read_session(folder).readings["count"].tolist()


def noticed(session: Session) -> list[tuple[str, str]]:
    """What was passed over, in words, by file."""
    return [(file, str(note)) for file, note in session.notices]
