"""Draws of variances: against exact intervals, against closed-form ones, and seeds."""

import numpy as np
import pytest
from layouts import drawn, fixed_rounds
from scipy import stats

from anthroqa.scores.components.generalised_pivots import chi2, draw, draw_lifted, interval
from anthroqa.scores.components.mean_squares import moments, squares
from anthroqa.scores.layout.cells import gather

CONFIDENCE, N = 0.90, 20_000


def squares_of(seed=1, **layout):
    x, person, subject, turn = drawn(np.random.default_rng(seed), **layout)
    return squares(gather(x, person, subject, *fixed_rounds(turn)))


@pytest.mark.parametrize("df", [1, 2, 3, 10, 60, 500])
def test_drawn_chi_squared_has_the_quantiles_of_chi_squared(df):
    values = np.sort(chi2(df, N, np.random.default_rng(0)))
    p = (np.arange(N) + 0.5) / N
    some = slice(N // 100, -N // 100)
    assert values[some] == pytest.approx(stats.chi2.ppf(p, df)[some], rel=5e-4)
    assert np.isnan(chi2(0, 5, np.random.default_rng(0))).all()


def test_the_repeat_error_has_its_exact_interval():
    of = squares_of(missing=0.1)
    lower, upper = interval(draw(of, np.random.default_rng(0), N).repeat, CONFIDENCE)
    exact = of.repeat / stats.chi2.ppf([0.95, 0.05], of.df_repeat)
    assert (lower, upper) == pytest.approx(tuple(exact), rel=1e-3)


def test_single_readings_have_the_exact_interval_of_what_is_left():
    of = squares_of(rounds=1)
    draws = draw(of, np.random.default_rng(0), N)
    exact = of.residual / stats.chi2.ppf([0.95, 0.05], of.df_residual)
    assert interval(draws.interaction, CONFIDENCE) == pytest.approx(tuple(exact), rel=1e-3)
    assert (draws.repeat == 0).all()


def modified_large_sample(weights, mean_squares, df):
    """Interval of a sum of variances, w1 S1 + w2 S2 + ... with every weight above 0.

    Graybill & Wang (1980) J. Am. Stat. Assoc. 75:869-873 (from memory).
    """
    tail = (1 - CONFIDENCE) / 2
    middle = np.dot(weights, mean_squares)
    g = 1 - df / stats.chi2.ppf(1 - tail, df)
    h = df / stats.chi2.ppf(tail, df) - 1
    parts = (weights * mean_squares) ** 2
    return middle - np.sqrt((g**2 * parts).sum()), middle + np.sqrt((h**2 * parts).sum())


@pytest.mark.parametrize("seed", range(5))
def test_reproducibility_is_close_to_the_modified_large_sample_interval(seed):
    a, b, k = 6, 10, 2
    of = squares_of(seed, staff=a, subjects=b, rounds=k)
    ms = np.array([of.measurer.square[0] * b * k / (a - 1), of.residual * k / of.df_residual,
                   of.repeat / of.df_repeat])  # fmt: skip
    weights = np.array([1 / (b * k), 1 / k - 1 / (b * k), 1 - 1 / k])
    expected = modified_large_sample(weights, ms, np.array([a - 1, of.df_residual, of.df_repeat]))
    drawn_ends = interval(draw(of, np.random.default_rng(0), N).reproducibility, CONFIDENCE)
    # both are approximate; they are known to differ by some per cent
    assert drawn_ends == pytest.approx(expected, rel=0.06)


def difference_interval(one, other, df_one, df_other):
    """Interval of S1 - S2. Ting, Burdick, Graybill, Jeyaratnam & Lu (1990) (from memory)."""
    tail = (1 - CONFIDENCE) / 2

    def f(p, d1, d2):
        return stats.f.ppf(p, d1, d2)

    g1 = 1 - df_one / stats.chi2.ppf(1 - tail, df_one)
    h1 = df_one / stats.chi2.ppf(tail, df_one) - 1
    g2 = 1 - df_other / stats.chi2.ppf(1 - tail, df_other)
    h2 = df_other / stats.chi2.ppf(tail, df_other) - 1
    high, low = f(1 - tail, df_one, df_other), f(tail, df_one, df_other)
    g12 = ((high - 1) ** 2 - g1**2 * high**2 - h2**2) / high
    h12 = ((1 - low) ** 2 - h1**2 * low**2 - g2**2) / low
    below = g1**2 * one**2 + h2**2 * other**2 + g12 * one * other
    above = h1**2 * one**2 + g2**2 * other**2 + h12 * one * other
    return one - other - np.sqrt(below), one - other + np.sqrt(above)


@pytest.mark.parametrize("seed", range(5))
def test_measurers_are_close_to_the_modified_large_sample_interval(seed):
    a, b, k = 6, 10, 2
    of = squares_of(seed, staff=a, subjects=b, rounds=k)
    one, other = of.measurer.square[0] * b * k / (a - 1), of.residual * k / of.df_residual
    expected = np.array(difference_interval(one, other, a - 1, of.df_residual)) / (b * k)
    ends = interval(draw(of, np.random.default_rng(0), N).measurer, CONFIDENCE)
    assert ends == pytest.approx(expected, rel=0.05, abs=0.02 * one / (b * k))


def test_no_interval_of_an_effect_is_wholly_at_zero():
    # staff who differ by far less than their error makes likely: the interval ends below zero
    layouts = (squares_of(s, staff=5, sd=(20, 0, 1, 4)) for s in range(400))
    of = min(layouts, key=lambda one: one.measurer.square.sum() / one.residual)
    by, rng = moments(of), np.random.default_rng(0)
    draws = draw(of, rng, N)
    assert np.quantile(draws.measurer, 0.95) < 0
    lifted = draw_lifted(of, by, draws, rng)
    error = of.measurer.error(by.interaction, by.repeat)[0, 0]
    # as if the sum of squares were a lower quartile; the error's own spread aside
    expected = error * (stats.chi2.ppf(0.25, 4) / stats.chi2.ppf(0.05, 4) - 1)
    assert np.quantile(lifted.measurer, 0.95) == pytest.approx(expected, rel=0.1)
    assert lifted.repeat is draws.repeat
    assert lifted.subject is draws.subject


def test_effects_that_are_seen_are_drawn_as_they_are():
    of = squares_of()
    draws = draw(of, np.random.default_rng(0), 100)
    assert draw_lifted(of, moments(of), draws, np.random.default_rng(1)) is draws


def test_what_cannot_be_told_is_blank_and_seeds_decide():
    of = squares_of(staff=1)
    draws = draw(of, np.random.default_rng(0), 100)
    assert np.isnan(draws.measurer).all()
    assert (draws.repeat > 0).all()
    full = squares_of()
    one, same, other = (draw(full, np.random.default_rng(s), 100).agreement for s in (1, 1, 2))
    assert (one == same).all()
    assert (one != other).any()
    assert ((one > 0) & (one < 1)).all()
