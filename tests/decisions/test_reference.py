"""When the reference may be off, and when one of the staff would explain it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from calibration import patterns as study
from strategies import as_session

import anthroqa
from anthroqa.decisions.reference import COLUMNS, reference_doubts
from anthroqa.notes import notes_of
from anthroqa.notes.decisions import Place, WithoutOne
from anthroqa.scores.agreement.two_views import both_views

OFF = (1, -1, 0, 1, 0, -1, 2, -2)
LIMIT = {"limit_bias": "5 mm", "limit_source": "manual"}


def session(away: dict[str, int], *, subjects: int = 8, **settings: str) -> anthroqa.Session:
    layout = {
        p: [[900 + 10 * s + more + OFF[(s + i) % 8], 900 + 10 * s + more + OFF[(s * 3 + i) % 8]]
            for s in range(subjects)]
        for i, (p, more) in enumerate(away.items())
    }  # fmt: skip
    return as_session(layout, reference="LEAD", **settings)


def doubt(away: dict[str, int], *, settings=LIMIT, **more):
    one = session(away, **settings, **more)
    table = reference_doubts(anthroqa.score(one), one)
    assert list(table.columns) == COLUMNS
    assert len(table) == 1
    return table.iloc[0]


STAFF = dict.fromkeys("ABCD", 0)


@pytest.mark.parametrize(("away", "state"), [
    ({"LEAD": 12, **STAFF}, "the reference may be off"),
    ({"LEAD": -12, **STAFF}, "the reference may be off"),
    ({"LEAD": 0, **STAFF}, "no sign of it"),
    ({"LEAD": 5, **STAFF}, "not settled"),
    ({"LEAD": 0, **STAFF, "D": 60}, "not settled"),
    ({"LEAD": 0, **STAFF, "D": -60}, "not settled"),
    ({"LEAD": 12, **STAFF, "D": 60}, "not settled"),
    ({"LEAD": 20, **STAFF, "D": 60}, "not settled"),
    ({"LEAD": 20, **STAFF, "D": -60}, "the reference may be off"),
])  # fmt: skip
def test_states(away, state):
    assert doubt(away)["state"] == state


def test_the_figure_is_the_references_bias_from_others_and_the_second_look_leaves_one_out():
    away = {"LEAD": 0, **STAFF, "D": 60}
    row, one = doubt(away), session(away)
    scores = anthroqa.score(one).set_index(["measurer", "statistic"])
    figure = scores.loc["LEAD", "bias_from_others"]
    assert row["estimate"] == figure["estimate"] == pytest.approx(-15, abs=1)
    assert (row["lower"], row["upper"]) == (figure["lower"], figure["upper"])
    assert row["upper"] < -row["limit"] == -5  # D alone makes it look off
    without = replace(one, readings=one.readings[one.readings["measurer"] != "D"])
    left = anthroqa.score(without).set_index(["measurer", "statistic"])
    assert row["without_one"] == "D"
    assert (row["other_lower"], row["other_upper"]) == tuple(
        left.loc["LEAD", "bias_from_others"][["lower", "upper"]]
    )
    assert row["note"] == "without D the interval lies within the limit"
    assert row["note"].notes == notes_of(WithoutOne(measurer="D", place=Place.WITHIN))


def test_two_other_staff_settle_nothing_and_the_note_says_what_would():
    row = doubt({"LEAD": 12, "A": 0, "B": 0})
    assert (row["state"], row["without_one"]) == ("not settled", "")
    assert np.isnan(row["other_lower"])
    assert "a third would tell" in row["note"]
    assert doubt({"LEAD": 0, "A": 0, "B": 0})["state"] == "no sign of it"


@pytest.mark.parametrize(("away", "more", "note"), [
    ({"LEAD": 12, **STAFF}, {"settings": {}}, "no limit is set"),
    ({"LEAD": 12, **STAFF}, {"subjects": 5}, "5 common subjects, and 6 are the least"),
    ({"LEAD": 12, "A": 0}, {}, "needs two other staff on the same subjects"),
])  # fmt: skip
def test_not_judged_with_the_reason(away, more, note):
    row = doubt(away, **more)
    assert row["state"] == "not judged"
    assert row["note"].startswith(note)
    assert row["reference"] == "LEAD"


def test_a_measure_that_the_reference_did_not_read_is_not_judged():
    led = session({"LEAD": 12, **STAFF}, **LIMIT)
    readings = led.readings
    mine = readings["measurer"] == "LEAD"
    head = replace(led.measures["length"], name="head")
    both = pd.concat([readings, readings[~mine].assign(measure="head")])
    other = replace(led, measures={**led.measures, "head": head}, readings=both)
    table = reference_doubts(anthroqa.score(other), other).set_index("measure")
    assert table["state"].tolist() == ["the reference may be off", "not judged"]
    assert table.loc["head", "note"] == "no readings of the reference in this measure"


def test_equal_differences_are_not_settled():
    layout = {p: [[900 + 10 * s + (p == "LEAD")] for s in range(8)] for p in ("LEAD", *"ABC")}
    one = as_session(layout, reference="LEAD", **LIMIT)
    row = reference_doubts(anthroqa.score(one), one).iloc[0]
    assert row["state"] == "not settled"
    assert row["note"] == "every difference is equal: no interval"


def test_readings_that_name_no_instrument_are_passed_over():
    one = session({"LEAD": 12, **STAFF}, **LIMIT)
    board = np.where(one.readings["subject"] == one.readings["subject"].iloc[0], "", "MAIN")
    one = replace(one, readings=one.readings.assign(instrument=board))
    assert reference_doubts(anthroqa.score(one), one)["note"].iloc[0] == ""


@pytest.mark.parametrize(("unlike", "who"), [(set("ABCD"), "the staff"), ({"B", "A"}, "A, B")])
def test_other_instruments_are_said(unlike, who):
    one = session({"LEAD": 12, **STAFF}, **LIMIT)
    board = one.readings["measurer"].map(lambda p: "OTHER" if p in unlike else "MAIN")
    one = replace(one, readings=one.readings.assign(instrument=board))
    row = reference_doubts(anthroqa.score(one), one).iloc[0]
    assert row["state"] == "the reference may be off"
    assert row["note"] == (
        f"{who} measured on other instruments: these may differ rather than the people"
    )


def test_no_reference_no_rows_and_missing_statistics_are_refused():
    one = as_session({p: [[1], [2]] for p in "ABC"})
    table = reference_doubts(anthroqa.score(one), one)
    assert (list(table.columns), len(table)) == (COLUMNS, 0)
    alone = as_session({"LEAD": [[1], [2]]}, reference="LEAD", **LIMIT)
    assert reference_doubts(anthroqa.score(alone), alone)["state"].tolist() == ["not judged"]
    led = session({"LEAD": 12, **STAFF})
    with pytest.raises(ValueError, match=r"scores lack bias_from_others; call score\(\) without"):
        reference_doubts(anthroqa.score(led, only=["bias"]), led)


@pytest.fixture(scope="module")
def drawn() -> pd.DataFrame:
    """Shares of 80 sessions of four staff, twelve subjects read twice, limit 1 TEM."""
    return study.reference(80, 20261127).set_index("case")


def test_a_reference_that_is_off_is_doubted_and_one_of_the_staff_raises_no_doubt(drawn):
    assert drawn.loc["reference 2 TEM off", "doubted"] > 0.9
    assert drawn.loc["staff differ by 0.5 TEM, reference 2 TEM off", "doubted"] > 0.75
    one = drawn.loc["one of the staff 8 TEM off"]
    assert one["first"] > 0.9  # all staff together would blame the reference
    band = 4 * np.sqrt(0.05 * 0.95 / 80)
    for case in ("nobody is off", "reference on the limit", "one of the staff 4 TEM off",
                 "one of the staff 8 TEM off", "staff differ by 0.5 TEM"):  # fmt: skip
        assert drawn.loc[case, "doubted"] <= 0.05 + band


def test_where_the_reference_is_off_all_staff_look_biased_and_the_others_see_nothing():
    kind = study.KINDS["height, 0.1 cm"]
    one = study.sessions(kind, 40, np.random.default_rng(6), staff=5, biases={0: 2 * kind.tem})
    views = both_views(anthroqa.score(one, only=["bias", "bias_from_others", "within_tem"]))
    assert (views["bias_upper"] < 0).mean() > 0.95
    assert (views["agree"] == "reference only").mean() > 0.8
