import hashlib
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from folders import HEADER, TOML, noticed, only_problem, place, problems_of, write_session
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from anthroqa import Session, SessionError, read_session
from anthroqa.intake import look
from anthroqa.intake.entries import known_loads, true_values
from anthroqa.notes.intake.session import Handled, OldName

SAMPLES = Path(__file__).parents[2] / "sample_sessions"
KEY = ["measurer", "subject", "measure", "round"]


def test_readings_have_their_columns_types_and_exact_values(tmp_path):
    rows = ["A,C1,weight,1,11 lb 10 oz,calm,n", "B,C1,length,2,24 3/8,,", "B,C1,mass,1,7.3,,"]
    session = read_session(write_session(tmp_path, rows, header=HEADER + ",condition,note"))
    table = session.readings
    assert list(table.columns) == [*KEY, "count", "value", "written", "condition", "note"]
    assert table["count"].dtype == table["round"].dtype == np.dtype("int64")
    assert table["count"].tolist() == [186, 195, 73]
    assert table["value"].tolist() == [186.0, 24.375, 7.3]
    assert table["written"].tolist() == ["11 lb 10 oz", "24 3/8", "7.3"]
    assert list(session.measures) == ["weight", "length", "mass"]
    assert session.title == "A test"
    assert session.name == "autumn"


def test_a_session_without_a_title_is_called_by_its_folder(tmp_path):
    toml = TOML.replace('title = "A test"', "")
    assert read_session(write_session(tmp_path, ["A,1,mass,1,7"], toml=toml)).title == "autumn"


def test_missing_readings_are_normal_and_listed(tmp_path):
    rows = ["A,C1,mass,1,7.3,", "A,C1,mass,2,,left", "A,C2,mass,1,NA,", "B,C2,mass,1, ,"]
    session = read_session(write_session(tmp_path, rows, header=HEADER + ",condition"))
    assert session.readings["count"].tolist() == [73]
    assert session.missing[[*KEY, "row", "why"]].to_numpy().tolist() == [
        ["A", "C1", "mass", 2, 3, "left"],
        ["A", "C2", "mass", 1, 4, "empty"],
        ["B", "C2", "mass", 1, 5, "empty"],
    ]


def test_single_readings_unequal_repeats_three_rounds_and_groups_are_normal(tmp_path):
    rows = ["A,C1,mass,1,7.3,n", "A,C1,mass,2,7.4,n", "A,C1,mass,3,7.5,n", "A,C2,mass,1,8,n",
            "B,C3,mass,2,9,s", "C,C3,mass,1,9,s", "C,C3,mass,2,9.1,s"]  # fmt: skip
    session = read_session(write_session(tmp_path, rows, header=HEADER + ",group"))
    assert session.readings["round"].tolist() == [1, 2, 3, 1, 2, 1, 2]
    assert session.readings["group"].tolist() == list("nnnnsss")
    assert session.missing.empty
    assert list(session.missing.columns) == [*KEY, "row", "why"]


def test_the_same_code_may_stand_in_different_measures_and_for_different_things(tmp_path):
    rows = ["A,A,mass,1,7", "A,A,length,1,24", "a1,A,mass,1,7"]
    assert len(read_session(write_session(tmp_path, rows)).readings) == 3


def test_the_handling_cap_is_noticed_by_child_and_measure(tmp_path):
    rows = [f"{m},C1,mass,{r},7" for m in "AB" for r in (1, 2)] + ["A,C2,mass,1,7"]
    session = read_session(write_session(tmp_path, rows, toml="handling_cap = 3\n" + TOML))
    handled = Handled(subject="C1", measure="mass", times=4, cap=3)
    assert session.notices == (("readings.csv", handled),)
    assert str(handled) == "subject C1 was handled 4 times for mass; the cap is 3"


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        (["Ana Ruiz", "B"], "1 code of a measurer looks like a name"),
        (["Ana Ruiz", "Bea Soto"], "2 codes of measurers look like names"),
    ],
)
def test_codes_that_look_like_names_are_counted_and_not_shown(tmp_path, codes, words):
    session = read_session(write_session(tmp_path, [f"{code},C1,mass,1,7" for code in codes]))
    assert noticed(session) == [
        ("readings.csv", f"{words}: use codes, and keep the list of names apart")
    ]


@pytest.mark.parametrize(
    ("old", "new"), [("kit.csv", "known_loads.csv"), ("settings.csv", "true_values.csv")]
)
@pytest.mark.parametrize("both", [False, True])
def test_a_file_with_an_old_name_is_told_with_its_new_one_and_not_read(tmp_path, old, new, both):
    folder = write_session(tmp_path, ["A,C1,mass,1,7.3"])
    (folder / old).write_bytes(b"\xff nothing that could be read")
    if both:
        header = ",".join(known_loads.COLUMNS if old == "kit.csv" else true_values.COLUMNS)
        (folder / new).write_text(f"{header}\n", encoding="utf-8")
    told = only_problem(folder)
    assert place(told) == (old, None, "", "")
    assert told["problem"] == f"this file is called {new} now, and nothing was read from it"
    assert told["remedy"].startswith(f"Rename it to {new}.")
    found = look(folder)
    assert [p.code for p in found.problems] == [OldName(new=new)]
    assert found.session is not None
    assert old not in found.session.files


def test_each_input_is_hashed_and_none_is_changed(tmp_path):
    folder = write_session(tmp_path, ["A,C1,mass,1,7.3"], corrections=["A,C1,mass,1,7.4,typed,R"])
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    session = read_session(str(folder))
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert session.files == {n: hashlib.sha256(b).hexdigest() for n, b in before.items()}


def test_a_folder_that_is_not_there_and_a_file_are_told_apart(tmp_path):
    told = only_problem(tmp_path / "autmn")
    assert place(told) == ("autmn", None, "", "")
    assert told["problem"] == "there is no such folder"
    assert told["remedy"] == "Give the folder that holds session.toml and the readings."
    (tmp_path / "readings.csv").write_text("")
    told = only_problem(tmp_path / "readings.csv")
    assert place(told) == ("readings.csv", None, "", "")
    assert told["problem"] == "this is a file, not a folder"
    assert "Give the folder that holds session.toml" in told["remedy"]


def test_missing_files_are_told_together(tmp_path):
    found = problems_of(tmp_path)
    assert [place(p) for p in found] == [
        ("session.toml", None, "", ""), ("readings.csv", None, "", ""),
    ]  # fmt: skip
    assert {p["problem"] for p in found} == {"this file is missing"}
    assert found[0]["remedy"] == (
        "Describe the measures in it; copy one from sample_sessions to begin with."
    )
    assert "or as readings.xlsx with a sheet 'readings'." in found[1]["remedy"]


def test_a_missing_settings_file_is_one_problem_beside_those_of_the_rows(tmp_path):
    folder = write_session(tmp_path, ["A,C1,mass,0,7.3", "A,C2,mass,1,7.3"])
    (folder / "session.toml").unlink()
    assert [place(p) for p in problems_of(folder)] == [
        ("session.toml", None, "", ""),
        ("readings.csv", 2, "round", "0"),
    ]


def test_many_faults_are_all_told_at_once_in_the_order_of_files_and_rows(tmp_path):
    toml = "reference = 'LEAD'\nhandling_cap = 0\n" + TOML
    rows = [
        "A,C1,weight,1,11.10 lb,", "A,C1,weight,2,12 lb 17 oz,", "A,C1,length,x,25 3/0,",
        "A,C1,lenght,1,24,", "A,C2,length,1,24 3/8,", "A,C2,length,1,24 1/2,", ",C3,mass,1,7.35,",
        "a,C3,mass,1,7.3,", "A,C3,mass,1,7,3,", "A,C4,mass,1,8-Mar,",
    ]  # fmt: skip
    folder = write_session(
        tmp_path, rows, header=HEADER + ",note", toml=toml,
        corrections=["A,C9,mass,1,3,typed,R", "A,C2,length,1,24,,"],
    )  # fmt: skip
    with pytest.raises(SessionError) as caught:
        read_session(folder)
    table = caught.value.problems
    assert list(table.columns) == ["file", "row", "column", "found", "problem", "remedy"]
    assert table["row"].dtype == "Int64"
    shown = [
        (file, None if row is pd.NA else row, column)
        for file, row, column in zip(table["file"], table["row"], table["column"], strict=True)
    ]
    assert shown == [
        ("session.toml", None, "reference"),
        ("session.toml", 2, "handling_cap"),
        ("readings.csv", 2, "reading"),
        ("readings.csv", 3, "reading"),
        ("readings.csv", 4, "round"),
        ("readings.csv", 5, "measure"),
        ("readings.csv", 7, "reading"),
        ("readings.csv", 8, "measurer"),
        ("readings.csv", 9, "measurer"),
        ("readings.csv", 10, ""),
        ("readings.csv", 11, "reading"),
        ("corrections.csv", 2, "measurer"),
        ("corrections.csv", 3, "measurer"),
    ]
    assert str(caught.value).count("\n") == len(table) - 1
    assert (table["problem"] != "").all()
    assert (table["remedy"] != "").all()


FRAME = pd.DataFrame({
    "measurer": "A", "subject": ["1", "1", "2"], "measure": "mass", "round": [1, 2, 1],
    "reading": [0.1 + 0.2, 7.0, 7.3],
})  # fmt: skip
MASS = {"mass": {"recorded_to": "0.1 kg", "kind": "weight"}}


@pytest.mark.parametrize(
    ("readings", "counts"),
    [
        ([0.1 + 0.2, 7.0, 7.3], [3, 70, 73]),
        ([1, 2, 3], [10, 20, 30]),
        (["0.3", " 7 kg", "7300 g"], [3, 70, 73]),
        ([7.3, np.nan, 7.4], [73, 74]),
        (["7.3", None, "7.4"], [73, 74]),
        (pd.array(["7.3", pd.NA, "NA"], dtype="string"), [73]),
        (pd.array([7, pd.NA, 8], dtype="Int64"), [70, 80]),
        ([7, "7.3", 7.4], [70, 73, 74]),
    ],
    ids=["floats", "ints", "texts", "nan", "none", "string NA", "Int64 NA", "mixed"],
)
def test_a_frame_of_any_kind_of_cells_is_read_as_a_person_sees_it(readings, counts):
    frame = FRAME.assign(reading=readings)
    before = frame.copy(deep=True)
    session = Session.from_frame(frame, measures=MASS)
    assert session.readings["count"].tolist() == counts
    assert len(session.missing) == 3 - len(counts)
    pd.testing.assert_frame_equal(frame, before)


def test_a_frame_reads_as_the_same_rows_of_a_file(tmp_path):
    rows = ["A,1,mass,1,0.3", "A,1,mass,2,7", "A,2,mass,1,7.3"]
    there = read_session(write_session(tmp_path, rows)).readings.drop(columns="written")
    here = Session.from_frame(FRAME, measures=MASS).readings.drop(columns="written")
    pd.testing.assert_frame_equal(here, there)


def test_problems_of_a_frame_are_in_frame_and_its_first_row_is_2():
    frame = FRAME.assign(reading=[7.35, 7.0, "x"], round=[1, 2, 0]).rename(index=lambda i: i + 50)
    with pytest.raises(SessionError) as caught:
        Session.from_frame(frame, measures=MASS)
    assert [(p.file, p.row, p.column, p.found) for p in caught.value] == [
        ("frame", 2, "reading", "7.35"),
        ("frame", 4, "round", "0"),
    ]
    assert "The marks nearby are 7.3 and 7.4" in str(caught.value)


def test_the_measures_and_reference_of_a_frame_are_checked_as_those_of_a_file():
    measures = {"mass": {"recorded_to": "0.1 kg", "limit": "1 kg"}}
    with pytest.raises(SessionError) as caught:
        Session.from_frame(FRAME, measures=measures, reference="B")
    assert {(p.file, p.column) for p in caught.value} == {
        ("measures", "measure.mass.limit"), ("measures", "reference"),
    }  # fmt: skip
    session = Session.from_frame(FRAME, measures=MASS, reference="A")
    assert session.reference == "A"
    assert session.measures["mass"].kind == "weight"


def test_a_frame_without_a_column_or_rows_is_told():
    with pytest.raises(SessionError, match="frame, row 1, column round: this column is missing"):
        Session.from_frame(FRAME.drop(columns="round"), measures=MASS)
    with pytest.raises(SessionError, match=r"frame: there is no reading\. Enter the readings\."):
        Session.from_frame(FRAME.iloc[:0], measures=MASS)


def test_a_frame_without_measures_is_a_wrong_call():
    with pytest.raises(ValueError, match=r"no measure is given: write measures=\{"):
        Session.from_frame(FRAME, measures={})


AS_TYPED = [
    (30, "23.13", "one every 1 oz", "Marks nearby are 1 lb 7 oz and 1 lb 8 oz."),
    (156, "13 lb 17 oz", "ounces run from 0 to 15", "was a pound carried, or a figure slipped?"),
    (258, "20.6 lb", "can be read in two ways: ounces after the point", "as in 11 lb 10 oz."),
    (383, "3/8/2032", "this is a date", "after setting the column's format to Text"),
    (462, "21 3/0", "3/0 divides by zero", "Look at the paper and type the mark again."),
    (579, "-28 3/4", "a reading cannot be negative", "without the minus sign."),
    (936, "194,1/4", "cannot be read as a number of marks", "Look at the paper and type it again"),
    (1087, "56.7", "one every 1/4 lb", "kilograms written for pounds (near 125 lb)"),
]


def test_the_sample_as_typed_tells_its_eight_faults_where_they_stand(tmp_path):
    folder = tmp_path / "as_typed"
    shutil.copytree(SAMPLES / "clinics_customary_as_typed", folder)
    (folder / "corrections.csv").unlink()
    lines = (folder / "readings.csv").read_text(encoding="utf-8-sig").splitlines()
    found = problems_of(folder)
    assert [place(p) for p in found] == [
        ("readings.csv", row, "reading", text) for row, text, _, _ in AS_TYPED
    ]
    for told, (row, text, problem, remedy) in zip(found, AS_TYPED, strict=True):
        assert text in lines[row - 1]
        assert problem in told["problem"]
        assert remedy in told["remedy"]


def test_the_sample_as_typed_with_its_corrections_is_the_clean_sample():
    typed = read_session(SAMPLES / "clinics_customary_as_typed")
    clean = read_session(SAMPLES / "clinics_customary")
    assert len(typed.corrections) == len(AS_TYPED)
    columns = [*KEY, "group", "instrument", "count", "count_read", "count_tare", "value"]
    pd.testing.assert_frame_equal(typed.readings[columns], clean.readings[columns])
    assert [text for _, text in noticed(typed)] == [
        "rows 1 to 2 above the column names passed over",
        "empty rows passed over: 203",
        "outer spaces removed in 12 rows",
    ]


CELLS = st.sampled_from(
    ["A", "a", "C1", "01", "weight", "length", "mass", "1", "2", "0", "11 lb 10 oz", "24 3/8",
     "186", "11.10 lb", "8-Mar", "NA", "", " ", '"', "7,3", "é", "nan", "9" * 30, "9" * 4400]
)  # fmt: skip
LINES = st.lists(CELLS, min_size=4, max_size=8)
FILES = st.one_of(
    st.binary(max_size=80),
    st.text(max_size=80).map(lambda text: (HEADER + "\n" + text).encode("utf-8", "surrogatepass")),
    st.builds(
        lambda mark, lines, end: end.join(
            [HEADER.replace(",", mark) + mark + "group", *[mark.join(cells) for cells in lines]]
        ).encode(),
        st.sampled_from(",;"), st.lists(LINES, max_size=5), st.sampled_from(["\n", "\r\n"]),
    ),
)  # fmt: skip


@settings(max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=FILES)
def test_any_file_is_a_session_or_one_session_error(tmp_path, data):
    (tmp_path / "session.toml").write_text(TOML)
    (tmp_path / "readings.csv").write_bytes(data)
    try:
        given, wrong = read_session(tmp_path).readings, ()
    except SessionError as error:  # and nothing else
        given, wrong = (), tuple(error)
    assert bool(len(given)) != bool(wrong)
    assert all(p.problem and p.remedy and p.file for p in wrong)
    assert (tmp_path / "readings.csv").read_bytes() == data
