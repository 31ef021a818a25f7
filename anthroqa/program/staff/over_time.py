"""What did each session say of each person?

The score table of every session under one another, and of it the one statistic a person, measure
and session that is followed over time: the repeat error as it was read, less a shift that the
others show where that is known, and the difference from the reference, less the instruments' errors
where they are known; from the other staff where there is no reference or another one in some
session.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.analysis import Analysis, analyse
from anthroqa.intake import EVERYBODY, Session
from anthroqa.notes.cells import worded
from anthroqa.program.staff.sessions import Program
from anthroqa.scores.table import COLUMNS as SCORES
from anthroqa.scores.table import score_rows

STATISTICS = (
    "within_tem", "within_tem_resolved", "within_tem_less_shift", "bias", "bias_less_instrument",
    "bias_from_others", "round_shift",
)  # fmt: skip
COLUMNS = ["session", "date", *SCORES, "reference", "step", "instruments", "group"]
FOLLOWED = [
    "session", "date", "measure", "measurer", "statistic", "estimate", "lower", "upper", "unit",
    "df", "subjects", "note", "reference", "step", "instruments", "group",
]  # fmt: skip
APART = ", "  # between codes in `instruments`
_SPREADS = ("within_tem_less_shift", "within_tem")
_DIFFERENCES = ("bias_less_instrument", "bias", "bias_from_others")


def history(
    program: Program, *, confidence: float = 0.90, seed: int = 0,
    only: Collection[str] = STATISTICS,
) -> pd.DataFrame:  # fmt: skip
    """The figures of every session that change over time is looked for in.

    Parameters
    ----------
    program : Program
    confidence : float, default 0.90
        Coverage of every two-sided interval.
    seed : int, default 0
        For statistics that draw random numbers.
    only : collection of str
        The statistics wanted; by default those that anything here needs.

    Returns
    -------
    pandas.DataFrame
        The rows of `anthroqa.score` of each session, with `session, date` in front and, behind,
        `reference` (bool: this is the session's reference), `step` (in `unit`), `instruments`
        (codes that the person measured with, "" where none is named) and `group` (which of the
        session's sets of subjects the person measured, "" with one set, or of several).

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    of = [analyse(s, confidence=confidence, seed=seed) for s in program.sessions]
    return worded(history_rows(of, only))


def history_rows(of: Sequence[Analysis], only: Collection[str] = STATISTICS) -> pd.DataFrame:
    """What `history` gives of these sessions, with codes in `note`."""
    parts = []
    for analysis in of:
        session = analysis.session
        table = score_rows(
            analysis.cubes, confidence=analysis.confidence, seed=analysis.seed, only=only
        )
        used, sets = _instruments(session), _groups(analysis)
        step = {name: float(m.step.size) for name, m in session.measures.items()}
        keys = list(zip(table["measure"], table["measurer"], strict=True))
        parts.append(table.assign(
            session=session.name, date=session.date,
            reference=(table["measurer"] == session.reference).to_numpy(bool),
            step=table["measure"].map(step), instruments=[used.get(key, "") for key in keys],
            group=[sets.get(key, "") for key in keys],
        ))  # fmt: skip
    table = pd.concat(parts, ignore_index=True)[COLUMNS]
    return table.astype({c: object for c in table.columns if table[c].dtype == "str"})


def _instruments(session: Session) -> dict[tuple[str, str], str]:
    """Codes of the instruments by measure and measurer."""
    if "instrument" not in session.readings:
        return {}
    named = session.readings[~session.readings["instrument"].isin(["", "NA"])]
    codes = named.groupby(["measure", "measurer"])["instrument"].unique()
    return {key: APART.join(sorted(some)) for key, some in codes.items()}


def _groups(analysis: Analysis) -> dict[tuple[str, str], str]:
    """The set of subjects of each measure and measurer, where there are several sets."""
    readings = analysis.session.readings
    pairs = readings[["measure", "measurer", "subject"]].drop_duplicates()
    n = pairs.groupby("measure").agg(["nunique", "size"])
    crossed = n["measurer", "nunique"] * n["subject", "nunique"] == n["subject", "size"]
    if crossed.all() and "group" not in readings:
        return {}  # everybody measured everybody
    found = {}
    for cube in analysis.cubes:
        if len(np.unique(cube.group)) > 1:
            for person, seen in zip(cube.people, cube.seen.any(axis=2), strict=True):
                of = np.unique(cube.group[seen])
                found[cube.measure.name, person] = str(of[0] + 1) if len(of) == 1 else ""
    return found


def repeat_errors(history: pd.DataFrame) -> pd.DataFrame:
    """The repeat error of each person and measure in each session.

    Returns
    -------
    pandas.DataFrame
        `session, date, measure, measurer, statistic, estimate, lower, upper, unit, df, subjects,
        note, reference, step, instruments, group`; `within_tem_less_shift` where it is known, else
        `within_tem`. Without rows of people who read nobody twice.
    """
    found = _first_known(history, _SPREADS)
    return found[found["df"] > 0].reset_index(drop=True)


def differences(history: pd.DataFrame) -> pd.DataFrame:
    """The difference of each person in each measure and session.

    Returns
    -------
    pandas.DataFrame
        The columns of `repeat_errors` and `spread`: the SD over subjects of the person's own part
        of it (from the scatter of `bias_from_others`, in which the reference has no part), NaN
        where it is not known. `bias_less_instrument` where it is known, else `bias`;
        `bias_from_others` where neither is, for the reference itself, and throughout a measure
        whose reference is not the same person in every session.
    """
    person = history[history["measurer"] != EVERYBODY]
    of = person[person["reference"]].groupby("measure")["measurer"].nunique()
    with_one = person[person["reference"]].groupby("measure")["session"].nunique()
    sessions = person.groupby("measure")["session"].nunique()
    unlike = {m for m in sessions.index if of.get(m, 0) > 1 or 0 < with_one.get(m, 0) < sessions[m]}
    held = person[
        ~(person["measure"].isin(unlike) & person["statistic"].isin(_DIFFERENCES[:2]))
    ]  # fmt: skip
    found = _first_known(held, _DIFFERENCES)
    found = found[found["subjects"] > 0].reset_index(drop=True)
    return found.assign(spread=_spreads(found, person))


def _first_known(history: pd.DataFrame, names: tuple[str, ...]) -> pd.DataFrame:
    """For each session, measure and person the first of these statistics that is not blank."""
    key = ["session", "measure", "measurer"]
    rows = history[history["statistic"].isin(names) & (history["measurer"] != EVERYBODY)]
    rank = rows["statistic"].map({name: i for i, name in enumerate(names)})
    rank += len(names) * rows["estimate"].isna()
    chosen = rows.loc[rank.groupby([rows[c] for c in key], sort=False).idxmin()]
    return chosen[FOLLOWED].sort_index()


def _spreads(found: pd.DataFrame, person: pd.DataFrame) -> np.ndarray:
    """SD over subjects of the own part: that of `n` staff is (n - 1) / n of what is seen."""
    key = ["session", "measure", "measurer"]
    seen = person[person["statistic"] == "bias_from_others"].set_index(key)
    staff = seen[~seen["reference"] & (seen["subjects"] > 0)].groupby(["session", "measure"]).size()
    others = found[key].merge(
        seen[["lower", "upper", "df", "subjects", "confidence"]].reset_index(), on=key, how="left"
    )
    n = np.array([staff.get(k, 0) for k in zip(found["session"], found["measure"], strict=True)])
    n = n + found["reference"].to_numpy()
    part = np.where(n > 1, (n - 1) / np.maximum(n, 1), np.nan)
    sd = _sd(others) * np.sqrt(part)
    confidence = float(person["confidence"].iloc[0]) if len(person) else np.nan
    return np.where(np.isnan(sd), _sd(found.assign(confidence=confidence)), sd)


def _sd(rows: pd.DataFrame) -> np.ndarray:
    """SD of the differences behind a t interval."""
    df, n = rows["df"].to_numpy(float), rows["subjects"].to_numpy(float)
    t = special.stdtrit(np.where(df > 0, df, np.nan), (1 + rows["confidence"].to_numpy(float)) / 2)
    return (rows["upper"] - rows["lower"]).to_numpy(float) / 2 / t * np.sqrt(n)
