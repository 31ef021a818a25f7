import pandas as pd
import pytest

from anthroqa import SessionError
from anthroqa.intake.tables.problems import COLUMNS, Problem, nearest_word
from anthroqa.notes.intake.problems import OfRow, UnknownMeasure


def problem(**changes):
    fields = {
        "file": "readings.csv", "row": 12, "column": "round", "found": "0",
        "code": OfRow.NOT_A_ROUND,
    }  # fmt: skip
    return Problem(**(fields | changes))


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "readings.csv, row 12, column round: found '0': a round is a whole number from 1. "
             "Write 1 for the first, 2 ..."),
        ({"found": ""}, "readings.csv, row 12, column round: a round is a whole number from 1. "
                        "Write 1 for the first, 2 ..."),
        ({"row": None, "column": "", "found": ""},
         "readings.csv: a round is a whole number from 1. Write 1 for the first, 2 ..."),
        ({"row": None}, "readings.csv, column round: found '0': a round is a whole number from "
                        "1. Write 1 for the first, 2 ..."),
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
    assert table["found"].tolist() == ["0", "0"]


def test_a_table_without_problems_keeps_its_columns():
    table = SessionError([]).problems
    assert list(table.columns) == COLUMNS
    assert table["row"].dtype == "Int64"


def test_changing_the_table_changes_nothing_in_the_error():
    error = SessionError([problem()])
    table = error.problems
    table["found"] = "other"
    assert error.problems["found"].tolist() == ["0"]


@pytest.mark.parametrize(
    ("word", "nearness", "near"),
    [("WIEGHT", 0.6, "weight"), ("weigth", 0.9, None), ("round", 0.6, None), ("", 0.6, None)],
)
def test_the_known_word_that_is_nearest_is_found_whatever_its_case(word, nearness, near):
    assert nearest_word(word, ["Length", "weight"], nearness=nearness) == near


def test_a_problem_with_a_near_word_asks_for_it_and_else_does_not():
    known = ("length", "weight")
    near = problem(code=UnknownMeasure(given=True, near="weight", known=known))
    assert near.problem == "this measure is not described"
    assert near.remedy == "Did you mean 'weight'? session.toml describes length, weight."
    far = problem(code=UnknownMeasure(given=True, near=None, known=()))
    assert far.remedy == "session.toml describes none."
