import pandas as pd
import pytest
from folders import HEADER, only_problem, place, problems_of, write_session

from anthroqa import read_session

ROWS = ["A,C1,length,1,24.3", "A,C1,length,2,24 1/2", "B,C1,length,1,24 3/8"]
MEND = "A,C1,length,1,24 3/8,typed wrong,RT"


def test_corrections_apply_before_the_checks_and_leave_what_was_written(tmp_path):
    folder = write_session(tmp_path, ROWS, corrections=[MEND])
    session = read_session(folder)
    assert session.readings["count"].tolist() == [195, 196, 195]
    assert session.readings["written"].tolist() == ["24.3", "24 1/2", "24 3/8"]
    assert session.readings["corrected"].tolist() == ["24 3/8", "", ""]
    assert session.corrections.to_dict("records") == [{
        "measurer": "A", "subject": "C1", "measure": "length", "round": 1,
        "written": "24.3", "corrected": "24 3/8", "reason": "typed wrong", "by": "RT",
    }]  # fmt: skip
    (folder / "corrections.csv").unlink()
    assert place(only_problem(folder)) == ("readings.csv", 2, "reading", "24.3")


def test_without_corrections_there_is_no_such_column_and_an_empty_table(tmp_path):
    session = read_session(write_session(tmp_path, ROWS[1:], corrections=[]))
    assert "corrected" not in session.readings.columns
    assert session.corrections.empty
    assert list(session.corrections.columns) == [
        "measurer", "subject", "measure", "round", "written", "corrected", "reason", "by",
    ]  # fmt: skip


@pytest.mark.parametrize("nothing", ["NA"])
def test_na_sets_a_reading_aside_with_its_reason(tmp_path, nothing):
    folder = write_session(
        tmp_path, ROWS, corrections=[f"A,C1,length,1,{nothing},child was held,RT"]
    )
    session = read_session(folder)
    assert session.readings["count"].tolist() == [196, 195]
    assert session.missing.to_dict("records") == [{
        "measurer": "A", "subject": "C1", "measure": "length", "round": 1, "row": 2,
        "why": "set aside: child was held",
    }]  # fmt: skip
    assert session.corrections["corrected"].tolist() == ["NA"]


def test_a_reading_that_was_missing_can_be_given(tmp_path):
    folder = write_session(tmp_path, ["A,C1,length,1,", *ROWS[1:]], corrections=[MEND])
    session = read_session(folder)
    assert session.readings["count"].tolist() == [195, 196, 195]
    assert session.readings["written"].tolist()[0] == ""
    assert session.missing.empty


NAME_ONE = "Mend the codes, the measure or the round so that it names one first reading."
GIVE = "Give the reading (or NA to set it aside), a reason and your initials."


@pytest.mark.parametrize(
    ("line", "column", "found", "problem", "remedy"),
    [
        ("A,C9,length,1,24,typed,RT", "measurer", "A, C9, length, 1",
         "this correction names no reading", NAME_ONE),
        ("A,C1,length,3,24,typed,RT", "measurer", "A, C1, length, 3",
         "this correction names no reading", NAME_ONE),
        ("A,C1,length,1,24,typed,RT", "measurer", "A, C1, length, 1",
         "this reading is corrected twice", "Keep one of the corrections."),
        ("A,C1,length,2,,typed,RT", "corrected", "", "a correction needs its 'corrected'", GIVE),
        ("A,C1,length,2,24,,RT", "reason", "", "a correction needs its 'reason'", GIVE),
        ("A,C1,length,2,24,typed,", "by", "", "a correction needs its 'by'", GIVE),
        ("A,C1,length,2,24.6,typed,RT", "corrected", "24.6", "it is not on a mark",
         "The marks nearby are 24 1/2 and 24 5/8"),
        ("A,C1,length,2,24 9/8,typed,RT", "corrected", "24 9/8", "is not a position between",
         "as in 24 3/8."),
    ],
    ids=["no such subject", "no such round", "twice", "no reading given", "no reason",
         "no initials", "off the marks", "no fraction"],
)  # fmt: skip
def test_a_wrong_correction_is_told_in_its_own_file(tmp_path, line, column, found, problem, remedy):
    told = only_problem(write_session(tmp_path, ROWS, corrections=[MEND, line]))
    assert place(told) == ("corrections.csv", 3, column, found)
    assert problem in told["problem"]
    assert remedy in told["remedy"]


def test_a_correction_that_names_two_readings_is_told(tmp_path):
    rows = [*ROWS[1:], ROWS[1]]
    line = "A,C1,length,2,24 1/2,typed,RT"
    found = problems_of(write_session(tmp_path, rows, corrections=[line]))
    assert [place(p) for p in found] == [
        ("readings.csv", 4, "reading", "24 1/2"),
        ("corrections.csv", 2, "measurer", "A, C1, length, 2"),
    ]
    assert found[1]["problem"] == "this correction names 2 readings"
    assert found[1]["remedy"] == NAME_ONE


def test_a_correction_names_the_first_reading_and_leaves_its_retake(tmp_path):
    rows = ["A,C1,length,1,24.3,", "A,C1,length,1,25,1"]
    folder = write_session(tmp_path, rows, header=HEADER + ",retake", corrections=[MEND])
    assert read_session(folder).readings["count"].tolist() == [195, 200]


@pytest.mark.parametrize(
    ("toml", "rows", "line", "problem"),
    [
        ("[measure.w]\nrecorded_to = '1 oz'\nrange = ['7 lb', '25 lb']\n",
         ["A,C1,w,1,9 lb", "A,C2,w,1,9 lb"], "A,C1,w,1,4 lb,typed,RT", "outside the range"),
        ("[measure.w]\nrecorded_to = '1 oz'\n",
         ["A,C1,w,1,9 lb", "A,C2,w,1,9 lb"], "A,C1,w,1,144,typed,RT", "are mixed"),
        ("[measure.w]\nrecorded_to = '1 g'\n",
         ["A,C1,w,1,9", "A,C2,w,1,9", "A,C3,w,1,9"], "A,C1,w,1,99999999999,typed,RT", "too far"),
    ],
    ids=["range", "mixed forms", "too far apart"],
)  # fmt: skip
def test_a_corrected_text_that_fails_a_check_is_told_where_it_stands(
    tmp_path, toml, rows, line, problem
):
    told = only_problem(write_session(tmp_path, rows, toml=toml, corrections=[line]))
    assert place(told) == ("corrections.csv", 2, "corrected", line.split(",")[4])
    assert problem in told["problem"]


def test_a_decimal_comma_is_a_point_in_a_semicolon_file_of_corrections(tmp_path):
    folder = write_session(tmp_path, ROWS, corrections=[])
    text = "measurer;subject;measure;round;corrected;reason;by\nA;C1;length;1;24,375;typed;RT\n"
    (folder / "corrections.csv").write_text(text)
    assert read_session(folder).readings["count"].tolist() == [195, 196, 195]
    text = text.replace(";", ",").replace("24,375", '"24,375"')
    (folder / "corrections.csv").write_text(text)
    told = only_problem(folder)
    assert place(told) == ("corrections.csv", 2, "corrected", "24,375")
    assert "Write a decimal point, or save the file with semicolons" in told["remedy"]


def test_a_comma_file_of_corrections_beside_semicolon_readings_has_no_decimal_comma(tmp_path):
    text = "\n".join([HEADER, *ROWS[1:]]).replace(",", ";")
    folder = write_session(tmp_path, text, corrections=['A,C1,length,2,"24,5",typed,RT'])
    assert place(only_problem(folder)) == ("corrections.csv", 2, "corrected", "24,5")


def test_a_file_of_corrections_without_its_columns_is_told_beside_the_readings(tmp_path):
    folder = write_session(tmp_path, ROWS, corrections=[])
    (folder / "corrections.csv").write_text("measurer,subject,measure,round,corrected,why\n")
    found = problems_of(folder)
    assert [place(p) for p in found] == [
        ("readings.csv", 2, "reading", "24.3"),
        ("corrections.csv", 1, "reason", ""),
        ("corrections.csv", 1, "by", ""),
    ]
    assert found[1]["problem"] == "this column is missing"
    assert (
        "must name the columns measurer, subject, measure, round, corrected, reason, by."
        in (found[1]["remedy"])
    )


def test_faults_in_corrections_are_told_even_where_the_readings_are_missing(tmp_path):
    folder = write_session(tmp_path, ROWS, corrections=[])
    (folder / "readings.csv").unlink()
    (folder / "corrections.csv").write_text("")
    assert [p["file"] for p in problems_of(folder)] == ["readings.csv", "corrections.csv"]


def test_reading_with_corrections_changes_no_input(tmp_path):
    folder = write_session(tmp_path, ROWS, corrections=[MEND])
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    session = read_session(folder)
    assert isinstance(session.corrections, pd.DataFrame)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
