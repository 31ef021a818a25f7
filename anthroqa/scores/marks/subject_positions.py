"""Where does each subject lie between the marks, as everybody else read it?

One model of how readings come about: a reading is the subject's position, plus what its reader
adds to every reading, plus a repeat error, put on the nearest step or, with that person's share
for the mark, on the nearest coarse mark. Coarse readings are coarse data: Heitjan & Rubin
(1990) J. Am. Stat. Assoc. 85:304-314 (cited from memory). All of it is fitted together by EM,
positions on a grid; then each person's own readings are taken out again, so that nobody says
where the marks should fall that they are judged by. Readers who lean to marks make a
consensus wider instead of pulling it to their marks. The reference counts as a reader here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts, Flags
from anthroqa.scores.layout.shown import Displays

# nodes of the grid that a position is known on: at most, at least, and so many errors apart
_NODES, _LEAST_NODES, _APART = 61, 25, 0.35
_WIDEST = 6.5  # steps that the grid reaches to either side before errors are added
_PASSES = 6  # of EM; rates of `tests/calibration` were had with these
_PRIOR = 0.5  # readings that are counted as put on the step before any is seen
_LEAST_ERROR = 0.05  # steps
_SLIP = 8.0  # errors, beyond two whole marks, at which a reading is no reading of these marks
_COARSE_ERROR = 0.5  # steps, below which Sheppard's correction does not hold
_TINY = 1e-12

Index = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Positions:
    """Readings of a measure in a row, and what the others say of each one's place.

    A cell is one person on one item; readings stand in order of their cells.
    """

    marks: Counts  # 1, then the coarse marks, in steps
    people: int
    x: Array  # each reading, steps
    person: Index  # of each reading
    turn: Index
    cell: Index
    cell_person: Index  # of each cell
    cell_item: Index
    start: Index  # each cell's first reading
    grid: Array  # items x nodes, steps
    others: Array  # cells x nodes: where the item lies, from everybody but this person
    alone: Flags  # cells that nobody else read
    slips: Counts  # readings of each person that are far from all of this

    shift: Array  # of each round, steps
    bias: Array  # of each person, under the model with shares
    error: Array
    shares: Array  # people x marks, the step first
    honest_bias: Array  # under the model without, own readings against the others'
    honest_error: Array
    together: float  # share of its square that the repeats of one subject have in common

    @property
    def spacing(self) -> Array:
        """Distance between the nodes of each item."""
        return self.grid[:, 1] - self.grid[:, 0]

    def on_mark(self, of: Index, mark: int, bias: Array, error: Array) -> Array:
        """Chance of each reading `of` those given, at each node, if read to `mark` (n x nodes)."""
        person = self.person[of]
        z = (self.x[of] - bias[person] - self.shift[self.turn[of]])[:, None]
        z = z - self.grid[self.cell_item[self.cell[of]]]
        s = error[person][:, None]
        on = (self.x[of] % mark == 0)[:, None]
        return on * (special.ndtr((z + mark / 2) / s) - special.ndtr((z - mark / 2) / s))


def positions(d: Displays) -> Positions:
    """Fit the model to the displays of a measure whose cycle is known."""
    fit = _Fit(d)
    likes = fit.likes()
    for _ in range(_PASSES):
        fit.improve(*likes)
        likes = fit.likes()
    others = fit.without_self(likes[0])
    bias, error = fit.honest(others)
    first = fit.start
    return Positions(
        marks=fit.marks, people=fit.people, x=fit.x, person=fit.person, turn=fit.turn,
        cell=fit.cell, cell_person=fit.person[first], cell_item=fit.item[first], start=first,
        grid=fit.grid, others=others,
        alone=np.bincount(fit.item[first], minlength=len(fit.grid))[fit.item[first]] < 2,
        slips=fit.slips, shift=fit.shift, bias=fit.bias, error=fit.error,
        shares=fit.shares, honest_bias=bias, honest_error=error, together=fit.together(error),
    )  # fmt: skip


class _Fit:
    """The model while it is being fitted; what changes are `bias`, `error` and `shares`."""

    def __init__(self, d: Displays) -> None:
        self.marks = np.array([1, *d.measure.coarse_marks])
        self.people = len(d.people)
        self._take(*np.nonzero(d.seen), d.x[d.seen].astype(float))
        middle = self._begin()
        far = np.abs(self._apart(middle)) > _SLIP * self.error[self.person] + 2 * self.marks[-1]
        self.slips = np.bincount(self.person[far], minlength=self.people)
        if far.any():
            self._take(*(a[~far] for a in (self.person, self.item, self.turn, self.x)))
            middle = self._begin()
        typical = np.median(self.error) / np.sqrt(max(np.median(np.bincount(self.item)), 1))
        reach = min(self.marks[-1] / 2 + 0.5, _WIDEST) + 3 * typical
        nodes = int(2 * reach / max(_APART * np.median(self.error), 0.2)) // 2 * 2 + 1
        nodes = min(max(nodes, _LEAST_NODES), _NODES)
        self.grid = middle[:, None] + np.linspace(-reach, reach, nodes)
        self.shares = np.full((self.people, len(self.marks)), 0.1 / max(len(self.marks) - 1, 1))
        self.shares[:, 0] = 0.9
        self.on = [np.flatnonzero(self.x % mark == 0) for mark in self.marks]

    def _take(self, person: Index, item: Index, turn: Index, x: Array) -> None:
        """The readings to fit, cell by cell."""
        self.person, self.item, self.turn, self.x = person, item, turn, x
        self.n = np.maximum(np.bincount(person, minlength=self.people), 1)
        key = person * (item.max(initial=0) + 1) + item
        _, self.start, self.cell = np.unique(key, return_index=True, return_inverse=True)

    def _apart(self, middle: Array) -> Array:
        return self.x - self.bias[self.person] - self.shift[self.turn] - middle[self.item]

    def _begin(self) -> Array:
        """First values of bias, error and round shift; medians, so that no slip moves them."""
        self.bias, self.shift = np.zeros(self.people), np.zeros(self.turn.max(initial=0) + 1)
        middle = _middle(self.x, self.item, self.item.max(initial=0) + 1)
        for _ in range(3):
            self.bias += _middle(self._apart(middle), self.person, self.people)
            self.bias -= np.median(self.bias)
            self.shift += _middle(self._apart(middle), self.turn, len(self.shift))
            self.shift -= self.shift[0]
            middle = middle + _middle(self._apart(middle), self.item, len(middle))
        distance = np.abs(self._apart(middle))
        # nine in ten are within 1.645 errors; half of them may be none on coarse marks
        own = _middle(distance, self.person, self.people, 0.9) / 1.645
        self.error = np.maximum((own + np.median(own)) / 2, 0.3)
        return middle

    def _moments(self, of: Index, mark: int, bias: Array, error: Array) -> tuple[Array, ...]:
        """Chance of each reading at each node if read to `mark`; sums of its error and square."""
        person = self.person[of]
        s = error[person][:, None]
        z = (self.x[of] - bias[person] - self.shift[self.turn[of]])[:, None]
        z = z - self.grid[self.item[of]]
        high, low = (z + mark / 2) / s, (z - mark / 2) / s
        chance = special.ndtr(high) - special.ndtr(low)
        at_high, at_low = (np.exp(-0.5 * end * end) / np.sqrt(2 * np.pi) for end in (high, low))
        return (
            chance,
            s * (at_low - at_high),
            s**2 * (chance + low * at_low - high * at_high),
        )

    def likes(self) -> tuple[Array, Array, list[tuple[Array, ...]]]:
        """Log likelihood of each cell, chance of each reading, and the parts of it by mark."""
        parts = [
            self._moments(of, mark, self.bias, self.error)
            for of, mark in zip(self.on, self.marks, strict=True)
        ]
        chance = np.full((len(self.x), self.grid.shape[1]), _TINY)
        for j, (of, part) in enumerate(zip(self.on, parts, strict=True)):
            chance[of] += self.shares[self.person[of], j][:, None] * part[0]
        return self._by_cell(chance), chance, parts

    def _by_cell(self, chance: Array) -> Array:
        return np.add.reduceat(np.log(chance), self.start, axis=0)

    def improve(self, cells: Array, chance: Array, parts: list[tuple[Array, ...]]) -> None:
        """One pass of EM: positions from all readings, then bias, error and shares."""
        total = np.zeros_like(self.grid)
        np.add.at(total, self.item[self.start], cells)
        at_node = _normalised(total)[self.item] / chance
        sums = np.zeros((3, self.people, len(self.marks)))
        for j, (of, part) in enumerate(zip(self.on, parts, strict=True)):
            person = self.person[of]
            weight = self.shares[person, j]
            for row, values in enumerate(part):
                each = weight * np.einsum("ng,ng->n", at_node[of], values)
                sums[row, :, j] = np.bincount(person, each, self.people)
        on, first, second = sums
        on[:, 0] += _PRIOR
        self.shares = on / on.sum(axis=1, keepdims=True)
        self.bias, self.error = _moved(self.bias, first.sum(axis=1), second.sum(axis=1), self.n)

    def without_self(self, cells: Array) -> Array:
        """Where each cell's item lies, from everybody but the person of the cell."""
        total = np.zeros_like(self.grid)
        item = self.item[self.start]
        np.add.at(total, item, cells)
        return _normalised(total[item] - cells)

    def honest(self, others: Array) -> tuple[Array, Array]:
        """Bias and error of each person if they read every mark, the others saying where."""
        bias, error = self.bias.copy(), self.error.copy()
        every = np.arange(len(self.x))
        for _ in range(_PASSES):
            chance, first, second = self._moments(every, 1, bias, error)
            chance = np.maximum(chance, _TINY)
            own = self._by_cell(chance)
            at_node = _normalised(np.log(others + _TINY) + own)[self.cell] / chance
            sums = [
                np.bincount(self.person, np.einsum("ng,ng->n", at_node, part), self.people)
                for part in (first, second)
            ]
            bias, error = _moved(bias, *sums, self.n)
        return bias, error

    def together(self, error: Array) -> float:
        """How much of the squared error is a person's way with a subject, not a repeat error."""
        total = float((self.n * error**2).sum() / self.n.sum())
        x = self.x - self.shift[self.turn]
        sizes = np.bincount(self.cell)
        apart = x - (np.bincount(self.cell, x) / sizes)[self.cell]
        df = len(x) - len(sizes)
        if df == 0 or total < _COARSE_ERROR**2:
            return 0.0
        repeat = float((apart**2).sum() / df) - 1 / 12  # Sheppard
        return float(np.clip(1 - repeat / total, 0, 1))


def _moved(bias: Array, first: Array, second: Array, n: Counts) -> tuple[Array, Array]:
    """Bias and error after a pass, from the sums of errors and of their squares."""
    by = first / n
    return bias + by, np.sqrt(np.maximum(second / n - by**2, _LEAST_ERROR**2))


def _normalised(logs: Array) -> Array:
    """Weights over the nodes, from their logarithms."""
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    return weights / weights.sum(axis=1, keepdims=True)


def _middle(values: Array, by: Index, n: int, part: float = 0.5) -> Array:
    """The value that this part of each of `n` groups is not above; 0 for a group without any."""
    order = np.lexsort((values, by))
    sizes = np.bincount(by, minlength=n)
    first = np.cumsum(sizes) - sizes
    some = sizes > 0
    out = np.zeros(n)
    at = first[some] + part * (sizes[some] - 1)
    ranked = values[order]
    out[some] = (ranked[np.floor(at).astype(int)] + ranked[np.ceil(at).astype(int)]) / 2
    return out
