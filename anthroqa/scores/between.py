"""How far do the staff differ from one another on the same subjects?

Between TEM as published: in each group of staff who share subjects and in each round, over
the subjects that all of them measured, the root of sum(x - subject mean)^2 / sum(M - 1).
Ulijaszek & Kerr (1999) Br. J. Nutr. 82:165-177. The repeat error is inside it, so the total
counts that twice; variance components do not.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from anthroqa.scores.cube import Cube
from anthroqa.scores.figures import Figures, notes
from anthroqa.scores.repeatability import within

NAMES = ("between_tem", "total_tem")


@dataclass(slots=True, kw_only=True)
class _Pool:
    """Squares and df pooled over groups and rounds."""

    squares: float = 0.0
    df: int = 0
    readings: int = 0
    subjects: set[int] = field(default_factory=set)
    staff: set[int] = field(default_factory=set)
    left_out: list[str] = field(default_factory=list)


def group_figures(cube: Cube, confidence: float) -> list[Figures]:
    """`between_tem` and `total_tem` of a measure, the reference left out."""
    pool = _Pool()
    for subjects in (np.flatnonzero(cube.group == g) for g in np.unique(cube.group)):
        staff = np.flatnonzero(cube.staff & cube.seen[:, subjects].any(axis=(1, 2)))
        if len(staff) >= 2:
            for turn in range(len(cube.rounds)):
                _add(pool, cube, staff, subjects, turn)
    between = np.sqrt(pool.squares / pool.df) * cube.size if pool.df else np.nan
    who = sorted(pool.staff)
    tem = within(cube).tem[who] * cube.size
    total = np.nan
    if pool.df and not np.isnan(tem).all():
        total = np.sqrt(np.nanmean(tem**2) + between**2)
    left_out = "; ".join(dict.fromkeys(pool.left_out))
    alone = notes(1, (pool.df == 0, "no subject was measured by two staff in one round"))[0]
    once = "no subject was read twice" if pool.df and np.isnan(total) else ""
    shared = {
        "unit": cube.measure.step.unit,
        "subjects": np.array([len(pool.subjects)]),
        "readings": np.array([pool.readings]),
        "df": np.array([float(pool.df)]),
    }
    return [
        Figures(
            statistic="between_tem", estimate=np.array([between]),
            note=_note(alone or "no interval: chi-squared on this df would be too narrow",
                       left_out), **shared,
        ),
        Figures(
            statistic="total_tem", estimate=np.array([total]),
            note=_note(alone or once or "as published, counts the repeat error twice; the variance "
                       "components do not", left_out), **shared,
        ),
    ]  # fmt: skip


def _note(*parts: str) -> np.ndarray:
    return np.array(["; ".join(p for p in parts if p)], dtype=object)


def _add(pool: _Pool, cube: Cube, staff: np.ndarray, subjects: np.ndarray, turn: int) -> None:
    """Add one group in one round; M - 1 df for each subject that all M staff measured."""
    seen = cube.seen[np.ix_(staff, subjects, [turn])][:, :, 0]
    measured = seen.any(axis=0).sum()
    enough = 2 * seen.sum(axis=1) >= measured
    pool.left_out += [
        f"left out: {cube.people[p]} (under half of the subjects in round {cube.rounds[turn]})"
        for p in staff[~enough]
    ]
    complete = seen[enough].all(axis=0) & bool(measured)
    m = int(enough.sum())
    if m < 2 or not complete.any():
        return
    x = cube.x[np.ix_(staff[enough], subjects[complete], [turn])][:, :, 0]
    times = m * (x**2).sum(axis=0) - x.sum(axis=0) ** 2
    pool.squares += float(times.sum() / m)
    pool.df += int(complete.sum()) * (m - 1)
    pool.readings += x.size
    pool.subjects |= set(subjects[complete].tolist())
    pool.staff |= set(staff[enough].tolist())
