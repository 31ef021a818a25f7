"""What can one measure's readings say of its variances, and what can they not?

Crossed random effects of subject, person and person with subject, beside the repeat error;
rounds of each group are fixed and the reference is left out. Estimates are those of restricted
maximum likelihood, draws those of generalised pivotal quantities. Assumes normal errors of one
size, the same for every person. Instruments: where staff and subjects met several, contrasts
of instruments are fixed in the model, and their variance is that of these contrasts (Paule &
Mandel 1982, J. Res. Natl. Bur. Stand. 87:377-385; from memory); else they stay in what they
cannot be told from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.notes.scores.components import Components
from anthroqa.notes.scores.figures import Repeats
from anthroqa.scores.components.generalised_pivots import DRAWS, Draws, chi2, draw, draw_lifted
from anthroqa.scores.components.likelihood import REPEAT, Fit, reml
from anthroqa.scores.components.mean_squares import (
    Moments,
    Squares,
    contrasts,
    effect,
    moments,
    squares,
)
from anthroqa.scores.layout.cells import Cells, by_round
from anthroqa.scores.layout.cube import Array, Cube


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Instruments:
    """Spread between instruments, in squared steps."""

    variance: float
    draws: Array
    df: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Variances:
    """What one measure's readings say of its variances, in squared steps."""

    cells: Cells
    squares: Squares
    moments: Moments  # by mean squares; may be negative
    fit: Fit
    draws: Draws
    lifted: Draws  # the same, no effect's interval wholly at zero
    instruments: Instruments | None  # None where they cannot be told from the rest

    @property
    def why_none(self) -> Components | None:
        """Why variances between staff cannot be had; None where they can."""
        cells, of = self.cells, self.squares
        reasons = (
            (not cells.staff.any(), Components.ONE_PERSON),
            (not cells.subject.any(), Components.ONE_SUBJECT),
            (not of.measurer.df, Components.NO_SHARED_SUBJECT),
            (not _enough(of), Components.TOO_FEW_SHARED),
            (not self.fit.settled, Components.UNSETTLED),
        )
        return next((reason for holds, reason in reasons if holds), None)

    @property
    def why_no_repeat(self) -> Components | None:
        """Why the repeat error cannot be had; None where it can."""
        if self.squares.df_repeat > 0:
            return None
        once = (self.cells.n == 1).all()
        return Components.NO_SECOND_READING if once else Components.TOO_FEW_SECOND_READINGS

    @property
    def why_no_interval(self) -> Components | None:
        """Why variances between staff have no interval; None where they have."""
        hidden = self.squares.residual == 0 and not self.squares.repeat > 0
        return Components.NO_ERROR_SEEN if hidden else None

    @property
    def why_no_repeat_interval(self) -> Repeats | None:
        """Why the repeat error has no interval; None where it has."""
        return None if self.squares.repeat > 0 else Repeats.ALL_EQUAL


def variances(cube: Cube, rng: np.random.Generator) -> Variances | None:
    """Variances of the staff's readings; None where there are none."""
    cells = by_round(cube)
    if cells is None:
        return None
    of = squares(cells)
    by_squares = moments(of)
    if _enough(of):
        fit = reml(cells, by_squares)
    else:
        blank = np.array([np.nan, np.nan, np.nan, by_squares.repeat])
        fit = Fit(variance=blank, fixed=np.empty(0), covariance=np.empty((0, 0)), settled=False)
    draws = draw(of, rng, DRAWS)
    return Variances(
        cells=cells, squares=of, moments=by_squares, fit=fit, draws=draws,
        lifted=draw_lifted(of, by_squares, draws, rng),
        instruments=_instruments(cells, fit, draws, rng),
    )  # fmt: skip


def _enough(of: Squares) -> bool:
    return bool(of.df_residual and of.measurer.df and of.subject.df)


def _instruments(
    cells: Cells, fit: Fit, draws: Draws, rng: np.random.Generator
) -> Instruments | None:
    """From fixed contrasts of instruments: each has the variance of instruments + its own."""
    if not cells.instruments or not len(fit.fixed):
        return None
    at = slice(-cells.instruments, None)
    error, turned = np.linalg.eigh(fit.covariance[at, at])
    z = turned.T @ fit.fixed[at]
    of = contrasts(z, 1 / error, np.zeros(len(z)))
    last = fit.variance[REPEAT]
    scale = draws.repeat / last if last > 0 else np.ones(len(draws.repeat))
    return Instruments(
        variance=max(float(effect(of, of.error(1.0, 0.0), len(z))[0]), 0.0), df=len(z),
        draws=effect(of, of.error(scale, 0.0), chi2(len(z), len(scale), rng)),
    )  # fmt: skip
