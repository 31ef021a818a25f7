"""Shifts between rounds, and within TEM with the shared one taken out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from strategies import as_frame, figures_of

SHARED = {  # everybody reads 4 lower in round 2, give or take a little
    "A": [[100, 97], [120, 115], [140, 136]],
    "B": [[101, 97], [121, 117], [141, 136]],
    "C": [[99, 95], [119, 116], [139, 135]],
}


def test_round_shift_is_the_mean_over_subjects_of_the_mean_over_staff():
    row = figures_of(SHARED).loc["(all)", "round_shift:2"]
    # by subject: -11/3, -4, -13/3
    assert row["estimate"] == pytest.approx(-4)
    assert (row["subjects"], row["readings"], row["df"]) == (3, 18, 2)
    half = 2.919986 / 3 / 3**0.5  # t 0.95 on 2 df; SD of the three is 1/3
    assert row["lower"] == pytest.approx(-4 - half, abs=1e-6)
    assert row["upper"] == pytest.approx(-4 + half, abs=1e-6)


def test_round_shift_leaves_the_reference_out():
    lead = {"LEAD": [[100, 190], [120, 20], [140, 300]], **SHARED}
    row = figures_of(lead, reference="LEAD").loc["(all)", "round_shift:2"]
    assert row["estimate"] == pytest.approx(-4)
    assert row["readings"] == 18


def test_own_round_shift_is_own_less_that_of_the_other_staff():
    table = figures_of(SHARED)
    # A: -3, -5, -4 less the others' -4, -3.5, -4.5 = 1, -1.5, 0.5
    row = table.loc["A", "own_round_shift:2"]
    assert row["estimate"] == pytest.approx(0, abs=1e-12)
    assert row["p_value"] == pytest.approx(1)
    assert (row["subjects"], row["readings"], row["df"]) == (3, 18, 2)


def test_the_reference_is_not_among_the_others():
    lead = {"LEAD": [[100, 190], [120, 20], [140, 300]], **SHARED}
    plain, led = figures_of(SHARED), figures_of(lead, reference="LEAD")
    for statistic in ("own_round_shift:2", "within_tem_less_shift"):
        for person in "ABC":
            one, other = plain.loc[person, statistic], led.loc[person, statistic]
            assert one["estimate"] == pytest.approx(other["estimate"])
    lead_shift = np.mean([90 + 11 / 3, -100 + 4, 160 + 13 / 3])
    assert led.loc["LEAD", "own_round_shift:2"]["estimate"] == pytest.approx(lead_shift)


def test_within_tem_less_shift_takes_out_the_mean_shift_of_the_others():
    # A's differences are -3, -5, -4 and the others' mean shift is -4: 1, -1, 0 remain, squares of
    # 2 / 2, the same about A's own. B and C have variances of 1/6 about theirs, A one of 1/2:
    # (1/6 + 1/6) / 4 is the shift's own error, a sixth of what A's own shift takes out by chance
    table = figures_of(SHARED)
    row, plain = (table.loc["A", f"within_tem{which}"] for which in ("_less_shift", ""))
    assert row["estimate"] == pytest.approx(((1 - 1 / 12) / 3) ** 0.5)
    assert plain["estimate"] == pytest.approx((50 / 6) ** 0.5)
    df = 9 / (2 + (1 + 1 / 6) ** 2)
    assert row["df"] == pytest.approx(df)
    ends = [row["estimate"] * (df / stats.chi2.ppf(q, df)) ** 0.5 for q in (0.95, 0.05)]
    assert row[["lower", "upper"]].tolist() == pytest.approx(ends)


@settings(max_examples=30)
@given(st.integers(-90, 90), st.integers(-90, 90))
def test_within_tem_less_shift_ignores_what_a_round_adds_for_everybody(second, third):
    def people(b, c):
        return {
            "A": [[100, 103 + b, 101 + c], [200, 198 + b, 203 + c]],
            "B": [[101, 100 + b, 104 + c], [200, 205 + b, 199 + c]],
        }

    still, moved = figures_of(people(0, 0)), figures_of(people(second, third))
    for person in "AB":
        key = (person, "within_tem_less_shift")
        assert moved.loc[key]["estimate"] == pytest.approx(still.loc[key]["estimate"], abs=1e-9)
    for k, by in ((2, second), (3, third)):
        key = ("(all)", f"round_shift:{k}")
        assert moved.loc[key]["estimate"] == pytest.approx(still.loc[key]["estimate"] + by)


def test_equal_repeats_once_the_shift_is_out_are_zero_and_say_why():
    # the others shift by 6/3, 10/3 and 2/3: as floats their mean is a little over 2
    layout = {
        "A": [[100, 102], [100, 102], [100, 102]],
        "B": [[100, 102], [100, 103], [100, 100]],
        "C": [[100, 102], [100, 103], [100, 101]],
        "D": [[100, 102], [100, 104], [100, 101]],
    }
    row = figures_of(layout).loc["A", "within_tem_less_shift"]
    assert row["estimate"] == 0
    assert np.isnan(row["lower"])
    assert row["note"] == "every repeat is equal once the shift is taken out: no interval"


def test_equal_shifts_have_no_interval_even_where_thirds_are_not_exact():
    # own less the mean of three others is 1/3 on both subjects: 4 - 11/3 and 1 - 2/3
    layout = {
        "A": [[100, 104], [200, 201]],
        "B": [[100, 103], [200, 200]], "C": [[100, 104], [200, 201]], "D": [[100, 104], [200, 201]],
    }  # fmt: skip
    row = figures_of(layout).loc["A", "own_round_shift:2"]
    assert row["estimate"] == pytest.approx(1 / 3)
    assert np.isnan(row["lower"])
    assert np.isnan(row["p_value"])
    assert row["note"] == "every difference is equal: no interval"


def test_somebody_alone_has_no_shift_to_compare_with():
    table = figures_of({"A": [[1, 2], [3, 5]]})
    for statistic, note in (
        ("own_round_shift:2", "no subject was read in rounds 1 and 2 by this person and by other "
         "staff"),
        ("within_tem_less_shift", "too few other staff read the same subjects in these rounds"),
    ):  # fmt: skip
        row = table.loc["A", statistic]
        assert np.isnan(row["estimate"])
        assert row["note"] == note
    assert table.loc["(all)", "round_shift:2"]["estimate"] == 1.5


def test_each_round_is_compared_with_the_first_one():
    people = {"A": [[100, 102, 107], [50, 52, 58]], "B": [[100, 101, 104], [50, 50, None]]}
    table = figures_of(people)
    assert table.loc["(all)", "round_shift:2"]["estimate"] == pytest.approx((1.5 + 1) / 2)
    assert table.loc["(all)", "round_shift:3"]["estimate"] == pytest.approx((5.5 + 8) / 2)
    third = table.loc["A", "own_round_shift:3"]
    assert third["estimate"] == pytest.approx(7 - 4)  # B read S1 only
    assert third["note"] == "one subject: no interval"
    # A's readings less B's shifts 0.5 and 4: 100, 101.5, 103 and 50, 51.5, 54; less A's own 2 and
    # 7.5: 100, 100, 99.5 and 50, 50, 50.5
    about_others = (1.5**2 + 1.5**2) + ((5.5 / 3) ** 2 + (1 / 3) ** 2 + (6.5 / 3) ** 2)
    squares = 4 * table.loc["A", "within_tem_less_shift"]["estimate"] ** 2
    assert 2 * (2 / 36 + 1 / 9) < squares < about_others


OWN = [1, 3, 2, 6]  # differences of A; about their mean of 3 the squares are 14 / 2, on 3 df


@pytest.mark.parametrize(
    ("c", "left"),
    [
        # B's mean is 1; the others' shift is 0, and both have A's variance of 7 / 3: half of
        # that is the variance of a change of the two, times 4 / 2 / 4
        ([-2, -1, -3, 2], 7 + 4 * 3**2 / 2 - 7 / 6),
        # C's differences are twice as wide
        ([-4, -2, -6, 4], 7 + 4 * 3.5**2 / 2 - 7 / 12 - 7 / 3),
        # C's spread, squares of 18,466, would explain any shift: A's own is taken out
        ([-100, 100, -90, 94], 7 - (7 / 3) ** 2 / (7 / 12 + 18466 / 12)),
    ],
)
def test_the_error_that_the_others_shift_has_is_taken_off_again(c, left):
    people = {"A": OWN, "B": [0, 1, -1, 4], "C": c}
    layout = {
        p: [[1000 * s, 1000 * s + d] for s, d in enumerate(differences, start=1)]
        for p, differences in people.items()
    }
    row = figures_of(layout).loc["A", "within_tem_less_shift"]
    assert row["estimate"] ** 2 == pytest.approx(left / 4)


def test_a_shift_counts_only_subjects_that_the_person_read_in_both_rounds():
    people = {"A": [[100, 110], [50, None]], "B": [[100, 104], [50, None]]}
    row = figures_of(people).loc["A", "within_tem_less_shift"]
    # (10 - 4)^2 / 2: nobody read so often that the error of the shift could be told
    assert row["estimate"] == pytest.approx(6 / 2**0.5)
    people["B"][1] = [50, 55]
    row = figures_of(people).loc["A", "within_tem_less_shift"]
    assert row["estimate"] == pytest.approx(((10 - 4) ** 2 / 2 - (1 / 2) ** 2 * 2 / 2) ** 0.5)
    people["B"][1] = [50, 98]  # B's shift could be anything, and A has one change only
    row = figures_of(people).loc["A", "within_tem_less_shift"]
    assert np.isnan(row["estimate"])
    assert row["note"].startswith("too few other staff")


def test_without_a_first_round_there_is_no_shift():
    frame = as_frame({"A": [[None, 102, 107], [None, 52, 58]], "B": [[None, 101, 104]]})
    table = figures_of(frame)
    row = table.loc["A", "within_tem_less_shift"]
    assert np.isnan(row["estimate"])
    assert row["note"] == "there is no round 1 to compare with"
    assert table.loc["A", "within_tem"]["df"] == 2
    assert not [s for _, s in table.index if "round_shift" in s]


def test_rounds_keep_their_numbers():
    frame = as_frame({"A": [[100, 102]], "B": [[100, 101]]})
    frame["round"] = frame["round"].replace(2, 4)
    names = {s for _, s in figures_of(frame).index if "round_shift" in s}
    assert names == {"own_round_shift:4", "round_shift:4"}


def test_staff_who_were_there_only_in_some_rounds_are_compared_in_those():
    people = {
        "A": [[100, 110], [50, 61]],
        "B": [[101, 105], [50, 55]],
        "LATE": [[None, 300], [None, 400]],
    }
    table = figures_of(people)
    assert table.loc["(all)", "round_shift:2"]["readings"] == 8
    assert table.loc["A", "own_round_shift:2"]["estimate"] == pytest.approx(6)
    late = table.loc["LATE", "own_round_shift:2"]
    assert np.isnan(late["estimate"])
    assert late["subjects"] == 0
    assert late["note"].startswith("no subject was read in rounds 1 and 2")
