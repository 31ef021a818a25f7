"""Predictions against simulation of the model, and quantiles against their own chances."""

import math

import numpy as np
import pytest
from scipy import stats

from anthroqa.program.staff import luck


def test_a_quantile_has_its_chance_below_it():
    rng = np.random.default_rng(1)
    variance, df = rng.chisquare(9, 12) / 9, np.full(12, 9.0)
    square = luck.of_repeat_error(variance, df, 3, 18.0)
    moved = luck.of_difference(rng.standard_normal(12), np.full(12, 0.4), 2, 0.3, 20.0)
    for found in (square, moved):
        ends = [found.quantile(q) for q in (0.05, 0.5, 0.95)]
        assert ends == sorted(ends)
        assert [found.below(e) for e in ends] == pytest.approx([0.05, 0.5, 0.95], abs=1e-6)


def test_what_luck_gives_lies_between_own_and_staff():
    variance = np.array([4.0, *[1.0] * 11])
    found = luck.of_repeat_error(variance, np.full(12, 9.0), 0, 18.0)
    assert 1.0 < found.quantile(0.5) < 4.0
    moved = luck.of_difference(np.array([3.0, *[0.0] * 11]), np.full(12, 1.0), 0, 0.5, 22.0)
    assert 0.0 < moved.quantile(0.5) < 3.0


def test_where_much_is_known_it_is_the_own_figure():
    variance, df = np.array([4.0, *np.exp(np.linspace(-1, 1, 11))]), np.full(12, 4000.0)
    assert luck.of_repeat_error(variance, df, 0, 4000.0).quantile(0.5) == pytest.approx(4, rel=0.02)
    mean = np.linspace(-3, 3, 12)
    found = luck.of_difference(mean, np.full(12, 1e-4), 11, 1e-4, 500.0)
    assert found.quantile(0.5) == pytest.approx(3.0, abs=0.01)


@pytest.mark.parametrize("spread", [0.0, 0.3, 0.6])
def test_the_next_square_of_the_highest_is_beyond_its_tail_as_often_as_said(spread):
    """Whatever the staff differ by: at most 5 % and the band below the lower 5 % point."""
    rng, n = np.random.default_rng(2), 400
    d, after = 9.0, 9.0
    low = 0
    for _ in range(n):
        true = np.exp(2 * spread * rng.standard_normal(12))
        seen = true * rng.chisquare(d, 12) / d
        top = int(seen.argmax())
        came = true[top] * rng.chisquare(after) / after
        low += luck.of_repeat_error(seen, np.full(12, d), top, after).below(came) <= 0.05
    assert low / n <= 0.06 + 4 * math.sqrt(0.06 * 0.94 / n)


@pytest.mark.parametrize("spread", [0.0, 1.0, 3.0])
def test_the_next_difference_of_the_farthest_too(spread):
    rng, n = np.random.default_rng(3), 400
    low = 0
    for _ in range(n):
        true = spread * rng.standard_normal(12)
        seen = true + rng.standard_normal(12)
        far = int(np.abs(seen).argmax())
        came = true[far] + rng.standard_normal()
        found = luck.of_difference(seen, np.ones(12), far, 1.0, 1e6)
        side = np.sign(found.quantile(0.5))
        low += (found.below(came) if side > 0 else 1 - found.below(came)) <= 0.05
    assert low / n <= 0.06 + 4 * math.sqrt(0.06 * 0.94 / n)


def test_the_law_of_a_square_is_f_where_the_staff_are_alike():
    """A single spread of zero: chi-squared on the new df about the place."""
    one = luck.Prediction.of(np.ones(1), np.array([2.0]), np.ones(1), np.array([np.inf]), 9.0)
    for share in (0.05, 0.5, 0.9):
        assert one.quantile(share) == pytest.approx(2 * stats.chi2.ppf(share, 9) / 9, rel=1e-6)


def test_with_many_staff_the_next_square_is_f_about_the_weighted_mean():
    """400 staff whose spread is then known: Smyth (2004), section 3, by its own formula."""
    rng, d0, d = np.random.default_rng(4), 8.0, 9.0
    true = d0 / rng.chisquare(d0, 400)
    seen = true * rng.chisquare(d, 400) / d
    seen[0] = 4.0
    found = luck.of_repeat_error(seen, np.full(400, d), 0, 12.0)
    place = (d0 * 1.0 + d * 4.0) / (d0 + d)
    for share in (0.05, 0.5, 0.95):
        # the grid of spreads and the draw of 400 leave the place known to some 6 %
        assert found.quantile(share) == pytest.approx(
            place * stats.f.ppf(share, 12, d0 + d), rel=0.12
        )
