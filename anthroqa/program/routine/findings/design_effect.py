"""How much less do readings say that were taken on the same days?

A person who leans on a busy day leans in all readings of that day. With a_d of the n_d records of
a person's day on a mark, S the sum of n_d squared, p the share and rho the intra-day correlation,

    E sum a_d^2 = n p (1 - p) + p^2 S + rho p (1 - p) (S - n),

so the tally's squares give rho by moments, of each person. What one person's days say is drawn
towards the median person, the more the fewer pairs of readings of one day they have, and is not
taken to be under it. The design effect is 1 + rho (S / n - 1): Kish (1965), Survey Sampling,
section 5.4 (from memory).

Squares are counted position by position, and a mark has several positions. How they vary together
is not in the tally: a day's leaning to one way of reading (`exclusive`) is assumed to fall on all
its positions alike, and variances of the ways, none under 0, are fitted to the positions.

Where days are not counted, months stand in for them: the squared deviations of a person's months
over what a steady share would give (McCullagh & Nelder 1989, section 4.5, from memory), drawn
towards the median person (with few months, towards all together) in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.program.routine.findings.exclusive import Ways, ways
from anthroqa.program.routine.findings.groups import ALL, FEWEST, ON_A_MARK, Cells
from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.layout.figures import ratio

BY_DAY, BY_MONTH, NEITHER = "day", "month", "neither"
_SWEEPS = 200  # of fitting variances
_LEAST_DF = 10  # months less people, below which months say nothing; common practice, no source
_LONG, _PEOPLE = 5, 6  # months less one, and people with them, for a median; no source
_MANY = 1e6  # degrees of freedom as good as without end
_PAIRS, _MONTHS = 500, 10  # what the typical figure is worth beside one's own; no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Days:
    """What the days of some people or sites say: variances of ways between days, and sums."""

    n: Counts
    pairs: Counts  # pairs of records of one day, counted both ways
    share: Array  # who x positions, of the records
    extra: Array  # who x positions: a pair's covariance beyond that of independent readings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clustering:
    """How alike the readings of a typical person's day, and month, are: in one measure, by mark."""

    rho: Array | None  # intra-day correlation
    by_month: Array | None  # variance of months over that of a steady share
    allows_for: str  # `day`, `month` or neither

    def effects(self, cells: Cells, level: str) -> Array:
        """Design effects of each on their own readings (who x marks, the coarse ones)."""
        assert cells.cycle is not None
        who, told = cells.by(level)[0], ways(cells.cycle)
        if self.rho is not None:
            days = _days(cells, level)
            own = _correlations(days.extra, days.share, told)
            rho = _drawn(own, days.pairs[:, None] / _noise(told) ** 2, self.rho, _PAIRS)
            return 1 + rho * (days.pairs / np.maximum(days.n, 1))[:, None]
        if self.by_month is not None:
            own, df = _months(cells, level, told)
            return _drawn(own, df[:, None], self.by_month, _MONTHS)
        return np.ones((len(who), len(cells.marks)))

    def typical(self, cells: Cells, level: str) -> Array:
        """Design effects if everybody's days, or months, were those of the median person."""
        who = cells.by(level)[0]
        if self.rho is not None:
            days = _days(cells, level)
            return 1 + self.rho * (days.pairs / np.maximum(days.n, 1))[:, None]
        pooled = np.ones(len(cells.marks)) if self.by_month is None else self.by_month
        return np.broadcast_to(pooled, (len(who), len(cells.marks)))

    def df(self, cells: Cells, level: str) -> Array:
        """Days of each less one: what the design effect of an interval is learnt from."""
        who, code = cells.by(level)
        if self.rho is None or "days" not in cells.sums:
            return np.full(len(who), _MANY)
        days = cells.sum("days", cells.of_kind(ALL), (code, len(who)))
        return np.maximum(days - 1.0, 1.0)


def clustering(cells: Cells) -> Clustering:
    """What the typical person of a measure shows."""
    assert cells.cycle is not None
    told = ways(cells.cycle)
    by_day = _by_day(cells, told) if "squares" in cells.sums else None
    if by_day is not None:
        return Clustering(rho=by_day, by_month=None, allows_for=BY_DAY)
    by_month = _by_month(cells, told)
    said = NEITHER if by_month is None else BY_MONTH
    return Clustering(rho=None, by_month=by_month, allows_for=said)


def _drawn(own: Array, worth: Array, typical: Array, typical_worth: float) -> Array:
    """Own figures drawn towards the typical one by what both are worth, and not under it."""
    drawn = (worth * own + typical_worth * typical) / (worth + typical_worth)
    return np.maximum(drawn, typical)


def _by_day(cells: Cells, told: Ways) -> Array | None:
    """Intra-day correlation of standing on each coarse mark, of the median person."""
    days = _days(cells, "measurer")
    use = (days.n >= FEWEST) & (days.pairs > 0)
    if not use.any():
        return None
    return np.median(_correlations(days.extra[use], days.share[use], told), axis=0)


def _by_month(cells: Cells, told: Ways) -> Array | None:
    """Variance of months over that of a steady share, of the median person; 1 and more."""
    own, df = _months(cells, "measurer", told)
    if df.sum() < _LEAST_DF:
        return None
    long = df >= _LONG
    if long.sum() < _PEOPLE:
        return np.maximum(df @ own / df.sum(), 1)
    # the median of chi-squared on its df: Wilson & Hilferty (1931)
    return np.maximum(np.median(own[long] / (1 - 2 / (9 * df[long, None])) ** 3, axis=0), 1)


def _days(cells: Cells, level: str) -> _Days:
    """Sums by position of one level."""
    who, code = cells.by(level)
    n, squares = (
        cells.sum(c, cells.of_kind(ALL), (code, len(who)))[:, None] for c in ("n", "squares")
    )
    p = cells.positions("n", level) / np.maximum(n, 1)
    apart = p * (1 - p) * n / np.maximum(n - 1, 1)  # unbiased where readings are independent
    base = n * apart + squares * (p**2 - apart / np.maximum(n, 1))
    pairs = np.maximum(squares - n, 0)
    extra = np.where(pairs > 0, cells.positions("squares", level) - base, 0) / np.maximum(pairs, 1)
    return _Days(n=n[:, 0], pairs=pairs[:, 0], share=p, extra=extra)


def _correlations(extra: Array, share: Array, told: Ways) -> Array:
    """Correlation of standing on each coarse mark, from covariances at the positions."""
    spread = _spread_of_ways(extra, told)
    marks = np.array(told.marks[1:])
    together = spread @ ((told.on[1:] - 1 / marks[:, None]) ** 2).T[1:]
    on = np.stack([share[:, ::mark].sum(axis=1) for mark in marks], axis=1)
    apart = on * (1 - on)
    return np.clip(np.divide(together, apart, out=np.zeros_like(on), where=apart > 0), 0, 1)


def _design(told: Ways) -> Array:
    """What a variance of one of each way makes of the variance at each position."""
    cycle = len(told.of_position)
    position = np.arange(cycle)[:, None]
    marks = np.array(told.marks[1:])
    return ((position % marks == 0) * marks / cycle - 1 / cycle) ** 2


def _spread_of_ways(extra: Array, told: Ways) -> Array:
    """Variances between days of the share of each coarse way, fitted to the positions."""
    design = _design(told)
    square, right = design.T @ design, extra @ design
    fitted = np.zeros(right.shape)
    for _ in range(_SWEEPS):  # least squares, none under 0, one at a time
        for j in range(right.shape[1]):
            step = (right[:, j] - fitted @ square[:, j]) / square[j, j]
            fitted[:, j] = np.maximum(fitted[:, j] + step, 0.0)
    return fitted


def _noise(told: Ways) -> Array:
    """Standard error of a mark's correlation over that of the whole mark's, from even positions."""
    cycle, marks = len(told.of_position), np.array(told.marks[1:])
    one = (1 - 1 / cycle) / cycle
    return (marks - 1) * one / np.sqrt((_design(told) ** 2).sum(axis=0))


def _months(cells: Cells, level: str, told: Ways) -> tuple[Array, Counts]:
    """Variance of the months of each over that of a steady share (who x marks), and months - 1."""
    who, code = cells.by(level)
    periods = cells.names["period"]
    dated = np.array([p != "" for p in periods])
    at = cells.sum(
        "n", cells.of_kind(ON_A_MARK) & dated[cells.codes["period"]], (code, len(who)),
        (cells.codes["period"], len(periods)), (cells.sums["position"], len(told.of_position)),
    )  # fmt: skip
    n = at.sum(axis=2)
    df = np.maximum((n > 0).sum(axis=1) - 1, 0)
    out = np.ones((len(who), len(told.marks) - 1))
    for j, mark in enumerate(told.marks[1:]):
        on = at[:, :, ::mark].sum(axis=2)
        p = ratio(on.sum(axis=1), n.sum(axis=1))[:, None]
        squares = ratio((on - n * p) ** 2, n * p * (1 - p))
        out[:, j] = np.where(df > 0, np.nansum(squares, axis=1) / np.maximum(df, 1), 1)
    return out, df
