"""What do the readings of one person and one subject say together, and what each of them alone?

Readings fall into cells (a person and a subject). A cell's mean holds the person, the subject
and their interaction; readings about their cell's mean hold the repeat error alone. The two
are independent. What is fixed (rounds in each group, and contrasts of instruments) is carried
in both. Everything later is made from these two parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags

_NONE = 1e-9  # of the largest: what is left of a direction that is not there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Readings put together by person and subject, in steps."""

    staff: Counts  # of each cell, coded from 0
    subject: Counts
    n: Counts  # readings in each cell
    y: Array  # their mean
    fixed: Array  # cells x columns, means over the readings
    group: Counts  # of each column that is a round of a group; contrasts of instruments follow
    within: Array  # columns x columns: products about cell means
    within_y: Array
    within_squares: float  # of the readings about cell means

    @property
    def instruments(self) -> int:
        """How many columns, the last ones, are contrasts of instruments."""
        return self.fixed.shape[1] - len(self.group)

    @property
    def person(self) -> Array:
        """Which person each cell is of (cells x people)."""
        return _indicator(self.staff)

    @property
    def child(self) -> Array:
        """Which subject each cell is of (cells x subjects)."""
        return _indicator(self.subject)


def gather(x: Counts, staff: Counts, subject: Counts, fixed: Array, group: Counts) -> Cells:
    """Cells of readings given one by one; `fixed` has a row a reading."""
    _, staff = np.unique(staff, return_inverse=True)
    _, subject = np.unique(subject, return_inverse=True)
    width = int(subject.max()) + 1
    key, cell, n = np.unique(staff * width + subject, return_inverse=True, return_counts=True)
    total = np.bincount(cell, x)
    times = n[cell] * x - total[cell]  # whole numbers: n times the distance from the mean
    mean = np.stack([np.bincount(cell, column) for column in fixed.T], axis=1) / n[:, None]
    about, y = fixed - mean[cell], times / n[cell]
    return Cells(
        staff=key // width, subject=key % width, n=n, y=total / n, fixed=mean,
        group=group, within=about.T @ about, within_y=about.T @ y,
        within_squares=float(y @ y),
    )  # fmt: skip


def by_subject_and_round(cube: Cube, used: Flags) -> Cells:
    """Cells of the readings used, each subject's mean in each round fixed."""
    staff, subject, turn = np.nonzero(used)
    return gather(cube.x[used], staff, subject, *_rounds(cube, subject, turn))


def by_round(cube: Cube) -> Cells | None:
    """Cells of the staff's readings, each round of a group fixed; None where nobody read."""
    used = cube.seen & cube.staff[:, None, None]
    if not used.any():
        return None
    staff, subject, turn = np.nonzero(used)
    x = cube.x[used]
    rounds, group = _rounds(cube, cube.group[subject], turn)
    if len(cube.instruments) < 2:
        return gather(x, staff, subject, rounds, group)
    # a reading whose instrument was not noted counts as one on an instrument of its own
    on = _indicator(cube.instrument[used])
    apart = _told_apart(gather(x, staff, subject, np.hstack([rounds, on]), group))
    return gather(x, staff, subject, np.hstack([rounds, on @ apart]), group)


def basis(columns: Array) -> Array:
    """Orthonormal columns that span the same."""
    root, turned = np.linalg.eigh(columns.T @ columns)
    there = root > _NONE * max(root.max(initial=0.0), 1.0)
    return columns @ (turned[:, there] / np.sqrt(root[there]))


def _rounds(cube: Cube, of: Counts, turn: Counts) -> tuple[Array, Counts]:
    """One column for each round of each set of readings, and which set each column is of."""
    code = of * len(cube.rounds) + turn
    return _indicator(code), np.unique(code) // len(cube.rounds)


def _indicator(code: Counts) -> Array:
    """One column for each code that occurs."""
    return (code[:, None] == np.unique(code)).astype(float)


def _told_apart(cells: Cells) -> Array:
    """Contrasts of instruments (instruments x contrasts) that neither staff nor subjects hold."""
    root = np.sqrt(cells.n)[:, None]
    nuisance = root * np.hstack([cells.child, cells.person])
    # one information matrix of both parts, swept of rounds, subjects and staff
    design = np.hstack([cells.fixed * root, nuisance])
    information = design.T @ design
    information[: len(cells.within), : len(cells.within)] += cells.within
    own = np.arange(len(cells.group), cells.fixed.shape[1])
    rest = np.setdiff1d(np.arange(len(information)), own)
    left = (
        information[np.ix_(own, own)]
        - information[np.ix_(own, rest)]
        @ np.linalg.pinv(information[np.ix_(rest, rest)], rcond=_NONE, hermitian=True)
        @ information[np.ix_(rest, own)]
    )
    size, turned = np.linalg.eigh(left)
    return turned[:, size > 1e-6 * len(cells.n)]
