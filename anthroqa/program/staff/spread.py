"""By how much does a figure of one person differ from session to session, if nobody moves?

A log variance by trigamma(df / 2), times what the table of staff by sessions shows beyond it. A
difference by two parts: subjects (the person's own scatter over subjects, pooled over sessions
and moderated by that of all staff, over their number) and sessions (what the table of staff by
sessions shows beyond the first part). Tables are those of one measure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.program.staff import trends
from anthroqa.program.staff.moderation import prior, variances
from anthroqa.program.staff.trends import LEAST_REST, Cells
from anthroqa.scores.layout.cube import Array

FROM_OTHERS = "bias_from_others"
LEAST_PART = 0.5  # of what subjects explain: a table by chance calmer than that is not believed
_CLOSE = 1e-6
LEAST_SET = 3  # staff on the same subjects: fewer say too little of what is common to them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Rows of one measure as cells of a table of people by sessions."""

    rows: pd.DataFrame
    people: list[str]
    cells: Cells
    y: Array  # log variances, or differences
    noise: Array  # variance of each that its subjects alone explain
    noise_df: Array  # how well that is known

    def variances(self, beyond: float) -> Array:
        """Of each cell, with what sessions add (less than nothing where the table is calm)."""
        return np.maximum(self.noise + beyond, LEAST_PART * self.noise)

    def spreads(self) -> tuple[Array, Array]:
        """For each person what is left of the table beyond its noise (mean of a cell), its df.

        With everybody's own line; where that leaves too little, with that of the one person; NaN
        where that does too.
        """
        squares, df, share = trends.rest(self.cells, self.y)
        n = len(self.people)
        if df >= LEAST_REST - _CLOSE:
            return np.full(n, (squares - float(share @ self.noise)) / df), np.full(n, df)
        beyond, left = np.full(n, np.nan), np.zeros(n)
        for p in range(n):
            squares, left[p], share = trends.rest(self.cells, self.y, p)
            if left[p] >= LEAST_REST - _CLOSE:
                beyond[p] = (squares - float(share @ self.noise)) / left[p]
        return beyond, left


def placed(
    rows: pd.DataFrame, y: Array, noise: Array, noise_df: Array, *, apart: bool = False
) -> Table:
    """Rows of one measure as a table; people in the order of the rows, sessions in time.

    With `apart` each set of subjects of a session has a column of its own, where all are of
    `LEAST_SET` people or more: what the reference errs there is common to that set alone.
    """
    who, people = pd.factorize(rows["measurer"])
    sessions = rows.drop_duplicates("session").sort_values(["date", "session"])
    days = pd.to_datetime(sessions["date"]).to_numpy()
    time = (days - days[0]) / np.timedelta64(1, "D")
    if time[-1] == 0:
        time = np.arange(len(days), dtype=float)
    time = time / max(time[-1], 1.0)
    names = {name: i for i, name in enumerate(sessions["session"])}
    session = np.array([names[s] for s in rows["session"]])
    when = session
    if apart:
        sets = pd.factorize(pd.MultiIndex.from_arrays([session, rows["group"]]))[0]
        if np.bincount(sets).min() >= LEAST_SET:
            when = sets
    return Table(
        rows=rows, people=list(people), cells=Cells(who=who, when=when, time=time[session]), y=y,
        noise=noise, noise_df=noise_df,
    )  # fmt: skip


def of_errors(rows: pd.DataFrame) -> Table:
    """Log variances of one measure, with the variance that chi-squared gives them."""
    df = rows["df"].to_numpy(float)
    noise = special.polygamma(1, df / 2)
    return placed(rows, np.log(variances(rows)), noise, np.full(len(rows), np.inf))


def expected_log(df: Array) -> Array:
    """Mean of the log of a chi-squared over its df."""
    return special.digamma(df / 2) - np.log(df / 2)


def of_differences(rows: pd.DataFrame) -> Table:
    """Differences of one measure and of its staff, with the variance that subjects give them.

    A difference from the others is larger than the own part of it: that of n people is
    (n - 1) / n.
    """
    staff = rows.groupby("session")["measurer"].transform("nunique").to_numpy(float)
    part = np.where(rows["statistic"] == FROM_OTHERS, (staff - 1) / staff, 1.0)
    per, known = own_scatter(rows)
    noise = per / rows["subjects"].to_numpy(float)
    return placed(rows, rows["estimate"].to_numpy(float) * part, noise, known, apart=True)


def own_scatter(rows: pd.DataFrame) -> tuple[Array, Array]:
    """Variance over subjects of each row's person, and its df: own, moderated by all staff's.

    Pooled over sessions; where nothing of a person is known that of the staff. Only the own part
    is uncertain as that of one person.
    """
    df = np.maximum(rows["subjects"].to_numpy(float) - 1, 0)
    df = np.where(rows["spread"].notna() & (rows["spread"] > 0), df, 0.0)
    of = pd.DataFrame({
        "who": rows["measurer"].to_numpy(), "df": df,
        "squares": df * np.nan_to_num(rows["spread"].to_numpy(float)) ** 2,
    }).groupby("who")[["squares", "df"]].sum()  # fmt: skip
    there = of[of["df"] > 0]
    if there.empty:
        return np.full(len(rows), np.nan), np.zeros(len(rows))
    variance = (there["squares"] / there["df"]).to_numpy()
    d0, s0 = prior(variance, there["df"].to_numpy(float))
    if np.isnan(d0):
        d0, s0 = 0.0, float(variance[0])
    own = (of["squares"] / of["df"].where(of["df"] > 0)).fillna(s0).to_numpy()
    own_df = of["df"].to_numpy(float)
    d0 = np.where(own_df > 0, np.minimum(d0, own_df), 1.0)  # the own part counts half or more
    mixed = (d0 * s0 + own_df * own) / (d0 + own_df)
    known = np.where(own_df > 0, (own_df + d0) ** 2 / np.maximum(own_df, 1), own_df.sum())
    at = rows["measurer"].to_numpy()
    return pd.Series(mixed, of.index)[at].to_numpy(), pd.Series(known, of.index)[at].to_numpy()
