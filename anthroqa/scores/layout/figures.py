"""How is a figure held before it becomes a row of the score table?

Also the two intervals that several statistics share, and exact pooling of squares.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import special

from anthroqa.notes import NONE, Note, Notes, notes_of
from anthroqa.notes.scores.figures import Agreement
from anthroqa.scores.layout.cube import Array, Counts

NoteArray = npt.NDArray[np.object_]  # of `Notes`
_SAME = 1e-9  # steps; differences that truly differ are much further apart


@dataclass(slots=True, kw_only=True, eq=False)
class Figures:
    """One statistic for each person of a cube, or for all of them as one entry.

    Arrays have one entry a person, in the cube's order. `rows` says who has a row.
    Estimates and intervals are in `unit`; NaN is blank.
    """

    statistic: str
    unit: str
    estimate: Array
    lower: Array = field(default_factory=lambda: np.empty(0))
    upper: Array = field(default_factory=lambda: np.empty(0))
    subjects: Counts
    readings: Counts
    df: Array = field(default_factory=lambda: np.empty(0))
    p_value: Array = field(default_factory=lambda: np.empty(0))
    note: NoteArray
    rows: npt.NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=bool))

    def __post_init__(self) -> None:
        n = len(self.estimate)
        for name in ("lower", "upper", "df", "p_value"):
            if not len(getattr(self, name)):
                setattr(self, name, np.full(n, np.nan))
        if not len(self.rows):
            self.rows = np.ones(n, dtype=bool)


def check_confidence(confidence: float) -> None:
    """Refuse a coverage that is none."""
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")


def ratio(numerator: Array | Counts, denominator: Array | Counts) -> Array:
    """Quotients, NaN where the denominator is not above 0."""
    numerator, denominator = np.broadcast_arrays(numerator, denominator)
    blank = np.full(numerator.shape, np.nan)
    return np.divide(numerator, denominator, out=blank, where=denominator > 0)


def root_chi2_interval(estimate: Array, df: Array, confidence: float) -> tuple[Array, Array]:
    """Interval of a standard deviation whose square is chi-squared on `df`.

    NaN where the estimate is 0: equal readings do not show that there is no error.
    """
    tail = (1 - confidence) / 2
    usable = (df > 0) & (estimate > 0)
    safe = np.where(usable, df, np.nan)
    lower = estimate * np.sqrt(safe / special.chdtri(safe, tail))
    upper = estimate * np.sqrt(safe / special.chdtri(safe, 1 - tail))
    return lower, upper


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PairedMean:
    """Mean over subjects of one difference a subject, with its t interval."""

    mean: Array
    variance: Array  # of the differences, n - 1; NaN below two
    n: Counts
    lower: Array
    upper: Array
    p_value: Array  # two-sided, against 0

    @property
    def note(self) -> NoteArray:
        """Why an interval is blank, where it is."""
        return notes(
            len(self.n),
            (self.variance == 0, Agreement.ALL_EQUAL),
            (self.n == 1, Agreement.ONE_SUBJECT),
        )


def paired_mean(difference: Array, confidence: float, scale: float) -> PairedMean:
    """Mean of differences (people x subjects, NaN where there is none) with a t interval.

    `scale` turns steps into the unit.
    """
    there = ~np.isnan(difference)
    n = there.sum(axis=1)
    d = np.where(there, difference, 0.0) * scale
    mean = ratio(d.sum(axis=1), n)
    centred = np.where(there, d - np.nan_to_num(mean)[:, None], 0.0)
    highest = np.max(np.where(there, difference, -np.inf), axis=1, initial=-np.inf)
    lowest = np.min(np.where(there, difference, np.inf), axis=1, initial=np.inf)
    equal = highest - lowest < _SAME  # means over rounds or staff are not exact
    variance = ratio((centred**2).sum(axis=1), n - 1)  # one mean is taken out
    variance[equal & (n > 1)] = 0.0
    usable = variance > 0
    df = np.where(usable, n - 1, np.nan)
    error = np.sqrt(np.where(usable, variance, np.nan) / np.maximum(n, 1))
    half = special.stdtrit(df, (1 + confidence) / 2) * error
    p_value = 2 * special.stdtr(df, -np.abs(mean / error))
    return PairedMean(
        mean=mean, variance=variance, n=n, lower=mean - half, upper=mean + half, p_value=p_value
    )


def pooled_squares(times: Counts, k: Counts) -> Array:
    """Sums over the last axis of squares that are held as k times their value, exactly.

    `times` holds k * sum(x^2) - sum(x)^2 of each cell, whole numbers; cells with the
    same `k` are added before the one division.
    """
    total = np.zeros(times.shape[:-1])
    for value in np.unique(k[k > 0]):
        total += np.where(k == value, times, 0).sum(axis=-1) / value
    return total


def notes(n: int, *reasons: tuple[npt.NDArray[np.bool_] | bool, Note | Notes]) -> NoteArray:
    """For each of `n` entries the first reason whose condition holds there, else none."""
    out = np.full(n, NONE, dtype=object)
    for where, reason in reversed(reasons):
        note = notes_of(reason)
        for i in np.flatnonzero(np.broadcast_to(where, n)):
            out[i] = note
    return out


def join(first: NoteArray, *more: NoteArray) -> NoteArray:
    """Notes put together, entry by entry."""
    out = first.copy()
    for other in more:
        out = out + other
    return out
