"""Between and total TEM: groups, rounds, and who is left out."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layouts import drawn
from scipy import stats
from strategies import as_frame, figures_of

THREE = {"A": [[100], [120]], "B": [[103], [120]], "C": [[106], [123]]}
#  squares about 103: 9 + 0 + 9; about 121: 1 + 1 + 4


def between(readings, **session):
    return figures_of(readings, **session).loc["(all)", "between_tem"]


def in_groups(layouts: dict[str, dict]) -> pd.DataFrame:
    """Each group's own layout, its subjects named after it."""
    frames = [
        as_frame(people).assign(group=group, subject=lambda f, g=group: g + f["subject"])
        for group, people in layouts.items()
    ]
    return pd.concat(frames, ignore_index=True)


def test_between_tem_pools_squares_about_each_subjects_mean():
    row = between(THREE)
    assert row["estimate"] == pytest.approx((24 / 4) ** 0.5)
    assert (row["subjects"], row["readings"], row["df"]) == (2, 6, 4)
    assert row["lower"] < row["estimate"] < row["upper"]
    assert row["note"] == ""


def test_its_interval_is_that_of_the_components_and_not_of_chi_squared():
    # 5 people, 8 subjects, two rounds in which everything is read: the same sums of squares as
    # of sd_reproducibility, but for what a subject moves between rounds.
    x, person, subject, _ = drawn(np.random.default_rng(6), sd=(20, 4, 1, 2))
    people = {
        f"P{p}": [x[(person == p) & (subject == s)].tolist() for s in range(8)] for p in range(5)
    }
    table = figures_of(people).loc["(all)"]
    ours, of_components = table.loc["between_tem"], table.loc["sd_reproducibility"]
    for end in ("estimate", "lower", "upper"):
        assert ours[end] == pytest.approx(of_components[end], rel=0.02)
    lower, upper = ours["estimate"] * np.sqrt(64 / stats.chi2.ppf([0.95, 0.05], 64))
    assert ours["df"] == 64
    assert (ours["upper"] - ours["lower"]) > 2 * (upper - lower)


def test_between_tem_of_one_subject_has_no_interval():
    row = between({"A": [[100, 101]], "B": [[104, 103]]})
    assert row["estimate"] > 0
    assert np.isnan(row["lower"])
    assert row["note"].startswith("no interval: staff and subjects cannot be told apart")


def test_staff_who_do_not_differ_have_no_interval():
    row = between({"A": [[100], [120]], "B": [[100], [120]]})
    assert row["estimate"] == 0
    assert np.isnan(row["upper"])
    assert row["note"] == "no interval: the readings of the staff do not differ enough"


@settings(max_examples=25)
@given(st.lists(st.integers(0, 500), min_size=2, max_size=2))
def test_between_tem_ignores_where_a_subject_is(by):
    moved = {p: [[x[0] + b] for x, b in zip(s, by, strict=True)] for p, s in THREE.items()}
    assert between(moved)["estimate"] == pytest.approx(between(THREE)["estimate"])


def test_the_reference_is_left_out():
    row = between({"LEAD": [[500], [10]], **THREE}, reference="LEAD")
    assert row["estimate"] == pytest.approx(6**0.5)
    assert row["readings"] == 6


def test_rounds_are_pooled_and_never_averaged_first():
    # round 1: 100, 104 (squares 8); round 2: 104, 100 (squares 8); their means are equal
    row = between({"A": [[100, 104]], "B": [[104, 100]]})
    assert row["estimate"] == pytest.approx((16 / 2) ** 0.5)
    assert (row["subjects"], row["readings"], row["df"]) == (1, 4, 2)


def test_only_subjects_that_all_staff_of_a_round_measured_count():
    people = {"A": [[100], [120], [140]], "B": [[104], [120], [190]], "C": [[102], [120], [None]]}
    row = between(people)
    assert row["estimate"] == pytest.approx((8 / 4) ** 0.5)
    assert row["subjects"] == 2


def test_staff_with_under_half_of_the_subjects_are_left_out_and_named():
    people = {
        "A": [[100], [120], [140]],
        "B": [[104], [120], [142]],
        "C": [[900], [None], [None]],
    }
    row = between(people)
    assert row["estimate"] == pytest.approx((8 + 2) ** 0.5 / 3**0.5)
    assert "left out: C (under half of the group's subjects)" in row["note"]
    total = figures_of(people).loc["(all)", "total_tem"]
    assert "left out: C (under half of the group's subjects)" in total["note"]


def test_staff_with_half_of_the_subjects_stay():
    people = {"A": [[100], [120]], "B": [[104], [120]], "C": [[102], [None]]}
    row = between(people)
    assert row["estimate"] == pytest.approx((8 / 2) ** 0.5)
    assert "left out" not in row["note"]


def test_somebody_left_out_of_two_rounds_is_named_once():
    people = {p: [[100, 101]] * 3 for p in "AB"} | {"C": [[1, 1], [None, None], [None, None]]}
    assert between(people)["note"].count("left out: C") == 1


def test_half_of_the_subjects_is_counted_over_all_rounds():
    # C measured both subjects, one of them in each round
    people = {"A": [[100, 100], [120, 120]], "B": [[104, 102], [122, 124]],
              "C": [[102, None], [None, 122]]}  # fmt: skip
    row = between(people)
    assert "left out" not in row["note"]
    # round 1: the first subject only (100, 104, 102); round 2: the second (120, 124, 122)
    assert row["estimate"] == pytest.approx((16 / 4) ** 0.5)


def test_staff_in_only_some_rounds_count_in_those():
    people = {"A": [[100, 100]], "B": [[104, 102]], "LATE": [[None, 104]]}
    row = between(people)
    assert row["estimate"] == pytest.approx(((8 + 8) / 3) ** 0.5)  # 1 df, then 2
    assert "left out" not in row["note"]


def test_groups_that_run_into_one_another_ask_for_the_column_group():
    frame = in_groups({g: {g + "1": [[100]] * 3, g + "2": [[104]] * 3} for g in "abc"})
    floaters = frame[(frame["measurer"] == "a1")].iloc[[0, 0]].copy()
    floaters["subject"] = ["bS1", "cS1"]
    row = between(pd.concat([frame, floaters]).drop(columns="group"))
    assert np.isnan(row["estimate"])
    assert row["note"].startswith("no subject was measured by all staff of its group")
    assert "the column group in the readings says who belongs together" in row["note"]


def test_groups_are_pooled_each_on_its_own_subjects():
    one = {"A": [[100], [120]], "B": [[104], [120]]}  # squares 8, 2 df
    other = {"C": [[50]], "D": [[56]], "E": [[53]]}  # squares 18, 2 df
    frame = in_groups({"east": one, "west": other})
    expected = (26 / 4) ** 0.5
    assert between(frame)["estimate"] == pytest.approx(expected)
    # found by connection when the column is not there
    assert between(frame.drop(columns="group"))["estimate"] == pytest.approx(expected)


def test_groups_given_keep_staff_apart_who_share_a_person():
    # B is in both groups: by connection there is one group of which everybody misses a half
    frame = in_groups({
        "east": {"A": [[100]], "B": [[104]]}, "west": {"B": [[50]], "C": [[56]]},
    })  # fmt: skip
    assert between(frame)["estimate"] == pytest.approx(((8 + 18) / 2) ** 0.5)
    connected = between(frame.drop(columns="group"))
    assert np.isnan(connected["estimate"])


def test_the_reference_does_not_connect_groups():
    frame = in_groups({
        "east": {"LEAD": [[90]], "A": [[100]], "B": [[104]]},
        "west": {"LEAD": [[40]], "C": [[50]], "D": [[56]]},
    })  # fmt: skip
    found = between(frame.drop(columns="group"), reference="LEAD")
    assert found["estimate"] == pytest.approx(((8 + 18) / 2) ** 0.5)
    assert found["df"] == 2
    # without a reference the same person ties all four into one group
    assert np.isnan(between(frame.drop(columns="group"))["estimate"])


def test_staff_are_tied_through_a_chain_of_shared_subjects():
    people = {
        "A": [[100], [120], [None]],
        "B": [[None], [122], [140]],
        "C": [[100], [120], [140]],
    }
    row = between(people)
    assert row["estimate"] == pytest.approx((8 / 3 / 2) ** 0.5)  # S2 only: 120, 122, 120
    assert row["df"] == 2


def test_somebody_alone_has_no_between_tem_and_the_reason_is_there():
    table = figures_of({"LEAD": [[5]], "A": [[100]]}, reference="LEAD")
    for statistic in ("between_tem", "total_tem"):
        row = table.loc["(all)", statistic]
        assert np.isnan(row["estimate"])
        assert (row["subjects"], row["df"]) == (0, 0)
        assert row["note"].startswith("no subject was measured by all staff of its group")


def test_total_tem_adds_the_plain_mean_of_within_variances_of_the_same_staff():
    people = {
        "A": [[100, 102], [120, 120]],  # within: 4 / 4
        "B": [[104, 104], [120, 126]],  # within: 36 / 4
    }
    table = figures_of(people)
    squared = table.loc["(all)", "between_tem"]["estimate"] ** 2
    assert squared == pytest.approx((8 + 0 + 2 + 18) / 4)
    row = table.loc["(all)", "total_tem"]
    assert row["estimate"] ** 2 == pytest.approx(squared + (1 + 9) / 2)
    assert row["note"] == (
        "as published, counts the repeat error twice; the variance components do not"
    )
    assert np.isnan(row["lower"])


def test_total_tem_leaves_out_the_repeat_error_of_those_left_out_of_between_tem():
    people = {
        "A": [[100, 102], [120, 120], [140, 140]],
        "B": [[100, 102], [120, 120], [140, 140]],
        "C": [[100, 190], [None, None], [None, None]],
    }
    row = figures_of(people).loc["(all)", "total_tem"]
    assert row["estimate"] == pytest.approx((4 / 6) ** 0.5)


def test_total_tem_without_repeats_is_blank():
    table = figures_of(THREE)
    assert np.isnan(table.loc["(all)", "total_tem"]["estimate"])
    assert table.loc["(all)", "between_tem"]["estimate"] > 0
    assert table.loc["(all)", "total_tem"]["note"].startswith("no subject was read twice")
