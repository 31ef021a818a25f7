"""Bias, limits of agreement, bias from the others, rms error."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import as_frame, figures_of

PAIRS = {
    "LEAD": [[100, 102], [120, 120], [140, 139]],
    "A": [[103, 105], [121, 124], [141, 140]],  # differences 3, 2.5, 1
}
TRIO = {"A": [[103], [121]], "B": [[100], [120]], "C": [[101], [122]]}


def blank(row) -> bool:
    return bool(pd.isna(row[["lower", "upper", "p_value"]]).all())


def test_bias_is_the_mean_over_subjects_of_own_less_reference():
    row = figures_of(PAIRS, reference="LEAD").loc["A", "bias"]
    assert row["estimate"] == pytest.approx(6.5 / 3)
    assert (row["subjects"], row["readings"], row["df"], row["unit"]) == (3, 12, 2, "mm")
    sd = np.std([3, 2.5, 1], ddof=1)
    half = 2.919986 * sd / 3**0.5  # t 0.95 on 2 df
    assert (row["lower"], row["upper"]) == pytest.approx((6.5 / 3 - half, 6.5 / 3 + half), abs=1e-5)


def test_who_reads_high_has_a_positive_bias_and_who_reads_low_a_negative_one():
    table = figures_of({"LEAD": [[100]], "HIGH": [[104]], "LOW": [[97]]}, reference="LEAD")
    assert table.loc["HIGH", "bias"]["estimate"] == 4
    assert table.loc["LOW", "bias"]["estimate"] == -3


def test_each_subjects_difference_is_over_the_rounds_that_both_have():
    people = {"LEAD": [[100, None, 110], [50, 50, 50]], "A": [[102, 900, None], [51, None, 54]]}
    row = figures_of(people, reference="LEAD").loc["A", "bias"]
    assert row["estimate"] == pytest.approx((2 + 2.5) / 2)
    assert (row["subjects"], row["readings"]) == (2, 6)


def test_a_subject_with_more_rounds_weighs_no_more_than_another():
    people = {"LEAD": [[0 + 100] * 3, [50]], "A": [[103] * 3, [50]]}
    assert figures_of(people, reference="LEAD").loc["A", "bias"]["estimate"] == 1.5


@settings(max_examples=30)
@given(st.lists(st.integers(0, 400), min_size=3, max_size=3), st.integers(0, 50))
def test_bias_ignores_where_a_subject_is_and_follows_what_a_person_adds(by, more):
    moved = {
        p: [[x + b for x in rounds] for rounds, b in zip(subjects, by, strict=True)]
        for p, subjects in PAIRS.items()
    }
    moved["A"] = [[x + more for x in rounds] for rounds in moved["A"]]
    still, found = (figures_of(x, reference="LEAD").loc["A", "bias"] for x in (PAIRS, moved))
    for part in ("estimate", "lower", "upper"):
        assert found[part] == pytest.approx(still[part] + more, abs=1e-9)


def test_the_reference_has_no_bias_against_itself():
    table = figures_of({**PAIRS, **TRIO}, reference="LEAD")
    theirs = set(table.loc["LEAD"].index)
    assert not theirs & {"bias", "agreement_lower", "agreement_upper", "rms_error"}
    assert {"within_tem", "bias_from_others"} <= theirs


def test_without_a_reference_bias_is_blank_and_says_so():
    table = figures_of(TRIO)
    for statistic in ("bias", "agreement_lower", "agreement_upper", "rms_error"):
        row = table.loc["A", statistic]
        assert np.isnan(row["estimate"])
        assert row["note"].startswith("no reference measurer in this measure")


def test_without_a_common_subject_bias_is_blank_and_says_so():
    row = figures_of({"LEAD": [[100], [None]], "A": [[None], [50]]}, reference="LEAD")
    row = row.loc["A", "bias"]
    assert np.isnan(row["estimate"])
    assert (row["subjects"], row["readings"]) == (0, 0)
    assert np.isnan(row["df"])
    assert row["note"] == "no subject in common with the reference"


def test_one_subject_or_equal_differences_leave_the_interval_blank_with_the_reason():
    one = figures_of({"LEAD": [[100]], "A": [[103]]}, reference="LEAD")
    assert one.loc["A", "bias"]["note"] == "one subject: no interval"
    assert blank(one.loc["A", "bias"])
    assert np.isnan(one.loc["A", "agreement_upper"]["estimate"])
    assert one.loc["A", "agreement_upper"]["note"] == "one subject: no limits"
    equal = figures_of({"LEAD": [[100], [50]], "A": [[103], [53]]}, reference="LEAD")
    assert equal.loc["A", "bias"]["note"] == "every difference is equal: no interval"
    assert blank(equal.loc["A", "bias"])
    limit = equal.loc["A", "agreement_upper"]
    assert limit["estimate"] == 3
    assert np.isnan(limit["lower"])
    assert limit["note"] == "every difference is equal: no interval"


def test_limits_of_single_readings_are_1_96_sd_whatever_the_confidence():
    people = {"LEAD": [[100], [120], [140], [160]], "A": [[101], [123], [142], [160]]}
    sd = np.std([1, 3, 2, 0], ddof=1)
    for confidence in (0.5, 0.95):
        table = figures_of(people, reference="LEAD", confidence=confidence)
        assert table.loc["A", "agreement_lower"]["estimate"] == pytest.approx(1.5 - 1.96 * sd)
        assert table.loc["A", "agreement_upper"]["estimate"] == pytest.approx(1.5 + 1.96 * sd)


def test_limits_of_repeated_readings_add_back_both_persons_repeat_variance():
    # SD of mean differences 3, 2.5, 1; every subject read twice by both: 1 - 1/2 of each
    # variance is added: squares 4 + 9 + 1 over 6 (A), 4 + 0 + 1 over 6 (LEAD)
    table = figures_of(PAIRS, reference="LEAD")
    variance = np.var([3, 2.5, 1], ddof=1) + (14 / 6 + 5 / 6) / 2
    upper = table.loc["A", "agreement_upper"]["estimate"]
    assert upper == pytest.approx(6.5 / 3 + 1.96 * variance**0.5)


def test_limits_of_a_mixed_session_use_the_mean_of_one_over_the_rounds():
    people = {
        "LEAD": [[100, 102], [120, None], [140, 139]],
        "A": [[103, 105], [121, 124], [141, 140]],
    }
    table = figures_of(people, reference="LEAD")
    part = 1 - (1 / 2 + 1 + 1 / 2) / 3
    variance = np.var([3, 1, 1], ddof=1) + part * (14 / 6 + 5 / 4)
    estimate = table.loc["A", "agreement_lower"]["estimate"]
    assert estimate == pytest.approx(5 / 3 - 1.96 * variance**0.5)


def test_bias_from_others_is_against_the_mean_of_two_others_or_more():
    table = figures_of(TRIO)
    row = table.loc["A", "bias_from_others"]
    assert row["estimate"] == pytest.approx((2.5 + 0) / 2)
    assert (row["subjects"], row["readings"], row["df"]) == (2, 6, 1)
    assert table.loc["B", "bias_from_others"]["estimate"] == pytest.approx((-2 - 1.5) / 2)
    assert table.xs("bias_from_others", level=1)["estimate"].sum() == pytest.approx(0)


def test_bias_from_others_leaves_the_reference_out_of_the_others_but_judges_it_too():
    led = figures_of({"LEAD": [[900], [800]], **TRIO}, reference="LEAD")
    plain = figures_of(TRIO)
    for person in "ABC":
        one, other = (t.loc[person, "bias_from_others"] for t in (plain, led))
        assert one["estimate"] == other["estimate"]
    lead = led.loc["LEAD", "bias_from_others"]["estimate"]
    assert lead == pytest.approx(((900 - 304 / 3) + (800 - 121)) / 2)


def test_bias_from_one_other_is_blank_and_says_what_it_needs():
    row = figures_of({"A": [[103], [121]], "B": [[100], [120]]}).loc["A", "bias_from_others"]
    assert np.isnan(row["estimate"])
    assert row["note"] == "needs two other staff on the same subjects"


def test_bias_from_others_counts_only_rounds_in_which_two_others_read():
    people = {"A": [[103, 999]], "B": [[100, 100]], "C": [[101, None]]}
    row = figures_of(people).loc["A", "bias_from_others"]
    assert row["estimate"] == 2.5
    assert row["readings"] == 3


def test_equal_differences_from_others_have_no_interval_though_thirds_are_not_exact():
    people = {"A": [[104], [201]], "B": [[103], [200]], "C": [[104], [201]], "D": [[104], [201]]}
    row = figures_of(people).loc["A", "bias_from_others"]
    assert row["estimate"] == pytest.approx(1 / 3)
    assert blank(row)
    assert row["note"] == "every difference is equal: no interval"


def test_rms_error_joins_bias_and_repeat_error():
    table = figures_of(PAIRS, reference="LEAD")
    row = table.loc["A", "rms_error"]
    assert row["estimate"] == pytest.approx(((6.5 / 3) ** 2 + 14 / 6) ** 0.5)
    assert np.isnan(row["lower"])


def test_rms_error_without_repeats_is_blank_and_says_so():
    row = figures_of({"LEAD": [[100]], "A": [[103]]}, reference="LEAD").loc["A", "rms_error"]
    assert np.isnan(row["estimate"])
    assert row["note"] == "no subject was read twice"


def test_a_retake_changes_no_bias():
    frame = as_frame(PAIRS)
    again = frame.iloc[[0, 7]].assign(reading="300", retake="2")
    both = pd.concat([frame.assign(retake=""), again])
    assert figures_of(both, reference="LEAD").equals(figures_of(frame, reference="LEAD"))
