"""Instruments against published tolerances, in three states."""

import numpy as np
import pytest
from strategies import as_session
from tested_instruments import with_known_loads

import anthroqa

COLUMNS = [
    "instrument", "measure", "check", "load", "statistic", "estimate", "lower", "upper", "unit",
    "tolerance", "tolerance_source", "state", "readings", "note",
]  # fmt: skip
III = {"S": {"accuracy_class": "III"}}


def judged(rows, *, recorded_to="0.1 kg", instruments=III, confidence=0.9, **more):
    session = as_session({"A": [["20"]]}, measure="m", recorded_to=recorded_to)
    session = with_known_loads(session, rows, instruments=instruments, **more)
    return anthroqa.instrument_checks(session, confidence=confidence)


def error(rows, **how):
    table = judged(rows, **how)
    return table[table["statistic"] == "error"].iloc[-1]


def test_columns_are_those_of_the_design_and_without_a_file_there_is_no_row():
    table = judged([("S", "load", 100, 100)])
    assert list(table.columns) == COLUMNS
    empty = anthroqa.instrument_checks(as_session({"A": [[1]]}))
    assert list(empty.columns) == COLUMNS
    assert empty.empty


@pytest.mark.parametrize(
    ("off", "state"),
    [
        (0, "within limit"), (1, "not settled"), (-1, "not settled"), (2, "over limit"),
        (-2, "over limit"),
    ],
)  # fmt: skip
def test_the_whole_interval_is_held_against_the_tolerance_on_either_side(off, state):
    # class III up to 500 divisions: 1 division in use; rounding alone is 0.475 of one either way
    row = error([("S", "load", 100, 100 + off)])
    assert row["state"] == state
    assert row["tolerance"] == pytest.approx(0.1)
    assert row["upper"] - row["estimate"] == pytest.approx(0.1 * 1.644854 / 12**0.5, abs=1e-6)


def test_the_tolerance_follows_the_load():
    rows = [("S", "zero", 0, 0), *[("S", "load", x, x) for x in (500, 501, 2000, 2001)]]
    table = judged(rows)
    errors = table[table["statistic"] == "error"]
    assert errors["tolerance"].tolist() == pytest.approx([0.1, 0.1, 0.2, 0.2, 0.3])


def test_the_tolerance_counts_the_divisions_of_the_instrument():
    instruments = {"S": {"accuracy_class": "III", "division": "50 g"}}
    row = error([("S", "load", 100, 100)], instruments=instruments, division=0.5)
    assert row["tolerance"] == pytest.approx(0.05)  # 10 kg are 200 divisions of 50 g
    row = error([("S", "load", 300, 300)], instruments=instruments, division=0.5)
    assert row["tolerance"] == pytest.approx(0.1)  # 30 kg are 600


@pytest.mark.parametrize(
    ("recorded_to", "source"),
    [("1/4 lb", "NIST Handbook 44"), ("1 oz", "NIST Handbook 44"), ("10 g", "OIML R 76-1:2006")],
)
def test_the_table_goes_by_the_unit_unless_session_toml_chooses(recorded_to, source):
    row = error([("S", "load", 100, 100)], recorded_to=recorded_to)
    assert row["tolerance_source"].startswith(source)
    assert "chosen by the unit of the division" in row["note"]
    chosen = {"S": {"accuracy_class": "III", "tolerance_table": "handbook 44"}}
    row = error([("S", "load", 100, 100)], recorded_to=recorded_to, instruments=chosen)
    assert row["tolerance_source"].startswith("NIST Handbook 44")
    assert "the table goes by" not in row["note"]


def test_a_scale_without_a_class_and_a_board_are_not_judged():
    row = error([("S", "load", 100, 130)], instruments={})
    assert (row["state"], row["tolerance_source"]) == ("not judged", "")
    assert "no accuracy_class in session.toml under [instrument.S]" in row["note"]
    assert np.isnan(row["tolerance"])
    board = judged([("S", "rod", 160, 170), ("S", "rod", 200, 200)], recorded_to="1/8 in")
    assert set(board["state"]) == {"not judged"}
    assert board["tolerance"].isna().all()
    assert "have no legal class" in board.loc[0, "note"]


def test_a_load_past_the_end_of_the_table_is_not_judged():
    row = error([("S", "load", 10_001, 10_001)])
    assert row["state"] == "not judged"
    assert row["note"].startswith("the load is past the end of the table")


def test_a_standard_over_a_third_of_the_tolerance_judges_nothing():
    for grams, state in ((33, "within limit"), (34, "not judged")):
        instruments = {"S": {"accuracy_class": "III", "uncertainty": f"{grams} g"}}
        row = error(
            [("S", "load", 100, 100)], instruments=instruments, uncertainty=grams / 100,
            confidence=0.8,
        )  # fmt: skip
        assert row["state"] == state
        assert ("too uncertain to judge by" in row["note"]) == (state == "not judged")
    zero = error([("S", "zero", 0, 0)], instruments=instruments, uncertainty=0.34)
    assert zero["state"] == "within limit"  # no mass was put on


def test_a_scale_that_is_over_is_for_those_who_are_licensed():
    row = error([("S", "load", 100, 105)])
    assert row["note"].endswith("a scale is adjusted by those who are licensed to")
    assert "licensed" not in error([("S", "load", 100, 100)])["note"]


def test_a_load_above_the_capacity_is_told():
    instruments = {"S": {"accuracy_class": "III", "capacity": "20 kg"}}
    rows = [("S", "load", 200, 200), ("S", "load", 210, 210)]
    table = judged(rows, instruments=instruments)
    notes = table.loc[table["statistic"] == "error", "note"].tolist()
    assert ["above the capacity" in note for note in notes] == [False, True]


def test_repeats_are_judged_by_their_range_and_the_rest_borrows_its_tolerance():
    rows = [("S", "load", x, x) for x in (50, 100, 200)]
    rows += [("S", "repeat", 100, 100 + d) for d in (0, 0, 3, 0, 0)]
    rows += [("S", "off_centre", 100, 100 + d, where) for d, where in ((0, "front"), (4, "back"))]
    rows += [("S", "zero", 0, d, "", f"2026-10-06T{h}:00") for d, h in ((0, "08"), (5, "13"))]
    table = judged(rows).set_index("statistic")
    assert table.loc["repeat_range", "state"] == "over limit"
    assert table.loc["repeat_sd", "state"] == "not judged"
    assert "the range of the repeats is judged" in table.loc["repeat_sd", "note"]
    assert table.loc["drift", "state"] == "over limit"
    for statistic in ("linearity", "off_centre_spread", "drift"):
        assert "no tolerance is published for it" in table.loc[statistic, "note"]
        assert table.loc[statistic, "tolerance"] == pytest.approx(0.1)
    assert "no tolerance is published" not in table.loc["error:back", "note"]
    assert table.loc["error:back", "tolerance"] == pytest.approx(0.1)


def test_what_cannot_be_had_is_not_judged_and_says_why():
    table = judged([("S", "load", 100, 130)]).set_index("statistic")
    assert table.loc["linearity", "state"] == "not judged"
    assert table.loc["linearity", "note"] == "linearity needs 3 loads; 1 was tested"
    assert np.isnan(table.loc["linearity", "estimate"])


@pytest.mark.parametrize("confidence", [0, 1, 90])
def test_a_confidence_that_is_none_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1"):
        judged([("S", "load", 100, 100)], confidence=confidence)


def test_a_higher_confidence_settles_less():
    states = [error([("S", "load", 100, 100)], confidence=c)["state"] for c in (0.9, 0.9999)]
    assert states == ["within limit", "not settled"]
