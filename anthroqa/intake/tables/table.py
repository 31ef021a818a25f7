"""What does a table hold, cell by cell, as text, with the rows a person sees?

What a spreadsheet program leaves behind without changing a meaning (title rows, empty rows,
outer spaces) is passed over and noted; what changes one is left for the reader of the cell to
refuse.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from anthroqa.intake.tables.personal import looks_personal
from anthroqa.intake.tables.problems import Problem, nearest_word
from anthroqa.notes import Note
from anthroqa.notes.intake.problems import (
    EmptyFile,
    EmptyRows,
    NoColumn,
    OfFile,
    RowsAbove,
    Spaced,
    UnknownColumn,
)

_TITLE_ROWS = 10
_OF_A_PLAN = {"sheet", "line"}  # columns that lead back to the paper


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of a file: its number as a person sees it, and its cells by column."""

    number: int
    cells: dict[str, str]


@dataclass(slots=True, kw_only=True)
class Table:
    """A file's rows as text, and what was found on the way."""

    file: str
    rows: list[Row] = field(default_factory=list)
    columns: list[str] = field(default_factory=list)  # known columns that are present
    unused: list[str] = field(default_factory=list)
    decimal_comma: bool = False
    problems: list[Problem] = field(default_factory=list)
    notices: list[tuple[str, Note]] = field(default_factory=list)  # (file, what was passed over)
    sheet: str = ""  # of a workbook
    letters: dict[str, str] = field(default_factory=dict)  # of the columns of that sheet

    def address(self, row: int | None, column: str) -> str:
        """Where a cell of a workbook is found, as in readings!F23; "" elsewhere."""
        letter = self.letters.get(column)
        return f"{self.sheet}!{letter}{row}" if letter and row is not None else ""


def as_text(value: Any) -> str:
    """A cell's value as the text that a person sees; empty for what is missing."""
    if value is None or value != value:  # NaN and NaT differ from themselves
        return ""
    if isinstance(value, float):
        if value in (float("inf"), float("-inf")):
            return str(value)
        return format(Decimal(f"{value:.15g}"), "f")  # a double carries 15 digits, no more
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(sep="T")
    return str(value)


def strip(text: str) -> str:
    """The text without outer spaces of any kind."""
    return text.strip().strip("\ufeff\u200b").strip()


def whole_number(text: str) -> int | None:
    """A whole number from 1 to 9,999,999; `2.0` is one, as spreadsheets write it."""
    if re.fullmatch(r"0*[1-9][0-9]{0,6}(?:\.0*)?", text):
        return int(text.split(".")[0])
    return None


def shape(table: Table, grid: list[list[str]], *, required: list[str], optional: list[str]) -> None:
    """Find the header in a grid of text and lay the rows below it by column, in place."""
    at = header_row(grid, required)
    if at is None:
        _no_header(table, grid, required)
        return
    if at:
        table.notices.append((table.file, RowsAbove(n=at)))
    header = [strip(c) for c in grid[at]]
    known = {c.lower(): c for c in required + optional}
    places: dict[str, int] = {}
    for i, name in enumerate(header):
        column = known.get(name.lower())
        if column in places:
            table.problems.append(found_in(table, at + 1, column, name, OfFile.COLUMN_TWICE))
        elif column:
            places[column] = i
        elif looks_personal(name):
            table.problems.append(found_in(table, at + 1, name, "", OfFile.PERSONAL_NOT_READ))
        elif name and name.lower() not in _OF_A_PLAN:
            table.unused.append(name)
            near = nearest_word(name, set(known.values()) - {"note"}, nearness=0.85)
            if near is not None:
                code = UnknownColumn(near=near)
                table.problems.append(found_in(table, at + 1, name, "", code))
    table.columns = list(places)
    if table.sheet:
        from openpyxl.utils import get_column_letter  # only where a workbook is read

        table.letters = {column: get_column_letter(i + 1) for column, i in places.items()}
    if any(looks_personal(name) for name in header):
        return  # a comma in a name shifts cells: no value of this file may be quoted
    empty, spaced = [], 0
    for number, cells in enumerate(grid[at + 1 :], start=at + 2):
        if not any(strip(c) for c in cells):
            empty.append(number)
            continue
        nameless = [c for c, name in zip(cells, header, strict=False) if not name]
        if len(cells) > len(header) or any(strip(c) for c in nameless):
            found = f"{len(cells)} cells"
            table.problems.append(found_in(table, number, "", found, OfFile.TOO_MANY_CELLS))
            continue
        row = {c: cells[i] if i < len(cells) else "" for c, i in places.items()}
        stripped = {c: strip(text) for c, text in row.items()}
        spaced += row != stripped
        table.rows.append(Row(number=number, cells=stripped))
    _note_empty(table, empty, last=max((row.number for row in table.rows), default=0))
    if spaced:
        table.notices.append((table.file, Spaced(rows=spaced)))


def found_in(table: Table, row: int | None, column: str, found: str, code: Note) -> Problem:
    """A problem of a cell, a row or a whole file, with the cell's address in a workbook."""
    return Problem(
        file=table.file, row=row, column=column, found=found, code=code,
        cell=table.address(row, column),
    )  # fmt: skip


def _note_empty(table: Table, empty: list[int], *, last: int) -> None:
    inner = tuple(n for n in empty if n < last)
    if inner:
        table.notices.append((table.file, EmptyRows(rows=inner)))


def header_row(grid: list[list[str]], required: list[str]) -> int | None:
    """Where the names of the columns stand, under title rows perhaps."""
    for i, cells in enumerate(grid[: _TITLE_ROWS + 1]):
        if set(required) <= {strip(c).lower() for c in cells}:
            return i
    return None


def _no_header(table: Table, grid: list[list[str]], required: list[str]) -> None:
    rows = [{strip(c).lower() for c in cells} for cells in grid[: _TITLE_ROWS + 1]]
    best = max(range(len(rows)), key=lambda i: len(rows[i] & set(required)), default=None)
    if best is None or not any(any(cells) for cells in rows):
        table.problems.append(found_in(table, None, "", "", EmptyFile(required=tuple(required))))
        return
    for column in required:
        if column not in rows[best]:
            near = nearest_word(column, rows[best] - set(required), nearness=0.7)
            code = NoColumn(near=near, required=tuple(required))
            table.problems.append(found_in(table, best + 1, column, "", code))
    for name in grid[best]:
        if looks_personal(name):
            table.problems.append(found_in(table, best + 1, strip(name), "", OfFile.PERSONAL))
