"""Shares on marks: against a plain likelihood, and against what was planted."""

import numpy as np
import pytest
from calibration.sessions import DESIGNS, session
from scipy.optimize import brentq, minimize
from scipy.special import chdtri
from scipy.stats import norm

from anthroqa.scores.marks.digits import read_marks, used
from anthroqa.scores.marks.shares import _WIDER, _interval, _lattice, shares_of


@pytest.fixture(scope="module")
def leaner():
    """One person who leans to half inches on a board of eighths."""
    cube = session(DESIGNS["1/8 in"], np.random.default_rng(21), leaners=1)
    at = read_marks(cube).at
    return at, used(at, 0)


def chances(at, readings):
    """For each subject its weights, and of each reading the chance on every mark and place."""
    for cell in np.unique(at.cell[readings]):
        grid = at.grid[at.cell_item[cell]]
        rows = []
        for n in readings[at.cell[readings] == cell]:
            x, there = at.x[n], grid + at.bias[at.person[n]] + at.shift[at.turn[n]]
            z = (x - there) / at.error[at.person[n]]
            half = at.marks[:, None] / 2 / at.error[at.person[n]]
            rows.append((x % at.marks == 0)[:, None] * (norm.cdf(z + half) - norm.cdf(z - half)))
        yield at.others[cell], rows


def log_likelihood(subjects, shares):
    """Sum over subjects of the log chance of their readings, positions from the others."""
    return sum(
        np.log((np.prod([shares @ row for row in rows], axis=0) * weights).sum() + 1e-300)
        for weights, rows in subjects
    )


def most_likely(subjects, marks, held=None, value=0.0):
    """Greatest log likelihood over shares, one of them held; shares as soft-max of free numbers."""
    others = [j for j in range(marks) if j != held]

    def shares_at(free):
        weights = np.exp(np.append(0.0, free) - np.max(np.append(0.0, free)))
        shares = np.full(marks, value)
        shares[others] = (1 - (value if held is not None else 0)) * weights / weights.sum()
        return shares

    starts = [np.zeros(len(others) - 1), np.full(len(others) - 1, -3.0)]
    runs = [
        minimize(lambda f: -log_likelihood(subjects, shares_at(f)), s, method="Nelder-Mead")
        for s in starts
    ]
    best = min(runs, key=lambda run: run.fun)
    return -best.fun, shares_at(best.x)


def test_the_most_likely_shares_are_those_of_a_plain_search(leaner):
    at, mine = leaner
    found = shares_of(at, mine, 0.90)
    subjects = list(chances(at, mine))
    peak, shares = most_likely(subjects, len(at.marks))
    own = np.append(1 - found.estimate.sum(), found.estimate)
    assert log_likelihood(subjects, own) == pytest.approx(peak, abs=0.02)
    assert own == pytest.approx(shares, abs=0.05)


def test_the_ends_of_an_interval_are_where_the_profile_falls_by_the_cut_off(leaner):
    at, mine = leaner
    found = shares_of(at, mine, 0.90)
    subjects = list(chances(at, mine))
    peak, _ = most_likely(subjects, len(at.marks))
    cut = _WIDER * chdtri(1, 0.10) / 2
    half = list(at.marks).index(4)

    def beyond(value):
        return peak - most_likely(subjects, len(at.marks), half, value)[0] - cut

    best = found.estimate[half - 1]
    assert found.lower[half - 1] == pytest.approx(brentq(beyond, 0.01, best, xtol=0.01), abs=0.03)
    assert found.upper[half - 1] == pytest.approx(brentq(beyond, best, 0.999, xtol=0.01), abs=0.03)


def test_somebody_who_reads_half_marks_only_has_a_share_of_one():
    cube = session(DESIGNS["0.1 kg"], np.random.default_rng(2), leaners=1, share=1.0)
    at = read_marks(cube).at
    found = shares_of(at, used(at, 0), 0.90)
    assert found.estimate[1] > 0.95
    assert found.upper[1] == 1.0
    assert found.lower[1] > 0.7


def test_shares_of_the_honest_hold_zero_and_sum_to_one_at_most():
    rng = np.random.default_rng(14)
    below, n = 0, 0
    for _ in range(8):
        at = read_marks(session(DESIGNS["1/8 in"], rng)).at
        for person in range(8):
            found = shares_of(at, used(at, person), 0.90)
            assert found.estimate.sum() <= 1 + 1e-9
            assert (found.lower <= found.estimate + 1e-9).all()
            assert (found.estimate <= found.upper + 1e-9).all()
            below += (found.lower == 0).sum()
            n += len(found.lower)
    # one side of a 90 % interval: 5 % may lie above zero
    assert below / n >= 0.95 - 4 * np.sqrt(0.05 * 0.95 / n)


@pytest.mark.parametrize("ways", [2, 3, 4, 5, 6])
def test_a_lattice_deals_out_the_whole(ways):
    lattice = _lattice(ways)
    assert lattice.sum(axis=1) == pytest.approx(1)
    assert lattice.min() == 0
    assert len(np.unique(lattice, axis=0)) == len(lattice)
    assert sorted(map(tuple, np.eye(ways)[::-1])) == sorted(
        tuple(row) for row in lattice if row.max() == 1
    )


@pytest.mark.parametrize("best", [0.0, 1e-300, 0.3, 0.5, 1.0 - 1e-17, 1.0])
def test_an_interval_holds_its_share_even_where_its_neighbours_cannot_be(best):
    share = np.linspace(0, 1, 11)
    for log_like in (np.full(11, -np.inf), np.where(share == 0.5, -3.0, -np.inf), -20 * share):
        lower, upper = _interval(share, log_like, best, 0.0, 0.90)
        assert 0 <= lower <= best <= upper <= 1
