"""What is each person's repeat error likely to be, seeing everybody's?

Smyth (2004) Stat. Appl. Genet. Mol. Biol. 3:3, sections 3 and 6.2: variances are drawn from a
scaled inverse chi-squared with `prior_df` and `prior_tem`, which the moments of the logs of all
staff's variances give (digamma and trigamma); a person's moderated variance is the mean of own and
prior weighted by df. A dozen staff tell badly how much they differ: intervals are from the
posterior over all priors, each as likely as it makes the variances (`luck`), not from the one
prior. For pictures and planning only: a finding on a person rests on their own data. Variances are
taken as chi-squared on their df, which fails under about half a step.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.notes import Notes, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.program.staff import RepeatErrors, UnstablePrior
from anthroqa.program.staff import luck
from anthroqa.scores.layout.cube import Array

COLUMNS = [
    "measure", "measurer", "estimate", "df", "moderated", "lower", "upper", "prior_tem", "prior_df",
    "unit", "note",
]  # fmt: skip
LEAST_PEOPLE = 6  # under it the prior is too unstable to say more than a rough place
HALF = 0.5  # steps
_LEAST = 0.25  # squared steps
_ALIKE = 0.0  # weight of no spread at all: intervals are for people who may differ
_MANY = 1e7  # df of what is the truth and not a figure to come


def moderated(errors: pd.DataFrame, *, confidence: float = 0.90) -> pd.DataFrame:
    """Each person's repeat error moderated by everybody's, within a measure.

    Parameters
    ----------
    errors : pandas.DataFrame
        What `repeat_errors` gave.
    confidence : float, default 0.90
        Of the interval from the posterior.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, estimate, df, moderated, lower, upper, prior_tem, prior_df, unit,
        note`; `estimate` is the person's own, pooled over sessions by df. `prior_df` is infinite
        where staff cannot be told apart.

    References
    ----------
    Smyth (2004) Stat. Appl. Genet. Mol. Biol. 3(1):3, equations of sections 3 and 6.2 (from
    memory).
    """
    return worded(moderated_rows(errors, confidence=confidence))


def moderated_rows(errors: pd.DataFrame, *, confidence: float) -> pd.DataFrame:
    """What `moderated` gives, with codes in `note`."""
    rows, tail = [], (1 - confidence) / 2
    for measure, own in pooled(errors).groupby("measure", sort=False):
        staff = own[~own["reference"]]
        df, hidden = staff["df"].to_numpy(float), under_half_a_step(own)
        d0, s0 = prior(variances(staff), df)
        for row, variance in zip(own.itertuples(), variances(own), strict=True):
            base = (measure, row.measurer, row.estimate, row.df)
            if row.reference or hidden or d0 != d0:
                why = _of_prior(1, d0)
                if row.reference or hidden:
                    why = notes_of(RepeatErrors.NOT_STAFF if row.reference else RepeatErrors.HIDDEN)
                rows.append((*base, *(np.nan,) * 5, row.unit, why))
                continue
            tem = float(np.sqrt(posterior(variance, row.df, d0, s0)))
            place = list(staff["measurer"]).index(row.measurer)
            true = luck.of_repeat_error(variances(staff), df, place, _MANY, alike=_ALIKE)
            ends = [np.sqrt(true.quantile(q)) for q in (tail, 1 - tail)]
            rows.append((
                *base, tem, min(ends[0], tem), max(ends[1], tem), np.sqrt(s0), d0, row.unit,
                _of_prior(len(staff), d0),
            ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def _of_prior(people: int, d0: float) -> Notes:
    """What is to be known of the prior of so many people."""
    few = people < LEAST_PEOPLE
    return notes_of(
        UnstablePrior(people=people, least=LEAST_PEOPLE) if few else None,
        RepeatErrors.ALL_ALIKE if np.isinf(d0) else None,
    )


def pooled(errors: pd.DataFrame) -> pd.DataFrame:
    """Own repeat error of each person over sessions, pooled by df: a row a person and measure.

    `measure, measurer, estimate, df, sessions, unit, reference, step`; measures and staff in order.
    """
    x = errors.assign(squares=errors["df"] * errors["estimate"] ** 2)
    table = x.groupby(["measure", "measurer"], sort=False).agg(
        squares=("squares", "sum"), df=("df", "sum"), sessions=("session", "nunique"),
        unit=("unit", "first"), reference=("reference", "any"), step=("step", "first"),
    ).reset_index()  # fmt: skip
    table.insert(2, "estimate", np.sqrt(table["squares"] / table["df"]))
    place = {m: i for i, m in enumerate(dict.fromkeys(errors["measure"]))}
    table["place"] = table["measure"].map(place)
    ordered = table.sort_values(
        ["place", "reference", "measurer"], ascending=[True, False, True], kind="stable"
    )
    return ordered.drop(columns=["squares", "place"]).reset_index(drop=True)


def variances(rows: pd.DataFrame) -> Array:
    """Squares of `estimate`; where every repeat was equal half the least that could be seen."""
    least = least_variance(rows["step"].to_numpy(float), rows["df"].to_numpy(float))
    return np.maximum(rows["estimate"].to_numpy(float) ** 2, least)


def least_variance(step: Array | float, df: Array | float):
    """Half of the mean square of one pair that differs by a step; common practice, no source."""
    return _LEAST * step**2 / df


def under_half_a_step(own: pd.DataFrame) -> bool:
    """Whether staff together err by less than half a step: their variances are not chi-squared."""
    staff = own[~own["reference"]] if (~own["reference"]).any() else own
    centre = np.sqrt((staff["df"] * staff["estimate"] ** 2).sum() / staff["df"].sum())
    return bool(centre < HALF * own["step"].iloc[0])


def prior(variance: Array, df: Array) -> tuple[float, float]:
    """Prior df and variance from variances on `df`; infinite df where they spread no more.

    Smyth (2004), section 6.2: with e = log s2 - digamma(d / 2) + log(d / 2), trigamma(d0 / 2) is
    the variance of e less the mean of trigamma(d / 2). NaN under two people.
    """
    if len(variance) < 2:
        return np.nan, np.nan
    e = np.log(variance) - special.digamma(df / 2) + np.log(df / 2)
    spread = e.var(ddof=1) - special.polygamma(1, df / 2).mean()
    if spread <= 0:
        return np.inf, float(np.exp(e.mean()))
    d0 = 2 * trigamma_inverse(spread)
    return d0, float(np.exp(e.mean() + special.digamma(d0 / 2) - np.log(d0 / 2)))


def trigamma_inverse(x: float) -> float:
    """The y with trigamma(y) = x > 0, by Newton on its reciprocal (Smyth 2004, appendix)."""
    y = 0.5 + 1 / x
    for _ in range(50):
        value = special.polygamma(1, y)
        step = value * (1 - value / x) / special.polygamma(2, y)
        y += step
        if -step / y < 1e-12:
            break
    return float(y)


def posterior(variance: Array | float, df: Array | float, d0: float, s0: float):
    """Mean of own and prior variance by df."""
    if np.isinf(d0):
        return np.full(np.shape(variance), s0) if np.ndim(variance) else s0
    return (d0 * s0 + df * variance) / (d0 + df)
