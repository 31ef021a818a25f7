"""Slips planted in drawn sessions: how many are far, told rightly, or explained by chance.

A short run from a fixed seed; the long one is `python -m calibration --only slips` and its like.
Bands are 4 * sqrt(p (1 - p) / n).
"""

import numpy as np
import pandas as pd
import pytest
from calibration import slips
from calibration.planting import PLANTS, SHEETS, Session

from anthroqa.scores import hidden_kinds
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.odd.expectation import expected

HIDDEN = {"tenths of a pound entered as ounces"}  # under six repeat SDs in these sessions


def band(p: float, n: int) -> float:
    return 4 * np.sqrt(p * (1 - p) / n)


@pytest.fixture(scope="module")
def planted() -> pd.DataFrame:
    return slips.planted(3, 20261125)


def test_slips_of_nine_repeat_sds_are_far(planted):
    large = planted[planted["size"] >= 9]
    assert len(large) > 150
    assert large["far"].mean() >= 0.98 - band(0.98, large["session"].size)


def test_slips_of_six_and_nine_repeat_sds_are_far_as_often_as_they_must_be():
    table = slips.by_size(6, 3)
    n = 6 * len(table)
    assert table[6].mean() >= 0.60 - band(0.60, n)
    assert table[9].mean() >= 0.98 - band(0.98, n)
    assert table[12].mean() >= 0.98


def test_the_right_kind_stands_first(planted):
    found = planted[planted["far"] & (planted["size"] >= 6)]
    assert found["first"].mean() >= 0.85
    by_kind = found.groupby("kind")["first"].agg(["mean", "size"])
    assert set(by_kind.index) == {words for words, _, _ in PLANTS} - HIDDEN
    for kind, row in by_kind.iterrows():
        assert row["mean"] >= 0.70 - band(0.70, row["size"]), kind


def test_hardly_anybody_is_named_beside_a_planted_slip(planted):
    # one false flag in 20 sessions a measure; the partner of an exchange of measures is no other
    alone = planted[planted["kind"] != "two measures exchanged"].drop_duplicates(
        ["kind", "measure", "session"]
    )
    assert alone["others"].mean() <= 0.05 + band(0.05, len(alone))


def test_kinds_that_are_too_small_here_are_listed():
    rng = np.random.default_rng(3)
    listed = hidden_kinds(Session(["infant_lb"], rng).build())
    assert set(listed["kind"]) >= HIDDEN


@pytest.mark.parametrize("how", slips.HONEST.values(), ids=slips.HONEST)
def test_honest_sessions_have_a_far_reading_in_one_of_twenty_at_most(how):
    rng = np.random.default_rng(11)
    names = ("length", "weight", "infant_lb", "infant_in")
    drawn = [cube for _ in range(10) for cube in cubes(Session(names, rng, **how).build())]
    flags = sum(int(expected(cube).far.sum()) for cube in drawn)
    assert len(drawn) == 40
    assert flags / len(drawn) <= 0.05 + band(0.05, len(drawn))


def test_the_rate_printed_for_random_gross_errors_is_the_rate_at_which_they_are_explained():
    table = slips.random_errors(10, 5)
    n = int(table["errors"].sum())
    explained, printed = table["explained"].mean(), table["printed"].mean()
    assert list(table["measure"]) == list(SHEETS)
    assert abs(explained - printed) <= 0.05 + band(explained, n)
