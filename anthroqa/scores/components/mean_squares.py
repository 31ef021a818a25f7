"""What do the sums of squares of a layout say, where cells are missing or of unequal size?

Unweighted cell means (Burdick & Graybill 1992, Confidence Intervals on Variance Components,
chapters 6 and 7; from memory). An effect is estimated within the other one, as in a block
design: with the eigenvectors of its information matrix as contrasts, the estimates are
independent and of variance `effect + error / d`, d the eigenvalue (Searle, Casella & McCulloch
1992, Variance Components; from memory). In a complete layout all d are equal, and these are
the mean squares of the two-way analysis of variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.scores.layout.cells import Cells, basis
from anthroqa.scores.layout.cube import Array, Counts

_PAIRS = 20.0  # a shift seen within so many pairs is taken as known when cells are compared
_NOTHING = 1e-9  # squared steps a df: what arithmetic leaves of equal readings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrasts:
    """Independent contrasts of one effect; each has the variance `effect + error`.

    `error` is (interaction + h * repeat) / d. Those with the same error are held as one.
    """

    square: Array  # sum of the squared contrasts with the same d and h
    count: Counts  # how many those are
    d: Array
    h: Array  # mean of 1 / readings over the cells of the contrast

    @property
    def df(self) -> int:
        """How many contrasts there are in all."""
        return int(self.count.sum())

    def error(self, interaction: Array | float, repeat: Array | float) -> Array:
        """Error variances (contrasts x draws), above 0 whatever was drawn."""
        interaction, repeat = np.atleast_1d(interaction), np.atleast_1d(repeat)
        of_repeat = np.outer(self.h, repeat)
        least = 0.1 * (np.abs(interaction) + of_repeat)
        return np.maximum(interaction + of_repeat, least) / self.d[:, None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Squares:
    """Sums of squares of a layout, in squared steps, with their df."""

    measurer: Contrasts
    subject: Contrasts
    residual: float  # of cell means about person + subject
    df_residual: int
    h: float  # the residual mean square is interaction + h * repeat
    repeat: float  # of readings about cell means and rounds
    df_repeat: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """Variances from mean squares, in squared steps; may be negative. NaN cannot be had."""

    subject: float
    measurer: float
    interaction: float  # with the repeat error in it where no cell has two readings
    repeat: float


def squares(cells: Cells) -> Squares:
    """Sums of squares of the cells, whatever is missing."""
    size, turned = np.linalg.eigh(cells.within)
    there = size > 1e-9 * max(size.max(initial=0.0), 1.0)
    along = turned.T @ cells.within_y
    repeat = cells.within_squares - float((along[there] ** 2 / size[there]).sum())
    df = int((cells.n - 1).sum() - there.sum())
    share = 1 / cells.n if df > 0 else np.ones(len(cells.n))
    known = size >= _PAIRS
    shift = cells.fixed @ (turned[:, known] @ (along[known] / size[known]))
    parts = _complete(cells, share) or _swept(
        cells, cells.y - shift, basis(cells.fixed @ turned[:, ~known]), share
    )
    measurer, subject, residual, df_residual, h = parts
    return Squares(
        measurer=measurer, subject=subject, residual=residual, df_residual=df_residual, h=h,
        repeat=_clean(repeat, df), df_repeat=df,
    )  # fmt: skip


_Parts = tuple[Contrasts, Contrasts, float, int, float]


def _complete(cells: Cells, share: Array) -> _Parts | None:
    """The parts of a layout of equal cells, from means; None where another one is given.

    What is fixed must be the same for everybody on a subject: then it is a matter of the subjects.
    """
    people, subjects = int(cells.staff.max()) + 1, int(cells.subject.max()) + 1
    if len(cells.y) != people * subjects or (cells.n != cells.n[0]).any():
        return None
    fixed = cells.fixed.reshape(people, subjects, -1)
    kinds = len(np.unique(np.round(fixed[0], 9), axis=0))
    if kinds not in (1, subjects) or not np.allclose(fixed, fixed[:1]):
        return None
    y, h = cells.y.reshape(people, subjects), float(share[0])
    own, child = y.mean(axis=1) - y.mean(), y.mean(axis=0) - y.mean()
    off = y - y.mean() - own[:, None] - child
    free = subjects - 1 if kinds == 1 else 0  # nothing is left of subjects that are fixed
    df = (people - 1) * (subjects - 1)
    return (
        _alike(own, people - 1, subjects, h), _alike(child, free, people, h),
        _clean(float((off**2).sum()), df), df, h if df else np.nan,
    )  # fmt: skip


def _alike(means: Array, df: int, d: int, h: float) -> Contrasts:
    """So many contrasts of means that all have the same error."""
    some = np.ones(min(df, 1))
    square = (means**2).sum() * some
    square[square < _NOTHING] = 0.0
    return Contrasts(square=square, count=df * some.astype(np.int64), d=d * some, h=h * some)


def _swept(cells: Cells, y: Array, left: Array, share: Array) -> _Parts:
    """The parts of any layout, each effect swept of the others and of what is fixed."""
    person, child = cells.person, cells.child
    every = basis(np.hstack([left, child, person]))
    off = y - every @ (every.T @ y)
    free = 1 - (every**2).sum(axis=1)
    df = len(y) - every.shape[1]
    return (
        _between(y, person, np.hstack([left, child]), share),
        _between(y, child, np.hstack([left, person]), share),
        _clean(float(off @ off), df), df,
        float((free * share).sum() / df) if df else np.nan,
    )  # fmt: skip


def moments(of: Squares) -> Moments:
    """Variances by equating mean squares to what they are expected to be."""
    repeat = of.repeat / of.df_repeat if of.df_repeat > 0 else np.nan
    if not of.df_residual:
        return Moments(subject=np.nan, measurer=np.nan, interaction=np.nan, repeat=repeat)
    known = np.nan_to_num(repeat)
    both = of.residual / of.df_residual
    interaction = both - (of.h * known if of.df_repeat > 0 else 0.0)
    measurer, subject = (
        float(effect(part, part.error(interaction, known), part.df)[0]) if part.df else np.nan
        for part in (of.measurer, of.subject)
    )  # fmt: skip
    return Moments(subject=subject, measurer=measurer, interaction=interaction, repeat=repeat)


def effect(of: Contrasts, error: Array, chi2: Array | float) -> Array:
    """The variance v of each draw at which the sum of squares / (v + error) is `chi2`.

    It may be negative. One over that sum is concave in v, so Newton's steps from the left never
    pass the root; where all errors are equal the first step is exact.
    """
    square, lowest = of.square[:, None], -error.min(axis=0)
    if not square.any():
        return lowest
    target = 1 / np.broadcast_to(np.asarray(chi2, dtype=float), lowest.shape)
    variance = np.maximum((square * target - error).max(axis=0), lowest)
    for _ in range(30):
        room = np.maximum(variance + error, 1e-12 * error)
        weight = square / room
        total = weight.sum(axis=0)
        step = (target - 1 / total) * total**2 / (weight / room).sum(axis=0)
        variance = variance + step
        if (np.abs(step) <= 1e-8 * (np.abs(variance) - lowest)).all():
            break
    return variance


def contrasts(z: Array, d: Array, h: Array) -> Contrasts:
    """Contrasts given one by one; those whose error is the same are put together."""
    kind, which, count = np.unique(
        np.round(np.stack([d, h], axis=1), 9), axis=0, return_inverse=True, return_counts=True
    )
    square = np.bincount(which.ravel(), z**2, minlength=len(kind))
    square[square < _NOTHING] = 0.0
    return Contrasts(square=square, count=count, d=kind[:, 0], h=kind[:, 1])


def _between(y: Array, own: Array, others: Array, share: Array) -> Contrasts:
    """Contrasts of one effect within the others."""
    q = basis(others)
    swept = own - q @ (q.T @ own)
    d, turned = np.linalg.eigh(swept.T @ swept)
    there = d > 1e-6
    d, g = d[there], swept @ turned[:, there]
    return contrasts(g.T @ y / d, d, (g**2).T @ share / d)


def _clean(total: float, df: int) -> float:
    return total if total > _NOTHING * max(df, 1) else 0.0
