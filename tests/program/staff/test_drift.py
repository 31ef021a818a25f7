"""Drift against slow least squares on drawn programs, and its p-values where nobody moves."""

import math

import numpy as np
import pandas as pd
import pytest
from programs import (
    QUARTERS,
    difference_rows,
    drawn_counts,
    drawn_program,
    error_rows,
    write_session,
)
from scipy import special, stats

from anthroqa.notes import NONE, notes_of
from anthroqa.notes.program.staff import Drift, MeasuredOn, RepeatErrors, Used
from anthroqa.program.staff.drift import WEIGHT, drift_rows, drifts, ewma, smoothed
from anthroqa.program.staff.over_time import differences, history, repeat_errors
from anthroqa.program.staff.sessions import read_program

NOTHING = error_rows(np.random.default_rng(0)).iloc[:0]
ONE = notes_of(Drift.ONE_SESSION)
NO_DIFFERENCE = difference_rows(np.random.default_rng(0)).iloc[:0]


def coded_drifts(errors, differences):
    return drift_rows(errors, differences, confidence=0.90)


def slow_growth(rows, who):
    """Weighted least squares, person by person and session by session, on log variances."""
    people, sessions = sorted(set(rows["measurer"])), sorted(set(rows["session"]))
    days = {r.session: r.date.toordinal() for r in rows.itertuples()}
    x, y, w = [], [], []
    for r in rows.itertuples():
        d = r.df
        x.append(
            [float(r.measurer == p) for p in people] + [float(r.session == s) for s in sessions]
            + [days[r.session] * (r.measurer == who)]
        )  # fmt: skip
        y.append(math.log(r.estimate**2) - stats.loggamma.mean(d / 2) + math.log(d / 2))
        w.append(1 / stats.loggamma.var(d / 2))
    root = np.sqrt(w)[:, None]
    fit = np.linalg.lstsq(np.array(x) * root, np.array(y) * root[:, 0], rcond=None)[0]
    own = [days[s] for s in rows.loc[rows["measurer"] == who, "session"]]
    return math.exp(fit[-1] * (max(own) - min(own)) / 2)


@pytest.mark.parametrize("seed", range(6))
def test_growth_agrees_with_slow_least_squares(seed):
    rows = error_rows(np.random.default_rng(seed), reference=False)
    table = drifts(rows, NO_DIFFERENCE)
    for row in table[table["change"].notna()].itertuples():
        assert row.change == pytest.approx(slow_growth(rows, row.measurer), rel=1e-6)
        assert row.lower < row.change < row.upper
        assert row.sessions == (rows["measurer"] == row.measurer).sum()
        assert row.unit == "times"


@pytest.mark.parametrize("seed", range(6))
def test_movement_in_a_full_table_is_own_less_others_and_t(seed):
    """With one scatter for everybody it is the test of a slope in a two-way table."""
    rows = difference_rows(np.random.default_rng(seed), missing=0, drift=6.0)
    rows["spread"] = 2.5
    table = drifts(NOTHING, rows).set_index("measurer")
    y = rows.pivot_table(index="measurer", columns="date", values="estimate").to_numpy()
    t = np.array([d.toordinal() for d in QUARTERS], dtype=float)
    t = (t - t.mean()) / (t[-1] - t[0])
    own = y @ t / (t @ t)
    n = len(y)
    left = y - y.mean(axis=0) - (own - own.mean())[:, None] * t
    left -= left.mean(axis=1, keepdims=True)
    df = (n - 1) * 2
    variance = max((left**2).sum() / df, 0.5 * 2.5**2 / 10)
    for i in range(n):
        change = own[i] - np.delete(own, i).mean()
        error = math.sqrt(variance * n / (n - 1) / (t @ t))
        assert table["change"].iloc[i] == pytest.approx(change)
        # the scatter of subjects is known a little less than for good
        p = 2 * stats.t.sf(abs(change) / error, df)
        assert table["p_value"].iloc[i] == pytest.approx(p, rel=0.35, abs=1e-4)
        assert table["p_value"].iloc[i] >= p * (1 - 1e-9)
        half = (table["upper"] - table["lower"]).iloc[i] / 2
        assert half == pytest.approx(stats.t.ppf(0.95, df) * error, rel=0.02)


def test_what_moves_everybody_in_a_session_is_nobodys():
    rows = difference_rows(np.random.default_rng(1))
    adds = rows["session"].map({"Q1": 0.0, "Q2": 50.0, "Q3": -50.0, "Q4": 150.0})
    moved = rows.assign(estimate=rows["estimate"] + adds)
    pd.testing.assert_frame_equal(drifts(NOTHING, rows), drifts(NOTHING, moved))


def test_differences_from_the_others_move_by_what_the_person_did():
    """What is seen from the others is n / (n - 1) of the own movement beside the mean of all."""
    rows = difference_rows(np.random.default_rng(2), missing=0, drift=6.0)
    mean = rows.groupby("session")["estimate"].transform("mean")
    other = rows.assign(statistic="bias_from_others", estimate=(rows["estimate"] - mean) * 9 / 8)
    one, two = drifts(NOTHING, rows), drifts(NOTHING, other)
    assert two["change"].to_numpy() == pytest.approx(one["change"].to_numpy())
    assert two["p_value"].to_numpy() == pytest.approx(one["p_value"].to_numpy())


@pytest.mark.parametrize("sessions", [2, 4])
def test_p_values_where_nobody_moves_are_not_too_small(sessions):
    rng = np.random.default_rng(3)
    tables = [
        drifts(error_rows(rng, sessions=sessions, missing=0.1),
               difference_rows(rng, sessions=sessions, missing=0.1))
        for _ in range(40)
    ]  # fmt: skip
    table = pd.concat(tables)
    for what in ("repeat error", "difference"):
        p = table.loc[table["what"] == what, "p_value"].dropna()
        for share in (0.01, 0.05, 0.2):
            # staff of one program share a variance: as if a third of them were independent
            band = 4 * math.sqrt(share * (1 - share) / (len(p) / 3))
            assert (p < share).mean() <= share + band
        assert (p < 0.2).mean() >= 0.08  # and not out of reach


def test_a_reference_that_drifts_is_found_and_nobody_else(tmp_path):
    program = drawn_program(tmp_path, 4, bias=[{"LEAD": 4.0 * k} for k in range(4)], tem=2.0)
    found = history(program)
    table = coded_drifts(repeat_errors(found), differences(found))
    (row,) = table[table["what"] == "reference"].itertuples()
    assert row.measurer == "LEAD"
    assert Drift.REFERENCE_OR_ALL in row.note
    assert row.lower < 12 < row.upper
    assert row.p_value < 0.001
    staff = table[table["what"] == "difference"]
    assert len(staff) == 7
    assert (staff["p_value"] > 0.001).all()
    assert table.loc[table["what"] == "repeat error", "measurer"].tolist()[0] == "LEAD"


def test_the_reference_is_not_followed_where_it_changes(tmp_path):
    rng = np.random.default_rng(5)
    for k in range(3):
        reference = "A" if k == 0 else "LEAD"
        write_session(tmp_path / f"p/Q{k}", drawn_counts(rng), QUARTERS[k], reference=reference)
    found = history(read_program(tmp_path / "p"))
    table = coded_drifts(repeat_errors(found), differences(found))
    assert "reference" not in set(table["what"])
    assert not table.duplicated(["measure", "measurer", "what"]).any()
    one = (table["measurer"] == "LEAD") & (table["what"] == "difference")  # of the staff only once
    assert table.loc[~one, "change"].notna().all()
    assert table.loc[one, "note"].tolist() == [ONE]


def test_two_sets_of_subjects_do_not_pass_the_error_of_the_reference_on():
    """What the lead errs on the subjects of one set is common to that set alone."""
    rng = np.random.default_rng(6)
    rows = difference_rows(rng, people=10, missing=0, between=0.3, scatter=1.0)
    rows["group"] = np.where(rows["measurer"].isin([f"P{i}" for i in range(5)]), "1", "2")
    sets = rows.groupby(["session", "group"])["estimate"]
    errs = sets.transform(lambda _: 20 * rng.standard_normal())
    apart = drifts(NOTHING, rows.assign(estimate=rows["estimate"] + errs))
    pd.testing.assert_frame_equal(apart, drifts(NOTHING, rows), rtol=1e-9)


def test_what_cannot_be_told_is_blank_with_a_reason():
    rng = np.random.default_rng(7)
    few = coded_drifts(NOTHING, difference_rows(rng, people=3, sessions=3, missing=0))
    assert few["p_value"].isna().all()
    assert few["change"].notna().all()
    assert all(Drift.TOO_FEW_SESSIONS in note for note in few["note"])
    rows = error_rows(rng, sessions=1, missing=0)
    assert set(coded_drifts(rows, NO_DIFFERENCE)["note"]) == {ONE}
    rows = difference_rows(rng, missing=0)
    late = rows[(rows["measurer"] != "P1") | (rows["session"] == "Q2")]
    row = coded_drifts(NOTHING, late).set_index("measurer").loc["P1"]
    assert np.isnan(row["change"])
    assert row["note"] == ONE
    alone = error_rows(rng, people=1, reference=False, missing=0)
    (row,) = coded_drifts(alone, NO_DIFFERENCE).itertuples()
    assert Drift.NOBODY_ELSE in row.note
    assert 0 <= row.p_value <= 1
    hidden = coded_drifts(error_rows(rng, step=20.0), NO_DIFFERENCE)
    assert set(hidden["note"]) == {notes_of(RepeatErrors.HIDDEN)}
    assert hidden["change"].isna().all()
    assert drifts(NOTHING, NO_DIFFERENCE).empty


def test_another_instrument_is_said():
    rows = difference_rows(np.random.default_rng(8), missing=0)
    on = np.where((rows["measurer"] == "P2") & (rows["session"] == "Q4"), "B", "A")
    notes = coded_drifts(NOTHING, rows.assign(instruments=on)).set_index("measurer")["note"]
    assert str(notes["P2"]) == "measured on A in Q1, A in Q2, A in Q3, B in Q4"
    assert notes["P2"].first(MeasuredOn).used[3] == Used(instruments=("B",), session="Q4")
    assert notes["P1"] == NONE


def test_sessions_with_equal_repeats_do_not_break_a_trend():
    rows = error_rows(np.random.default_rng(9), missing=0)
    rows.loc[(rows["measurer"] == "P1") & (rows["session"] == "Q2"), "estimate"] = 0.0
    table = drifts(rows, NO_DIFFERENCE)
    assert np.isfinite(table["change"]).all()


def test_ewma_by_hand_and_its_limits_by_drawing():
    mean, low, high = ewma(np.array([1.0, 3.0, 5.0]), np.ones(3), 0.95)
    by_hand, last = [], 3.0  # starts at the mean of all
    for value in (1.0, 3.0, 5.0):
        last = (1 - WEIGHT) * last + WEIGHT * value
        by_hand.append(last)
    assert mean == pytest.approx(by_hand)
    rng, n = np.random.default_rng(10), 20_000
    variance = np.array([1.0, 2.0, 0.5, 1.0])
    inside = np.zeros(4)
    for y in np.sqrt(variance) * rng.standard_normal((n, 4)):
        mean, low, high = ewma(y, variance, 0.9)
        inside += (low <= mean) & (mean <= high)
    assert inside / n == pytest.approx(0.9, abs=4 * math.sqrt(0.09 / n))


def test_smoothed_has_every_session_of_everybody_once_and_in_their_unit():
    rng = np.random.default_rng(11)
    errors, moved = error_rows(rng), difference_rows(rng)
    table = smoothed(errors, moved)
    assert len(table) == len(errors) + len(moved)
    assert set(table["what"]) == {"repeat error", "difference"}
    spread = table[table["what"] == "repeat error"]
    assert (spread["smoothed"] > 0).all()
    several = table.groupby(["what", "measurer"])["value"].transform("size") > 1
    assert table.loc[several, "limit_low"].notna().all()
    assert table.loc[~several, "limit_low"].isna().all()
    ends = table.loc[several]
    assert (ends["limit_low"] < ends["limit_high"]).all()
    shuffled = smoothed(errors.sample(frac=1, random_state=1), moved)
    key = ["what", "measurer", "session"]
    pd.testing.assert_series_equal(
        table.set_index(key)["smoothed"].sort_index(),
        shuffled.set_index(key)["smoothed"].sort_index(),
    )


def test_logs_of_mean_squares_have_the_mean_that_is_taken_off():
    # digamma(1 / 2) = -gamma - 2 log 2 (Abramowitz & Stegun 6.3.3), so at 1 df -1.2704
    assert special.digamma(0.5) - np.log(0.5) == pytest.approx(-1.2704, abs=5e-5)
