"""How large a share of the readings in a tally is put on each coarse mark?

Each reading is put on the step or on one coarse mark: shares are exclusive and add up to one.
Without children there is no subject to compare with. What is assumed instead: thousands of
children, spread over many whole marks, leave positions between two whole marks even, so that a
reading put on a mark falls on each of its positions alike. Readings are sorted by the marks they
stand on (the greatest common divisor of position and cycle), which holds all there is to know of
the shares: positions of one class tell no mark from another.

The most likely shares are found by EM (Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B 39:1-38);
intervals are from the profile likelihood, counts divided by the design effect.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import gcd

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.layout.figures import ratio

_CLIMB, _PASSES, _WARM = 600, 150, 30  # of EM: for the likely shares, for a far one, from near
_HALVINGS = 14  # of the search for an end
_SEED = 1e-3  # a share of 0 would stay there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ways:
    """The ways of reading a cycle: to the step, or to one of its coarse marks."""

    marks: tuple[int, ...]  # in steps, 1 first
    of_position: Counts  # the class of each position: index of the coarsest mark it stands on
    chance: Array  # ways x classes: chance of a class under a way
    on: Array  # marks x ways: share of a way's readings that stand on a mark


@lru_cache(maxsize=32)
def ways(cycle: int) -> Ways:
    """The ways of reading a cycle of so many steps."""
    marks = tuple(m for m in range(1, cycle + 1) if cycle % m == 0)
    stands = np.array([marks.index(gcd(p, cycle)) for p in range(cycle)])
    sizes = np.bincount(stands)
    chance = np.array([[(g % w == 0) * size * w / cycle for g, size in zip(marks, sizes,
                        strict=True)] for w in marks])  # fmt: skip
    on = np.array([[gcd(w, m) / m for w in marks] for m in marks])
    return Ways(marks=marks, of_position=stands, chance=chance, on=on)


def classes(at: Counts, cycle: int) -> Counts:
    """Counts by position (who x cycle) added up by the marks that positions stand on."""
    told = ways(cycle)
    out = np.zeros((len(at), len(told.marks)), dtype=at.dtype)
    for g in range(len(told.marks)):
        out[:, g] = at[:, told.of_position == g].sum(axis=1)
    return out


def likely(n: Array, cycle: int) -> Array:
    """The most likely shares (who x ways) behind counts by class; NaN where there are none."""
    told = ways(cycle)
    shares = np.full((len(n), len(told.marks)), 1 / len(told.marks))
    total = np.maximum(n.sum(axis=1), 1)[:, None]
    for _ in range(_CLIMB):
        shares = _put(n, shares, told.chance) / total
    shares[n.sum(axis=1) == 0] = np.nan
    return shares


def unbiased(n: Array, cycle: int) -> Array:
    """Shares (who x ways) that give the counts by class exactly; chance takes them below 0 too."""
    return ratio(n, n.sum(axis=1, keepdims=True)) @ np.linalg.inv(ways(cycle).chance)


def intervals(
    n: Array, shares: Array, way: Counts, cycle: int, confidence: float, *, df: Array
) -> tuple[Array, Array]:
    """Ends of the profile interval of one share of each row, `way` says which.

    `n` (rows x classes) are counts divided by the design effect, `shares` the likely ones; the
    effect was learnt on `df`, so that the cut-off is that of F on 1 and `df`.
    """
    chance = ways(cycle).chance
    rows = np.arange(len(n))
    best = shares[rows, way]
    cut = _log_like(n, shares, chance) - special.fdtri(1, df, confidence) / 2
    ends = []
    for edge in (0.0, 1.0):
        inside, outside = best.copy(), np.full(len(n), edge)
        value, at = _profile(n, shares, outside, way, chance, _PASSES)
        open_end = value >= cut
        start = shares
        for _ in range(_HALVINGS):
            middle = (inside + outside) / 2
            value, at = _profile(n, start, middle, way, chance, _WARM)
            within = value >= cut
            inside, outside = np.where(within, middle, inside), np.where(within, outside, middle)
            start = np.where(within[:, None], at, start)
        end = np.where(open_end, edge, (inside + outside) / 2)
        ends.append(np.where(np.isnan(best), np.nan, end))
    return ends[0], ends[1]


def _profile(
    n: Array, start: Array, held: Array, way: Counts, chance: Array, passes: int
) -> tuple[Array, Array]:
    """Log likelihood with one share held, the others as likely as they can be; and all shares."""
    free = np.ones(start.shape)
    free[np.arange(len(n)), way] = 0
    fixed = (1 - free) * held[:, None]
    shares = np.maximum(start, _SEED) * free
    left = 1 - held
    shares = shares * (left / shares.sum(axis=1))[:, None] + fixed
    for _ in range(passes):
        put = _put(n, shares, chance) * free
        shares = put * (left / np.maximum(put.sum(axis=1), 1e-300))[:, None] + fixed
    return _log_like(n, shares, chance), shares


def _put(n: Array, shares: Array, chance: Array) -> Array:
    """Readings that were put each way, if these are the shares."""
    return shares * ((n / np.maximum(shares @ chance, 1e-300)) @ chance.T)


def _log_like(n: Array, shares: Array, chance: Array) -> Array:
    return special.xlogy(n, np.maximum(shares @ chance, 1e-300)).sum(axis=1)
