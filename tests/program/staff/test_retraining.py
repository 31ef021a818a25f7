"""What is held against what, and what is said; the risk of it is in the calibration."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from programs import drawn_counts, drawn_program, write_session
from scipy import stats

from anthroqa.notes import notes_of
from anthroqa.notes.program.staff import Drift, FewStaff, HeldAgainstOwn, RepeatErrors, Retraining
from anthroqa.program.staff.over_time import differences, history, repeat_errors
from anthroqa.program.staff.retraining import AS_LUCK, BETTER, COLUMNS, UNJUDGED, WORSE, retrained
from anthroqa.program.staff.reviewed import review_of
from anthroqa.program.staff.sessions import read_program

DAY = dt.date(2026, 5, 10)  # after the second of four sessions


def trained(program, *who, date=DAY, picked="Q2", measure="length"):
    return replace(program, retraining=pd.DataFrame({
        "measurer": who, "measure": measure, "date": date, "picked_in": picked, "note": "",
    }))  # fmt: skip


def judged(program):
    return review_of(program).retrained.set_index(["measurer", "what"])


@pytest.fixture(scope="module")
def quarters(tmp_path_factory):
    """A is cured after Q2, B stays bad, C is bad in Q2 alone, D becomes worse."""
    tem = [
        {"A": 9.0, "B": 6.0, "C": 3.0, "D": 3.0},
        {"A": 9.0, "B": 6.0, "C": 7.0, "D": 4.0},
        {"A": 3.0, "B": 6.0, "C": 3.0, "D": 12.0},
        {"A": 3.0, "B": 6.0, "C": 3.0, "D": 12.0},
    ]
    bias = [{"E": 12.0}, {"E": 12.0}, {}, {}]
    return drawn_program(tmp_path_factory.mktemp("p"), 8, tem=tem, bias=bias, staff=9)


def test_findings_of_planted_people(quarters):
    table = judged(trained(quarters, "A", "B", "C", "D", "E"))
    assert list(table.reset_index().columns) != []
    assert table.loc[("A", "repeat error"), "finding"] == BETTER
    assert table.loc[("B", "repeat error"), "finding"] == AS_LUCK
    assert table.loc[("C", "repeat error"), "finding"] == AS_LUCK
    assert table.loc[("D", "repeat error"), "finding"] == WORSE
    assert table.loc[("E", "difference"), "finding"] == BETTER
    assert set(table["unit"]) == {"mm"}


def test_a_repeat_error_is_held_against_the_session_that_did_not_lead_to_it(quarters):
    errors = repeat_errors(history(quarters)).set_index(["measurer", "session"])
    row = judged(trained(quarters, "C")).loc[("C", "repeat error")]
    assert row["picked"] == errors.loc[("C", "Q2"), "estimate"]
    assert row["before"] == errors.loc[("C", "Q1"), "estimate"]
    own = errors.loc["C"]
    late = own.loc[["Q3", "Q4"]]
    df = late["df"].sum()
    square = (late["df"] * late["estimate"] ** 2).sum() / df
    assert row["after"] == pytest.approx(np.sqrt(square))
    p = stats.f.cdf(square / own.loc["Q1", "estimate"] ** 2, df, own.loc["Q1", "df"])
    assert row["p_value"] == pytest.approx(p)
    assert row["note"] == notes_of(HeldAgainstOwn(sessions=("Q1",)))
    assert row["luck_lower"] < row["luck_alone"] < row["picked"]


def test_without_another_session_before_it_is_held_against_luck(quarters):
    first = trained(quarters, "A", date=dt.date(2026, 2, 1), picked="Q1")
    row = judged(first).loc[("A", "repeat error")]
    assert np.isnan(row["before"])
    assert row["picked"] > row["luck_alone"] > 0
    assert row["note"] == notes_of(Retraining.HELD_AGAINST_LUCK)
    assert row["finding"] in (BETTER, AS_LUCK)


def test_a_difference_is_less_what_the_others_moved_by(tmp_path):
    """The lead moves by 15 mm after the retraining: nobody's difference changed by that."""
    program = drawn_program(
        tmp_path, 2, tem=1.0, staff=9,
        bias=[{"B": 10.0}, {"B": 10.0}, {"LEAD": 15.0, "B": 10.0}, {"LEAD": 15.0, "B": 10.0}],
    )  # fmt: skip
    row = judged(trained(program, "B")).loc[("B", "difference")]
    assert row["finding"] == AS_LUCK
    assert row["after"] == pytest.approx(10, abs=2)
    assert row["luck_lower"] < 10 < row["luck_upper"]


def test_as_far_on_the_other_side_is_no_gain(tmp_path):
    program = drawn_program(
        tmp_path, 3, tem=1.0, staff=9, bias=[{"B": 8.0}, {"B": 8.0}, {"B": -14.0}, {"B": -14.0}]
    )
    row = judged(trained(program, "B")).loc[("B", "difference")]
    assert row["finding"] == WORSE
    assert Retraining.OVER_ZERO in row["note"]


def test_what_cannot_be_judged_says_why(quarters, tmp_path):
    late = judged(trained(quarters, "A", date=dt.date(2026, 12, 1), picked="Q4"))
    assert (late["finding"] == UNJUDGED).all()
    assert set(late["note"]) == {notes_of(Retraining.NO_SESSION_AFTER)}
    assert late["picked"].notna().all()
    hidden = judged(trained(drawn_program(tmp_path / "h", 4, tem=0.2), "A"))
    assert hidden.loc[("A", "repeat error"), "note"] == notes_of(RepeatErrors.HIDDEN)
    few = trained(
        drawn_program(tmp_path / "f", 5, staff=2, sessions=2), "A", date=dt.date(2026, 2, 1),
        picked="Q1",
    )  # fmt: skip
    table = judged(few)
    found = table.loc[("A", "repeat error"), "note"].first(FewStaff)
    assert found == FewStaff(staff=2, least=6)
    assert "2 staff: what luck gives needs 6" in str(found)
    assert Drift.TOO_FEW_SESSIONS in table.loc[("A", "difference"), "note"]
    lead = judged(trained(quarters, "LEAD"))
    assert lead.index.tolist() == [("LEAD", "repeat error")]


def test_nobody_retrained_is_an_empty_table(quarters):
    found = history(quarters)
    table = retrained(quarters, repeat_errors(found), differences(found))
    assert list(table.columns) == COLUMNS
    assert table.empty


def test_a_second_retraining_ends_the_first(tmp_path):
    rng = np.random.default_rng(6)
    for k in range(4):
        counts = drawn_counts(rng, tem={"A": 9.0 if k < 3 else 2.0}, staff=8)
        write_session(tmp_path / f"p/Q{k + 1}", counts, dt.date(2026, 1 + 3 * k, 15))
    tmp_path.joinpath("p/retraining.csv").write_text(
        "measurer,date,picked_in\nA,2026-05-01,Q2\nA,2026-08-01,Q3\n"
    )
    program = read_program(tmp_path / "p")
    found = history(program)
    table = retrained(program, repeat_errors(found), differences(found))
    first, second = table[table["what"] == "repeat error"].itertuples()
    errors = repeat_errors(found).set_index(["measurer", "session"])["estimate"]
    assert first.after == pytest.approx(errors["A", "Q3"])
    assert np.isnan(second.before)  # Q1 and Q2 were before the first
    assert second.finding == BETTER
