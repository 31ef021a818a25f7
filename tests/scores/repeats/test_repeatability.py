"""Within TEM, its percentage and reliability."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import as_frame, as_session, figures_of

import anthroqa

READINGS = st.lists(
    st.lists(st.integers(0, 30), min_size=2, max_size=4), min_size=1, max_size=6
)  # fmt: skip


def tem(subjects, **session) -> float:
    return figures_of({"A": subjects}, only=["within_tem"], **session).loc["A", "within_tem"][
        "estimate"
    ]


def moved(subjects, by):
    return [[x + b for x in rounds] for rounds, b in zip(subjects, by, strict=True)]


def test_within_tem_of_pairs_is_the_root_of_squared_differences_over_twice_their_number():
    row = figures_of({"A": [[100, 103], [110, 106], [90, 90]]}).loc["A", "within_tem"]
    assert row["estimate"] == pytest.approx(((9 + 16) / 6) ** 0.5)
    assert (row["subjects"], row["readings"], row["df"], row["unit"]) == (3, 6, 3, "mm")
    assert row["note"] == ""


def test_within_tem_of_unequal_repeats_is_pooled_by_df():
    # squares 2 on 1 df and 6 on 2 df (3, 3, 6 about 4); the single reading adds nothing
    row = figures_of({"A": [[1, 3], [3, 3, 6], [50]]}).loc["A", "within_tem"]
    assert row["estimate"] == pytest.approx((8 / 3) ** 0.5)
    assert (row["subjects"], row["readings"], row["df"]) == (2, 5, 3)


@settings(max_examples=60)
@given(READINGS, st.data())
def test_within_tem_ignores_a_constant_added_to_a_subject(subjects, data):
    n = len(subjects)
    by = data.draw(st.lists(st.integers(0, 900), min_size=n, max_size=n))
    assert tem(moved(subjects, by)) == tem(subjects)


@settings(max_examples=40)
@given(READINGS)
def test_within_tem_scales_with_the_step(subjects):
    in_cm = tem([[f"{x / 10:.1f}" for x in rounds] for rounds in subjects], recorded_to="0.1 cm")
    assert in_cm == pytest.approx(tem(subjects) / 10, rel=1e-14)


@settings(max_examples=40)
@given(READINGS, st.randoms(use_true_random=False))
def test_within_tem_does_not_care_about_the_order_of_rows_subjects_or_rounds(subjects, random):
    turned = [random.sample(rounds, len(rounds)) for rounds in subjects]
    frame = as_frame({"A": random.sample(turned, len(turned))})
    frame = frame.sample(frac=1, random_state=random.randint(0, 99))
    found = figures_of(frame, only=["within_tem"]).loc["A", "within_tem"]["estimate"]
    assert found == tem(subjects)


@settings(max_examples=60)
@given(READINGS)
def test_within_tem_is_zero_only_when_repeats_agree(subjects):
    assert (tem(subjects) == 0) == all(len(set(rounds)) == 1 for rounds in subjects)


def test_one_slip_of_a_step_among_equal_repeats_is_not_zero():
    assert tem([[5, 5]] * 40 + [[5, 6]]) == pytest.approx((1 / 82) ** 0.5)


def test_equal_repeats_have_no_interval_and_say_why():
    row = figures_of({"A": [[5, 5], [9, 9]]}).loc["A", "within_tem"]
    assert row["estimate"] == 0
    assert np.isnan(row["lower"])
    assert np.isnan(row["upper"])
    assert row["note"] == "every repeat is equal: the step hides the repeat error; no interval"


def test_repeat_error_under_a_step_says_so_and_keeps_its_figures():
    row = figures_of({"A": [[5, 6], [9, 9]]}).loc["A", "within_tem"]
    assert row["note"] == "under one step: rounding hides part of the repeat error"
    assert row["lower"] < row["estimate"] < row["upper"]


def test_repeat_error_of_one_step_is_not_under_a_step():
    assert figures_of({"A": [[5, 7], [9, 9]]}).loc["A", "within_tem"]["note"] == ""


def test_no_repeats_leave_every_figure_blank_with_the_reason():
    table = figures_of({"A": [[5], [9]]}, only=["within_tem", "within_tem_percent", "reliability"])
    assert table["estimate"].isna().all()
    assert table["lower"].isna().all()
    assert (table["df"] == 0).all()
    assert (table["note"] == "no subject was read twice").all()


def test_a_retake_is_in_no_statistic():
    frame = as_frame({"A": [[100, 103], [110, 106]], "B": [[101, 102], [111, 112]]})
    again = frame.iloc[[0, 5]].assign(reading="180", retake="1")
    with_retakes = as_session(pd.concat([frame.assign(retake=""), again]), reference="B")
    assert len(with_retakes.readings) == 10
    assert anthroqa.score(with_retakes).equals(anthroqa.score(as_session(frame, reference="B")))


def test_percent_is_of_the_readings_that_were_used():
    table = figures_of({"A": [[100, 102], [200, 204], [900]]})
    row, plain = table.loc["A", "within_tem_percent"], table.loc["A", "within_tem"]
    assert row["estimate"] == pytest.approx(100 * 5**0.5 / 151.5)
    for end in ("lower", "upper"):
        assert row[end] / row["estimate"] == pytest.approx(plain[end] / plain["estimate"])
    assert row["unit"] == "%"


def test_reliability_is_one_less_the_share_of_squares():
    # within 1 and 1 on 2 df: 1; all four readings about 102.5: 6.25 + 2.25 + 0.25 + 12.25 over 3
    row = figures_of({"A": [[100, 101], [103, 106]]}).loc["A", "reliability"]
    assert row["estimate"] == pytest.approx(1 - 2.5 / (21 / 3))
    assert row["unit"] == "share"
    assert np.isnan(row["lower"])


def test_reliability_of_equal_readings_is_blank_and_of_equal_repeats_is_one():
    flat = figures_of({"A": [[7, 7], [7, 7]]}).loc["A", "reliability"]
    assert np.isnan(flat["estimate"])
    assert flat["note"] == "all readings are equal"
    assert figures_of({"A": [[7, 7], [8, 8]]}).loc["A", "reliability"]["estimate"] == 1
