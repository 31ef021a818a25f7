"""How large a share of a person's readings is put on each coarse mark?

Beyond what the subjects give: each reading is put on the step or on one mark, so shares are
exclusive. Likelihood of the person's readings over a lattice of shares, their subjects'
positions as everybody else read them; the interval of a share is from its profile likelihood,
with a cut-off that is wider than chi-squared.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.marks.subject_positions import Index, Positions

_FINE, _COARSE = 10, 8  # parts that the whole is cut into, up to four ways of reading and beyond
_PASSES = 12  # of EM, from the best point of the lattice
# shares of other marks cannot be negative and pull a share down: the chi-squared cut-off is widened
# so that intervals cover at every share (by simulation, `tests/calibration`)
_WIDER = 1.4
_IMPOSSIBLE = 1e4  # log likelihood lost where nothing of the kind can happen
_POINTS = 201  # a profile is read off at


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shares:
    """Shares of one person on each coarse mark, with their intervals."""

    estimate: Array
    lower: Array
    upper: Array


def shares_of(at: Positions, readings: Index, confidence: float) -> Shares:
    """The shares behind some readings of one person."""
    on = np.stack([
        at.on_mark(readings, int(mark), at.bias, at.error) for mark in at.marks
    ])  # fmt: skip
    _, start, cell = np.unique(at.cell[readings], return_index=True, return_inverse=True)
    weights = at.others[at.cell[readings][start]]
    lattice = _lattice(len(at.marks))
    n, nodes = on.shape[1:]
    chance = (on.reshape(len(on), -1).T @ lattice.T).reshape(n, nodes, len(lattice))
    chance = _by_cell(chance, start)
    log_like = np.log(np.einsum("cgl,cg->cl", chance, weights) + 1e-300).sum(axis=0)
    best, peak = _climb(on, start, cell, weights, lattice[np.argmax(log_like)])
    ends = [
        _interval(lattice[:, j], log_like, best[j], peak, confidence)
        for j in range(1, len(at.marks))
    ]
    lower, upper = np.array(ends).T
    return Shares(estimate=best[1:], lower=lower, upper=upper)


@lru_cache(maxsize=8)
def _lattice(ways: int) -> Array:
    """Every way to cut a whole into equal parts and deal them out (points x ways)."""
    parts = _FINE if ways <= 4 else _COARSE
    bars = np.array(list(combinations(range(parts + ways - 1), ways - 1)), dtype=np.int64)
    edges = np.hstack([
        np.full((len(bars), 1), -1), bars, np.full((len(bars), 1), parts + ways - 1)
    ])  # fmt: skip
    return (np.diff(edges, axis=1) - 1) / parts


def _climb(
    on: Array, start: Index, cell: Counts, weights: Array, shares: Array
) -> tuple[Array, float]:
    """The most likely shares, from a point near them, and their log likelihood."""
    shares = (shares + 0.002) / (shares + 0.002).sum()  # a share of 0 would stay there
    for _ in range(_PASSES):
        chance, of_cell = _mixed(on, start, weights, shares)
        total = of_cell.sum(axis=1)
        at_node = (of_cell / np.maximum(total, 1e-300)[:, None])[cell]
        put = np.einsum("ng,mng->m", at_node / np.maximum(chance, 1e-300), on) * shares
        shares = put / put.sum()
    of_cell = _mixed(on, start, weights, shares)[1]
    return shares, float(np.log(of_cell.sum(axis=1) + 1e-300).sum())


def _mixed(on: Array, start: Index, weights: Array, shares: Array) -> tuple[Array, Array]:
    """Chance of each reading, and of each cell weighted by position, at every node."""
    chance = np.einsum("m,mng->ng", shares, on)
    return chance, weights * _by_cell(chance, start)


def _by_cell(chance: Array, start: Index) -> Array:
    """Products over the readings of each cell."""
    sizes = np.diff(start, append=len(chance))
    product = chance[start]
    for k in range(1, sizes.max()):
        more = sizes > k
        product[more] *= chance[start[more] + k]
    return product


def _interval(
    share: Array, log_like: Array, best: float, peak: float, confidence: float
) -> tuple[float, float]:
    """Shares whose profile lies within the chi-squared cut-off of the peak, on one df."""
    levels, place = np.unique(share, return_inverse=True)
    profile = np.full(len(levels), -np.inf)
    np.maximum.at(profile, place, log_like)
    apart = np.abs(levels - best) > 1e-6  # a level at the best share is the best
    levels = np.append(levels[apart], best)
    deficit = np.append(np.clip(peak - profile[apart], 0, _IMPOSSIBLE), 0.0)
    order = np.argsort(levels)
    cut = _WIDER * special.chdtri(1, 1 - confidence) / 2
    fine = np.linspace(0, 1, _POINTS)
    # deficits are near to parabolas around the best: their roots are near to lines
    root = np.where(levels < best, -1, 1) * np.sqrt(deficit)
    inside = fine[np.abs(np.interp(fine, levels[order], root[order])) <= np.sqrt(cut)]
    inside = np.append(inside, best)
    return float(inside.min()), float(inside.max())
