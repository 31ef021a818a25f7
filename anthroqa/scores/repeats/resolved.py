"""How large is the repeat error of which the step hides a part?

The TEM of the unrounded readings, from the likelihood in `repeats.py` (interval-censored:
Heitjan & Rubin (1991) Ann. Stat. 19:2244-2253). The estimate has the greatest likelihood. The
interval inverts the signed root of the likelihood ratio (Barndorff-Nielsen & Cox (1994)
Inference and Asymptotics, section 2.3) with its tails simulated at each candidate TEM, so that
each side has a risk of its own. From about a step on, that is the chi-squared interval of the
mean square less Sheppard's 1/12 step for each rounding.

Where the 90 % interval of a round shift excludes zero, the shift of the others on the same
subjects is taken out of the position first, and in the drawn sessions too; else nobody else's
readings count.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from anthroqa.notes.scores.figures import Repeats, Shifts
from anthroqa.scores.layout.cube import Array, Counts, Cube
from anthroqa.scores.layout.figures import Figures, NoteArray, join, notes
from anthroqa.scores.repeats.hidden_repeats import (
    GRID,
    TENTHS,
    Design,
    repeats,
    smooth,
    smooth_from,
    table,
)
from anthroqa.scores.repeats.rounds import group_figures, shared

NAMES = ("within_tem_resolved",)
_EVERY = 2  # of these TEMs are candidates for the ends of an interval
_COARSE = np.arange(0, np.searchsorted(TENTHS, 21), _EVERY)  # where drawn likelihoods are had
_DRAWS = 2000
_LEAST = 1e-9  # chances nearer to 0 or 1 are not told apart
_SMALL = 200_000  # multiplications at a time
_MOSTLY_ABSENT = 8  # patterns to a subject drawn
_SURE = 0.90  # a shift is taken out where this interval excludes zero
_TIE = 1e-6  # of a root: what differs less is equal


def figures(
    cube: Cube, confidence: float, rng: np.random.Generator, *, alone: bool = False
) -> list[Figures]:
    """`within_tem_resolved` of each person; `alone` takes out no shift that others share."""
    seed = int(rng.integers(2**32))
    shift, taken = (None, notes(len(cube.people))) if alone else _shift(cube)
    r = repeats(cube, shift)
    n = len(cube.people)
    tail = (1 - confidence) / 2
    estimate, lower, upper = np.full((3, n), np.nan)
    equal = (r.squares == 0) & (r.df > 0)
    some = (r.squares > 0) & (r.df > 0)
    # readings a part of a step apart, as no error at all would have it with this shift
    flat = some & (r.log_likelihood.argmax(axis=1) == 0)
    estimate[some & ~flat] = _best(r.log_likelihood[some & ~flat])
    lower[equal], upper[equal] = 0.0, _bound(r.log_likelihood[equal], tail)
    for design in {d for d, there in zip(r.designs, some, strict=True) if there}:
        who = np.flatnonzero([d == design for d in r.designs] & some)
        part = _Observed(
            log_likelihood=r.log_likelihood[who], squares=r.squares[who],
            df=int(r.df[who[0]]), rounding=float(r.rounding[who[0]]),
        )  # fmt: skip
        lower[who] = _end(part, design, seed, tail, upper=False)
        upper[who] = _end(part, design, seed, tail, upper=True)
    why = notes(
        n,
        (r.df == 0, Repeats.NOT_READ_TWICE),
        (equal & ~taken.astype(bool), Repeats.UPPER_BOUND),
        (equal | flat, Repeats.UPPER_BOUND_LESS_SHIFT),
    )
    return [
        Figures(
            statistic="within_tem_resolved", unit=cube.measure.step.unit,
            estimate=estimate * cube.size, lower=lower * cube.size, upper=upper * cube.size,
            subjects=(r.k > 0).sum(axis=1), readings=r.k.sum(axis=1), df=r.df.astype(float),
            note=join(why, taken, r.note),
        )
    ]  # fmt: skip


def _shift(cube: Cube) -> tuple[Array | None, NoteArray]:
    """What is taken out of each person's rounds, in steps, and what is to be said of it.

    A part of a step only where the interval excludes the nearest whole one too, as with no
    shift at all: whole steps move every reading alike.
    """
    n = len(cube.people)
    by_round = group_figures(cube, _SURE)
    lower, shift, upper = (
        np.array([getattr(f, end)[0] for f in by_round]) / cube.size
        for end in ("lower", "estimate", "upper")
    )
    if not ((lower > 0) | (upper < 0)).any():
        return None, notes(n)
    of = shared(cube)
    whole = np.floor(shift + 0.5)
    apart = ((lower > whole) | (upper < whole)).any()
    taken = of.shift if apart else np.concatenate([[0.0], np.nan_to_num(whole)])
    return np.where(of.known[:, None], taken, 0.0), notes(
        n, (of.known, Shifts.TAKEN_OUT), (True, Shifts.NOT_TAKEN_OUT)
    )


def _best(log_likelihood: Array) -> Array:
    """TEM of the greatest likelihood, by a polynomial through five points of the grid."""
    top = np.clip(log_likelihood.argmax(axis=1), 2, len(GRID) - 3)
    a, b, c, d, e = (log_likelihood[np.arange(len(top)), top + i] for i in range(-2, 3))
    of = ((a - 8 * b + 8 * d - e) / 12, (16 * (b + d) - a - e - 30 * c) / 24,
          (2 * (b - d) - a + e) / 12, (a + e - 4 * (b + d) + 6 * c) / 24)  # fmt: skip
    x = np.zeros(len(top))
    for _ in range(8):
        slope = of[0] + x * (2 * of[1] + x * (3 * of[2] + x * 4 * of[3]))
        bend = 2 * of[1] + x * (6 * of[2] + x * 12 * of[3])
        x = np.clip(x - slope / np.minimum(bend, -1e-12), -1, 1)
    return np.exp((TENTHS[top] + x) / 10)


def _bound(log_likelihood: Array, tail: float) -> Array:
    """TEM at which all repeats are equal with the chance `tail`."""
    bits = np.log(-log_likelihood)
    return np.array(
        [np.exp(np.interp(np.log(-np.log(tail)), row, TENTHS / 10)) for row in bits]
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Observed:
    """What people of one design read."""

    log_likelihood: Array
    squares: Array
    df: int
    rounding: float


def _end(seen: _Observed, design: Design, seed: int, tail: float, *, upper: bool) -> Array:
    """One end of each interval: the TEM at which what was seen has the chance `tail`.

    The candidates are halved until two neighbours hold the end between them. Beyond the
    last of them readings are as normal, and the end is that of the chi-squared interval.
    """
    sign = 1 if upper else -1
    last = int(np.searchsorted(TENTHS, smooth_from(max(kind[0] for kind, _ in design)) + 4))
    low = np.zeros(len(seen.squares), dtype=int)
    high = np.full(len(low), last)
    p_high = _tails(seen, design, seed, last, upper=upper)
    beyond = sign * (p_high - tail) > 0
    p_low = p_high if beyond.all() else _tails(seen, design, seed, 0, upper=upper)
    below = (sign * (p_low - tail) <= 0) & ~beyond
    while (wide := (high - low > _EVERY) & ~below & ~beyond).any():
        middle = (low + high) // (2 * _EVERY) * _EVERY
        for at in np.unique(middle[wide]):
            here = wide & (middle == at)
            p = _tails(seen, design, seed, int(at), upper=upper)
            left = here & (sign * (p - tail) > 0)
            right = here & ~left
            low[left], p_low[left] = at, p[left]
            high[right], p_high[right] = at, p[right]
    first, second = (special.ndtri(np.clip(p, _LEAST, 1 - _LEAST)) for p in (p_low, p_high))
    share = np.clip((special.ndtri(tail) - first) / np.where(beyond, 1, second - first), 0, 1)
    end = np.exp((TENTHS[low] + share * (TENTHS[high] - TENTHS[low])) / 10)
    chi2 = special.chdtri(seen.df, 1 - tail if upper else tail)
    normal = np.sqrt(np.maximum(seen.squares / chi2 - seen.rounding, 0.0))
    return np.where(below, 0.0, np.where(beyond, normal, end))


def _tails(seen: _Observed, design: Design, seed: int, at: int, *, upper: bool) -> Array:
    """Chance of a root as low (as high, for a lower end) as what was seen, ties counted in."""
    chi2 = seen.squares / (GRID[at] ** 2 + seen.rounding)
    normal = (special.chdtr if upper else special.chdtrc)(seen.df, chi2)
    weight = smooth(max(kind[0] for kind, _ in design))[at]
    if weight == 1:
        return normal
    roots = _roots(seen.log_likelihood[:, _COARSE], at // _EVERY)
    drawn = _drawn_roots(design, seed, at)
    if upper:
        n = np.searchsorted(drawn, roots + _TIE, side="right")
    else:
        n = len(drawn) - np.searchsorted(drawn, roots - _TIE, side="left")
    return (1 - weight) * (n + 1) / (len(drawn) + 2) + weight * normal


def _roots(log_likelihood: Array, at: int) -> Array:
    """Signed root of the likelihood ratio of the best TEM against one, on the coarse grid."""
    rows = np.arange(len(log_likelihood))
    top = np.clip(log_likelihood.argmax(axis=1), 1, log_likelihood.shape[1] - 2)
    left, middle, right = (log_likelihood[rows, top + i] for i in (-1, 0, 1))
    bend = np.minimum(left + right - 2 * middle, -1e-12)
    move = np.clip((left - right) / (2 * bend), -0.5, 0.5)
    most = middle - (left - right) * move / 4
    most = np.maximum(most, log_likelihood[:, at])
    side = np.where(top + move >= at, 1.0, -1.0)
    return side * np.sqrt(2 * (most - log_likelihood[:, at]))


@lru_cache(maxsize=512)
def _drawn_roots(design: Design, seed: int, at: int) -> Array:
    """The roots of sessions drawn at one TEM of the grid, in rising order.

    Every candidate is given the same uniform numbers, so that its tails change smoothly.
    """
    rng = np.random.default_rng([seed, *(
        int(part) for kind, n in design for part in (*kind[:2], n, *(kind[2] if kind[2:] else ()))
    )])  # fmt: skip
    drawn = []
    for kind, n in design:
        listed = table(kind)
        found = np.searchsorted(np.cumsum(listed.chances(at))[:-1], rng.random((_DRAWS, n)))
        drawn.append((_often(found, len(listed.rows)), listed.rows[:, _COARSE]))
    # a few at a time: large products and arrays cost more in threads and memory than they save
    some = max(1, _SMALL // max(counted.shape[1] * rows.shape[1] for counted, rows in drawn))
    parts = [
        _roots(sum(_sums(counted[i : i + some], rows) for counted, rows in drawn), at // _EVERY)
        for i in range(0, _DRAWS, some)
    ]
    return np.sort(np.concatenate(parts))


def _often(found: Counts, size: int) -> Counts:
    """How often each pattern was drawn in a session; left as drawn where most never are."""
    if size > _MOSTLY_ABSENT * found.shape[1]:
        return found
    found = found + np.arange(len(found))[:, None] * size
    return np.bincount(found.ravel(), minlength=_DRAWS * size).reshape(_DRAWS, size)


def _sums(counted: Counts, rows: Array) -> Array:
    """The log likelihood of each drawn session."""
    if counted.shape[1] < len(rows):  # as drawn, a pattern a subject
        return sum(rows[subject] for subject in counted.T)
    return counted.astype(float) @ rows
