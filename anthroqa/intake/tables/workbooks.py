"""What do the cells of a workbook's sheet say, as text?

A sheet is found by its name. Cells with a formula are taken at the value that was worked out; a
formula that never was is a problem. Files that are no workbook, or none yet, are told apart.
"""

from __future__ import annotations

import io
import zipfile
from typing import Any

import openpyxl

from anthroqa.intake.tables.personal import looks_personal
from anthroqa.intake.tables.table import Table, as_text, found_in, header_row
from anthroqa.notes import Note
from anthroqa.notes.intake.problems import BrokenWorkbook, EmptyWorkbook, NoSheet, OfFile

_OLD = b"\xd0\xcf\x11\xe0"  # compound file: .xls, or .xlsx with a password


def sheet_names(data: bytes) -> list[str]:
    """The names of a workbook's sheets; none if it cannot be opened."""
    try:
        return _open(data).sheetnames
    except Exception:  # whatever openpyxl meets in a broken file: told by sheet_cells
        return []


def sheet_cells(data: bytes, table: Table, required: list[str]) -> list[list[str]] | None:
    """The cells of the sheet `table.sheet` as text; what is in the way goes to its problems."""
    try:
        book = _open(data)
        if table.sheet not in book.sheetnames:
            _no_sheet(table, book, required)
            return None
        grid, formulas = _cells(book, table.sheet)
        if formulas:
            _work_out(data, table, grid, formulas, required)
    except Exception as error:  # openpyxl has no error of its own for broken files
        table.problems.append(found_in(table, None, "", "", _why_not(data, error)))
        return None
    return grid


def _open(data: bytes, *, values: bool = False) -> Any:
    return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=values)


def _cells(book: Any, name: str) -> tuple[list[list[str]], dict[tuple[int, int], str]]:
    """The cells of a sheet, and the formulas in it by row and column."""
    sheet = book[name]
    sheet.reset_dimensions()  # what a program says of them may be wrong
    grid, formulas = [], {}
    for r, row in enumerate(sheet.iter_rows()):
        grid.append([as_text(cell.value) for cell in row])
        for c, cell in enumerate(row):
            if cell.data_type == "f":
                formulas[r, c] = str(getattr(cell.value, "text", cell.value))
    width = max(map(len, grid), default=0)
    return [row + [""] * (width - len(row)) for row in grid], formulas


def _work_out(
    data: bytes, table: Table, grid: list[list[str]], formulas: dict[tuple[int, int], str],
    required: list[str],
) -> None:  # fmt: skip
    """Put the values of formulas in their place."""
    values, _ = _cells(_open(data, values=True), table.sheet)
    at = header_row(grid, required)
    names = grid[at] if at is not None else []
    for (r, c), formula in formulas.items():
        grid[r][c] = values[r][c]
        if values[r][c]:
            continue
        letter = openpyxl.utils.get_column_letter(c + 1)
        hidden = at is None or c >= len(names) or looks_personal(names[c])
        found = "" if hidden else formula
        table.problems.append(found_in(table, r + 1, letter, found, OfFile.FORMULA))


def _no_sheet(table: Table, book: Any, required: list[str]) -> None:
    """Say which sheets there are, and which of them it must be."""
    fit = []
    for name in book.sheetnames:
        try:
            grid, _ = _cells(book, name)
        except (KeyError, AttributeError):  # a sheet of charts has no cells
            continue
        if header_row(grid, required) is not None:
            fit.append(name)
    code = NoSheet(sheet=table.sheet, fits=fit[0] if len(fit) == 1 else None)
    table.problems.append(found_in(table, None, "", ", ".join(book.sheetnames), code))


def _why_not(data: bytes, error: Exception) -> Note:
    """Why a file is no workbook that can be read."""
    if data.startswith(_OLD):
        return OfFile.LOCKED
    if not data:
        return EmptyWorkbook()
    part = data.startswith(b"PK") and not zipfile.is_zipfile(io.BytesIO(data))
    return BrokenWorkbook(error=type(error).__name__, part=part)
