"""Whose repeat error is larger than that of the other staff, given how often they repeated?

Own variance, pooled over sessions by df, against the pooled variance of the staff: limits from
chi-squared on each person's df, 95 and 99.8 % (Spiegelhalter 2005 Stat. Med. 24:1185-1202, from
memory). The p-value is that of the F test of the own variance against that of all *other* staff,
one-sided: an error that is smaller is no complaint. Exact where all have one repeat error, normal,
read to a step that is not over twice as large.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.notes import NONE, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.program.staff import RepeatErrors
from anthroqa.program.staff.moderation import pooled, under_half_a_step
from anthroqa.scores.layout.cube import Array

COLUMNS = [
    "measure", "measurer", "estimate", "df", "centre", "lower_95", "upper_95", "lower_998",
    "upper_998", "p_value", "unit", "note",
]  # fmt: skip
COVERAGES = (0.95, 0.998)


def funnel(errors: pd.DataFrame) -> pd.DataFrame:
    """Each person's repeat error over all sessions beside what chance gives the program's centre.

    Parameters
    ----------
    errors : pandas.DataFrame
        What `repeat_errors` gave.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, estimate, df, centre, lower_95, upper_95, lower_998, upper_998,
        p_value, unit, note`; the reference first, then staff by code. `centre` is the pooled
        repeat error of the staff, without the reference. `p_value` is one-sided and not adjusted.

    References
    ----------
    Spiegelhalter (2005) Stat. Med. 24:1185-1202 (from memory).
    """
    return worded(funnel_rows(errors))


def funnel_rows(errors: pd.DataFrame) -> pd.DataFrame:
    """What `funnel` gives, with codes in `note`."""
    rows = []
    for measure, own in pooled(errors).groupby("measure", sort=False):
        staff = own[~own["reference"]]
        squares, df = float((staff["df"] * staff["estimate"] ** 2).sum()), float(staff["df"].sum())
        hidden = under_half_a_step(own)
        centre = np.sqrt(squares / df) if df else np.nan
        for row in own.itertuples():
            of_others = squares - (0 if row.reference else row.df * row.estimate**2)
            others = df - (0 if row.reference else row.df)
            ends, p, note = np.full(4, np.nan), np.nan, NONE
            if hidden:
                note = notes_of(RepeatErrors.HIDDEN)
            elif others > 0:
                ends = np.array([limits(centre, row.df, c) for c in COVERAGES]).ravel()
                p = f_tail(row.estimate**2 / (of_others / others), row.df, others)
            else:
                note = notes_of(RepeatErrors.NO_OTHER_STAFF)
            rows.append((
                measure, row.measurer, row.estimate, row.df, centre, *ends, p, row.unit, note,
            ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def limits(centre: float, df: Array | float, coverage: float) -> tuple[Array, Array]:
    """Where repeat errors on `df` lie by chance round a centre; ends of the middle `coverage`."""
    df, tail = np.asarray(df, dtype=float), (1 - coverage) / 2
    low, high = special.chdtri(df, 1 - tail), special.chdtri(df, tail)
    return centre * np.sqrt(low / df), centre * np.sqrt(high / df)


def f_tail(ratio: float, df: float, other: float) -> float:
    """The chance of a larger ratio of two variances that are the same."""
    return float(special.fdtrc(df, other, ratio))
