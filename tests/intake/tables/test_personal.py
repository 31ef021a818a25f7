"""A column that looks like a name or a birth date stops the run, and no value of it is shown."""

import pytest
from folders import HEADER, place, problems_of, write_session, write_workbook

from anthroqa import SessionError, read_session
from anthroqa.intake.tables.personal import looks_personal

REQUIRED = HEADER.split(",")
ROWS = ["A,C1,length,1,24 3/8", "A,C1,length,2,24 1/2"]
GRID = [REQUIRED, ["A", "C1", "length", 1, "24 3/8"], ["A", "C1", "length", 2, "24 1/2"]]

PERSONAL = [
    "name", "NAME", "child_name", "childName", "First Name", "surname", "DOB", "dob_child",
    "date_of_birth", "BirthDate", "birthday", "mother", "Mother's phone", "phone", "phone2",
    "email", "e-mail", "address", "guardian", "measurer_name",
]  # fmt: skip
SECRETS = ("Ottilie", "2025-01-31", "Rosenzweig")


@pytest.mark.parametrize("column", PERSONAL)
def test_a_personal_column_stops_the_run_and_none_of_its_values_is_shown(tmp_path, column):
    rows = [f"A,C{i},length,1,24.3,{secret}" for i, secret in enumerate(SECRETS)]
    folder = write_session(tmp_path, rows, header=f"{HEADER},{column}")
    with pytest.raises(SessionError) as caught:
        read_session(folder)
    table = caught.value.problems
    first = table.iloc[0]
    assert (first["file"], first["row"], first["column"]) == ("readings.csv", 1, column)
    assert "looks like personal data" in first["problem"]
    assert "Delete the column from the file: the audit needs codes only." in first["remedy"]
    assert len(table) == 1  # rows are not judged: a comma in a name could shift its cells
    shown = str(caught.value) + repr(caught.value) + table.to_csv() + str(list(caught.value))
    assert not [s for s in SECRETS if s in shown]


@pytest.mark.parametrize(
    "text",
    [
        "measurer,subject,child_name,measure,round\nA,C1,Ottilie,length,1\n",
        f'{HEADER},child_name\nA,C1,length,1,24,"Ottilie\n',
        f"{HEADER},child_name\nA,C1,length,1,24,Rosenzweig, Ottilie\n",
        "measurer,subject,child_name,measure,round,reading\nA,C1,Rosenzweig, Ottilie,length,1,24\n",
    ],
    ids=["a column missing", "quote never closed", "comma in the name", "comma shifts the row"],
)
def test_a_damaged_file_shows_no_personal_value_either(tmp_path, text):
    folder = write_session(tmp_path, text)
    with pytest.raises(SessionError) as caught:
        read_session(folder)
    shown = str(caught.value) + caught.value.problems.to_csv()
    assert "Ottilie" not in shown
    assert "Rosenzweig" not in shown


def test_a_formula_in_a_personal_column_is_not_shown(tmp_path):
    grid = [[*REQUIRED, "child_name"], [*GRID[1], '="Ottilie"&" R."'], [*GRID[2], "Ottilie"]]
    found = problems_of(write_workbook(tmp_path, grid))
    assert [place(p) for p in found] == [
        ("readings.xlsx", 1, "child_name", ""),
        ("readings.xlsx", 2, "F", ""),
    ]
    assert "Ottilie" not in str(found)


@pytest.mark.parametrize(
    "column",
    [
        "instrument_name",
        "scale name",
        "site_name",
        "ClinicName",
        "weather",
        "renamed",
        "birth_weight",
    ],
)
def test_the_name_of_a_thing_is_not_personal(tmp_path, column):
    assert not looks_personal(column)
    rows = [row + ",Old Scale" for row in ROWS]
    session = read_session(write_session(tmp_path, rows, header=f"{HEADER},{column}"))
    assert session.unused == (column,)


@pytest.mark.parametrize(
    "column", ["dateofbirth", "FechaNacimiento", "Geburtsdatum", "bday", "First", "caregiver"]
)
def test_names_and_birth_dates_are_known_in_other_spellings(column):
    assert looks_personal(column)
