"""How did one row of a table of staff by sessions move in time, beside the other rows?

The table is additive where nobody moves: a person's level and what a session adds to everybody.
Weighted least squares with the own straight line in time of one person at a time. What is left of
the table once *everybody* has their own line says how much a person differs from session to
session; where too few sessions leave nothing then, what is left beside the one line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from anthroqa.scores.layout.cube import Array, Counts, Flags

LEAST_REST = 6.0  # df to know by how much a person differs between sessions
_ZERO = 1e-9
_HALVINGS = 45  # of a bracket of a few tens


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """The cells of a table that are not empty."""

    who: Counts
    when: Counts  # a session's place, or that of one of its sets of subjects
    time: Array  # of that session, from 0 to 1

    @property
    def people(self) -> int:
        """How many rows there are."""
        return int(self.who.max()) + 1

    @property
    def spans(self) -> Array:
        """From each person's first session to the last."""
        own = np.eye(self.people, dtype=bool)[self.who]
        last = np.where(own, self.time[:, None], -np.inf).max(axis=0)
        return last - np.where(own, self.time[:, None], np.inf).min(axis=0)

    @property
    def lines(self) -> Array:
        """The time of each cell in the column of its person, else 0."""
        return np.eye(self.people)[self.who] * self.time[:, None]

    @property
    def levels(self) -> Array:
        """Indicators of persons and of sessions."""
        sessions = np.eye(int(self.when.max()) + 1)[self.when]
        return np.hstack([np.eye(self.people)[self.who], sessions])


def basis(design: Array) -> Array:
    """Orthonormal columns that span those of `design`."""
    u, s, _ = np.linalg.svd(design, full_matrices=False)
    return u[:, s > _ZERO * max(s.max(initial=0.0), 1.0)]


def slopes(cells: Cells, variance: Array) -> tuple[Array, Flags]:
    """What each cell counts in each person's own slope (people x cells), and who has others.

    A person without anybody else in their sessions has the plain slope; NaN with one session.
    """
    root = 1 / np.sqrt(variance)
    q, lines = basis(cells.levels * root[:, None]), cells.lines * root[:, None]
    rest = lines - q @ (q.T @ lines)
    size = (rest**2).sum(axis=0)
    beside = size > _ZERO * np.maximum((lines**2).sum(axis=0), _ZERO)
    weights = np.full((cells.people, len(cells.who)), np.nan)
    weights[beside] = (rest[:, beside] * root[:, None] / size[beside]).T
    for p in np.flatnonzero(~beside):
        own = cells.who == p
        w = np.where(own, 1 / variance, 0.0)
        away = np.where(own, cells.time - (w @ cells.time) / w.sum(), 0.0)
        if (away**2).max() > _ZERO:
            weights[p] = w * away / (w @ away**2)
    return weights, beside


def rest(cells: Cells, y: Array, person: int | None = None) -> tuple[float, float, Array]:
    """Squares that are left, their df, and what each cell's variance counts in them.

    With everybody's own line, or that of one person; unweighted.
    """
    lines = cells.lines if person is None else cells.lines[:, [person]]
    q = basis(np.hstack([cells.levels, lines]))
    left = y - q @ (q.T @ y)
    share = 1 - (q**2).sum(axis=1)
    return float(left @ left), float(share.sum()), share


def log_chi2(weights: Array, df: Array, amount: Array) -> Array:
    """Where sums of logs of mean squares lie, as standard normal values.

    Sums (one a row) of weights x log(chi2 / df), independent; saddlepoint approximation in the
    form of Barndorff-Nielsen (1986) Biometrika 73:307-322, r* = r + log(u / r) / r (from memory).
    """
    d = df / 2
    low, high = _domain(weights, d)
    for _ in range(_HALVINGS):  # the derivative of the cumulants rises throughout
        middle = (low + high) / 2
        beyond = _slope(middle, weights, d) > amount
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return _standard((low + high) / 2, weights, d)


def log_chi2_quantile(weights: Array, df: Array, normal: float | Array) -> Array:
    """The sums that lie at a standard normal value; the inverse of `log_chi2`."""
    d = df / 2
    low, high = _domain(weights, d)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        beyond = _standard(middle, weights, d) > normal
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return _slope((low + high) / 2, weights, d)


def _domain(w: Array, d: Array) -> tuple[Array, Array]:
    """Between which the cumulants exist (d + t w > 0 for all); an open end as far as matters."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = -d / w
    far = 1e3 * d.max() / np.abs(w).max(axis=1)
    low = np.where(w > 0, ends, -np.inf).max(axis=1)
    high = np.where(w < 0, ends, np.inf).min(axis=1)
    inside = 1 - 1e-12
    return np.maximum(low * inside, -far), np.minimum(high * inside, far)


def _slope(t: Array, w: Array, d: Array) -> Array:
    return (w * (special.digamma(d + t[:, None] * w) - np.log(d))).sum(axis=1)


def _standard(t: Array, w: Array, d: Array) -> Array:
    """r* at the saddlepoints t, with its limit at zero."""
    moved = d + t[:, None] * w
    u = t * np.sqrt((w**2 * special.zeta(2, moved)).sum(axis=1))  # zeta(2, .) is trigamma
    k = (special.gammaln(moved) - special.gammaln(d) - t[:, None] * w * np.log(d)).sum(axis=1)
    near = np.abs(u) < 1e-3
    r = np.sign(t) * np.sqrt(np.maximum(2 * (t * _slope(t, w, d) - k), 0.0))
    safe = np.where(near, 1.0, r)
    skew = (w**3 * -2 * special.zeta(3, d)).sum(axis=1)  # tetragamma
    curve = (w**2 * special.zeta(2, d)).sum(axis=1)
    return np.where(
        near, u + skew / curve**1.5 / 6, safe + np.log(np.where(near, 1.0, u) / safe) / safe
    )
