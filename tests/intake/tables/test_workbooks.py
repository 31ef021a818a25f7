"""Workbooks that are whole, broken, of another kind, or changed by the program that saved them."""

import io
import zipfile
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
from folders import HEADER, counts_of, only_problem, place, write_workbook

from anthroqa.intake import look
from anthroqa.intake.tables.files import has_sheet, read_file

REQUIRED = HEADER.split(",")
GRID = [REQUIRED, ["A", "C1", "length", 1, "24 3/8"], ["A", "C1", "length", 2, "24 1/2"]]


def saved(book):
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def zipped(**files):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return data.getvalue()


def whole():
    book = openpyxl.Workbook()
    book.active.title = "readings"
    for row in GRID:
        book.active.append(row)
    return saved(book)


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"", "the workbook is empty"),
        (whole()[: len(whole()) // 2], "the workbook is not whole"),
        (whole()[:-10], "the workbook is not whole"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "has a password, or is of an old kind"),
        (zipped(mimetype="application/vnd.oasis.opendocument.spreadsheet", content="<a/>"),
         "the workbook cannot be opened"),
        (HEADER.encode(), "the workbook cannot be opened"),
        (bytes(1000), "the workbook cannot be opened"),
    ],
    ids=["zero bytes", "half", "end cut off", "xls or password", "ods", "csv", "zeros"],
)  # fmt: skip
def test_a_file_that_is_no_workbook_yet_or_at_all_says_what_to_do(tmp_path, data, problem):
    folder = write_workbook(tmp_path, GRID)
    (folder / "readings.xlsx").write_bytes(data)
    found = only_problem(folder)
    assert place(found) == ("readings.xlsx", None, "", "")
    assert problem in found["problem"]
    assert "save it again as .xlsx" in found["remedy"]
    assert not has_sheet(data, "readings.xlsx", "readings")


def test_a_file_that_another_program_holds_is_a_problem(tmp_path, monkeypatch):
    folder = write_workbook(tmp_path, GRID)
    read = Path.read_bytes

    def held(path):
        if path.name == "readings.xlsx":
            raise PermissionError(13, "Permission denied")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", held)
    found = only_problem(folder)
    assert place(found) == ("readings.xlsx", None, "", "")
    assert "Close it there, or wait a moment" in found["remedy"]


@pytest.mark.parametrize(
    ("value", "shown_as", "count"),
    [
        (24.375, "# ?/?", 195), (24.375, "0%", 195), (24.375, "@", 195), ("24 3/8", "@", 195),
        ("3/8", "@", 3), (0.375, "# ?/?", 3), (24, "General", 192),
    ],
)  # fmt: skip
def test_a_number_reads_as_what_it_is_however_it_is_shown(tmp_path, value, shown_as, count):
    folder = write_workbook(tmp_path, [REQUIRED, ["A", "C1", "length", 1, value]])
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    book["readings"]["E2"].number_format = shown_as
    book.save(folder / "readings.xlsx")
    assert counts_of(folder) == [count]


def test_what_a_program_adds_to_a_number_beyond_15_digits_is_not_read(tmp_path):
    folder = write_workbook(tmp_path, [REQUIRED, ["A", "C1", "mass", 1, 7.3000000000000007]])
    assert counts_of(folder) == [73]


def test_hidden_rows_other_sheets_and_columns_in_another_order_are_read(tmp_path):
    grid = [["x", *row[::-1]] for row in GRID]
    folder = write_workbook(tmp_path, grid)
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    book["readings"].row_dimensions[2].hidden = True
    book.create_sheet("notes", 0).append(["nothing", "of", "it"])
    book.save(folder / "readings.xlsx")
    assert counts_of(folder) == [195, 196]


def test_a_problem_names_the_cell_where_it_stands_on_the_sheet(tmp_path):
    grid = [["Autumn"], *[[*[""] * 26, *row] for row in GRID]]
    grid[0] += [""] * 30
    grid[3][-1] = "24.3"
    (problem,) = look(write_workbook(tmp_path, grid)).problems
    assert problem.cell == "readings!AE4"
    assert problem.place == "readings.xlsx, readings!AE4 (reading): found '24.3':"


def test_the_sheet_that_fits_is_named_only_where_there_is_one(tmp_path):
    folder = write_workbook(tmp_path, GRID, sheet="Sheet1")
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    book.create_sheet("lists")
    book.save(folder / "readings.xlsx")
    found = only_problem(folder)
    assert found["found"] == "Sheet1, lists"
    assert found["remedy"].endswith(": it seems to be 'Sheet1'.")
    for row in GRID:
        book["lists"].append(row)
    book.save(folder / "readings.xlsx")
    assert only_problem(folder)["remedy"] == "Name the sheet that holds the rows 'readings'."


def test_another_sheet_of_the_workbook_is_read_by_its_name():
    book = openpyxl.load_workbook(io.BytesIO(whole()))
    book.create_sheet("second_entry").append(REQUIRED)
    book["second_entry"].append(["B", "C9", "length", 1, "20"])
    data = saved(book)
    assert has_sheet(data, "readings.xlsx", "second_entry")
    assert not has_sheet(data, "readings.csv", "second_entry")
    table = read_file(data, "readings.xlsx", required=REQUIRED, optional=[], sheet="second_entry")
    assert [row.cells["subject"] for row in table.rows] == ["C9"]
    assert table.address(2, "reading") == "second_entry!E2"


def test_a_formula_counts_as_the_value_that_was_worked_out():
    data = io.BytesIO()
    with xlsxwriter.Workbook(data) as book:
        sheet = book.add_worksheet("readings")
        for r, row in enumerate(GRID):
            sheet.write_row(r, 0, row)
        sheet.write_formula("E3", "=E2+1", value=25.375)
    table = read_file(data.getvalue(), "readings.xlsx", required=REQUIRED, optional=[])
    assert table.problems == []
    assert [row.cells["reading"] for row in table.rows] == ["24 3/8", "25.375"]
