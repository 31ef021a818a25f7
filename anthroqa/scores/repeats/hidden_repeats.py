"""How likely are the repeats of one subject, when a display shows whole steps only?

Each display is taken as round(t + e), e normal, and the subject's position t is integrated out
over the real line: a repeat tells only how far the readings of one subject lie apart, their
pattern. For pairs the likelihood is closed: the chance of readings d steps apart is
E[(1 - |d - z|)+], z normal with twice the variance; else trapezoids over t. From about a step on,
rounding only adds Sheppard's 1/12 to the variance (1898, Proc. Lond. Math. Soc. 29:353-380).

Assumes one error size for every subject, and positions spread over many steps. A reading with a
tare is the difference of two displays, each rounded; they are taken to err alike and
independently. Only the difference is used: what the caregiver's own weight does between rounds
is no repeat error. Readings that intake converted were read on other marks and are left out.

A shift between rounds that is known moves the position, not the marks: readings less the shift,
to a quarter of a step, are known to half a step as before (to whole steps where a subject has
four repeats or more, or three with a tare: their patterns would be too many).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement
from math import factorial, prod

import numpy as np
from scipy import special

from anthroqa.notes.scores.figures import FirstReadingsUsed
from anthroqa.notes.scores.figures import Repeats as OfRepeats
from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags
from anthroqa.scores.layout.figures import NoteArray, join, notes, ratio

MOST_REPEATS = 6  # of one subject: patterns of more are too many to be listed
TENTHS = np.arange(-84, 100)  # of the logarithm of a TEM in steps: 0.0002 to 20,000 steps
GRID = np.exp(TENTHS / 10)
_WIDEST = 30  # steps between repeats; of wider patterns the normal likelihood says enough
_REACH = 6.0  # standard deviations beyond which an error is not looked for
_NODES = 1.1  # to a standard deviation and root of k: trapezoids are then exact to ten digits

# how many repeats, and whether each has a tare; where rounds are moved by parts of a step, also
# by how many quarters
Kind = tuple[int, bool] | tuple[int, bool, tuple[int, ...]]
_QUARTERS = 4
Design = tuple[tuple[Kind, int], ...]  # of each kind how many subjects, in order


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Repeats:
    """The repeats of a cube that can be used, and the likelihood of each person's TEM."""

    used: Flags  # people x subjects x rounds
    k: Counts  # people x subjects; 0 where fewer than two are used
    tared: Flags  # people x subjects
    squares: Array  # of each person, within subjects, in squared steps
    df: Counts
    log_likelihood: Array  # people x GRID
    designs: list[Design]
    note: NoteArray  # of each person: what was left out

    @property
    def rounding(self) -> Array:
        """What rounding adds to the mean square of each person (Sheppard)."""
        tared = np.where(self.tared & (self.k > 0), self.k - 1, 0).sum(axis=1)
        return (1 + ratio(tared, self.df)) / 12


def repeats(cube: Cube, shift: Array | None = None) -> Repeats:
    """What each person read twice or more on the measure's own marks.

    `shift` (people x rounds, in steps) is taken out first.
    """
    own = cube.seen & ~cube.converted
    used = own & (np.cumsum(own, axis=2) <= MOST_REPEATS)
    held = (used & (cube.tare != 0)).sum(axis=2)
    k = used.sum(axis=2)
    mixed = (held > 0) & (held < k)
    k = np.where((k < 2) | mixed, 0, k)
    used &= (k > 0)[:, :, None]
    tared = (held > 0) & (k > 0)
    n = len(cube.people)
    squares, log_likelihood = np.zeros(n), np.zeros((n, len(GRID)))
    count: list[list[tuple[Kind, int]]] = [[] for _ in range(n)]
    for kind, person, x in _by_kind(cube, used, k, tared, shift):
        found, which = np.unique(_patterns(x), axis=0, return_inverse=True)
        often = np.zeros((n, len(found)))
        np.add.at(often, (person, which.ravel()), 1)
        log_likelihood += often @ _known_rows(found, kind)
        squares += often @ _squares(found)
        for p in range(n):
            if often[p].any():
                count[p].append((kind, int(often[p].sum())))
    return Repeats(
        used=used, k=k, tared=tared, squares=squares, df=np.where(k > 0, k - 1, 0).sum(axis=1),
        log_likelihood=log_likelihood, designs=[tuple(c) for c in count],
        note=join(
            notes(n, ((cube.seen & cube.converted).any(axis=(1, 2)), OfRepeats.CONVERTED_LEFT_OUT)),
            notes(n, (mixed.any(axis=1), OfRepeats.PARTLY_TARED_LEFT_OUT)),
            notes(n, ((own.sum(axis=2) > MOST_REPEATS).any(axis=1),
                      FirstReadingsUsed(most=MOST_REPEATS))),
            notes(n, (tared.any(axis=1), OfRepeats.TARED)),
        ),
    )  # fmt: skip


def _by_kind(
    cube: Cube, used: Flags, k: Counts, tared: Flags, shift: Array | None
) -> Iterator[tuple[Kind, Counts, Array | Counts]]:
    """Whose repeats of one kind there are, and where they lie less the shift, a row a subject."""
    for size, held in sorted(
        {(int(a), bool(b)) for a, b in zip(k[k > 0], tared[k > 0], strict=True)}
    ):
        person, subject = np.nonzero((k == size) & (tared == held))
        there = used[person, subject]
        x = cube.x[person, subject][there].reshape(-1, size)
        if shift is None:
            yield (size, held), person, x
            continue
        parts = _QUARTERS if size == 2 or (size == 3 and not held) else 1
        x = x - np.floor(shift[person][there].reshape(-1, size) * parts + 0.5) / parts
        rows, which = np.unique(_QUARTERS * x % _QUARTERS, axis=0, return_inverse=True)
        moved = np.array([_moved(row) for row in rows.astype(int).tolist()])[which.ravel()]
        for one in sorted(set(map(tuple, moved.tolist()))):
            here = (moved == one).all(axis=1)
            yield ((size, held, one) if any(one) else (size, held)), person[here], x[here]


def _moved(quarters: Sequence[int]) -> tuple[int, ...]:
    """Quarters of a step, named alike wherever the first lies and whichever way is up."""
    return min(
        tuple(sorted((sign * q + by) % _QUARTERS for q in quarters))
        for sign in (1, -1)
        for by in range(_QUARTERS)
    )


def smooth_from(k: int) -> int:
    """From which tenth on the likelihood passes, within four, into that of normal readings."""
    return 0 if k <= 4 else -6


def smooth(k: int) -> Array:
    """How far the likelihood of k repeats is that of normal readings, on the grid: 0 to 1."""
    return np.clip((TENTHS - smooth_from(k)) / 4, 0, 1)


def _patterns(x: Counts) -> Counts:
    """How repeats of one subject lie apart: from 0 in rising order, whichever way up is less."""
    x = np.sort(x, axis=1)
    up, down = x - x[:, :1], (x[:, -1:] - x)[:, ::-1]
    rows = np.arange(len(x))
    first = (up != down).argmax(axis=1)
    return np.where((up[rows, first] > down[rows, first])[:, None], down, up)


def _squares(patterns: Counts) -> Array:
    """Sum of squares of each pattern about its mean."""
    k = patterns.shape[1]
    return (k * (patterns**2).sum(axis=1) - patterns.sum(axis=1) ** 2) / k


def log_rows(patterns: Counts, kind: Kind) -> Array:
    """Log likelihood of patterns (each k offsets), one order of them, over the grid of TEMs."""
    k, tared = kind[:2]
    v = GRID**2 + (1 + tared) / 12
    normal = (
        -(k - 1) / 2 * np.log(2 * np.pi * v) - np.log(k) / 2 - _squares(patterns)[:, None] / (2 * v)
    )
    near = patterns[:, -1] <= _WIDEST
    weight = smooth(k)
    below = np.flatnonzero(weight < 1)
    exact = normal[:, below]
    if near.any():
        of = _pair_logs if k == 2 else _many_logs
        exact[near] = of(patterns[near], tared, GRID[below])
    normal[:, below] = (1 - weight[below]) * exact + weight[below] * normal[:, below]
    return normal


def apart(d: Array | Counts, s: Array) -> Array:
    """Log chance that two displays of one position are d >= 0 steps apart (d x s).

    `s` is the SD of the difference of the two errors. E[(1 - |d - z|)+] is the second
    difference of E[(z - u)+], taken in logarithms so that it stays right far out. Where
    positions are moved d need not be whole.
    """

    def above(u: Array) -> Array:
        x = u / s
        mills = np.sqrt(np.pi / 2) * special.erfcx(x / np.sqrt(2))
        return np.log(s) - x**2 / 2 - np.log(2 * np.pi) / 2 + np.log1p(-x * mills)

    d = np.asarray(d, dtype=float)[:, None]
    out = np.empty((len(d), len(s)))
    near = d[:, 0] < 1
    u = d[near]  # E[(z + v)+] is v + E[(z - v)+]
    below, at, beyond = (np.exp(above(v)) for v in (1 - u, u, u + 1))
    out[near] = np.log1p(below + beyond - 2 * at - u)
    u = d[~near]
    first = above(u - 1)
    out[~near] = first + np.log1p(np.exp(above(u + 1) - first) - 2 * np.exp(above(u) - first))
    return out


def _pair_logs(patterns: Counts, tared: bool, tem: Array) -> Array:
    d = patterns[:, 1]
    if not tared:
        return apart(d, tem * np.sqrt(2))
    # a difference of two displays, of which each errs by tem / sqrt(2)
    wide = int(d.max()) + int(np.ceil(2 * _REACH * tem.max())) + 2
    j = np.arange(-wide, wide + 1)
    marks, at = np.unique(abs(np.vstack([j, d[:, None] - j])), return_inverse=True)
    one, at = apart(marks, tem), at.reshape(-1, len(j))
    return np.stack([special.logsumexp(one[at[0]] + one[other], axis=0) for other in at[1:]])


def _many_logs(patterns: Counts, tared: bool, tem: Array) -> Array:
    """By trapezoids over the position; below a least TEM by how a likelihood goes to zero.

    There an edge between two marks is met with a chance that is proportional to the TEM, and
    readings more steps apart than there are displays need errors of a normal's far tail.
    """
    least = np.searchsorted(tem, 0.1 if tared else 0.05)
    out = np.empty((len(patterns), len(tem)))
    if tared:
        marks, at = np.arange(patterns.max() + 1), patterns.astype(int)
    else:
        marks, at = np.unique(patterns, return_inverse=True)
        at = at.reshape(patterns.shape)
    for i in range(least, len(tem)):
        out[:, i] = _integral(marks, at, tared, tem[i])
    start, low = out[:, least, None], tem[:least]
    width, displays = patterns[:, -1, None], 1 + tared
    near = start + np.floor(width) * np.log(low / tem[least])
    far = start - (width - displays) ** 2 / 4 * (low**-2.0 - tem[least] ** -2.0)
    without = np.where(width < 1, width, 0.0)  # the chance of others if there were no error
    flat = np.log1p((np.expm1(start) + without) * low / tem[least] - without)
    out[:, :least] = np.where(width < 1, flat, np.where(width <= displays, near, far))
    return out


def _integral(marks: Array | Counts, at: Counts, tared: bool, tem: float) -> Array:
    """Log likelihood of patterns, of which each reading is at one of the marks."""
    widest = int(np.ceil(marks[-1]))
    sd = tem / np.sqrt(2) if tared else tem
    margin = _REACH * sd + 0.5 + tared
    nodes = _NODES * np.sqrt(at.shape[1]) / sd  # to a step
    t = np.arange(-margin, widest + margin, 1 / nodes)
    if tared:
        n = int(np.ceil(nodes))
        levels = _net_levels(widest, t, (np.arange(n) + 0.5) / n - 0.5, sd)
        share = 1 / nodes / n
    else:
        levels = _levels(marks, t, sd)
        share = 1 / nodes
    parts = np.array_split(at, max(1, len(at) * levels.shape[1] // 1_000_000))
    sums = [special.logsumexp(sum(levels[part.T]), axis=1) for part in parts]
    return np.concatenate(sums) + np.log(share)


def _levels(marks: Counts, t: Array, sd: float) -> Array:
    """Log chance that position t is displayed as each mark (marks x t)."""
    low = (marks[:, None] - 0.5 - t) / sd
    high = low + 1 / sd
    turn = low + high > 0  # on the side where tails are small
    low, high = np.where(turn, -high, low), np.where(turn, -low, high)
    most = special.log_ndtr(high)
    return most + np.log1p(-np.exp(special.log_ndtr(low) - most))


def _net_levels(widest: int, t: Array, phase: Array, sd: float) -> Array:
    """The same for a display less another whose position lies at `phase` in its step."""
    j = np.arange(-int(np.ceil(_REACH * sd + 0.5)), int(np.ceil(_REACH * sd + 0.5)) + 1)
    alone = np.exp(_levels(j, phase, sd))
    both = np.exp(_levels(np.arange(j[0], widest + j[-1] + 1), t, sd))
    net = sum(both[i : i + widest + 1, :, None] * alone[i, None, None, :] for i in range(len(j)))
    return np.log(np.maximum(net, 1e-300)).reshape(widest + 1, -1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """All patterns of one kind that matter below the TEMs where readings are as normal."""

    patterns: Array | Counts  # by sum of squares
    rows: Array  # log likelihood of one order, patterns x GRID
    orders: Array  # in how many orders and ways up each can be read
    place: dict[tuple[int, ...], int]

    def chances(self, at: int) -> Array:
        """Chance of each pattern at one TEM of the grid."""
        p = self.orders * np.exp(self.rows[:, at])
        return p / p.sum()


@lru_cache(maxsize=32)
def table(kind: Kind) -> Table:
    """The patterns of one kind with their likelihoods."""
    tem = np.exp((smooth_from(kind[0]) + 4) / 10)
    widest = int(np.ceil(2 + 8 * tem))
    listed, orders = (_all_moved if len(kind) > 2 else _all)(kind, widest)
    first = np.argsort(_squares(listed), kind="stable")
    listed = listed[first]
    return Table(
        patterns=listed, rows=log_rows(listed, kind), orders=orders[first],
        place={tuple(p): i for i, p in enumerate(listed.tolist())},
    )  # fmt: skip


def _all(kind: Kind, widest: int) -> tuple[Counts, Array]:
    """Every pattern up to a width, and in how many orders and ways up."""
    k = kind[0]
    offsets = np.array(list(combinations_with_replacement(range(widest + 1), k - 1)))
    listed = np.unique(_patterns(np.column_stack([np.zeros(len(offsets), int), offsets])), axis=0)
    turned = (listed[:, -1:] - listed)[:, ::-1]
    ways = np.where((turned == listed).all(axis=1), 1, 2)
    same = [prod(factorial(c) for c in Counter(p).values()) for p in listed.tolist()]
    return listed, ways * factorial(k) / np.array(same)


def _all_moved(kind: Kind, widest: int) -> tuple[Array, Array]:
    """The same where rounds are moved by quarters: each reading less its own."""
    steps = np.indices((2 * widest + 1,) * (kind[0] - 1)).reshape(kind[0] - 1, -1).T - widest
    x = np.column_stack([np.zeros(len(steps)), steps]) + np.array(kind[2]) / _QUARTERS
    patterns = _patterns(x[np.ptp(x, axis=1) <= widest])
    listed, orders = np.unique(patterns, axis=0, return_counts=True)
    return listed, orders.astype(float)


def _known_rows(found: Counts, kind: Kind) -> Array:
    """Likelihoods of patterns, from the table where it has them."""
    if len(kind) > 2:
        return log_rows(found, kind)
    listed = table(kind)
    place = np.array([listed.place.get(tuple(p), -1) for p in found.tolist()])
    out = listed.rows[place]
    if (place < 0).any():
        out[place < 0] = log_rows(found[place < 0], kind)
    return out
