import datetime as dt
import io

import numpy as np
import openpyxl
import pandas as pd
import pytest
from folders import (
    HEADER,
    counts_of,
    only_problem,
    place,
    problems_of,
    write_session,
    write_workbook,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from anthroqa import read_session
from anthroqa.intake.tables.files import read_file
from anthroqa.intake.tables.table import as_text, strip
from anthroqa.notes.intake.problems import EmptyRows, RowsAbove, Spaced

REQUIRED = HEADER.split(",")
ROWS = ["A,C1,length,1,24 3/8", "A,C1,length,2,24 1/2"]
TEXT = "\n".join([HEADER, *ROWS, ""])
SEMICOLONS = TEXT.replace(",", ";")
GRID = [REQUIRED, ["A", "C1", "length", 1, "24 3/8"], ["A", "C1", "length", 2, "24 1/2"]]


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode(),
        TEXT.encode("utf-8-sig"),
        TEXT.replace("\n", "\r\n").encode(),
        TEXT.replace("\n", "\r").encode(),
        TEXT.rstrip("\n").encode(),
        SEMICOLONS.encode(),
        SEMICOLONS.replace("\n", "\r\n").encode("utf-8-sig"),
        SEMICOLONS.replace("24 3/8", "24,375").encode(),
        SEMICOLONS.replace("24 3/8", "24.375").encode(),
        '"{}"\n'.format(SEMICOLONS.strip().replace(";", '";"').replace("\n", '"\n"')).encode(),
        '"{}"\n'.format(TEXT.strip().replace(",", '","').replace("\n", '"\n"')).encode(),
        TEXT.replace("measurer", " Measurer ").replace("reading", "READING").encode(),
        TEXT.replace("24 3/8", '24 3/8"').encode(),
        TEXT.replace("24 3/8", '"24 3/8"""').encode(),
    ],
    ids=[
        "comma", "bom", "crlf", "cr", "no last line end", "semicolon", "semicolon bom crlf",
        "semicolon decimal comma", "semicolon decimal point", "semicolon quoted", "comma quoted",
        "header in capitals", "inch sign", "inch sign quoted",
    ],
)  # fmt: skip
def test_every_way_of_saving_a_csv_gives_the_same_counts(tmp_path, data):
    assert counts_of(write_session(tmp_path, data)) == [195, 196]


def test_a_semicolon_file_leaves_what_was_written_as_it_was(tmp_path):
    folder = write_session(tmp_path, SEMICOLONS.replace("24 3/8", "24,375"))
    assert read_session(folder).readings["written"].tolist() == ["24,375", "24 1/2"]


def test_a_workbook_gives_the_same_counts_as_a_csv(tmp_path):
    session = read_session(write_workbook(tmp_path, GRID))
    assert session.readings["count"].tolist() == [195, 196]
    assert list(session.files) == ["session.toml", "readings.xlsx"]


def test_numbers_and_numbers_turned_to_text_read_alike_from_a_workbook(tmp_path):
    grid = [REQUIRED, ["A", 1, "mass", 1, 7.3], ["A", 1, "mass", "2", "7.3"], ["A", 2.0, "mass",
            1.0, 0.1 + 0.2], ["A", 2, "mass", 2, 7]]  # fmt: skip
    session = read_session(write_workbook(tmp_path, grid))
    assert session.readings["count"].tolist() == [73, 73, 3, 70]
    assert session.readings["subject"].tolist() == ["1", "1", "2", "2"]
    assert session.readings["round"].tolist() == [1, 2, 1, 2]


def test_a_real_date_cell_where_a_fraction_was_typed_is_a_problem(tmp_path):
    grid = [*GRID, ["A", "C2", "length", 1, dt.datetime(2026, 3, 8)]]
    found = only_problem(write_workbook(tmp_path, grid))
    assert place(found) == ("readings.xlsx", 4, "reading", "2026-03-08")
    assert (
        "this is a date or a time: a spreadsheet turns a fraction such as 3/8 into one"
        in found["problem"]
    )
    assert "after setting the column's format to Text; write 3/8 as 0 3/8." in found["remedy"]


def test_a_formula_that_was_never_worked_out_is_a_problem_at_its_cell(tmp_path):
    grid = [*GRID, ["A", "C2", "length", 1, "=E2+1"]]
    found = only_problem(write_workbook(tmp_path, grid))
    assert place(found) == ("readings.xlsx", 4, "E", "=E2+1")
    assert found["problem"] == "this cell holds a formula that was never worked out"
    assert found["remedy"] == "Open the workbook, let it calculate, save it, or type the value."


def test_title_and_empty_rows_are_passed_over_told_and_counted(tmp_path):
    rows = ["Autumn,,,,", ",,,,", HEADER, ROWS[0], ",,,,", "", ROWS[1], "A,C2,length,1,24.3", ""]
    folder = write_session(tmp_path, "\n".join(rows))
    assert place(only_problem(folder)) == ("readings.csv", 8, "reading", "24.3")
    (folder / "readings.csv").write_text("\n".join(rows).replace("24.3", "24.5"))
    session = read_session(folder)
    assert session.readings["count"].tolist() == [195, 196, 196]
    above, empty = RowsAbove(n=2), EmptyRows(rows=(5, 6))
    assert session.notices == (("readings.csv", above), ("readings.csv", empty))
    assert str(above) == "rows 1 to 2 above the column names passed over"
    assert str(empty) == "empty rows passed over: 5, 6"
    assert str(EmptyRows(rows=tuple(range(1, 12)))).endswith(": 1, 2, 3, 4, 5, 6, 7, 8, 9, 10 ...")


def test_title_rows_of_a_workbook_keep_the_row_numbers_a_person_sees(tmp_path):
    grid = [["Autumn", None], *GRID, [None], ["A", "C2", "length", 1, "24.3"]]
    folder = write_workbook(tmp_path, grid)
    assert place(only_problem(folder)) == ("readings.xlsx", 6, "reading", "24.3")
    grid[-1][-1] = "24.5"
    assert read_session(write_workbook(tmp_path, grid)).notices == (
        ("readings.xlsx", RowsAbove(n=1)),
        ("readings.xlsx", EmptyRows(rows=(5,))),
    )
    assert str(RowsAbove(n=1)) == "row 1 above the column names passed over"


def test_outer_spaces_are_removed_and_told(tmp_path):
    session = read_session(
        write_session(tmp_path, [" A,C1 ,length,1,24 3/8\u00a0", "A,C1,length,2, 24 1/2"])
    )
    assert session.readings["measurer"].tolist() == ["A", "A"]
    assert session.readings["written"].tolist() == ["24 3/8", "24 1/2"]
    assert session.notices == (("readings.csv", Spaced(rows=2)),)
    assert str(Spaced(rows=2)) == "outer spaces removed in 2 rows"


@pytest.mark.parametrize(
    ("data", "row", "column", "problem", "remedy"),
    [
        (TEXT.replace("C1", "Zoë").encode("cp1252"), 2, "", "not UTF-8 text", "'CSV UTF-8'"),
        (TEXT.encode("utf-16"), 1, "", "not UTF-8 text", "or as a workbook (.xlsx)."),
        (TEXT.encode("utf-16-le"), None, "", "not a text file", "Save it again as 'CSV UTF-8'."),
        (TEXT.replace(",", "\t"), None, "", "separated by tabs", "with commas or semicolons"),
        (TEXT.replace("24 3/8", '"24 3/8'), None, "", "a quotation mark is out of place",
         "Look for a single quotation mark in a note or a reading and delete it."),
        (TEXT.replace("24 3/8", '"24 3/8" x'), None, "", "a quotation mark is out of place",
         "Look for a single quotation mark in a note or a reading and delete it."),
        (b"", None, "", "the file is empty", "Give it the columns measurer, subject, measure, "),
        (" \n\n,,\n", None, "", "the file is empty", "Give it the columns measurer, subject"),
        (HEADER + "\n", None, "", "there is no reading", "Enter the readings."),
        (HEADER + "\nA,C1,length,1,\n", None, "", "there is no reading", "Enter the readings."),
        (TEXT.replace("reading", "value"), 1, "reading", "this column is missing",
         "The first row must name the columns measurer, subject, measure, round, reading."),
        (TEXT.replace("round,reading", "round,reading,Reading"), 1, "reading",
         "this column is there twice", "Keep one of the two."),
    ],
    ids=[
        "windows-1252", "utf-16", "utf-16 without bom", "tabs", "quote never closed",
        "text after a quote", "empty", "only empty cells", "header only", "nothing was read",
        "column missing", "column twice",
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_taken_as_it_is_says_what_to_do(
    tmp_path, data, row, column, problem, remedy
):
    found = only_problem(write_session(tmp_path, data))
    assert (found["file"], found["row"], found["column"]) == ("readings.csv", row, column)
    assert problem in found["problem"]
    assert remedy in found["remedy"]


def test_every_missing_column_is_named(tmp_path):
    found = problems_of(write_session(tmp_path, "measurer,subject,note\nA,C1,\n"))
    assert [place(p) for p in found] == [
        ("readings.csv", 1, column, "") for column in ("measure", "round", "reading")
    ]


def test_a_row_that_is_not_utf_8_is_named(tmp_path):
    data = (TEXT + "A,C2,length,1,24⅜\n").encode() + b"A,C3,length,1,24\xbd\n"
    assert place(only_problem(write_session(tmp_path, data))) == ("readings.csv", 5, "", "")


SPLIT = "decimal point, or put the cell in quotation marks."


@pytest.mark.parametrize(
    ("header", "row", "cells"),
    [
        (HEADER, "A,C1,mass,1,7,3", "6 cells"),
        (HEADER + ",condition", "A,C1,mass,1,7,3,", "7 cells"),
        (HEADER + ",", "A,C1,mass,1,7,3", "6 cells"),
        (HEADER + ",tare,note", "A,C1,mass,1,17,3,10,0,", "9 cells"),
    ],
    ids=["last column", "before an empty condition", "header ends in a comma", "both weights"],
)
def test_a_decimal_comma_that_splits_a_row_is_a_problem_never_a_reading(
    tmp_path, header, row, cells
):
    found = only_problem(write_session(tmp_path, [row], header=header))
    assert place(found) == ("readings.csv", 2, "", cells)
    assert found["problem"] == "the row has more cells than columns"
    assert SPLIT in found["remedy"]


def test_a_quoted_decimal_comma_in_a_comma_file_is_a_problem(tmp_path):
    found = only_problem(write_session(tmp_path, ['A,C1,mass,1,"7,3"']))
    assert place(found) == ("readings.csv", 2, "reading", "7,3")
    assert "a decimal comma cannot be told from a column separator here" in found["problem"]
    assert "Write a decimal point, or save the file with semicolons" in found["remedy"]


def test_two_stray_quotation_marks_never_swallow_the_rows_between_them(tmp_path):
    rows = ['A,C1,length,1,24 3/8,"calm', "A,C2,length,1,25,", 'A,C3,length,1,26,calm"']
    found = only_problem(write_session(tmp_path, rows, header=HEADER + ",note"))
    assert place(found) == ("readings.csv", 2, "", "")
    assert "a quotation mark is out of place" in found["problem"]
    assert "delete it" in found["remedy"]


def test_a_note_may_hold_commas_and_line_ends(tmp_path):
    rows = ['A,C1,length,1,24 3/8,"calm, then upset\nagain, calm"', "A,C2,length,1,25,"]
    session = read_session(write_session(tmp_path, rows, header=HEADER + ",note"))
    assert session.readings["note"].tolist() == ["calm, then upset\nagain, calm", ""]


def test_a_short_row_is_empty_where_it_ends(tmp_path):
    session = read_session(write_session(tmp_path, ["A,C1,length,1", *ROWS[1:]]))
    assert session.missing["row"].tolist() == [2]


def test_a_workbook_without_the_sheet_says_which_sheets_there_are(tmp_path):
    found = only_problem(write_workbook(tmp_path, GRID, sheet="Sheet1"))
    assert place(found) == ("readings.xlsx", None, "", "Sheet1")
    assert found["problem"] == "there is no sheet named readings"
    assert found["remedy"].startswith("Name the sheet that holds the rows 'readings'")
    assert found["remedy"].endswith(": it seems to be 'Sheet1'.")


def test_a_file_that_is_no_workbook_is_a_problem(tmp_path):
    folder = write_workbook(tmp_path, GRID)
    (folder / "readings.xlsx").write_text(TEXT)
    found = only_problem(folder)
    assert place(found) == ("readings.xlsx", None, "", "")
    assert "the workbook cannot be opened" in found["problem"]
    assert "save it again as .xlsx, without a password." in found["remedy"]


def test_both_kinds_of_file_are_a_problem(tmp_path):
    folder = write_session(tmp_path, ROWS)
    write_workbook(tmp_path, GRID)
    found = only_problem(folder)
    assert place(found) == ("readings.xlsx", None, "", "")
    assert found["problem"] == "readings.csv is there too, and they may differ"
    assert found["remedy"] == "Keep the one that is right and move the other out of the folder."


def test_other_columns_are_listed_and_not_used(tmp_path):
    session = read_session(
        write_session(tmp_path, [r + ",x,y" for r in ROWS], header=HEADER + ",weather,room")
    )
    assert session.unused == ("weather", "room")
    assert not {"weather", "room"} & set(session.readings.columns)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""), (float("nan"), ""), (pd.NaT, ""), (np.float64("nan"), ""), (7, "7"),
        (7.0, "7"), (0.1 + 0.2, "0.3"), (1e22, "10000000000000000000000"), (1e-7, "0.0000001"),
        (24.375, "24.375"), (float("inf"), "inf"), ("  x ", "  x "),
        (dt.datetime(2026, 3, 8), "2026-03-08"),
        (dt.datetime(2026, 3, 8, 9, 30), "2026-03-08T09:30:00"),
        (dt.date(2026, 3, 8), "2026-03-08"),
    ],
    ids=repr,
)  # fmt: skip
def test_a_cell_is_the_text_that_a_person_sees(value, text):
    assert as_text(value) == text


def test_strip_removes_spaces_of_every_kind():
    assert strip("\ufeff \u00a0 C1\t\u200b") == "C1"


@settings(max_examples=150)
@given(
    cells=st.lists(
        st.lists(st.text(alphabet="aB1 ,;\"'\n\té", max_size=5), min_size=5, max_size=5),
        min_size=1,
        max_size=4,
    )
)
def test_cells_come_back_as_they_were_saved_but_for_outer_spaces(cells):
    frame = pd.DataFrame(cells, columns=REQUIRED)
    if any(line.count(",") >= 4 for row in cells for c in row for line in c.splitlines()[1:]):
        return  # taken for rows between stray quotation marks
    table = read_file(
        frame.to_csv(index=False, lineterminator="\n").encode(), "readings.csv",
        required=REQUIRED, optional=[],
    )  # fmt: skip
    expected = [[strip(c) for c in row] for row in cells if any(strip(c) for c in row)]
    assert [list(row.cells.values()) for row in table.rows] == expected
    assert table.problems == []


@settings(max_examples=25)
@given(data=st.binary(max_size=60))
def test_any_bytes_named_xlsx_are_a_problem_and_nothing_else(data):
    table = read_file(data, "readings.xlsx", required=REQUIRED, optional=[])
    assert [p.row for p in table.problems] == [None]
    assert table.rows == []


def test_a_workbook_with_only_an_empty_sheet_is_empty():
    book = openpyxl.Workbook()
    book.active.title = "readings"
    data = io.BytesIO()
    book.save(data)
    table = read_file(data.getvalue(), "readings.xlsx", required=REQUIRED, optional=[])
    assert [p.problem for p in table.problems] == ["the file is empty"]


@pytest.mark.parametrize(
    ("column", "meant"), [("tarre", "tare"), ("retakes", "retake"), ("grup", "group")]
)
def test_a_misspelt_optional_column_is_asked_about(tmp_path, column, meant):
    folder = write_session(tmp_path, [row + ",1" for row in ROWS], header=f"{HEADER},{column}")
    (told,) = problems_of(folder)
    assert place(told) == ("readings.csv", 1, column, "")
    assert f"Did you mean {meant!r}?" in told["remedy"]


def test_a_misspelt_required_column_is_asked_about(tmp_path):
    folder = write_session(tmp_path, ROWS, header=HEADER.replace("reading", "readings"))
    (told,) = problems_of(folder)
    assert place(told) == ("readings.csv", 1, "reading", "")
    assert told["remedy"].startswith("Is it 'readings'? The first row must name")
