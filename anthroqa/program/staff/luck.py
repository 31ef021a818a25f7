"""What would luck alone give next time, after all that a person and the staff showed before?

Predictions for one person's next figure from a model of the staff, made of everybody: a repeat
error whose variances are scaled inverse chi-squared (Smyth 2004 Stat. Appl. Genet. Mol. Biol. 3:3),
a difference that is normal (Efron & Morris 1975 J. Am. Stat. Assoc. 70:311-319, from memory). How
much staff differ is never known well from a dozen of them: each spread counts by how
likely it makes what was seen, spreads from none to large are taken alike beforehand, and none
at all as much as the others together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array

_SPREADS = np.arange(0.0, 1.6, 0.15)  # SD of log variances, about root(2 / prior df)
_PLACES = np.linspace(-1.5, 1.5, 61)  # of the prior's log variance, round the pooled one
_APART = np.r_[0.0, np.geomspace(0.25, 32.0, 22)]  # SD of differences, in errors of one's mean
_FINE = 1e-9
_NOTHING = 1e-6
_NONE = 0.5  # weight of no spread at all beforehand


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """A mixture of distributions of one figure to come."""

    weights: Array
    place: Array  # of the mean square, or of the difference
    scale: Array  # of the difference; 1 for mean squares
    df: Array  # of F's second part, or of t
    own_df: float  # of the mean square to come; NaN for a difference

    @classmethod
    def of(
        cls, weights: Array, place: Array, scale: Array, df: Array, own_df: float = np.nan
    ) -> Prediction:
        """The mixture without what counts for nothing."""
        kept = weights > _NOTHING * weights.max()
        w = weights[kept]
        return cls(
            weights=w / w.sum(), place=place[kept], scale=scale[kept], df=df[kept], own_df=own_df
        )

    def below(self, value: float) -> float:
        """The chance of a figure at or under `value`."""
        if np.isnan(self.own_df):
            part = special.stdtr(self.df, (value - self.place) / self.scale)
        else:
            part = special.fdtr(self.own_df, np.minimum(self.df, 1e9), value / self.place)
        return float(self.weights @ part)

    def quantile(self, share: float) -> float:
        """The figure that so many are under (false position, Illinois rule)."""
        if np.isnan(self.own_df):
            away = 50 * (np.abs(self.scale).max() + np.ptp(self.place))
            low, high = self.place.min() - away, self.place.max() + away
        else:
            low, high = 0.0, 1e3 * self.place.max()
        return _root(lambda value: self.below(value) - share, low, high)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function is zero, first by halving, then by false position."""
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (low, middle) if rising(middle) > 0 else (middle, high)
    at_low, at_high = rising(low), rising(high)
    side = 0
    for _ in range(60):
        if at_high == at_low or high - low < _FINE * (abs(low) + abs(high)):
            break
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at = rising(middle)
        if at > 0:
            high, at_high = middle, at
            at_low, side = (at_low / 2 if side == 1 else at_low), 1
        else:
            low, at_low = middle, at
            at_high, side = (at_high / 2 if side == -1 else at_high), -1
        if abs(at) < _FINE:
            return middle
    return (low + high) / 2


def of_repeat_error(
    variance: Array, df: Array, own: int, after_df: float, *, alike: float = _NONE
) -> Prediction:
    """The next mean square of person `own`, from everybody's mean squares.

    `alike` is the weight of no spread beforehand: much of it keeps from calling luck a gain.
    """
    log_likelihood, d0, s0 = _marginal(variance, df)
    first = np.where(np.isinf(d0), alike, (1 - alike) / (len(_SPREADS) - 1))
    weights = np.exp(log_likelihood - log_likelihood.max()) * first
    finite = np.where(np.isinf(d0), 0.0, d0)
    mixed = np.where(np.isinf(d0), s0, (finite * s0 + df[own] * variance[own]) / (finite + df[own]))
    return Prediction.of(weights, mixed, np.ones(len(d0)), d0 + df[own], after_df)


def _marginal(variance: Array, df: Array) -> tuple[Array, Array, Array]:
    """Log likelihood, df and variance of each prior on the grid: mean squares are F x variance."""
    centre = np.log((df * variance).sum() / df.sum())
    spread, place = (a.ravel() for a in np.meshgrid(_SPREADS, centre + _PLACES))
    with np.errstate(divide="ignore"):
        d0 = 2 / spread**2
    s0 = np.exp(place)
    ratio = df * variance / s0[:, None]  # chi-squared where all are alike
    d = np.where(np.isinf(d0), 1.0, d0)[:, None]
    of_f = (
        special.gammaln((df + d) / 2) - special.gammaln(d / 2) + df / 2 * np.log(ratio / d)
        - (df + d) / 2 * np.log1p(ratio / d)
    )  # fmt: skip
    of_chi = df / 2 * np.log(ratio / 2) - ratio / 2
    return np.where(np.isinf(d0)[:, None], of_chi, of_f).sum(axis=1), d0, s0


def of_difference(
    mean: Array, variance: Array, own: int, after_variance: float, df: float
) -> Prediction:
    """The next difference of person `own`, from everybody's means and the variances of these."""
    spread = _APART * np.sqrt(np.median(variance))
    total = variance + spread[:, None] ** 2
    w = 1 / total
    centre = (w @ mean) / w.sum(axis=1)
    log_likelihood = -0.5 * (
        np.log(total).sum(axis=1) + np.log(w.sum(axis=1))
        + (w * (mean - centre[:, None]) ** 2).sum(axis=1)
    )  # fmt: skip
    first = np.where(spread == 0, _NONE, (1 - _NONE) / (len(spread) - 1))
    weights = np.exp(log_likelihood - log_likelihood.max()) * first
    part = variance[own] / total[:, own]  # what is the staff's
    place = part * centre + (1 - part) * mean[own]
    known = (1 - part) * variance[own] + part**2 / w.sum(axis=1)
    return Prediction.of(weights, place, np.sqrt(known + after_variance), np.full(len(spread), df))
