"""How the error divides: shares, which part is largest, and what is said where it cannot be had."""

import numpy as np
import pandas as pd
import pytest
from layouts import drawn
from strategies import as_session

import anthroqa
from anthroqa.scores.components.division import COLUMNS, PARTS, parts

MEASURERS, TOGETHER, REPEAT, SHIFT, INSTRUMENT = PARTS


def table_of(readings, **session) -> pd.DataFrame:
    return parts(as_session(readings, **session)).set_index("part")


def some(seed=3, *, shift=3.0, **layout) -> dict:
    x, person, subject, _ = drawn(np.random.default_rng(seed), shift=shift, **layout)
    cells: dict = {}
    for value, p, s in zip(x, person, subject, strict=True):
        cells.setdefault(f"P{p}", {}).setdefault(s, []).append(int(value))
    return {p: list(subjects.values()) for p, subjects in cells.items()}


def test_columns_and_rows():
    table = parts(as_session(some()))
    assert list(table.columns) == COLUMNS
    assert table["part"].tolist() == list(PARTS)
    assert set(table["unit"]) == {"mm"}


def test_the_parts_are_those_of_the_score_table():
    readings = some()
    scores = anthroqa.score(as_session(readings)).set_index("statistic")["estimate"]
    sd = table_of(readings)["sd"]
    assert sd[MEASURERS] == scores["sd_measurer"]
    assert sd[TOGETHER] == scores["sd_measurer_subject"]
    assert sd[REPEAT] == scores["sd_repeat"]


def test_shares_are_of_the_summed_variance_and_sum_to_a_hundred():
    table = table_of(some())
    there = table.drop(INSTRUMENT)
    assert there["share"].sum() == pytest.approx(100)
    assert there["share"].to_numpy() == pytest.approx(
        100 * there["sd"].to_numpy() ** 2 / (there["sd"] ** 2).sum()
    )
    assert there["largest"].sum() == pytest.approx(1)
    assert (there["lower"] <= there["share"]).all()
    assert (there["share"] <= there["upper"]).all()
    assert there["upper"].max() <= 100
    assert np.isnan(table["share"][INSTRUMENT])
    assert table["note"][INSTRUMENT].startswith("the readings do not say which instrument")


def test_a_shift_counts_as_what_it_adds_to_the_square_of_a_tem():
    # half the squared difference of two rounds, less what the difference errs by: 2 s^2 / 80
    table = table_of(some(staff=8, subjects=10, shift=30.0, sd=(20, 0, 0, 2)))
    pairs = some(staff=8, subjects=10, shift=30.0, sd=(20, 0, 0, 2))
    moved = np.mean([[b - a for a, b in subjects] for subjects in pairs.values()])
    error = 2 * table["sd"][REPEAT] ** 2 / 80
    assert table["sd"][SHIFT] ** 2 == pytest.approx((moved**2 - error) / 2, rel=1e-4)
    assert table["largest"][SHIFT] == 1
    assert table["lower"][SHIFT] > 95


def test_three_rounds_count_about_their_mean():
    table = table_of(some(staff=8, subjects=10, rounds=3, shift=30.0, sd=(20, 0, 0, 0.5)))
    assert table["sd"][SHIFT] == pytest.approx(30, rel=0.02)  # SD of 0, 30, 60 on 2 df


@pytest.mark.parametrize(
    ("part", "sd"),
    [(MEASURERS, (20, 20, 1, 1)), (TOGETHER, (20, 0, 20, 1)), (REPEAT, (20, 0, 0, 20))],
)
def test_the_largest_part_is_named_with_how_sure_it_is(part, sd):
    table = table_of(some(staff=8, subjects=10, shift=0.0, sd=sd))
    assert table["largest"].idxmax() == part
    assert table["largest"][part] > 0.95
    assert table["share"][part] > 80


def test_parts_of_equal_size_are_not_settled():
    table = table_of(some(1, staff=4, subjects=6, shift=0.0, sd=(20, 3, 0, 3)))
    assert 0.1 < table["largest"][MEASURERS] < 0.9


def test_single_readings_leave_repeat_and_measurer_with_subject_as_one():
    table = table_of(some(rounds=1))
    assert np.isnan(table["sd"][TOGETHER])
    assert table["note"][TOGETHER].startswith("nobody read a subject twice: repeat error and")
    assert table["note"][REPEAT] == "measurer with subject is in it"
    assert table["share"][[MEASURERS, REPEAT]].sum() == pytest.approx(100)
    assert table["note"][SHIFT] == "one round only"


def test_one_person_has_no_parts():
    table = table_of({"A": [[1, 2], [3, 5], [9, 8]]})
    assert table[["sd", "share", "largest"]].isna().all(axis=None)
    assert set(table["note"]) == {"one person only: let two or more measure the same subjects"}


def test_nobody_but_the_reference():
    table = table_of({"LEAD": [[1, 2]]}, reference="LEAD")
    assert table[["sd", "share", "lower", "upper", "largest"]].isna().all(axis=None)
    assert set(table["note"]) == {"nobody but the reference read this"}


def test_no_error_at_all_has_no_shares():
    table = table_of({"A": [[5, 5], [9, 9]], "B": [[5, 5], [9, 9]]})
    assert table[["sd", "share", "largest"]].isna().all(axis=None)
    assert table["note"][REPEAT] == "no error is seen at this step: there is nothing to divide"


def test_the_same_seed_gives_the_same_and_confidence_widens():
    session = as_session(some())
    one, same, other = (parts(session, seed=s) for s in (1, 1, 2))
    pd.testing.assert_frame_equal(one, same)
    assert (one["upper"] != other["upper"]).any()
    wide = parts(session, seed=1, confidence=0.99)
    assert (wide["upper"].dropna() >= one["upper"].dropna()).all()


@pytest.mark.parametrize("confidence", [0, 1, 90, float("nan")])
def test_a_confidence_that_is_not_between_0_and_1_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, not"):
        parts(as_session(some()), confidence=confidence)
