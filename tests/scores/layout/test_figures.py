"""Intervals and pooling that several statistics share."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from anthroqa.notes import NONE, notes_of
from anthroqa.notes.scores.figures import Agreement, Repeats
from anthroqa.scores.layout.figures import (
    Figures,
    join,
    notes,
    paired_mean,
    pooled_squares,
    ratio,
    root_chi2_interval,
)

NAN = float("nan")


@given(st.floats(0.01, 100), st.integers(1, 400), st.floats(0.5, 0.99))
def test_the_interval_of_a_standard_deviation_is_chi_squared_on_its_df(sd, df, confidence):
    lower, upper = root_chi2_interval(np.array([sd]), np.array([float(df)]), confidence)
    tail = (1 - confidence) / 2
    assert lower[0] == pytest.approx(sd * (df / stats.chi2.ppf(1 - tail, df)) ** 0.5, rel=1e-9)
    assert upper[0] == pytest.approx(sd * (df / stats.chi2.ppf(tail, df)) ** 0.5, rel=1e-9)


def test_there_is_no_interval_without_df_or_about_zero():
    lower, upper = root_chi2_interval(np.array([NAN, 0.0]), np.array([0.0, 4.0]), 0.9)
    assert np.isnan(lower).all()
    assert np.isnan(upper).all()


def test_a_paired_mean_is_that_of_the_t_test():
    rows = np.array([[1.0, 4.0, NAN, 2.0], [NAN, -3.0, -1.0, NAN]])
    found = paired_mean(rows, 0.9, 0.5)
    for i, row in enumerate(rows):
        d = row[~np.isnan(row)] * 0.5
        test = stats.ttest_1samp(d, 0)
        interval = test.confidence_interval(0.9)
        assert found.n[i] == len(d)
        assert found.mean[i] == pytest.approx(d.mean())
        assert found.variance[i] == pytest.approx(d.var(ddof=1))
        assert (found.lower[i], found.upper[i]) == pytest.approx((interval.low, interval.high))
        assert found.p_value[i] == pytest.approx(test.pvalue)


def test_a_paired_mean_of_one_of_none_and_of_equals_says_why_it_has_no_interval():
    third = 1 / 3
    rows = np.array([[5.0, NAN], [NAN, NAN], [2.0, 2.0], [4 - 11 * third, third]])
    found = paired_mean(rows, 0.9, 1.0)
    assert found.mean[[0, 2]].tolist() == [5, 2]
    assert np.isnan(found.mean[1])
    assert [str(note) for note in found.note] == [
        "one subject: no interval", "",
        "every difference is equal: no interval", "every difference is equal: no interval",
    ]  # fmt: skip
    assert [Agreement.ALL_EQUAL in note for note in found.note] == [False, False, True, True]
    assert np.isnan(found.lower).all()
    assert np.isnan(found.p_value).all()


def test_differences_of_a_hundredth_step_are_not_equal():
    found = paired_mean(np.array([[1.0, 1.01]]), 0.9, 1.0)
    assert found.variance[0] == pytest.approx(0.00005)
    assert found.note.tolist() == [NONE]


def test_a_ratio_over_nothing_is_blank():
    assert ratio(np.array([1, 2]), np.array([2, 0])).tolist() == pytest.approx(
        [0.5, NAN], nan_ok=True
    )


def test_squares_are_pooled_exactly():
    # 2 and 4 times their value: 3 / 2 + 5 / 2 + 6 / 4
    found = pooled_squares(np.array([[3, 5, 6, 0]]), np.array([[2, 2, 4, 0]]))
    assert found.tolist() == [5.5]
    # a sum that floats would lose: 2**53 + 1 + 1, over 2
    big = pooled_squares(np.array([[2**53, 1, 1]]), np.array([[2, 2, 2]]))
    assert big.tolist() == [2**52 + 1]


def test_the_first_reason_that_holds_is_the_note():
    found = notes(
        3,
        (np.array([True, False, False]), Repeats.ALL_EQUAL),
        (np.array([True, True, False]), Repeats.TARED),
    )
    assert found.tolist() == [notes_of(Repeats.ALL_EQUAL), notes_of(Repeats.TARED), NONE]


def test_notes_are_joined_with_a_semicolon_and_kept():
    one = notes(3, (np.array([True, False, False]), Agreement.ONE_SUBJECT))
    both = join(one, notes(3, (np.array([True, True, False]), Repeats.READINGS_ALL_EQUAL)))
    assert [str(note) for note in both] == [
        "one subject: no interval; all readings are equal", "all readings are equal", ""
    ]  # fmt: skip
    assert one.tolist() == [notes_of(Agreement.ONE_SUBJECT), NONE, NONE]


def test_what_a_figure_does_not_have_is_blank():
    figure = Figures(
        statistic="x", unit="mm", estimate=np.array([1.0, 2.0]), subjects=np.array([1, 1]),
        readings=np.array([1, 1]), note=notes(2),
    )  # fmt: skip
    for part in (figure.lower, figure.upper, figure.df, figure.p_value):
        assert np.isnan(part).all()
        assert len(part) == 2
    assert figure.rows.all()
