"""How far do the staff differ from one another on the same subjects?

Between TEM as published: in each group of staff who share subjects and in each round, over
the subjects that all of them measured, the root of sum(x - subject mean)^2 / sum(M - 1).
Ulijaszek & Kerr (1999) Br. J. Nutr. 82:165-177. The repeat error is inside it, so the total
counts that twice; variance components do not. Its square is expected to be the sum of the
variances of person, person with subject, and repeat: its interval is theirs, drawn from sums of
squares of the same readings about each subject's mean of the round (`generalised_pivots`). On
chi-squared with its df it would be far too narrow: all readings of a person share one difference.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.scores.components import Between, LeftOut
from anthroqa.notes.scores.figures import Repeats
from anthroqa.scores.components.generalised_pivots import DRAWS, draw, interval
from anthroqa.scores.components.mean_squares import moments, squares
from anthroqa.scores.layout.cells import by_subject_and_round
from anthroqa.scores.layout.cube import Array, Cube, Flags
from anthroqa.scores.layout.figures import Figures, NoteArray
from anthroqa.scores.repeats.repeatability import within

NAMES = ("between_tem", "total_tem")


@dataclass(slots=True, kw_only=True)
class _Pool:
    """Squares and df pooled over groups and rounds."""

    squares: float = 0.0
    df: int = 0
    used: Flags  # which readings
    subjects: set[int] = field(default_factory=set)
    staff: set[int] = field(default_factory=set)
    left_out: list[LeftOut] = field(default_factory=list)


def group_figures(cube: Cube, confidence: float, rng: np.random.Generator) -> list[Figures]:
    """`between_tem` and `total_tem` of a measure, the reference left out."""
    pool = _Pool(used=np.zeros_like(cube.seen))
    for subjects in (np.flatnonzero(cube.group == g) for g in np.unique(cube.group)):
        staff = _enough(pool, cube, subjects)
        for turn in range(len(cube.rounds)):
            _add(pool, cube, staff, subjects, turn)
    between = np.sqrt(pool.squares / pool.df) * cube.size if pool.df else np.nan
    who = sorted(pool.staff)
    tem = within(cube).tem[who] * cube.size
    total = np.nan
    if pool.df and not np.isnan(tem).all():
        total = np.sqrt(np.nanmean(tem**2) + between**2)
    alone = notes_of(
        None if pool.df else Between.NONE_COMPLETE,
        Between.GROUPS_CAN_BE_TOLD if pool.left_out and not pool.df else None,
    )
    whole = Repeats.NOT_READ_TWICE if np.isnan(total) else Between.REPEATS_COUNTED_TWICE
    shared = {
        "unit": cube.measure.step.unit,
        "subjects": np.array([len(pool.subjects)]),
        "readings": np.array([int(pool.used.sum())]),
        "df": np.array([float(pool.df)]),
    }
    spread, bare = _interval(cube, pool, confidence, rng)
    lower, upper = between * spread
    return [
        Figures(
            statistic="between_tem", estimate=np.array([between]), lower=np.array([lower]),
            upper=np.array([upper]), note=_note(alone or bare, *pool.left_out), **shared,
        ),
        Figures(
            statistic="total_tem", estimate=np.array([total]),
            note=_note(alone or whole, *pool.left_out), **shared,
        ),
    ]  # fmt: skip


def _interval(
    cube: Cube, pool: _Pool, confidence: float, rng: np.random.Generator
) -> tuple[Array, Between | None]:
    """Ends of the interval as multiples of the estimate, or why there are none."""
    blank = np.full(2, np.nan)
    if not pool.df:
        return blank, None
    of = squares(by_subject_and_round(cube, pool.used))
    if not of.df_residual:
        return blank, Between.NOT_SEPARABLE
    by_squares = moments(of)
    middle = by_squares.measurer + by_squares.interaction + np.nan_to_num(by_squares.repeat)
    if not (middle > 0 and pool.squares > 0):
        return blank, Between.NO_DIFFERENCE
    ends = interval(draw(of, rng, DRAWS).reproducibility / middle, confidence)
    return np.sqrt([min(ends[0], 1.0), max(ends[1], 1.0)]), None


def _note(*parts: Note | Notes | None) -> NoteArray:
    return np.array([notes_of(*parts)], dtype=object)


def _enough(pool: _Pool, cube: Cube, subjects: np.ndarray) -> np.ndarray:
    """Staff of a group who measured half of its subjects or more; the others are named."""
    measured = cube.seen[:, subjects].any(axis=2) & cube.staff[:, None]
    n = measured.sum(axis=1)
    enough = (n > 0) & (2 * n >= measured.any(axis=0).sum())
    pool.left_out += [LeftOut(measurer=cube.people[p]) for p in np.flatnonzero((n > 0) & ~enough)]
    return np.flatnonzero(enough)


def _add(pool: _Pool, cube: Cube, staff: np.ndarray, subjects: np.ndarray, turn: int) -> None:
    """Add one group in one round; M - 1 df for each subject that all M staff of it measured."""
    seen = cube.seen[np.ix_(staff, subjects, [turn])][:, :, 0]
    present = seen.any(axis=1)  # who missed the whole round does not empty it
    m = int(present.sum())
    complete = seen[present].all(axis=0)
    if m < 2 or not complete.any():
        return
    x = cube.x[np.ix_(staff[present], subjects[complete], [turn])][:, :, 0]
    times = m * (x**2).sum(axis=0) - x.sum(axis=0) ** 2
    pool.squares += float(times.sum() / m)
    pool.df += int(complete.sum()) * (m - 1)
    pool.used[np.ix_(staff[present], subjects[complete], [turn])] = True
    pool.subjects |= set(subjects[complete].tolist())
    pool.staff |= set(staff[present].tolist())
