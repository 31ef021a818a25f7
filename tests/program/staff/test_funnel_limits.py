"""The funnel against a slow loop, and how often an honest person lies outside."""

import math

import numpy as np
import pytest
from programs import error_rows
from scipy import stats

from anthroqa.notes import notes_of
from anthroqa.notes.program.staff import RepeatErrors
from anthroqa.program.staff.funnel_limits import funnel, funnel_rows


def slow(rows, who):
    """Centre, upper limits and p-value of one person, reading by reading."""
    own = rows[rows["measurer"] == who]
    staff = rows[~rows["reference"]]
    centre = math.sqrt(sum(r.df * r.estimate**2 for r in staff.itertuples()) / staff["df"].sum())
    df = sum(r.df for r in own.itertuples())
    square = sum(r.df * r.estimate**2 for r in own.itertuples()) / df
    others = [r for r in staff.itertuples() if r.measurer != who]
    other_df = sum(r.df for r in others)
    other = sum(r.df * r.estimate**2 for r in others) / other_df
    ends = [centre * math.sqrt(stats.chi2.ppf(q, df) / df) for q in (0.025, 0.975, 0.001, 0.999)]
    return math.sqrt(square), df, centre, ends, stats.f.sf(square / other, df, other_df)


@pytest.mark.parametrize("seed", range(10))
def test_funnel_agrees_with_a_slow_loop_on_drawn_programs(seed):
    rows = error_rows(np.random.default_rng(seed), people=3 + seed)
    table = funnel(rows)
    assert table["measurer"].tolist() == ["LEAD", *sorted(set(rows["measurer"]) - {"LEAD"})]
    for row in table.itertuples():
        estimate, df, centre, ends, p = slow(rows, row.measurer)
        assert row.estimate == pytest.approx(estimate)
        assert row.df == df
        assert row.centre == pytest.approx(centre)
        assert [row.lower_95, row.upper_95, row.lower_998, row.upper_998] == pytest.approx(ends)
        assert row.p_value == pytest.approx(p, abs=1e-12)


def test_p_values_of_honest_staff_are_even():
    rng = np.random.default_rng(7)
    p = np.concatenate([funnel(error_rows(rng, people=12))["p_value"] for _ in range(60)])
    for share in (0.05, 0.5, 0.9):
        band = 4 * math.sqrt(share * (1 - share) / len(p))
        assert (p < share).mean() == pytest.approx(share, abs=band)


def test_a_smaller_error_is_no_complaint_and_a_hidden_one_is_not_judged():
    rows = error_rows(np.random.default_rng(8), missing=0)
    rows["estimate"] *= np.where(rows["measurer"] == "P0", 0.1, 1.0)
    table = funnel(rows).set_index("measurer")
    assert table.loc["P0", "p_value"] > 0.99
    assert table.loc["P0", "estimate"] < table.loc["P0", "lower_998"]
    hidden = funnel_rows(rows.assign(step=20.0))
    assert set(hidden["note"]) == {notes_of(RepeatErrors.HIDDEN)}
    assert hidden[["p_value", "lower_95", "upper_998"]].isna().all(axis=None)


def test_one_person_has_nobody_to_be_held_against():
    rows = error_rows(np.random.default_rng(9), people=1, reference=False, missing=0)
    (row,) = funnel_rows(rows).itertuples()
    assert row.note == notes_of(RepeatErrors.NO_OTHER_STAFF)
    assert np.isnan(row.p_value)
    assert funnel(rows.iloc[:0]).empty
