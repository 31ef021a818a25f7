"""Holm with weights, by hand and against the plain one."""

import numpy as np
import pandas as pd
import pytest

from anthroqa.program.staff.naming import COLUMNS, RISKS, named, weighted_holm
from anthroqa.scores.marks.screening import holm


def test_with_one_risk_it_is_holm():
    p = np.random.default_rng(0).random(20) ** 3
    assert weighted_holm(p, np.full(20, 0.3)) == pytest.approx(holm(p))


def test_with_two_risks_by_hand():
    # weights: two tests share 3/4 (3/8 each), one has 1/4. p / weight: 0.08, 0.04, 1.6; the least
    # first: 0.01 x 1 / 0.25 = 0.04; then 0.03 x (3/4) / (3/8) = 0.06; then 0.6 x 1 = 0.6
    found = weighted_holm(np.array([0.03, 0.01, 0.6]), np.array([3.0, 1.0, 3.0]) / 4)
    assert found == pytest.approx([0.06, 0.04, 0.6])


def test_blank_ones_are_no_tests_and_order_does_not_matter():
    p, risk = np.array([0.2, np.nan, 0.001, 0.03]), np.array([0.5, 0.5, 0.25, 0.25])
    found = weighted_holm(p, risk)
    assert np.isnan(found[1])
    turned = weighted_holm(p[::-1], risk[::-1])[::-1]
    np.testing.assert_array_equal(found, turned)
    assert np.isnan(weighted_holm(np.array([np.nan]), np.array([0.5]))).all()


def test_the_risk_that_is_kept_is_the_one_said():
    """No difference: somebody is at or under 0.05 in 5 of 100 programs at most."""
    rng, n = np.random.default_rng(1), 4000
    risk = np.repeat([0.25, 0.125, 0.625], [13, 13, 13])
    named = [(weighted_holm(rng.random(39), risk) <= 0.05).any() for _ in range(n)]
    assert np.mean(named) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / n))


def test_risks_are_of_the_whole():
    assert sum({risk for _, risk in RISKS.items()}) == pytest.approx(1)


def test_states_and_columns():
    funnel = pd.DataFrame({
        "measure": "length", "measurer": ["A", "B"], "estimate": [9.0, 3.0],
        "p_value": [1e-6, np.nan], "note": ["", "why"],
    })  # fmt: skip
    drifts = pd.DataFrame({
        "measure": "length", "measurer": ["A", "LEAD"], "what": ["difference", "reference"],
        "change": [1.0, 2.0], "p_value": [0.5, 0.5], "note": "",
    })  # fmt: skip
    table = named(funnel, drifts)
    assert list(table.columns) == COLUMNS
    assert table["state"].tolist() == ["named", "not judged", "as expected", "as expected"]
    assert table["estimate"].tolist() == [9, 3, 1, 2]
