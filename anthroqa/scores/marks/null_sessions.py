"""What would a person's readings look like who reads every mark?

Drawn sessions of one person: positions from everybody else's readings, own bias (known from
that many readings only) and own repeat error, each reading on the nearest step. All draws of a
person are arrays; a p-value that may matter is drawn again, with many more draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.marks.subject_positions import Index, Positions

DRAWS, MORE_DRAWS = 1_000, 20_000
_NEAR = 0.06  # a p-value under this is drawn again
_GUIDE = 1024  # entries of the table that positions are drawn from
MODERATE = 0.3  # the share of readings on a mark that its contrast looks for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """Figures of one person against null sessions."""

    dissimilarity: float  # less its mean in null sessions, not under 0
    p_dissimilarity: float
    p_marks: Array  # of each coarse mark, against the largest contrast of a null session


def judge(at: Positions, readings: Index, cycle: int, rng: np.random.Generator) -> Judged:
    """Hold some readings of one person against null sessions of the same size."""
    null = _Null(at, readings, cycle)
    own = null.place(null.spots(at.x[readings])[None])
    judged = null.judge(own, DRAWS, rng)
    if min(judged.p_dissimilarity, judged.p_marks.min()) < _NEAR:
        judged = null.judge(own, MORE_DRAWS, rng)
    return judged


class _Null:
    """What null sessions of one person are drawn from, and their contrasts by table."""

    def __init__(self, at: Positions, readings: Index, cycle: int) -> None:
        person = at.person[readings[0]]
        cells, self.which = np.unique(at.cell[readings], return_inverse=True)
        weights, items = at.others[cells], at.cell_item[cells]
        self.cycle = cycle
        self.bias, self.error = at.honest_bias[person], at.honest_error[person]
        self.bias_error = np.sqrt((self.error**2 + 1 / 12) / len(readings))
        self.of_subject = np.float32(self.error * np.sqrt(at.together))
        self.of_repeat = np.float32(self.error * np.sqrt(1 - at.together))
        self.grid = at.grid[items]
        self.middle = np.round(self.grid.mean(axis=1) + self.bias).astype(np.int64)
        half = self.grid[:, -1] - self.grid.mean(axis=1)
        self.reach = int(np.ceil(half.max() + 6 * self.error + 2))
        # where a reading falls, in steps from the lowest place that is held of its cell
        lowest = self.middle - self.reach
        self.shift = (at.shift[at.turn[readings]] - lowest[self.which] + self.bias + 0.5).astype(
            "f4"
        )
        self.lowest = lowest
        self.guide = self._guide(weights)
        self.spacing = at.spacing[items].astype("f4")
        self.contrast = self._contrasts(weights, at.marks[1:])
        places = lowest[:, None] + np.arange(2 * self.reach + 1)
        self.digit = places % cycle

    def _guide(self, weights: Array) -> Array:
        """For each cell places in steps, each as often as it is likely (cells x entries)."""
        up_to = np.cumsum(weights, axis=1)
        asked = (np.arange(_GUIDE) + 0.5) / _GUIDE
        node = [np.searchsorted(row / row[-1], asked) for row in up_to]
        return np.take_along_axis(self.grid, np.array(node), axis=1).astype("f4")

    def _contrasts(self, weights: Array, marks: Counts) -> Array:
        """Log likelihood ratio of a moderate share on each mark: cells x places x marks."""
        half = self.reach + int(marks[-1]) // 2 + 1
        ends = np.arange(-2 * half, 2 * half + 1) / 2  # every end of a step or a mark
        z = self.middle[:, None] + ends - self.bias
        below = np.einsum(
            "ceg,cg->ce",
            special.ndtr((z[:, :, None] - self.grid[:, None, :]) / self.error), weights,
        )  # fmt: skip
        place = np.arange(-self.reach, self.reach + 1)
        at_end = 2 * (place + half)

        def chance(mark: int) -> Array:
            return below[:, at_end + mark] - below[:, at_end - mark]

        honest = np.maximum(chance(1), 1e-9)
        tables = [
            np.where((self.middle[:, None] + place) % mark == 0, chance(int(mark)) / honest, 0)
            for mark in marks
        ]
        return np.log1p(MODERATE * (np.stack(tables, axis=2) - 1))

    def spots(self, x: Array) -> Counts:
        """Where the readings of the person stand among the places held of their cells."""
        spot = x.astype(np.int64) - self.lowest[self.which]
        return np.clip(spot, 0, 2 * self.reach)

    def draw(self, n: int, rng: np.random.Generator) -> Counts:
        """Null sessions: draws x readings, as spots."""
        cells = _GUIDE * np.arange(len(self.guide), dtype=np.int32)
        place = self.guide.take(rng.integers(0, _GUIDE, (n, len(cells)), dtype=np.int32) + cells)
        place += (rng.random(place.shape, dtype="f4") - np.float32(0.5)) * self.spacing
        place += np.float32(self.bias_error) * _normal((n, 1), rng)
        if self.of_subject:
            place += self.of_subject * _normal(place.shape, rng)
        values = _normal((n, len(self.which)), rng)
        values *= self.of_repeat
        values += self.shift
        values += place.take(self.which, axis=1)
        np.clip(values, 0, 2 * self.reach, out=values)
        return values.astype(np.int32)  # what is not negative is cut to the step below

    def place(self, spots: Counts) -> tuple[Array, Array]:
        """Contrasts (draws x marks) and counts of terminal positions (draws x cycle)."""
        contrast = np.zeros((len(spots), self.contrast.shape[2]))
        by_reading = np.ascontiguousarray(spots.T, dtype=np.intp)  # each is looked up in one run
        flat, first = np.empty_like(by_reading), np.arange(len(spots)) * self.cycle
        for spot, cell, row in zip(by_reading, self.which, flat, strict=True):
            contrast += self.contrast[cell].take(spot, axis=0)
            np.add(self.digit[cell].take(spot), first, out=row)
        counts = np.bincount(flat.ravel(), minlength=len(spots) * self.cycle)
        return contrast, counts.reshape(len(spots), self.cycle)

    def judge(self, own: tuple[Array, Array], n: int, rng: np.random.Generator) -> Judged:
        """P-values of a person's contrasts and counts against `n` null sessions."""
        contrast, counts = self.place(self.draw(n, rng))
        expected = counts.mean(axis=0)
        readings = counts[0].sum()
        far = np.abs(counts - expected).sum(axis=1) / 2 / readings
        own_far = float(np.abs(own[1][0] - expected).sum() / 2 / readings)
        largest = contrast.max(axis=1)
        return Judged(
            dissimilarity=max(own_far - far.mean(), 0.0),
            p_dissimilarity=_p(far, own_far),
            p_marks=np.array([_p(largest, one) for one in own[0][0]]),
        )


@lru_cache(maxsize=1)
def _quantiles() -> Array:
    return special.ndtri((np.arange(2**16) + 0.5) / 2**16).astype("f4")


def _normal(shape: tuple[int, int], rng: np.random.Generator) -> Array:
    """Standard normal draws from a table of 65,536 quantiles: readings are whole steps."""
    return _quantiles().take(rng.integers(0, 2**16, shape, dtype=np.uint16))


def _p(null: Array, own: float) -> float:
    return float((1 + (null >= own - 1e-9).sum()) / (1 + len(null)))
