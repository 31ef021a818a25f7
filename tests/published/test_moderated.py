"""Moderated variances against the published equations and an independent way to the prior.

Smyth (2004) Stat. Appl. Genet. Mol. Biol. 3(1):3: the posterior mean of section 3, s~2 =
(d0 s0^2 + d s^2) / (d0 + d); the moments of section 6.2 (trigamma(d0 / 2) = mean of (e - mean e)^2
n / (n - 1) less trigamma(d / 2), s0^2 = exp(mean e + digamma(d0 / 2) - log(d0 / 2))); and the
theorem of section 3 that s^2 / s0^2 is F on d and d0. The paper's tables are not typed in (they
need its data); what is checked are its equations.
"""

import math

import numpy as np
import pytest
from scipy import stats

from anthroqa.program.staff.moderation import posterior, prior, trigamma_inverse


def trigamma(x, terms=20_000):
    """By its series, with the tail of Euler and Maclaurin."""
    k = x + np.arange(terms)
    end = x + terms
    return float((1 / k**2).sum() + 1 / end + 1 / (2 * end**2) + 1 / (6 * end**3))


def digamma(x):
    """By the recurrence up to 40 and Stirling's series."""
    down = sum(1 / (x + i) for i in range(40))
    y = x + 40
    return math.log(y) - 1 / (2 * y) - 1 / (12 * y**2) + 1 / (120 * y**4) - down


@pytest.mark.parametrize("y", [0.3, 1.0, 4.5, 60.0])
def test_trigamma_inverse_undoes_trigamma(y):
    assert trigamma_inverse(trigamma(y)) == pytest.approx(y, rel=1e-6)


def test_trigamma_at_one_is_pi_squared_over_six():
    # Abramowitz & Stegun 6.4.2 with 23.2.24: psi'(1) = pi^2 / 6
    assert trigamma_inverse(math.pi**2 / 6) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_prior_solves_the_equations_of_section_6_2(seed):
    rng = np.random.default_rng(seed)
    df = rng.integers(6, 20, 14).astype(float)
    true = 2.0 * 5 / rng.chisquare(5, 14)
    variance = true * rng.chisquare(df) / df
    d0, s0 = prior(variance, df)
    e = [math.log(v) - digamma(d / 2) + math.log(d / 2) for v, d in zip(variance, df, strict=True)]
    mean = sum(e) / len(e)
    spread = sum((x - mean) ** 2 for x in e) / (len(e) - 1)
    left = spread - sum(trigamma(d / 2) for d in df) / len(df)
    assert left > 0
    assert trigamma(d0 / 2) == pytest.approx(left, rel=1e-6)
    assert math.log(s0) == pytest.approx(mean + digamma(d0 / 2) - math.log(d0 / 2), rel=1e-9)


def test_posterior_is_the_weighted_mean_of_section_3():
    # by hand: (4 x 1 + 10 x 2.4) / 14 = 2
    assert posterior(2.4, 10, 4.0, 1.0) == pytest.approx(2.0)


def test_prior_is_found_again_and_near_the_one_of_greatest_likelihood():
    """2,000 variances: within 4 standard errors of the truth, and of a maximum over a grid."""
    rng = np.random.default_rng(3)
    d0, s0, d = 8.0, 1.7, 10.0
    variance = s0 * stats.f.rvs(d, d0, size=2000, random_state=rng)
    found = prior(variance, np.full(2000, d))
    grid0, grids = np.linspace(5, 13, 81), np.linspace(1.4, 2.0, 61)
    fit = [
        (stats.f.logpdf(variance / s, d, a).sum() - 2000 * math.log(s), a, s)
        for a in grid0 for s in grids
    ]  # fmt: skip
    _, best0, bests = max(fit)
    # the spread of the estimate over samples: 0.6 to 0.7 in d0, 0.03 in s0 (drawn 200 times)
    assert found[0] == pytest.approx(d0, abs=4 * 0.7)
    assert found[1] == pytest.approx(s0, abs=4 * 0.03)
    assert found[0] == pytest.approx(best0, abs=4 * 0.7)
    assert found[1] == pytest.approx(bests, abs=4 * 0.03)


def test_a_posterior_variance_and_the_next_one_are_f():
    """Section 3: given s^2 the true variance is scaled inverse chi-squared on d0 + d."""
    rng = np.random.default_rng(5)
    d0, d, s0, n = 6.0, 9.0, 1.0, 400_000
    true = s0 * d0 / rng.chisquare(d0, n)
    seen = true * rng.chisquare(d, n) / d
    after = true * rng.chisquare(12, n) / 12
    high = (seen > 2.0) & (seen < 2.2)  # picked for a high one
    ratio = after[high] / np.array([posterior(s, d, d0, s0) for s in seen[high]])
    m = int(high.sum())
    for share in (0.05, 0.5, 0.95):
        below = (ratio < stats.f.ppf(share, 12, d0 + d)).mean()
        assert below == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / m))
