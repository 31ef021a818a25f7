"""Which variances could have given these sums of squares?

Generalised pivotal quantities (Weerahandi 1993, J. Am. Stat. Assoc. 88:899-905; for measuring
systems Burdick, Borror & Montgomery 2005, Design and Analysis of Gauge R&R Studies, chapters 3
and 8; both from memory): each sum of squares over a drawn chi-squared is a draw of what its
mean square is expected to be, and every function of the variances is drawn from these. In an
unbalanced layout the drawn variance of an effect is the one at which its weighted sum of
squared contrasts is the drawn chi-squared (Iyer, Wang & Mathew 2004, J. Am. Stat. Assoc.
99:1060-1071; from memory). Draws below zero are kept in sums and become zero by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy import special

from anthroqa.scores.components.mean_squares import Contrasts, Moments, Squares, effect
from anthroqa.scores.layout.cube import Array

DRAWS = 5000
_KNOTS = 513


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Drawn variances in squared steps; those of effects may be negative."""

    subject: Array
    measurer: Array
    interaction: Array  # with the repeat error in it where no cell has two readings
    repeat: Array

    @property
    def reproducibility(self) -> Array:
        """Variance of single readings of one subject by many people."""
        return np.maximum(self.measurer + self.interaction + self.repeat, 0.0)

    @property
    def agreement(self) -> Array:
        """Share of subjects in the variance of single readings by many people."""
        return _share(self.subject, self.reproducibility)

    @property
    def consistency(self) -> Array:
        """The same once the mean of each person is taken out."""
        return _share(self.subject, self.interaction + self.repeat)


def draw(of: Squares, rng: np.random.Generator, n: int) -> Draws:
    """`n` draws of each variance; NaN for those that the layout cannot tell."""
    drawn = [chi2(df, n, rng) for df in (
        of.df_repeat, of.df_residual, of.measurer.df, of.subject.df
    )]  # fmt: skip
    repeat = of.repeat / drawn[0] if of.df_repeat > 0 else np.full(n, np.nan)
    known = np.nan_to_num(repeat)
    nothing = np.full(n, np.nan)
    if not of.df_residual:
        return Draws(subject=nothing, measurer=nothing, interaction=nothing, repeat=repeat)
    interaction = of.residual / drawn[1] - (of.h * known if of.df_repeat > 0 else 0.0)
    measurer, subject = (
        effect(part, part.error(interaction, known), values) if part.df else nothing
        for part, values in ((of.measurer, drawn[2]), (of.subject, drawn[3]))
    )
    return Draws(subject=subject, measurer=measurer, interaction=interaction, repeat=known)


def draw_lifted(of: Squares, by: Moments, draws: Draws, rng: np.random.Generator) -> Draws:
    """The same draws, but no effect's sum of squares counts as less than a low one.

    By bad luck a sum of squares can be so small that the whole interval is zero: certainty,
    from nothing. It is lifted to the lower quartile of what the error alone gives. Intervals that
    would hold a variance well above zero do not come near this.
    """
    repeat, n, out = np.nan_to_num(by.repeat), len(draws.repeat), draws

    def low(df: int) -> float:
        return float(special.chdtri(df, 0.75))

    for name in ("measurer", "subject"):
        part: Contrasts = getattr(of, name)
        error = part.error(by.interaction, repeat)[:, 0]
        if part.df and error.all() and (part.square / error).sum() < low(part.df):
            square = part.count * error * low(part.df) / part.df
            more = draw(replace(of, **{name: replace(part, square=square)}), rng, n)
            out = replace(out, **{name: getattr(more, name)})
    least = of.h * repeat * low(of.df_residual) if of.df_residual else 0.0
    if of.residual < least:
        out = replace(out, interaction=draw(replace(of, residual=least), rng, n).interaction)
    return out


def _share(part: Array, rest: Array) -> Array:
    part, rest = np.maximum(part, 0.0), np.maximum(rest, 0.0)
    total = part + rest
    return np.divide(part, total, out=np.zeros_like(total), where=~(total <= 0))


def interval(draws: Array, confidence: float) -> tuple[float, float]:
    """The middle of the draws."""
    tail = (1 - confidence) / 2
    lower, upper = np.quantile(draws, [tail, 1 - tail])
    return float(lower), float(upper)


def chi2(df: int, n: int, rng: np.random.Generator) -> Array:
    """One value from each of `n` equal parts of chi-squared, in random order: quiet quantiles.

    The cube root is nearly normal (Wilson & Hilferty 1931, Proc. Natl. Acad. Sci. 17:684-688),
    so few exact quantiles and straight lines between them do: within 0.04 % from the 1st
    percentile up, on 1 df; far closer on more.
    """
    return rng.permutation(_quantiles(df, n)) if df > 0 else np.full(n, np.nan)


@lru_cache(maxsize=64)
def _quantiles(df: int, n: int) -> Array:
    normal = special.ndtri((np.arange(n) + 0.5) / n)
    knots = np.linspace(normal[0], normal[-1], _KNOTS)
    return np.interp(normal, knots, np.cbrt(special.chdtri(df, special.ndtr(-knots)))) ** 3
