"""What was set in a drill is read exactly, and every fault of `true_values.csv` is told at once."""

from fractions import Fraction

import pandas as pd
import pytest
from folders import HEADER, noticed, only_problem, place, problems_of, write_session
from hypothesis import given
from hypothesis import strategies as st

from anthroqa import Session, read_session
from anthroqa.intake.written.grammar import read_amount
from anthroqa.intake.written.steps import Step
from anthroqa.notes.intake.beside import TrueValues

TOML = """\
exercise = "drill"

[measure.board]
recorded_to = "1/8 in"

[measure.beam]
recorded_to = "1/4 lb"

[measure.scale]
recorded_to = "1 oz"
"""
ROWS = ["R1,B1,board,1,24 1/2", "R1,B2,board,1,30", "R1,W1,beam,1,31 1/4"]
SET = ["B1,board,24.53 in", "B2,board,29 15/16", "W1,beam,31.32"]


def drill(tmp_path, settings=SET, rows=ROWS, toml=TOML, header="subject,measure,true"):
    folder = write_session(tmp_path, rows, toml=toml)
    if settings is not None:
        text = "\n".join([header, *settings, ""])
        (folder / "true_values.csv").write_text(text, encoding="utf-8")
    return folder


def test_settings_are_read_as_written_and_in_steps(tmp_path):
    known = read_session(drill(tmp_path)).true_values
    assert list(known.columns) == ["subject", "measure", "true", "steps"]
    assert known["true"].tolist() == ["24.53 in", "29 15/16", "31.32"]
    assert known["steps"].tolist() == [196.24, 239.5, 125.28]


@pytest.mark.parametrize(
    ("text", "step", "steps"),
    [
        ("24 9/16 in", Step(Fraction(1, 8), "in"), Fraction(393, 2)),
        ("62.3 cm", Step(Fraction(1, 8), "in"), Fraction(623, 10) / Fraction(254, 100) * 8),
        ("11 lb 10.4 oz", Step(Fraction(1), "oz"), Fraction(1864, 10)),
        ("14.2 kg", Step(Fraction(1, 4), "lb"), Fraction(142, 10) * 4 / Fraction("0.45359237")),
        ("7.352", Step(Fraction(1, 10), "kg"), Fraction(7352, 100)),
    ],
)
def test_an_amount_is_exact_in_steps(text, step, steps):
    assert read_amount(text, step) == steps


@given(st.integers(0, 10**6), st.sampled_from([1, 2, 4, 8]))
def test_hundredths_of_a_unit_are_exact_in_every_step(hundredths, parts):
    step = Step(Fraction(1, parts), "in")
    text = f"{hundredths // 100}.{hundredths % 100:02d} in"
    assert read_amount(text, step) == Fraction(hundredths, 100) * parts


def test_semicolons_allow_decimal_commas(tmp_path):
    rows = [row.replace(",", ";") for row in ("B1,board,24x53 in", "B2,board,30", "W1,beam,31x3")]
    settings = [row.replace("x", ",") for row in rows]
    known = read_session(drill(tmp_path, settings, header="subject;measure;true")).true_values
    assert known["steps"].tolist() == [196.24, 240.0, 125.2]


def test_a_drill_without_its_settings_is_told_once(tmp_path):
    problem = only_problem(drill(tmp_path, None))
    assert place(problem) == ("true_values.csv", None, "", "")
    assert problem["problem"] == "a drill needs this file"
    assert "with the columns subject, measure, true" in problem["remedy"]
    assert 'or write exercise = "session" in session.toml' in problem["remedy"]


@pytest.mark.parametrize(
    ("row", "column", "found", "problem", "remedy"),
    [
        ("B3,board,", "true", "", "the setting is missing", "Write what was set"),
        ("B3,board,NA", "true", "NA", "the setting is missing", "or delete the row"),
        ("B3,board,abc", "true", "abc", "this is a word and not a setting", "If nothing"),
        ("B3,board,-3", "true", "-3", "a setting cannot be negative", "without the minus"),
        ("B3,board,12 oz", "true", "12 oz", "wrong kind of unit", "Write it with the unit in"),
        ("B3,board,8-Mar", "true", "8-Mar", "this is a date or a time", "write 3/8 as 0 3/8"),
        ("B3,board,46089", "true", "46089", "a spreadsheet keeps a date", "format to Text"),
        ("S1,scale,11.10 lb", "true", "11.10 lb", "can be read in two ways", "11 lb 10 oz"),
        ("B3,bord,24", "measure", "bord", "not described", "Did you mean 'board'?"),
        (",board,24", "subject", "", "the subject's code is missing", "Give the code"),
        ("B1,board,25", "subject", "B1", "is given in row 2 already", "Keep one of the two"),
        ("B1,board,24.53 in", "subject", "B1", "is given in row 2 already", "or mend a code"),
    ],
)  # fmt: skip
def test_a_row_at_fault_is_told_with_its_place(tmp_path, row, column, found, problem, remedy):
    told = only_problem(drill(tmp_path, [*SET, row]))
    assert place(told) == ("true_values.csv", 5, column, found)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


def test_a_subject_without_a_setting_is_told_once_where_it_is_first_read(tmp_path):
    rows = [*ROWS, "R1,B22,board,1,20", "R2,B22,board,1,20 1/8", "R1,B9,board,1,"]
    told = only_problem(drill(tmp_path, rows=rows))
    assert place(told) == ("readings.csv", 5, "subject", "B22")
    assert told["problem"] == "this subject has no setting of board in true_values.csv"
    assert "Did you mean 'B2'? Add its row to true_values.csv" in told["remedy"]


def test_a_measure_without_any_setting_is_told_once(tmp_path):
    told = only_problem(drill(tmp_path, SET[2:]))
    assert place(told) == ("true_values.csv", None, "measure", "board")
    assert told["problem"] == "this measure was read and has no setting"
    assert "Add a row for each of its subjects" in told["remedy"]


def test_a_setting_at_fault_is_not_told_twice_as_missing(tmp_path):
    told = only_problem(drill(tmp_path, ["B1,board,abc", *SET[1:]]))
    assert told["column"] == "true"


def test_everything_is_told_together_with_faults_of_other_files(tmp_path):
    rows = [*ROWS, "R1,B3,board,1,24.3"]
    told = problems_of(drill(tmp_path, [*SET, "B1,board,3", "B4,board,x y z 4"], rows=rows))
    assert [p["file"] for p in told] == [
        "readings.csv", "readings.csv", "true_values.csv", "true_values.csv",
    ]  # fmt: skip
    assert [p["row"] for p in told] == [5, 5, 5, 6]


def test_settings_without_a_column_are_told_once(tmp_path):
    told = only_problem(drill(tmp_path, ["B1,board,3"], header="subject,measure,truth"))
    assert (told["file"], told["column"]) == ("true_values.csv", "true")
    assert "this column is missing" in told["problem"]


def test_missing_readings_do_not_hide_faults_of_the_settings(tmp_path):
    folder = drill(tmp_path, ["B1,board,3"], header="subject,measure,truth")
    (folder / "readings.csv").unlink()
    told = problems_of(folder)
    assert [(p["file"], p["column"]) for p in told] == [
        ("readings.csv", ""), ("true_values.csv", "true"),
    ]  # fmt: skip


def test_settings_of_a_session_are_noticed_and_not_used(tmp_path):
    folder = drill(tmp_path, ["nonsense,,"], toml=TOML.replace('"drill"', '"session"'))
    session = read_session(folder)
    assert session.true_values.empty
    assert list(session.true_values.columns) == ["subject", "measure", "true", "steps"]
    ((file, note),) = session.notices
    assert (file, note) == ("true_values.csv", TrueValues.NOT_USED)
    assert "this file is not used" in str(note)
    assert "true_values.csv" not in session.files


def test_settings_that_nobody_read_are_noticed(tmp_path):
    session = read_session(drill(tmp_path, [*SET, "B8,board,12", "B9,board,13"]))
    assert noticed(session) == [
        ("true_values.csv", "settings that nobody read: B8 (board), B9 (board)"),
    ]  # fmt: skip


def test_of_many_settings_that_nobody_read_ten_are_named(tmp_path):
    extra = [f"C{i},board,12" for i in range(12)]
    ((_, text),) = noticed(read_session(drill(tmp_path, [*SET, *extra])))
    assert text.endswith("C8 (board), C9 (board) and 2 more")


@pytest.mark.parametrize("both", [False, True])
def test_a_drill_with_the_old_name_of_its_settings_is_told_once(tmp_path, both):
    folder = drill(tmp_path, SET if both else None)
    (folder / "settings.csv").write_text("subject,measure,true\n", encoding="utf-8")
    told = only_problem(folder)
    assert place(told) == ("settings.csv", None, "", "")
    assert told["remedy"].startswith("Rename it to true_values.csv.")


def test_the_settings_file_is_hashed_with_the_inputs(tmp_path):
    assert set(read_session(drill(tmp_path)).files) == {
        "session.toml", "readings.csv", "true_values.csv",
    }  # fmt: skip


def test_a_session_from_a_frame_has_no_true_values():
    frame = pd.DataFrame([["A", "1", "m", 1, "3"]], columns=HEADER.split(","))
    session = Session.from_frame(frame, measures={"m": {"recorded_to": "1 mm"}})
    assert session.true_values.empty
