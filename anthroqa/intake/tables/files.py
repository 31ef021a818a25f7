"""What does a file hold? CSV (UTF-8, comma or semicolon) and XLSX come out alike, as text."""

from __future__ import annotations

import csv
import io

from anthroqa.intake.tables.table import Table, found_in, header_row, shape
from anthroqa.notes.intake.problems import Misquoted, OfFile


def read_file(
    data: bytes, file: str, *, required: list[str], optional: list[str], sheet: str = ""
) -> Table:
    """The rows of a CSV or XLSX file with the columns `required` and `optional`.

    `sheet` is the one of a workbook, the file's own name if it is left out. Nothing is raised for
    what the file holds: see `Table.problems`.
    """
    table = Table(file=file)
    if file.endswith(".xlsx"):
        from anthroqa.intake.tables.workbooks import sheet_cells  # only where a workbook is read

        table.sheet = sheet or file.removesuffix(".xlsx")
        grid = sheet_cells(data, table, required)
    else:
        grid = _csv_cells(data, table, required)
    if grid is not None:
        shape(table, grid, required=required, optional=optional)
    return table


def has_sheet(data: bytes, file: str, sheet: str) -> bool:
    """Whether a file is a workbook with a sheet of this name."""
    if not file.endswith(".xlsx"):
        return False
    from anthroqa.intake.tables.workbooks import sheet_names

    return sheet in sheet_names(data)


def _csv_cells(data: bytes, table: Table, required: list[str]) -> list[list[str]] | None:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        table.problems.append(found_in(table, row, "", "", OfFile.NOT_UTF8))
        return None
    if "\0" in text:
        table.problems.append(found_in(table, None, "", "", OfFile.NOT_TEXT))
        return None
    fallback, misquoted = None, None
    for delimiter in ",;\t":
        try:
            lines = io.StringIO(text, newline="")
            grid = list(csv.reader(lines, delimiter=delimiter, strict=True))
        except csv.Error as error:  # quoted cells with another separator look misquoted too
            misquoted = misquoted or error
            continue
        if header_row(grid, required) is not None:
            if delimiter == "\t":
                table.problems.append(found_in(table, None, "", "", OfFile.TABS))
                return None
            table.decimal_comma = delimiter == ";"
            _check_swallowed(table, grid, delimiter, len(required) - 1)
            return grid
        if fallback is None or max(map(len, grid), default=0) > max(map(len, fallback), default=0):
            fallback = grid
    if misquoted is not None:
        table.problems.append(found_in(table, None, "", "", Misquoted(error=str(misquoted))))
        return None
    return fallback


def _check_swallowed(table: Table, grid: list[list[str]], delimiter: str, most: int) -> None:
    """Two stray quotation marks make one cell of all the rows between them."""
    for number, cells in enumerate(grid, start=1):
        if any(line.count(delimiter) >= most for c in cells for line in c.splitlines()[1:]):
            table.problems.append(found_in(table, number, "", "", OfFile.ROWS_IN_A_CELL))
