"""Known loads are read exactly, and every fault of `known_loads.csv` is told at once."""

import hashlib

import numpy as np
import pytest
from folders import HEADER, TOML, noticed, only_problem, place, problems_of, write_session
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import anthroqa
from anthroqa import SessionError, read_session
from anthroqa.notes.intake.beside import KnownLoads

NAMES = "instrument,measure,check,load,reading,position,taken_at"
ROWS = ["A,C1,weight,1,11 lb 10 oz,BABY", "A,C1,length,1,24 3/8,BOARD", "A,C1,mass,1,7.3,S"]
FULL = [
    "S,mass,zero,,0,,2026-10-06T08:00", "S,mass,load,5 kg,5.0,,", "S,mass,load,10 kg,10.1,,",
    "S,mass,load,20 kg,20.1,,", "S,mass,repeat,10 kg,10.1,,", "S,mass,repeat,10 kg,10.0,,",
]  # fmt: skip


def with_known_loads(tmp_path, loads, *, rows=ROWS, toml=TOML, header=NAMES, **session):
    folder = write_session(tmp_path, rows, header=HEADER + ",instrument", toml=toml, **session)
    (folder / "known_loads.csv").write_text("\n".join([header, *loads, ""]), encoding="utf-8")
    return folder


def told(tmp_path, row, **session):
    """The one problem of a file of known loads whose third row is wrong."""
    return only_problem(with_known_loads(tmp_path, [FULL[1], row], **session))


def test_readings_are_kept_as_written_and_in_steps(tmp_path):
    folder = with_known_loads(tmp_path, FULL)
    session = read_session(folder)
    loads = session.known_loads
    assert list(loads.columns) == [
        *NAMES.split(","), "load_steps", "reading_steps", "division_steps", "uncertainty_steps",
    ]  # fmt: skip
    assert loads["check"].tolist() == ["zero", "load", "load", "load", "repeat", "repeat"]
    assert loads["load"].tolist() == ["", "5 kg", "10 kg", "20 kg", "10 kg", "10 kg"]
    assert loads["load_steps"].tolist() == [0, 50, 100, 200, 100, 100]
    assert loads["reading_steps"].tolist() == [0, 50, 101, 201, 101, 100]
    assert loads["division_steps"].tolist() == [1] * 6
    assert loads["uncertainty_steps"].isna().all()
    assert loads["taken_at"].tolist() == ["2026-10-06T08:00", *[""] * 5]
    assert session.notices == ()
    data = (folder / "known_loads.csv").read_bytes()
    assert session.files["known_loads.csv"] == hashlib.sha256(data).hexdigest()


def test_without_the_file_the_table_is_empty_and_has_its_columns(tmp_path):
    session = read_session(write_session(tmp_path, ["A,C1,mass,1,7.3"]))
    assert session.known_loads.empty
    assert "load_steps" in session.known_loads
    assert session.known_loads["load_steps"].dtype == float
    assert session.instruments == {}


def test_times_and_positions_may_be_left_out_as_columns(tmp_path):
    rows = [",".join(row.split(",")[:5]) for row in FULL]
    loads = read_session(
        with_known_loads(tmp_path, rows, header=",".join(NAMES.split(",")[:5]))
    ).known_loads
    assert loads["position"].tolist() == loads["taken_at"].tolist() == [""] * 6


@pytest.mark.parametrize(
    ("written", "check"),
    [
        ("Zero", "zero"), ("no load", "zero"), ("EMPTY", "zero"), ("loads", "load"),
        ("test mass", "load"), ("Test-Masses", "load"), ("weights", "load"), ("repeats", "repeat"),
        ("repeatability", "repeat"), ("off-centre", "off_centre"), ("Off center", "off_centre"),
        ("off_centre", "off_centre"), ("corners", "off_centre"), ("eccentricity", "off_centre"),
    ],
)  # fmt: skip
def test_a_check_may_be_written_in_plain_ways(tmp_path, written, check):
    load = "" if check == "zero" else "5 kg"
    row = f"S,mass,{written},{load},5.0,front,"
    assert read_session(with_known_loads(tmp_path, [row])).known_loads["check"].tolist() == [check]


@pytest.mark.parametrize("written", ["rod", "Rods", "length rod", "metre-rod"])
def test_a_rod_may_be_written_in_plain_ways(tmp_path, written):
    loads = read_session(
        with_known_loads(tmp_path, [f"BOARD,length,{written},60 cm,23 5/8,,"])
    ).known_loads
    assert loads["check"].tolist() == ["rod"]
    assert loads["load_steps"].item() == pytest.approx(60 / 2.54 * 8, rel=1e-15)


def test_a_load_in_the_other_system_is_exact_and_a_division_may_be_finer_or_coarser(tmp_path):
    toml = TOML + '[instrument.S]\ndivision = "50 g"\nuncertainty = "5 g"\n'
    loads = read_session(
        with_known_loads(tmp_path, ["S,mass,load,10 lb,4.55,,"], toml=toml)
    ).known_loads
    assert loads["load_steps"].item() == 45.359237
    assert loads["reading_steps"].item() == 45.5
    assert loads["division_steps"].item() == 0.5
    assert loads["uncertainty_steps"].item() == 0.05


def test_a_display_may_stand_below_zero(tmp_path):
    rows = ["S,mass,zero,0,-0.1,,", "S,mass,zero,NA,\u22120.2 kg,,"]
    assert read_session(with_known_loads(tmp_path, rows)).known_loads["reading_steps"].tolist() == [
        -1,
        -2,
    ]


@pytest.mark.parametrize(
    ("row", "column", "found", "problem", "remedy"),
    [
        ("S2,mass,load,5 kg,5.0,,", "instrument", "S2", "no reading was taken on this instrument",
         "Did you mean 'S'? Mend the code, or describe it in session.toml as [instrument.S2]"),
        (",mass,load,5 kg,5.0,,", "instrument", "", "code is missing", "on its label"),
        ("S,mas,load,5 kg,5.0,,", "measure", "mas", "not described", "Did you mean 'mass'?"),
        ("S,mass,lode,5 kg,5.0,,", "check", "lode", "this check is not known",
         "Did you mean 'load'? Write one of zero, load, repeat, off_centre, rod."),
        ("S,mass,,5 kg,5.0,,", "check", "", "the check is missing", "Write one of zero"),
        ("S,mass,rod,5 kg,5.0,,", "check", "rod", "does not go with a weight", "Write load"),
        ("BOARD,length,load,20 in,20,,", "check", "load", "does not go with a length", "Write rod"),
        ("S,mass,load,5 cm,5.0,,", "load", "5 cm", "cm is the wrong kind of unit", "unit kg"),
        ("S,mass,load,five,5.0,,", "load", "five", "a word and not a load", ""),
        ("S,mass,load,,5.0,,", "load", "", "the load is missing", "Write the mass"),
        ("S,mass,load,0 kg,5.0,,", "load", "0 kg", "this load is zero", "Write zero"),
        ("S,mass,zero,5 kg,5.0,,", "load", "5 kg", "a check of zero has no load", "Empty the cell"),
        ("S,mass,load,5 kg,5.05,,", "reading", "5.05", "not on a mark of this instrument, which has"
         " one every 0.1 kg", "The marks nearby are 5.0 kg and 5.1 kg"),
        ("S,mass,load,5 kg,,,", "reading", "", "the reading is missing", "delete the row"),
        ("S,mass,load,5 kg,5 in,,", "reading", "5 in", "wrong kind of unit", "kg"),
        ("S,mass,off-centre,5 kg,5.0,,", "position", "", "needs its position", "in front"),
        ("S,mass,load,5 kg,5.0,,noon", "taken_at", "noon", "not in ISO form", "2026-10-06T09:30"),
        ("BABY,weight,load,10 lb,10.5 lb,,", "reading", "10.5 lb", "read in two ways", "11 lb 10"),
    ],
)  # fmt: skip
def test_a_row_that_is_wrong_is_told_with_its_place_and_remedy(
    tmp_path, row, column, found, problem, remedy
):
    wrong = told(tmp_path, row)
    assert place(wrong) == ("known_loads.csv", 3, column, found)
    assert problem in wrong["problem"]
    assert remedy in wrong["remedy"]


def test_a_coarser_division_of_the_instrument_is_the_one_that_counts(tmp_path):
    coarse = TOML + '[instrument.S]\ndivision = "0.2 kg"\n'
    wrong = only_problem(with_known_loads(tmp_path, ["S,mass,load,10 kg,10.1,,"], toml=coarse))
    assert "one every 0.2 kg" in wrong["problem"]
    assert "10.0 kg and 10.2 kg" in wrong["remedy"]
    assert "division in session.toml" in wrong["remedy"]


def test_a_division_of_another_kind_is_told_once_for_the_instrument(tmp_path):
    toml = TOML + '[instrument.S]\ndivision = "1/8 in"\n'
    wrong = only_problem(with_known_loads(tmp_path, FULL, toml=toml))
    assert place(wrong) == ("known_loads.csv", 2, "instrument", "S")
    assert "division is in in, and this measure is recorded to 0.1 kg" in wrong["problem"]


def test_an_unknown_instrument_is_told_once_and_everything_is_told_together(tmp_path):
    rows = ["X9,mass,load,5 kg,5.0,,", "X9,mass,load,6 kg,6.05,,", "S,mass,lode,five,x,,then"]
    found = problems_of(with_known_loads(tmp_path, rows))
    places = [(p["row"], p["column"]) for p in found]
    assert places == [(2, "instrument"), (3, "reading"), (4, "check"), (4, "taken_at"),
                      (4, "load"), (4, "reading")]  # fmt: skip


def test_a_column_given_twice_or_not_at_all_is_told_and_so_is_what_readings_lack(tmp_path):
    found = problems_of(with_known_loads(tmp_path, FULL, header=NAMES.replace("position", "load")))
    assert place(found[0])[:3] == ("known_loads.csv", 1, "load")
    assert "there twice" in found[0]["problem"]
    (tmp_path / "b").mkdir()
    header = NAMES.replace("reading", "shown")
    told = only_problem(with_known_loads(tmp_path / "b", FULL, header=header))
    assert "column is missing" in told["problem"]


def test_problems_of_readings_and_known_loads_are_raised_together(tmp_path):
    rows = [*ROWS, "A,C2,mass,1,7.35,S"]
    found = problems_of(with_known_loads(tmp_path, ["S,mass,load,5 kg,5.05,,"], rows=rows))
    assert [p["file"] for p in found] == ["readings.csv", "known_loads.csv"]


def test_rows_of_a_measure_that_is_badly_described_are_not_judged(tmp_path):
    toml = TOML.replace('recorded_to = "0.1 kg"', 'recorded_to = "0.1"')
    found = problems_of(with_known_loads(tmp_path, FULL, toml=toml))
    assert {p["file"] for p in found} == {"session.toml"}


def test_an_instrument_that_is_described_and_not_used_is_only_noticed(tmp_path):
    toml = TOML + "[instrument.S9]\n"
    rows = [*FULL, *[row.replace("S,", "S9,", 1) for row in FULL]]
    assert noticed(read_session(with_known_loads(tmp_path, rows, toml=toml))) == [
        ("known_loads.csv", "S9 was tested, and no reading of mass was taken on it"),
    ]


def test_one_load_and_no_repeat_are_noticed_with_what_would_help(tmp_path):
    session = read_session(with_known_loads(tmp_path, [FULL[0], FULL[1]]))
    texts = [text for _, text in noticed(session)]
    assert texts == [
        "S (mass): at most one load was tested: neither linearity nor the error at other loads "
        "can be had; two more loads that span the subjects would give them",
        "S (mass): no load was put on twice: nothing is known of its repeatability; the same "
        "load five times would tell",
    ]


def test_readings_that_name_no_instrument_are_noticed(tmp_path):
    rows = [row.rsplit(",", 1)[0] for row in ROWS]
    folder = write_session(tmp_path, rows)
    (folder / "known_loads.csv").write_text("\n".join([NAMES, *FULL]), encoding="utf-8")
    ((file, text),) = noticed(read_session(folder))
    assert file == "known_loads.csv"
    assert "no reading of the session names its instrument" in text
    assert "add the column instrument" in text


def test_instruments_that_were_used_and_not_tested_are_noticed(tmp_path):
    rows = [*ROWS, "A,C2,mass,1,7.4,S7"]
    assert noticed(read_session(with_known_loads(tmp_path, FULL, rows=rows))) == [
        ("known_loads.csv", "instruments that were used and not tested: S7 (mass)"),
    ]


def test_an_instrument_that_is_only_described_is_noticed(tmp_path):
    toml = TOML + "[instrument.s1]\n[instrument.xyz]\n"
    named = "which neither a reading nor a row here names"
    assert noticed(read_session(with_known_loads(tmp_path, FULL, toml=toml))) == [
        ("known_loads.csv", f"session.toml describes s1, {named}. Did you mean 'S'?"),
        ("known_loads.csv", f"session.toml describes xyz, {named}"),
    ]


def test_a_semicolon_file_may_write_decimal_commas(tmp_path):
    rows = [row.replace(",", ";").replace("10.1", "10,1") for row in FULL]
    folder = with_known_loads(tmp_path, rows, header=NAMES.replace(",", ";"))
    assert read_session(folder).known_loads["reading_steps"].tolist() == [0, 50, 101, 201, 101, 100]


def test_the_session_keeps_its_order_of_rows_and_its_types(tmp_path):
    loads = read_session(with_known_loads(tmp_path, FULL[::-1])).known_loads
    assert loads["load_steps"].tolist() == [100, 100, 200, 100, 50, 0]
    assert loads.dtypes["reading_steps"] == np.dtype(float)


def test_a_file_with_nothing_but_its_columns_is_noticed(tmp_path):
    session = read_session(with_known_loads(tmp_path, []))
    assert ("known_loads.csv", KnownLoads.NO_ROW) in session.notices
    assert str(KnownLoads.NO_ROW) == "there is no reading in it"


_CELLS = [
    "", "NA", "S", "BABY", "BOARD", "s", "mass", "weight", "length", "zero", "load", "repeat",
    "off centre", "rods", "0", "-0.1", "5", "5.05", "10 kg", "24 3/8", "11 lb 10 oz", "1e3", "inf",
    "3/8/2026", "=A1", "front", "2026-10-06T08:00", "2026-10-06T08:00+02:00", "\u00bd", "9" * 90,
]  # fmt: skip


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(*[st.sampled_from(_CELLS)] * 7), min_size=1, max_size=6))
def test_whatever_stands_in_the_file_is_read_or_told(tmp_path_factory, rows):
    folder = with_known_loads(tmp_path_factory.mktemp("loads"), [",".join(row) for row in rows])
    session, told = None, []
    try:
        session = read_session(folder)
    except SessionError as error:
        told = list(error)
    assert all(p.problem and p.remedy and p.file == "known_loads.csv" for p in told)
    if session is not None:
        assert np.isfinite(session.known_loads[["load_steps", "reading_steps"]].to_numpy()).all()
        assert anthroqa.instrument_checks(session).empty == session.known_loads.empty


SOUND = st.sampled_from(["S,mass,zero,,{},,", "S,mass,load,10 kg,{},,", "S,mass,repeat,5 kg,{},,",
                         "S,mass,off_centre,10 kg,{},front,2026-10-06T08:00",
                         "S,mass,load,10 kg,{},,2026-10-06T12:00"])  # fmt: skip


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(SOUND, st.integers(-5, 200)), min_size=1, max_size=9))
def test_every_sound_row_is_kept_with_its_counts(tmp_path_factory, rows):
    loads = [row.format(f"{count / 10:.1f}") for row, count in rows]
    session = read_session(with_known_loads(tmp_path_factory.mktemp("loads"), loads))
    assert session.known_loads["reading_steps"].tolist() == [count for _, count in rows]
    table = anthroqa.instrument_checks(session)
    there = table.dropna(subset="lower")
    assert (there["lower"] <= there["estimate"]).all()
    assert (there["estimate"] <= there["upper"]).all()
    assert (table.loc[table["estimate"].isna(), "note"] != "").all()
