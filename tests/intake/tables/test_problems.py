import pandas as pd
import pytest

from anthroqa import SessionError
from anthroqa.intake.tables.problems import COLUMNS, Problem


def problem(**changes):
    fields = {
        "file": "readings.csv", "row": 12, "column": "reading", "found": "11.10 lb",
        "problem": "it can be read in two ways", "remedy": "Write pounds and ounces.",
    }  # fmt: skip
    return Problem(**(fields | changes))


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "readings.csv, row 12, column reading: found '11.10 lb': it can be read in two ways. "
             "Write pounds and ounces."),
        ({"found": ""}, "readings.csv, row 12, column reading: it can be read in two ways. "
                        "Write pounds and ounces."),
        ({"row": None, "column": "", "found": ""},
         "readings.csv: it can be read in two ways. Write pounds and ounces."),
        ({"row": None}, "readings.csv, column reading: found '11.10 lb': it can be read in two "
                        "ways. Write pounds and ounces."),
    ],
    ids=["a cell", "an empty cell", "a whole file", "a key"],
)  # fmt: skip
def test_a_problem_says_where_what_was_found_what_is_wrong_and_what_to_do(changes, text):
    assert str(problem(**changes)) == text


def test_an_error_shows_every_problem_a_line_each():
    error = SessionError([problem(), problem(row=13)])
    assert str(error).splitlines() == [str(problem()), str(problem(row=13))]
    assert list(error) == [problem(), problem(row=13)]


def test_the_table_of_problems_has_its_columns_and_whole_rows():
    table = SessionError([problem(), problem(row=None)]).problems
    assert list(table.columns) == COLUMNS
    assert list(table.columns) == ["file", "row", "column", "found", "problem", "remedy"]
    assert table["row"].dtype == "Int64"
    assert table["row"].iloc[0] == 12
    assert table["row"].iloc[1] is pd.NA
    assert table["found"].tolist() == ["11.10 lb", "11.10 lb"]


def test_a_table_without_problems_keeps_its_columns():
    table = SessionError([]).problems
    assert list(table.columns) == COLUMNS
    assert table["row"].dtype == "Int64"


def test_changing_the_table_changes_nothing_in_the_error():
    error = SessionError([problem()])
    table = error.problems
    table["found"] = "other"
    assert error.problems["found"].tolist() == ["11.10 lb"]
