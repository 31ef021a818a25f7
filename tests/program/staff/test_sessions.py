import datetime as dt
import shutil

import numpy as np
import pytest
from programs import QUARTERS, drawn_counts, write_program, write_session

from anthroqa import SessionError
from anthroqa.program.staff.sessions import read_program


def said(program):
    return [(p.file, p.problem) for p in program.problems]


def test_sessions_are_ordered_by_date_and_name_whatever_folder_they_come_from(tmp_path):
    rng = np.random.default_rng(1)
    late = write_session(tmp_path / "a_late", drawn_counts(rng), QUARTERS[3])
    held = write_program(tmp_path / "program", 2, sessions=2)
    program = read_program([late, held])
    assert [s.name for s in program.sessions] == ["Q1", "Q2", "a_late"]
    assert program.reference == "LEAD"
    assert program.name == "program"
    assert list(program.measures) == ["length"]
    assert program.problems == ()
    assert set(program.files) == {
        f"{s}/{f}" for s in ("Q1", "Q2", "a_late") for f in ("session.toml", "readings.csv")
    }
    assert read_program(held).files == {
        k: v for k, v in program.files.items() if not k.startswith("a_late")
    }


def test_what_cannot_be_used_is_left_out_and_all_of_it_is_said_at_once(tmp_path):
    folder = write_program(tmp_path / "program", 3, sessions=2)
    rng = np.random.default_rng(4)
    write_session(folder / "dateless", drawn_counts(rng), None)
    broken = write_session(folder / "broken", drawn_counts(rng), QUARTERS[2])
    broken.joinpath("readings.csv").write_text(
        "measurer,subject,measure,round,reading\nLEAD,S1,length,1,x\n"
    )
    shutil.copytree(folder / "Q2", folder / "copy")
    (tmp_path / "empty").mkdir()
    other = tmp_path / "elsewhere"
    write_session(other / "Q1", drawn_counts(rng), QUARTERS[3])
    drill = write_session(
        folder / "drill", {"A": np.array([[500]])}, QUARTERS[2], more='exercise = "drill"',
        reference="",
    )  # fmt: skip
    drill.joinpath("true_values.csv").write_text("subject,measure,true\nS1,length,500\n")
    program = read_program([folder, tmp_path / "empty", tmp_path / "none", other])
    assert [s.name for s in program.sessions] == ["Q1", "Q2"]
    text = "\n".join(map(str, program.problems))
    assert "empty: there is no session in this folder" in text
    assert "none: there is no such folder" in text
    assert "dateless/session.toml, column date: the session has no date" in text
    assert "broken/readings.csv, row 2" in text
    assert "broken: this session cannot be read: it is left out" in text
    assert "drill: this is a drill" in text
    assert "byte for byte" in text
    assert "Q1: there are two sessions of this name: the second is left out" in text


def test_nothing_readable_is_an_error_with_everything_found(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(SessionError, match=r"no session in this folder.*\n.*no such folder"):
        read_program([tmp_path / "empty", tmp_path / "none"])
    with pytest.raises(ValueError, match="give a folder"):
        read_program([])


def test_one_session_alone_is_said_and_shown(tmp_path):
    folder = write_program(tmp_path / "program", 5, sessions=1)
    program = read_program(folder / "Q1")
    assert len(program.sessions) == 1
    assert said(program) == [("Q1", "this is the only session that can be used")]


def test_a_measure_of_another_step_is_left_out_of_the_session_that_is_alone_with_it(tmp_path):
    folder = write_program(tmp_path / "program", 6, sessions=2)
    rng = np.random.default_rng(7)
    odd = {who: n * 2 for who, n in drawn_counts(rng).items()}
    write_session(folder / "Q3", odd, QUARTERS[2], step="2 mm")
    program = read_program(folder)
    assert str(program.measures["length"].step) == "1 mm"
    assert [s.name for s in program.sessions] == ["Q1", "Q2"]  # nothing is left of the third
    (problem,) = program.problems
    assert problem.column == "measure.length.recorded_to"
    assert problem.found == "2 mm"
    assert "most sessions record this measure to 1 mm" in problem.problem


def test_of_two_steps_as_frequent_the_latest_is_kept(tmp_path):
    rng = np.random.default_rng(8)
    write_session(tmp_path / "p/Q1", drawn_counts(rng), QUARTERS[0])
    odd = {who: n * 2 for who, n in drawn_counts(rng).items()}
    write_session(tmp_path / "p/Q2", odd, QUARTERS[1], step="2 mm")
    program = read_program(tmp_path / "p")
    assert str(program.measures["length"].step) == "2 mm"
    assert [s.name for s in program.sessions] == ["Q2"]


def test_another_reference_and_a_shared_day_are_said_and_nothing_is_left_out(tmp_path):
    rng = np.random.default_rng(9)
    write_session(tmp_path / "p/Q1", drawn_counts(rng), QUARTERS[0], reference="A")
    write_session(tmp_path / "p/Q2", drawn_counts(rng), QUARTERS[1])
    write_session(tmp_path / "p/Q2b", drawn_counts(rng), QUARTERS[1])
    program = read_program(tmp_path / "p")
    assert len(program.sessions) == 3
    assert program.reference == "LEAD"
    assert program.references == {"A", "LEAD"}
    text = "\n".join(map(str, program.problems))
    assert "the latest session has LEAD: differences over time are taken from" in text
    assert "Q2 has this date and some of the same staff" in text


def test_two_clinics_on_one_day_are_no_problem(tmp_path):
    rng = np.random.default_rng(10)
    write_session(tmp_path / "p/north", drawn_counts(rng), QUARTERS[0])
    south = {f"s{who}" if who != "LEAD" else who: n for who, n in drawn_counts(rng).items()}
    south.pop("LEAD")
    write_session(tmp_path / "p/south", south, QUARTERS[0], reference="")
    problems = [p.problem for p in read_program(tmp_path / "p").problems]
    assert not any("this date" in p for p in problems)


TRAINED = """\
measurer,date,measure,picked_in,note
A,2026-05-01,length,Q2,half a day
B,2026-05-01,,,
"""


def test_retraining_is_read_beside_the_sessions(tmp_path):
    folder = write_program(tmp_path / "program", 11)
    folder.joinpath("retraining.csv").write_text(TRAINED)
    table = read_program(folder).retraining
    assert table.to_dict("records") == [
        {"measurer": "A", "measure": "length", "date": dt.date(2026, 5, 1), "picked_in": "Q2",
         "note": "half a day"},
        {"measurer": "B", "measure": "length", "date": dt.date(2026, 5, 1), "picked_in": "Q2",
         "note": ""},
    ]  # fmt: skip
    given = tmp_path / "others.csv"
    given.write_text("measurer,date\nC,2026-08-01\n")
    program = read_program(folder, retraining=given)
    assert list(program.retraining["measurer"]) == ["C"]
    assert program.retraining["picked_in"].iloc[0] == "Q3"
    assert "others.csv" in program.files


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("a,2026-05-01,,,", "measurer", "Did you mean 'A'"),
        ("A,1 May 2026,,,", "date", "Write it as 2026-10-06"),
        ("A,20260501,,,", "date", "Write it as 2026-10-06"),
        ("A,2026-05-01,lenght,,", "measure", "Did you mean 'length'"),
        ("A,2026-05-01,,Q9,", "picked_in", "Known are Q1, Q2, Q3, Q4"),
        ("A,2026-05-01,,Q4,", "picked_in", "lies after the retraining"),
        ("A,2025-05-01,,,", "date", "no session lies before this date"),
        ("A,2027-05-01,,,", "date", "no session lies after this date"),
    ],
)
def test_faults_of_the_retraining_are_told_by_row_and_column(tmp_path, row, column, words):
    folder = write_program(tmp_path / "program", 12)
    folder.joinpath("retraining.csv").write_text(TRAINED + row + "\n")
    program = read_program(folder)
    (problem,) = program.problems
    assert (problem.file, problem.row, problem.column) == ("retraining.csv", 4, column)
    assert words in f"{problem.problem} {problem.remedy}"
    assert {"A", "B"} <= set(program.retraining["measurer"])


def test_a_retraining_file_that_is_not_there_is_said(tmp_path):
    folder = write_program(tmp_path / "program", 13, sessions=2)
    program = read_program(folder, retraining=tmp_path / "no.csv")
    assert "no.csv: the file cannot be read" in str(program.problems[0])
