"""Two entries of one workbook, and looking at a session while it is typed in."""

import openpyxl
import pytest
from folders import TOML, noticed, write_session, write_workbook

from anthroqa import SessionError, read_session
from anthroqa.intake import look

HEAD = ["measurer", "subject", "measure", "round", "reading", "tare", "condition", "retake"]
FIRST = [
    ["A", "C1", "weight", 1, "11 lb 10 oz"], ["A", "C1", "weight", 2, "11 lb 9 oz"],
    ["A", "C2", "length", 1, "24 3/8"], ["A", "C2", "length", 2, None],
]  # fmt: skip
SECOND_HEAD = ["line", "measurer", "subject", "measure", "round", "tare", "reading"]


def typed(tmp_path, second, first=FIRST, *, toml=TOML):
    """A folder whose workbook has a second entry, by rows of measurer ... round, reading."""
    folder = write_workbook(tmp_path, [HEAD, *first], toml=toml)
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    sheet = book.create_sheet("second_entry")
    sheet.append(SECOND_HEAD)
    for n, (*key, reading) in enumerate(second, start=1):
        sheet.append([n, *key, None, reading])
    book.save(folder / "readings.xlsx")
    return folder


def told(folder):
    found = look(folder)
    if found.problems:
        with pytest.raises(SessionError):
            read_session(folder)
    return [(p.cell, p.found, p.problem) for p in found.problems]


def test_equal_entries_in_another_order_and_spelling_agree(tmp_path):
    second = [["A", "C2", "length", 1, "24-3/8"], ["A", "C1", "weight", 2, "185 oz"],
              ["A", "C1", "weight", 1, "11 lb 10 oz"]]  # fmt: skip
    folder = typed(tmp_path, second)
    assert told(folder) == []
    assert read_session(folder).readings["count"].tolist() == [186, 185, 195]


def test_a_difference_names_both_cells_and_the_paper(tmp_path):
    folder = typed(tmp_path, [["A", "C1", "weight", 2, "11 lb 10 oz"]])
    assert told(folder) == [
        ("second_entry!G2", "11 lb 10 oz", "it differs from readings!E3, '11 lb 9 oz'")
    ]
    (problem,) = look(folder).problems
    assert problem.remedy == "Look at the paper and mend the one that is wrong."
    assert str(problem).startswith("readings.xlsx, second_entry!G2 (reading): found")


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        (["A", "C9", "weight", 1, "1 oz"], "no row of the first entry has this measurer"),
        (["A", "C1", "weight", 3, "1 oz"], "no row of the first entry has this measurer"),
        (["A", "C2", "length", 2, "24"], "readings!E5 is empty"),
        (["A", "C2", "length", 1, "x"], "it differs from readings!E4"),
    ],
)
def test_what_has_no_counterpart_is_told(tmp_path, row, problem):
    (found,) = told(typed(tmp_path, [row]))
    assert found[2].startswith(problem)


def test_a_row_that_is_there_twice_is_told_once(tmp_path):
    row = ["A", "C1", "weight", 1, "186 oz"]
    (found,) = told(typed(tmp_path, [row, row]))
    assert "row 2 of this sheet has the same measurer" in found[2]


def test_what_is_not_typed_twice_yet_is_counted_and_no_problem(tmp_path):
    folder = typed(tmp_path, [["A", "C1", "weight", 1, "186 oz"], ["A", "C1", "weight", 2, None]])
    found = look(folder)
    assert (found.problems, found.second) == ((), True)
    assert found.progress[["round", "planned", "entered", "twice"]].to_numpy().tolist() == [
        [1, 2, 2, 1], [2, 2, 1, 0],
    ]  # fmt: skip


def test_the_tare_is_held_against_the_tare(tmp_path):
    folder = typed(tmp_path, [], first=[["A", "C1", "mass", 1, "65.0", "60.0"]])
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    book["second_entry"].append([1, "A", "C1", "mass", 1, "60.1", "65"])
    book.save(folder / "readings.xlsx")
    assert told(folder) == [("second_entry!F2", "60.1", "it differs from readings!F2, '60.0'")]


def test_a_second_entry_without_its_columns_is_told(tmp_path):
    folder = typed(tmp_path, [])
    book = openpyxl.load_workbook(folder / "readings.xlsx")
    book["second_entry"]["B1"] = "who"
    book.save(folder / "readings.xlsx")
    assert [p.column for p in look(folder).problems] == ["measurer"]


def test_problems_and_sound_rows_are_both_there(tmp_path):
    rows = ["A,C1,length,1,24 3/8", "A,C1,length,2,24.3", "B,C1,length,first,24", "A,C2,nope,1,2",
            "A,C2,length,1,25", "A,C2,length,1,26"]  # fmt: skip
    found = look(write_session(tmp_path, rows))
    assert [p.row for p in found.problems] == [3, 4, 5, 7]
    assert found.session.readings["count"].tolist() == [195, 200]
    assert found.progress["planned"].sum() == 6


def test_a_session_without_a_reading_yet_is_no_problem_but_no_session(tmp_path):
    folder = write_session(tmp_path, ["A,C1,length,1,", "A,C1,length,2,"])
    found = look(folder)
    assert (found.problems, found.session) == ((), None)
    assert found.progress[["planned", "entered"]].to_numpy().tolist() == [[1, 0], [1, 0]]
    with pytest.raises(SessionError, match="there is no reading"):
        read_session(folder)


def test_a_row_with_a_condition_and_no_reading_is_entered(tmp_path):
    rows = ["A,C1,length,1,24,", "A,C1,length,2,,upset"]
    found = look(write_session(tmp_path, rows, header=",".join(HEAD[:5]) + ",condition"))
    assert found.progress["entered"].tolist() == [1, 1]


STOP = TOML + '[conditions]\nstop = ["upset"]\n'


def test_a_reading_with_a_stop_code_is_set_aside_and_counts_against_nobody(tmp_path):
    rows = ["A,C1,length,1,24,", "A,C1,length,2,29,Upset", "A,C2,length,1,24,mov"]
    header = ",".join(HEAD[:5]) + ",condition"
    session = read_session(write_session(tmp_path, rows, header=header, toml=STOP))
    assert session.readings["count"].tolist() == [192, 192]
    assert session.missing["why"].tolist() == ["Upset: its reading is set aside"]
    assert noticed(session) == [
        ("readings.csv", "1 reading with a stop code was set aside, counted against nobody"),
    ]  # fmt: skip


def test_a_stop_code_that_the_program_does_not_know_changes_nothing(tmp_path):
    rows = ["A,C1,length,1,24,", "A,C1,length,2,29,upset"]
    header = ",".join(HEAD[:5]) + ",condition"
    session = read_session(write_session(tmp_path, rows, header=header))
    assert session.readings["count"].tolist() == [192, 232]


def test_a_file_that_another_program_holds_is_told(tmp_path, monkeypatch):
    folder = write_session(tmp_path, ["A,C1,length,1,24"])

    def held(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", held)
    (problem,) = look(folder).problems
    assert problem.problem == "the file cannot be read (Permission denied)"
    assert "Close it there" in problem.remedy
