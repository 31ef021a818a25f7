"""Who, or what, is on the way somewhere else: repeat errors, differences, the reference?

`smoothed` is for the eye: an exponentially weighted mean of a person's sessions (Roberts 1959
Technometrics 1:239-250, from memory) round their own mean, with limits that hold it where they do
not change. `drifts` is for a decision: the change along a straight line in time, beside the other
staff in the same sessions, so that what a session adds to everybody (its subjects, the reference)
is nobody's. Held against what people differ by from session to session: for log variances the exact
distribution under chi-squared, widened where the table spreads more; for differences t. A repeat
error is asked whether it *grew* (one-sided), a difference whether it moved either way. The
reference is held against all staff together: either it moved, or all of them did.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.notes import Notes, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.program.staff import Drift, MeasuredOn, RepeatErrors, Used
from anthroqa.program.staff import trends
from anthroqa.program.staff.moderation import under_half_a_step
from anthroqa.program.staff.over_time import APART
from anthroqa.program.staff.spread import (
    FROM_OTHERS,
    LEAST_PART,
    Table,
    expected_log,
    of_differences,
    of_errors,
    own_scatter,
    placed,
)
from anthroqa.scores.layout.cube import Array
from anthroqa.scores.layout.figures import ratio

REPEAT, DIFFERENCE, REFERENCE = "repeat error", "difference", "reference"
WEIGHT = 0.4  # of the latest session; common practice, no source
SMOOTHED = [
    "measure", "measurer", "what", "session", "date", "value", "lower", "upper", "smoothed",
    "limit_low", "limit_high", "unit",
]  # fmt: skip
DRIFTS = [
    "measure", "measurer", "what", "change", "lower", "upper", "p_value", "sessions", "unit",
    "note",
]  # fmt: skip
_RATIO = "times"


def drifts(
    errors: pd.DataFrame, differences: pd.DataFrame, *, confidence: float = 0.90
) -> pd.DataFrame:
    """The change of each person from their first to their last session, along a straight line.

    Parameters
    ----------
    errors, differences : pandas.DataFrame
        What `repeat_errors` and `differences` gave.
    confidence : float, default 0.90
        Of the intervals.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, what, change, lower, upper, p_value, sessions, unit, note`. `what` is
        `repeat error` (`change` is the last as a ratio of the first, unit `times`; `p_value` for
        growth), `difference` (in `unit`, two-sided) or `reference`: the reference less all staff
        together. P-values are not adjusted.

    References
    ----------
    Barndorff-Nielsen (1986) Biometrika 73:307-322 (saddlepoint, from memory); Satterthwaite (1946)
    Biometrics Bull. 2:110-114; Smyth (2004) Stat. Appl. Genet. Mol. Biol. 3:3 (moderation of what
    subjects scatter by).
    """
    return worded(drift_rows(errors, differences, confidence=confidence))


def drift_rows(
    errors: pd.DataFrame, differences: pd.DataFrame, *, confidence: float
) -> pd.DataFrame:
    """What `drifts` gives, with codes in `note`."""
    rows: list[tuple] = []
    for measure in dict.fromkeys([*errors["measure"], *differences["measure"]]):
        rows += _repeat(measure, errors[errors["measure"] == measure], confidence)
        rows += _moved(measure, differences[differences["measure"] == measure], confidence)
    return pd.DataFrame(rows, columns=DRIFTS)


_Found = tuple[Array, Array, Array, Array, list[Notes]]  # change, its ends, p-value, note


def _repeat(measure: str, rows: pd.DataFrame, confidence: float) -> Iterator[tuple]:
    """Growth of each person's repeat error; that of the reference beside the staff."""
    if rows.empty:
        return
    hidden = under_half_a_step(rows)
    sessions = rows["measurer"].value_counts()
    staff = rows[~rows["reference"]]
    of = sorted(set(rows.loc[rows["reference"], "measurer"]))
    for who in (*([p] for p in of), sorted(set(staff["measurer"]) - set(of))):
        if not who:
            continue
        beside = rows[~rows["reference"] | rows["measurer"].isin(who)] if who[0] in of else staff
        found = None if hidden else _growths(of_errors(beside), who, confidence)
        for p, person in enumerate(who):
            n = int(sessions[person])
            if found is None or n < 2:
                blank = (np.nan,) * 4
                why = notes_of(RepeatErrors.HIDDEN if hidden else Drift.ONE_SESSION)
                yield (measure, person, REPEAT, *blank, n, _RATIO, why)
            else:
                amounts = (a[p] for a in found[:4])
                yield (measure, person, REPEAT, *amounts, n, _RATIO, found[4][p])


def _growths(table: Table, who: list[str], confidence: float) -> _Found:
    """Ratio of the last repeat error to the first of these people, p-values for growth."""
    df = table.rows["df"].to_numpy(float)
    weights, beside = trends.slopes(table.cells, table.noise)
    of = np.array([table.people.index(person) for person in who])
    there = ~np.isnan(weights[of, 0])
    some = of[there]
    w, half = weights[some], table.cells.spans[some] / 2  # half: of a log SD
    beyond, _ = table.spreads()
    wider = np.sqrt(np.maximum(1 + np.nan_to_num(beyond[some]) / table.noise.mean(), 1.0))
    slope = w @ table.y
    z = special.ndtri((1 + confidence) / 2) * wider
    out = [np.full(len(who), np.nan) for _ in range(4)]
    out[0][there] = np.exp((slope - w @ expected_log(df)) * half)
    for end, q in ((out[1], z), (out[2], -z)):
        end[there] = np.exp((slope - trends.log_chi2_quantile(w, df, q)) * half)
    out[3][there] = special.ndtr(-trends.log_chi2(w, df, slope) / wider)
    return *out, [_note(*row) for row in zip(beside[of], beyond[of] == beyond[of], strict=True)]


def _note(beside: bool, known: bool) -> Notes:
    return notes_of(
        None if beside else Drift.NOBODY_ELSE, None if known else Drift.TOO_FEW_SESSIONS
    )


def _moved(measure: str, rows: pd.DataFrame, confidence: float) -> Iterator[tuple]:
    """Movement of each person's difference beside the staff, and of the reference."""
    staff = rows[~rows["reference"]]
    if staff.empty:
        return
    unit = staff["unit"].iloc[0]
    table = of_differences(staff)
    found, changed = _shifts(table, confidence), _changed_on(staff)
    sessions = staff["measurer"].value_counts()
    for person in sorted(table.people):
        p, n = table.people.index(person), int(sessions[person])
        note = notes_of(changed.get(person), Drift.ONE_SESSION if n < 2 else found[4][p])
        yield (measure, person, DIFFERENCE, *(a[p] for a in found[:4]), n, unit, note)
    of = rows[rows["reference"]]
    if len(set(of["measurer"])) == 1 and (staff["statistic"] != FROM_OTHERS).all():
        found = _shifts(_beside(of, staff, table), confidence)
        note = notes_of(Drift.REFERENCE_OR_ALL, found[4][0])
        if len(of) < 2:
            note = notes_of(Drift.ONE_SESSION)
        yield (
            measure, of["measurer"].iloc[0], REFERENCE, *(a[0] for a in found[:4]), len(of), unit,
            note,
        )  # fmt: skip


def _beside(of: pd.DataFrame, staff: pd.DataFrame, table: Table) -> Table:
    """The table of staff below the reference, whose difference from itself is zero.

    Once for each set of subjects of a session, and so that their mean is as uncertain as the whole.
    """
    per, known = own_scatter(pd.concat([of, staff]))
    places = staff[["session", "group"]].drop_duplicates()
    own = of.assign(noise=per[: len(of)] / of["subjects"], known=known[: len(of)])
    own = own.drop(columns="group").merge(places, on="session", how="inner")
    sets = own.groupby("session")["group"].transform("size").to_numpy(float)
    return placed(
        pd.concat([own, staff]), np.r_[np.zeros(len(own)), table.y],
        np.r_[own["noise"] * sets, table.noise], np.r_[own["known"], table.noise_df],
        apart=True,
    )  # fmt: skip


def _changed_on(staff: pd.DataFrame) -> dict[str, MeasuredOn]:
    """Of people who measured on other instruments in some session, on which and when."""
    if len(set(staff["instruments"])) < 2:
        return {}
    return {
        person: MeasuredOn(used=tuple(
            Used(instruments=tuple(filter(None, row.instruments.split(APART))), session=row.session)
            for row in used.itertuples()
        ))
        for person, used in staff.sort_values(["date", "session"]).groupby("measurer")
        if len(set(used["instruments"])) > 1
    }  # fmt: skip


def _shifts(table: Table, confidence: float) -> _Found:
    """Change of each person from the first to the last session, two-sided p-values."""
    beyond, rest = table.spreads()
    known, between = beyond == beyond, np.nan_to_num(beyond)
    n, spans = len(table.people), table.cells.spans
    change, error = np.full(n, np.nan), np.full(n, np.nan)
    beside = np.ones(n, dtype=bool)
    for value in np.unique(between):  # one, but where too few sessions leave one for each person
        variance = table.variances(value)
        if np.isnan(variance).any():
            known, variance = np.zeros(n, dtype=bool), np.ones(len(table.y))
        weights, has = trends.slopes(table.cells, variance)
        some = between == value
        beside[some] = has[some]
        change[some] = (weights @ table.y * spans)[some]
        error[some] = (np.sqrt(weights**2 @ variance) * spans)[some]
    mean = np.eye(n)[table.cells.who] / np.bincount(table.cells.who)
    noise, noise_df = table.noise @ mean, table.noise_df @ mean
    own, usual = (np.maximum(v + between, LEAST_PART * v) for v in (noise, table.noise.mean()))
    # what the whole table shows, and the part of subjects as far as it is the person's own
    df = ratio(own**2, ratio(usual**2, rest) + ratio(noise**2, noise_df))
    error = np.where(known, error, np.nan)
    half = special.stdtrit(df, (1 + confidence) / 2) * error
    p_value = 2 * special.stdtr(df, -np.abs(change) / error)
    notes = [_note(*row) for row in zip(beside, known, strict=True)]
    return change, change - half, change + half, p_value, notes


def smoothed(
    errors: pd.DataFrame, differences: pd.DataFrame, *, coverage: float = 0.95
) -> pd.DataFrame:
    """Every session of every person with its smoothed value and limits; for pictures.

    Parameters
    ----------
    errors, differences : pandas.DataFrame
        What `repeat_errors` and `differences` gave.
    coverage : float, default 0.95
        Of the limits, for one session of somebody who does not change.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, what, session, date, value, lower, upper, smoothed, limit_low,
        limit_high, unit`; limits are NaN with one session, and where what a person differs by
        between sessions is not known.
    """
    parts = [pd.DataFrame(columns=SMOOTHED)]
    for what, table, lay_out in (
        (REPEAT, errors, of_errors), (DIFFERENCE, differences, _with_references),
    ):  # fmt: skip
        for _, rows in table.groupby("measure", sort=False):
            parts.append(_smooth(lay_out(rows), what, coverage))
    return pd.concat(parts[1:] or parts, ignore_index=True)[SMOOTHED]


def _with_references(rows: pd.DataFrame) -> Table:
    """Differences of everybody as they stand, the reference's own too."""
    per, known = own_scatter(rows)
    return placed(
        rows, rows["estimate"].to_numpy(float), per / rows["subjects"].to_numpy(float), known
    )


def _smooth(table: Table, what: str, coverage: float) -> pd.DataFrame:
    rows, y, variance = table.rows, table.y, table.noise
    beyond, _ = table.spreads()
    between = np.maximum(beyond, 0.0)[table.cells.who]  # NaN where it is not known
    if what == REPEAT:
        y = y - expected_log(rows["df"].to_numpy(float))
        variance = variance * (1 + np.nan_to_num(between) / variance.mean())
    else:
        variance = variance + between
        if (rows["statistic"] != FROM_OTHERS).any():  # the reference's part, taken as a person's
            variance = variance + np.mean(table.noise) + between
    out = np.full((3, len(rows)), np.nan)
    for p in range(len(table.people)):
        own = np.flatnonzero(table.cells.who == p)
        own = own[np.argsort(table.cells.time[own], kind="stable")]
        out[:, own] = ewma(y[own], variance[own], coverage)
    mean, low, high = np.exp(out / 2) if what == REPEAT else out
    return rows.assign(
        what=what, value=rows["estimate"], smoothed=mean, limit_low=low, limit_high=high
    )


def ewma(y: Array, variance: Array, coverage: float) -> tuple[Array, Array, Array]:
    """Exponentially weighted means that start at the mean of all, and their limits round it.

    The mean has weights 1 / variance; the limits are exact for independent normal values.
    """
    n = len(y)
    whole = np.full(n, 1 / n) if np.isnan(variance).any() else (1 / variance) / (1 / variance).sum()
    weights = np.zeros((n, n))
    last = whole
    for k in range(n):
        last = (1 - WEIGHT) * last
        last[k] += WEIGHT
        weights[k] = last
    centre = float(whole @ y)
    if n == 1:
        return y, np.full(1, np.nan), np.full(1, np.nan)
    half = special.ndtri((1 + coverage) / 2) * np.sqrt((weights - whole) ** 2 @ variance)
    return weights @ y, centre - half, centre + half
