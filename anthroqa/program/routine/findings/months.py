"""In which months did something change: a new scale, a new habit?

`by_month`: of the readings of each month, the share that stands on each coarse mark (a careful
reader puts one in m there, m the mark in steps), beside the limits of a chart for shares. Limits
are three standard errors of a binomial, times the spread that months have beyond it: Laney (2002)
Qual. Eng. 14:531-537 (from memory), from the mean moving range of standardised shares over 1.128,
not under 1. With thousands of readings a month even a steady site would else be outside.

`changes`: one change of a share somewhere between two months, by likelihood; both sides have two
months and fifty readings or more. The statistic of each place is divided by the variance of
months about their side over that of a binomial (that of all groups of a level together or the
group's own, whichever is larger, not under 1), held against chi-squared on one df, and multiplied
by the number of places; Holm (1979) over all groups and kinds of change. Told is what is then at
most 1 in 100: months that differ have heavier tails than chi-squared, and at 1 in 20 one steady
program in twelve had a change (`tests/calibration`). Only changes of five points or more are
told, the strongest mark of each.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.notes.cells import worded
from anthroqa.notes.program.routine import Months
from anthroqa.program.routine.findings.behind_changes import (
    COMB,
    NOT_READINGS,
    OFF_STEP,
    looked_up,
)
from anthroqa.program.routine.findings.groups import (
    ALL,
    FEWEST,
    LEVELS,
    NOT_READ,
    ON_A_MARK,
    Cells,
    cells,
)
from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.layout.figures import check_confidence, notes, ratio
from anthroqa.scores.marks.screening import holm

COLUMNS = ["measure", "level", "who", "mark", "period", "n", "share", "centre", "low", "high",
           "note"]  # fmt: skip
CHANGES = ["measure", "level", "who", "mark", "period", "before", "after", "lower", "upper",
           "p_value", "adjusted", "note"]  # fmt: skip
TOLD_AT = 0.01
POINTS = 0.05  # a change below that is not told; common practice, no source
_SIGMAS, _PER_RANGE = 3.0, 1.128  # limits; mean moving range of two over sigma
_LEAST = 4  # months for limits, and for a change: two on each side


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Series:
    """Shares by month of one kind: arrays are who x periods."""

    mark: str
    level: str
    who: tuple[str, ...]
    n: Counts
    on: Counts


def _series(c: Cells, level: str, *, marks_only: bool) -> Iterator[_Series]:
    """What is followed by month at one level: each mark, the comb, and what was no reading."""
    who, code = c.by(level)
    periods = [i for i, p in enumerate(c.names["period"]) if p]
    every = (code, len(who)), (c.codes["period"], len(c.names["period"]))
    read = c.of_kind(ON_A_MARK)
    shared = {"level": level, "who": who}
    n = c.sum("n", read, *every)[:, periods]
    if c.cycle is not None:
        at = c.sum("n", read, *every, (c.sums["position"], c.cycle))[:, periods]
        for mark, name in c.marks.items():
            yield _Series(mark=name, n=n, on=at[:, :, ::mark].sum(axis=2), **shared)
    if marks_only:
        return
    if "on_comb" in c.sums:
        yield _Series(mark=COMB, n=n, on=c.sum("on_comb", read, *every)[:, periods], **shared)
    total = c.sum("n", c.of_kind(ALL), *every)[:, periods]
    for name, kinds in ((OFF_STEP, NOT_READ[:1]), (NOT_READINGS, NOT_READ[1:])):
        on = sum(c.sum("n", c.of_kind(kind), *every)[:, periods] for kind in kinds)
        yield _Series(mark=name, n=total, on=on, **shared)


def by_month(counts: pd.DataFrame, *, levels: tuple[str, ...] = LEVELS) -> pd.DataFrame:
    """Shares of the readings of each month that stand on each mark, with limits.

    Parameters
    ----------
    counts : pandas.DataFrame
        A tally of routine records. Undated readings are left out.
    levels : tuple of str, optional
        Of `everybody`, `site`, `instrument`, `measurer`.

    Returns
    -------
    pandas.DataFrame
        `measure, level, who, mark, period, n, share, centre, low, high, note`: a row a mark and
        period with readings. `centre` is the share of all periods; limits are blank under four
        periods, and `note` says where a share is outside them.
    """
    return worded(month_rows(cells(counts), levels=levels))


def month_rows(measures: Iterable[Cells], *, levels: tuple[str, ...] = LEVELS) -> pd.DataFrame:
    """The same, with codes in `note`."""
    parts = [
        _points(c, s)
        for c in measures for level in LEVELS if level in levels
        for s in _series(c, level, marks_only=True)
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=COLUMNS)


def _points(c: Cells, s: _Series) -> pd.DataFrame:
    share = ratio(s.on, s.n)
    centre = ratio(s.on.sum(axis=1), s.n.sum(axis=1))[:, None]
    error = np.sqrt(centre * (1 - centre) * ratio(1, s.n))
    spread = _beyond_binomial(ratio(share - centre, error), s.n > 0)[:, None]
    half = np.where(((s.n > 0).sum(axis=1) >= _LEAST)[:, None], _SIGMAS * spread * error, np.nan)
    low, high = np.maximum(centre - half, 0), np.minimum(centre + half, 1)
    at, period = np.nonzero(s.n > 0)
    dated = np.array([p for p in c.names["period"] if p], dtype=object)
    point = share[at, period], low[at, period], high[at, period]
    return pd.DataFrame({
        "measure": c.measure, "level": s.level, "who": np.array(s.who, dtype=object)[at],
        "mark": s.mark, "period": dated[period], "n": s.n[at, period], "share": point[0],
        "centre": centre[at, 0], "low": point[1], "high": point[2],
        "note": notes(len(at), ((point[0] < point[1]) | (point[0] > point[2]), Months.OUTSIDE)),
    })  # fmt: skip


def _beyond_binomial(z: Array, seen: np.ndarray) -> Array:
    """Sigma of standardised shares from their mean moving range, over months that have one."""
    rows, columns = np.nonzero(seen & ~np.isnan(z))
    value = z[rows, columns]
    same = rows[1:] == rows[:-1]
    step = np.abs(np.diff(value))[same]
    n = np.bincount(rows[1:][same], minlength=len(z))
    total = np.bincount(rows[1:][same], weights=step, minlength=len(z))
    return np.maximum(np.nan_to_num(ratio(total, n)) / _PER_RANGE, 1)


def changes(
    counts: pd.DataFrame, *, confidence: float = 0.90, levels: tuple[str, ...] = LEVELS
) -> pd.DataFrame:
    """Months from which a share is another than before, of everybody, sites and people.

    Parameters
    ----------
    counts : pandas.DataFrame
        A tally of routine records. Undated readings are left out.
    confidence : float, default 0.90
        Of the interval of the change, two-sided.
    levels : tuple of str, optional
        Of `everybody`, `site`, `instrument`, `measurer`.

    Returns
    -------
    pandas.DataFrame
        `measure, level, who, mark, period, before, after, lower, upper, p_value, adjusted, note`:
        a row a change that is told. `mark` is a coarse mark (share standing on it), `converted`
        (share on the comb of a conversion), `off step`, or `not a reading` (missing, out of
        range, unreadable); `period` is the first after the change, `lower, upper` the interval
        of after less before, `p_value` for the place, `adjusted` for all that was looked at.
    """
    return worded(change_rows(cells(counts), confidence=confidence, levels=levels))


def change_rows(
    measures: Sequence[Cells], *, confidence: float, levels: tuple[str, ...] = LEVELS
) -> pd.DataFrame:
    """The same, with codes in `note`."""
    check_confidence(confidence)
    parts = []
    for c in measures:
        dated = [p for p in c.names["period"] if p]
        for level in LEVELS:
            if level in levels:
                for s in _series(c, level, marks_only=False):
                    parts.append(_scanned(c, s, dated, confidence))
    parts = [p for p in parts if len(p)]
    if not parts:
        return pd.DataFrame(columns=CHANGES)
    table = pd.concat(parts, ignore_index=True)
    table["adjusted"] = holm(table["p_value"].to_numpy(dtype=float))
    change = (table["after"] - table["before"]).abs()
    told = table[(table["adjusted"] <= TOLD_AT) & (change >= POINTS)]
    marks = ~told["mark"].isin([COMB, OFF_STEP, NOT_READINGS])
    key = ["measure", "level", "who"]
    # of two that are as strong the coarser mark
    strongest = told[marks][::-1].sort_values("strength", ascending=False, kind="stable")
    keep = told.index.isin(strongest.drop_duplicates(key).index) | ~marks
    told = told[keep].reset_index(drop=True)
    return told.assign(note=looked_up(told, {c.measure: c for c in measures}))[CHANGES]


def _scanned(c: Cells, s: _Series, dated: list[str], confidence: float) -> pd.DataFrame:
    """The likeliest place of a change of each, and how likely chance gives one so strong."""
    n, on = np.cumsum(s.n, axis=1), np.cumsum(s.on, axis=1)
    months = np.cumsum(s.n > 0, axis=1)
    n1, k1, t1 = n[:, :-1], on[:, :-1], months[:, :-1]
    n2, k2, t2 = n[:, -1:] - n1, on[:, -1:] - k1, months[:, -1:] - t1
    # the same place is not counted twice over months without readings
    place = (n1 >= FEWEST) & (n2 >= FEWEST) & (t1 >= 2) & (t2 >= 2) & (s.n[:, :-1] > 0)
    many = place.sum(axis=1)
    use = many > 0
    if not use.any():
        return pd.DataFrame()
    gain = 2 * (_binomial(k1, n1) + _binomial(k2, n2) - _binomial(on[:, -1:], n[:, -1:]))
    gain = np.where(place, gain, -np.inf)
    best = gain.argmax(axis=1)
    rows = np.arange(len(best))
    before, after = ratio(k1, n1)[rows, best], ratio(k2, n2)[rows, best]
    over = _over(s, before, after, best, months[:, -1], use)
    strength = np.maximum(gain[rows, best], 0) / over
    p = np.minimum(many * special.chdtrc(1, strength), 1)
    error = np.sqrt(over) * np.sqrt(_variance(k1, n1)[rows, best] + _variance(k2, n2)[rows, best])
    half = special.ndtri((1 + confidence) / 2) * error
    first = np.array(dated, dtype=object)[_next_seen(s.n, best)]
    return pd.DataFrame({
        "measure": c.measure, "level": s.level, "who": s.who, "mark": s.mark, "period": first,
        "before": before, "after": after, "lower": np.maximum(after - before - half, -1),
        "upper": np.minimum(after - before + half, 1), "p_value": p, "strength": strength,
    })[use]  # fmt: skip


def _binomial(k: Array | Counts, n: Array | Counts) -> Array:
    """Log likelihood of k of n at the share k / n."""
    return special.xlogy(k, np.maximum(k, 1) / np.maximum(n, 1)) + special.xlogy(
        n - k, np.maximum(n - k, 1) / np.maximum(n, 1)
    )


def _variance(k: Array | Counts, n: Array | Counts) -> Array:
    """Of a share, half a reading added on both sides: never 0 (Agresti & Caffo 2000, in kind)."""
    p = (k + 0.5) / (n + 1)
    return p * (1 - p) / np.maximum(n, 1)


def _over(
    s: _Series, before: Array, after: Array, best: Counts, months: Counts, use: np.ndarray
) -> Array:
    """Variance of months about their side of the change over that of a binomial."""
    late = np.arange(s.n.shape[1]) > best[:, None]
    p = np.where(late, after[:, None], before[:, None])
    square = ratio((s.on - s.n * p) ** 2, s.n * p * (1 - p))
    total = np.nansum(square, axis=1)
    df = np.maximum(months - 2, 0)
    pooled = total[use].sum() / max(df[use].sum(), 1)
    return np.maximum(np.maximum(ratio(total, df), pooled), 1.0)


def _next_seen(n: Counts, best: Counts) -> Counts:
    """The first month with readings after each place."""
    after = (n > 0) & (np.arange(n.shape[1]) > best[:, None])
    return after.argmax(axis=1)
