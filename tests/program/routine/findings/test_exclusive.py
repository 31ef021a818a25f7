"""Shares behind positions: by hand, against a plain optimiser, and from drawn readings."""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize
from scipy.special import chdtri

from anthroqa.program.routine.findings.exclusive import classes, intervals, likely, unbiased, ways

MANY = np.array([1e9])


def test_ways_of_reading_quarter_pounds():
    told = ways(4)
    assert told.marks == (1, 2, 4)
    # positions 1 and 3 stand on no coarse mark, 2 on the half pound, 0 on the pound
    assert told.of_position.tolist() == [2, 0, 1, 0]
    assert told.chance.tolist() == [[0.5, 0.25, 0.25], [0, 0.5, 0.5], [0, 0, 1]]
    assert told.on.tolist() == [[1, 1, 1], [0.5, 1, 1], [0.25, 0.5, 1]]


@pytest.mark.parametrize("cycle", [4, 8, 10, 16, 20, 12])
def test_a_way_falls_on_its_marks_alike(cycle):
    told = ways(cycle)
    for w, row, on in zip(told.marks, told.chance, told.on.T, strict=True):
        there = np.arange(0, cycle, w)
        by_class = np.bincount(told.of_position[there], minlength=len(told.marks)) / len(there)
        assert row == pytest.approx(by_class)
        assert on == pytest.approx([np.mean(there % m == 0) for m in told.marks])


def test_shares_by_hand():
    # 100 quarter pounds, 20 at each position and 20 more at whole pounds: a fifth put on the pound
    n = classes(np.array([[40, 20, 20, 20], [10, 0, 10, 0], [0, 0, 0, 0]]), 4)
    assert n.tolist() == [[40, 20, 40], [0, 10, 10], [0, 0, 0]]
    assert likely(n, 4)[:2] == pytest.approx(np.array([[0.8, 0, 0.2], [0, 1, 0]]), abs=0.01)
    assert unbiased(n, 4)[:2] == pytest.approx(np.array([[0.8, 0, 0.2], [0, 1, 0]]))
    assert np.isnan(likely(n, 4)[2]).all()
    assert np.isnan(unbiased(n, 4)[2]).all()


def log_likelihood(n, shares, cycle):
    return float((n * np.log(np.maximum(shares @ ways(cycle).chance, 1e-300))).sum())


def slow_profile(n, held, j, cycle):
    """The greatest log likelihood with a share held, by a general optimiser from two starts."""
    m = len(ways(cycle).marks)
    rest = [i for i in range(m) if i != j]

    def shares(free):
        out = np.full(m, held)
        out[rest] = (1 - held) * np.exp(free - np.logaddexp.reduce(free))
        return out

    tried = [
        minimize(lambda f: -log_likelihood(n, shares(f), cycle), start, method="Nelder-Mead",
                 options={"xatol": 1e-5, "fatol": 1e-8, "maxiter": 6000, "maxfev": 6000}).fun
        for start in 2 * np.random.default_rng(0).normal(size=(2, m - 1))
    ]  # fmt: skip
    return -min(tried)


@pytest.mark.parametrize(
    ("cycle", "mark", "at"),
    [
        (4, 4, [60, 30, 35, 25]),
        (4, 4, [26, 24, 25, 25]),  # nothing there
        (4, 2, [60, 30, 45, 25]),
        (10, 5, [30, 14, 16, 14, 16, 31, 15, 13, 17, 14]),
        (8, 8, [40, 10, 12, 11, 14, 9, 13, 11]),
    ],
)
def test_shares_and_intervals_against_a_general_optimiser(cycle, mark, at):
    n = classes(np.array([at], dtype=float), cycle)
    j = ways(cycle).marks.index(mark)
    shares = likely(n, cycle)
    lower, upper = intervals(n, shares, np.array([j]), cycle, 0.90, df=MANY)
    peak = max(
        slow_profile(n[0], h, j, cycle) for h in (*np.linspace(0, 0.6, 13), float(shares[0, j]))
    )
    assert log_likelihood(n[0], shares[0], cycle) >= peak - 2e-3
    cut = peak - chdtri(1, 0.10) / 2
    inside = shares[0, j]
    for end, edge in ((lower[0], 0.0), (upper[0], 0.95)):
        if slow_profile(n[0], edge, j, cycle) >= cut:
            assert end == pytest.approx(edge, abs=1e-3)
        else:
            slow = brentq(lambda h: slow_profile(n[0], h, j, cycle) - cut, inside, edge, xtol=2e-3)
            assert end == pytest.approx(slow, abs=4e-3)


def test_planted_shares_are_recovered_and_held():
    # 1 oz: a tenth to the pound, a fifth to the quarter pound
    rng = np.random.default_rng(3)
    true = np.array([0.7, 0, 0.2, 0, 0.1])
    told = ways(16)
    n = rng.multinomial(4000, true @ told.chance, size=400).astype(float)
    shares = likely(n, 16)
    # the mean of four hundred, within what shares under 0, drawn up to it, can move
    assert shares.mean(axis=0) == pytest.approx(true, abs=0.02)
    assert unbiased(n, 16).mean(axis=0) == pytest.approx(
        true, abs=4 * unbiased(n, 16).std(axis=0).max() / 20
    )
    for j in (2, 4):
        lower, upper = intervals(n, shares, np.full(400, j), 16, 0.90, df=np.full(400, MANY[0]))
        held = ((lower <= true[j]) & (true[j] <= upper)).mean()
        assert held >= 0.90 - 4 * np.sqrt(0.9 * 0.1 / 400)


def test_fewer_degrees_of_freedom_and_fewer_readings_widen_intervals():
    n = classes(np.array([[60, 30, 35, 25]], dtype=float), 4)
    shares, way = likely(n, 4), np.array([2])
    wide = [
        np.subtract(*reversed(intervals(n / over, shares, way, 4, 0.90, df=df)))[0]
        for over, df in ((1, MANY), (1, np.array([10.0])), (3, MANY))
    ]
    assert wide[0] < wide[1] < wide[2]


def test_a_share_that_starts_at_nothing_can_grow():
    # with the pound held at nothing, the half pound must take what stands there
    n, way = classes(np.array([[40, 20, 20, 20]], dtype=float), 4), np.array([2])
    exact, near = np.array([[0.8, 0, 0.2]]), np.array([[0.79, 0.01, 0.2]])
    ends = [intervals(n, start, way, 4, 0.90, df=MANY) for start in (exact, near)]
    assert np.ravel(ends[0]) == pytest.approx(np.ravel(ends[1]), abs=0.01)
