"""Slopes against plain least squares, and the exact law of sums of log mean squares."""

import numpy as np
import pytest
from scipy import special, stats

from anthroqa.program.staff.trends import Cells, log_chi2, log_chi2_quantile, rest, slopes


def table(rng, people=6, sessions=4, missing=0.25):
    """A table with holes."""
    there = rng.random((people, sessions)) >= missing
    there[:, 0] |= ~there.any(axis=1)
    who, when = np.nonzero(there)
    when = np.unique(when, return_inverse=True)[1]
    time = np.linspace(0, 1, when.max() + 1)
    return Cells(who=who, when=when, time=time[when])


@pytest.mark.parametrize("seed", range(8))
def test_own_slope_is_that_of_least_squares_on_the_whole_table(seed):
    rng = np.random.default_rng(seed)
    cells = table(rng)
    variance, y = rng.uniform(0.5, 2, len(cells.who)), rng.standard_normal(len(cells.who))
    weights, beside = slopes(cells, variance)
    for p in np.flatnonzero(beside):
        x = np.column_stack([cells.levels, cells.time * (cells.who == p)])
        root = 1 / np.sqrt(variance)
        fit = np.linalg.lstsq(x * root[:, None], y * root, rcond=None)[0][-1]
        assert weights[p] @ y == pytest.approx(fit, abs=1e-9)
        # of everything that is additive nothing is left
        assert weights[p] @ cells.levels == pytest.approx(0, abs=1e-9)
        assert weights[p] @ (cells.time * (cells.who == p)) == pytest.approx(1)


def test_in_a_full_table_it_is_the_own_slope_less_the_mean_of_the_others():
    rng = np.random.default_rng(1)
    cells = table(rng, missing=0)
    y = rng.standard_normal(24)
    weights, _ = slopes(cells, np.ones(24))
    own = np.polyfit([0, 1 / 3, 2 / 3, 1], y.reshape(6, 4).T, 1)[0]
    for p in range(6):
        assert weights[p] @ y == pytest.approx(own[p] - np.delete(own, p).mean())
    squares, df, share = rest(cells, y)
    assert df == pytest.approx(5 * 2)  # (people - 1) x (sessions - 2)
    assert share.sum() == pytest.approx(df)
    flat = y.reshape(6, 4) - y.reshape(6, 4).mean(axis=0)
    lines = np.array([np.polyval(np.polyfit([0, 1, 2, 3], row, 1), [0, 1, 2, 3]) for row in flat])
    assert squares == pytest.approx(((flat - lines) ** 2).sum())


def test_alone_in_a_session_a_slope_is_plain_and_one_session_has_none():
    cells = Cells(
        who=np.array([0, 0, 0, 1]), when=np.array([0, 1, 2, 3]),
        time=np.array([0, 1 / 3, 2 / 3, 1.0]),
    )  # fmt: skip
    weights, beside = slopes(cells, np.ones(4))
    assert not beside.any()
    assert weights[0] @ [1.0, 2, 3, 9] == pytest.approx(3)
    assert np.isnan(weights[1]).all()
    assert cells.spans == pytest.approx([2 / 3, 0])


@pytest.mark.parametrize("df", [3.0, 9.5, 40.0])
def test_two_mean_squares_are_f(df):
    """The law of log(s1 / s2) is F; the saddlepoint errs by under 2.5 % of a tail down to 1e-4."""
    ratio = np.array([0.2, 0.6, 1.0, 1.7, 4.0, 9.0])
    weights = np.tile([1.0, -1.0], (len(ratio), 1))
    found = special.ndtr(-log_chi2(weights, np.array([df, 12.0]), np.log(ratio)))
    assert found == pytest.approx(stats.f.sf(ratio, df, 12.0), rel=0.025)


def test_one_mean_square_is_chi_squared_and_the_quantile_is_the_inverse():
    weights, df = np.array([[2.0], [2.0], [2.0]]), np.array([9.0])
    amount = 2 * np.log(np.array([0.4, 1.0, 2.2]))
    normal = log_chi2(weights, df, amount)
    true = stats.chi2.sf(9 * np.exp(amount / 2), 9)
    assert special.ndtr(-normal) == pytest.approx(true, rel=0.01)
    for z in (-3.0, -1.0, 1e-9, 2.5):
        back = log_chi2_quantile(weights, df, z)
        assert log_chi2(weights, df, back) == pytest.approx(z, abs=1e-5)


def test_at_its_mean_nothing_jumps():
    weights, df = np.array([[1.0, -0.5, -0.5]]), np.array([4.0, 9.0, 20.0])
    mean = weights @ (special.digamma(df / 2) - np.log(df / 2))
    at = [log_chi2(weights, df, mean + d)[0] for d in (-1e-3, -1e-6, 0, 1e-6, 1e-3)]
    assert np.diff(at) == pytest.approx(at[4] - at[0], abs=3e-3)
    assert (np.diff(at) > -1e-6).all()


def test_a_trend_of_drawn_mean_squares_is_beyond_its_tail_as_often_as_said():
    rng = np.random.default_rng(3)
    cells = table(rng, people=5)
    df = rng.uniform(5, 14, len(cells.who))
    weights, beside = slopes(cells, special.polygamma(1, df / 2))
    w, n = weights[np.flatnonzero(beside)[0]], 40_000
    drawn = np.log(rng.chisquare(df, (n, len(df))) / df) @ w
    for share in (0.01, 0.05, 0.5):
        cut = log_chi2_quantile(w[None], df, -special.ndtri(share))[0]
        band = 4 * np.sqrt(share * (1 - share) / n)
        assert (drawn > cut).mean() == pytest.approx(share, abs=band + 0.01 * share)
