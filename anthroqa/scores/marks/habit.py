"""Does the whole group lean to marks, so that nobody's neighbour can show it?

If most staff lean alike, the others are no measure of where subjects lie. What is then still
visible: readings of the staff together against positions spread evenly and smoothly between two
whole marks. Readings of one subject share its position, so subjects are the sample: the number
of readings on a mark is a sum over subjects, each a mixture over its position of sums of unequal
chances, and its distribution is computed exactly. It holds where the subjects spread over half a
whole mark or more, as children do.
"""

from __future__ import annotations

import numpy as np
from scipy import special

from anthroqa.notes import notes_of
from anthroqa.notes.scores.marks import Digits
from anthroqa.scores.layout.cube import Array, Counts, Cube
from anthroqa.scores.layout.figures import Figures
from anthroqa.scores.marks.digits import people_shares, read_marks
from anthroqa.scores.marks.subject_positions import Positions

NAMES = ("coarse_share",)
_PHASES = 20  # places between two marks of one kind that a subject may have
_LEAST_STAFF = 2


def group_figures(cube: Cube, confidence: float) -> list[Figures]:
    """`coarse_share:MARK` of the staff together: their mean share, against even positions."""
    read, shares = read_marks(cube), people_shares(cube, confidence)
    marks = cube.measure.coarse_marks
    staff = [p for p in np.flatnonzero(cube.staff) if not read.why[p]]
    share, p_value = np.full(len(marks), np.nan), np.full(len(marks), np.nan)
    why = notes_of(Digits.NEEDS_TWO_STAFF)
    subjects = readings = 0
    if len(staff) >= _LEAST_STAFF and read.at is not None:
        at = read.at
        mine = np.flatnonzero(np.isin(at.person, staff))
        share = np.mean([shares[p].estimate for p in staff], axis=0)
        p_value = np.array([_chance_of_so_many(at, mine, int(mark)) for mark in at.marks[1:]])
        subjects = int(cube.seen[staff].any(axis=(0, 2)).sum())
        readings = len(mine)
        why = notes_of(Digits.MEAN_OF_STAFF)
    elif len(set(read.why)) == 1:
        why = read.why[0]
    return [
        Figures(
            statistic=f"coarse_share:{name}", unit="share", estimate=share[j : j + 1],
            p_value=p_value[j : j + 1], subjects=np.array([subjects]),
            readings=np.array([readings]), note=np.array([why], dtype=object),
        )
        for j, name in enumerate(marks.values())
    ]  # fmt: skip


def _chance_of_so_many(at: Positions, readings: Counts, mark: int) -> float:
    """Chance of at least as many readings on a mark if nobody leans to any."""
    on = at.x[readings] % mark == 0
    item = at.cell_item[at.cell[readings]]
    chances = _chances(at, readings, mark)
    total = np.ones(1)
    for one in np.unique(item):
        total = np.convolve(total, _count_pmf(chances[item == one]).mean(axis=0))
    return float(np.clip(total[on.sum() :].sum(), 0.0, 1.0))


def _chances(at: Positions, readings: Counts, mark: int) -> Array:
    """Chance that each reading falls on a multiple of the mark, at each place of its subject."""
    person = at.person[readings]
    place = (np.arange(_PHASES) + 0.5) * mark / _PHASES
    own = (at.honest_bias[person] + at.shift[at.turn[readings]])[:, None] + place
    error = at.honest_error[person][:, None]
    own = own % mark
    turns = int(np.ceil(6 * error.max() / mark)) + 1
    chance = np.zeros_like(own)
    for turn in range(-turns, turns + 2):
        z = turn * mark - own
        chance += special.ndtr((z + 0.5) / error) - special.ndtr((z - 0.5) / error)
    return np.clip(chance, 0.0, 1.0)


def _count_pmf(chances: Array) -> Array:
    """Distribution of how many of some unequal chances come true (places x 0 to n)."""
    pmf = np.zeros((chances.shape[1], len(chances) + 1))
    pmf[:, 0] = 1
    for n, chance in enumerate(chances, start=1):
        chance = chance[:, None]
        pmf[:, 1 : n + 1] = pmf[:, 1 : n + 1] * (1 - chance) + pmf[:, :n] * chance
        pmf[:, :1] *= 1 - chance
    return pmf
