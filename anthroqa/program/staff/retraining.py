"""Did retraining help, or did luck?

Who is picked for a high figure has, on the mean, a lower one next time, retrained or not. The
sessions afterwards are therefore never held against the one that led to it, but against the
person's own other sessions before the date where there are enough (own data: F test, or t); else
against what luck alone would give (`luck`). Differences are less what the staff who were not
retrained moved by in the same sessions. The p-value is the chance of as good a figure by luck,
one-sided.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.decisions.enough import LEAST_DF, LEAST_SUBJECTS
from anthroqa.notes import Note, notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.program.staff import (
    Drift,
    FewRepeats,
    FewStaff,
    FewSubjects,
    HeldAgainstOwn,
    RepeatErrors,
    Retraining,
)
from anthroqa.program.staff import luck
from anthroqa.program.staff.drift import DIFFERENCE, REPEAT
from anthroqa.program.staff.moderation import (
    LEAST_PEOPLE,
    least_variance,
    pooled,
    under_half_a_step,
    variances,
)
from anthroqa.program.staff.sessions import Program
from anthroqa.program.staff.spread import Table, of_differences
from anthroqa.program.staff.trends import basis
from anthroqa.scores.layout.cube import Array

BETTER, AS_LUCK, WORSE, UNJUDGED = (
    "better than luck alone would give", "as luck alone would give", "worse", "not judged",
)  # fmt: skip
RISK = 0.05  # of calling it better where nothing changed, by own other sessions
BY_LUCK = 0.035  # and by luck alone, which is badly known: 6 % in the hardest case that was drawn
RISK_WORSE = 0.025
COLUMNS = [
    "measure", "measurer", "what", "date", "picked", "before", "luck_alone", "luck_lower",
    "luck_upper", "after", "p_value", "finding", "unit", "note",
]  # fmt: skip
_LUCK = {"luck_alone": 0.5, "luck_lower": 0.05, "luck_upper": 0.95}


def retrained(program: Program, errors: pd.DataFrame, differences: pd.DataFrame) -> pd.DataFrame:
    """For everybody retrained: what led to it, what luck alone would give next, and what came.

    Parameters
    ----------
    program : Program
        For who was retrained, when, and which session led to it.
    errors, differences : pandas.DataFrame
        What `repeat_errors` and `differences` gave.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, what, date, picked, before, luck_alone, luck_lower, luck_upper, after,
        p_value, finding, unit, note`. `what` is `repeat error` or `difference`; `picked` is the
        figure of the session that led to it, `before` that of the other sessions before, NaN
        without any, `after` that of the sessions up to the next retraining. `luck_alone` with its
        90 % interval is what all figures before let expect after no retraining at all. `finding`
        is `better than luck alone would give`, `as luck alone would give`, `worse` or `not
        judged`.

    References
    ----------
    Smyth (2004) Stat. Appl. Genet. Mol. Biol. 3:3; Efron & Morris (1975) J. Am. Stat. Assoc.
    70:311-319 (both from memory).
    """
    return worded(retrained_rows(program, errors, differences))


def retrained_rows(
    program: Program, errors: pd.DataFrame, differences: pd.DataFrame
) -> pd.DataFrame:
    """What `retrained` gives, with codes in `note`."""
    rows = []
    days = program.retraining[["measurer", "measure", "date"]]
    for entry in program.retraining.itertuples():
        for measure in [entry.measure] if entry.measure else list(program.measures):
            mine = days[days["measurer"].eq(entry.measurer) & days["measure"].isin(["", measure])]
            others = [d for d in mine["date"] if d != entry.date]
            since = max((d for d in others if d < entry.date), default=dt.date.min)
            until = min((d for d in others if d > entry.date), default=dt.date.max)
            again = set(program.retraining["measurer"])
            for what, table in ((REPEAT, errors), (DIFFERENCE, differences)):
                of = table[table["measure"] == measure]
                own = of[(of["measurer"] == entry.measurer) & of["date"].between(since, until)]
                if own.empty or (what == DIFFERENCE and own["reference"].any()):
                    continue
                row = {
                    "measure": measure, "measurer": entry.measurer, "what": what,
                    "date": entry.date, "unit": own["unit"].iloc[0], "finding": UNJUDGED,
                }  # fmt: skip
                found = _repeat(of, own, entry) if what == REPEAT else _moved(of, own, entry, again)
                rows.append(row | found)
    return pd.DataFrame(rows, columns=COLUMNS)


def _sides(own: pd.DataFrame, entry) -> tuple[pd.Series, pd.Series, pd.Series, Note | None]:
    """Which of a person's rows led to it, are others before, and after; why there is no finding."""
    before, after = own["date"] <= entry.date, own["date"] > entry.date
    picked = before & (own["session"] == entry.picked_in)
    why = None
    if not before.any():
        why = Retraining.NO_SESSION_BEFORE
    elif not after.any():
        why = Retraining.NO_SESSION_AFTER
    return picked, before & ~picked, after, why


def _repeat(of: pd.DataFrame, own: pd.DataFrame, entry) -> dict[str, Any]:
    picked, fresh, after, why = _sides(own, entry)
    sides = {
        name: _pool(own[some])
        for name, some in (("picked", picked), ("before", fresh), ("after", after)) if some.any()
    }  # fmt: skip
    row: dict[str, Any] = {name: side[0] for name, side in sides.items()}
    if why or under_half_a_step(of):
        return row | {"note": notes_of(why or RepeatErrors.HIDDEN)}
    _, df, square = sides["after"]
    if df < LEAST_DF:
        return row | {"note": notes_of(FewRepeats(repeats=df, least=LEAST_DF))}
    expected = _expected_square(of, own, entry, df)
    if expected is not None:
        row |= {name: np.sqrt(expected.quantile(q)) for name, q in _LUCK.items()}
    _, base_df, base = sides.get("before", (np.nan, 0.0, np.nan))
    if base_df >= LEAST_DF:
        p, held = float(special.fdtr(df, base_df, square / base)), _against(own[fresh])
    elif expected is not None:
        p, held = expected.below(square), Retraining.HELD_AGAINST_LUCK
    else:
        staff = of[~of["reference"] & (of["date"] <= entry.date)]
        few = FewStaff(staff=staff["measurer"].nunique(), least=LEAST_PEOPLE)
        return row | {"note": notes_of(RepeatErrors.NOT_STAFF if own["reference"].any() else few)}
    return row | {"p_value": p, "finding": _finding(p, held), "note": notes_of(held)}


def _against(rows: pd.DataFrame) -> HeldAgainstOwn:
    return HeldAgainstOwn(sessions=tuple(rows["session"]))


def _finding(p: float, held: Note) -> str:
    risk = BY_LUCK if held is Retraining.HELD_AGAINST_LUCK else RISK
    return BETTER if p <= risk else WORSE if p >= 1 - RISK_WORSE else AS_LUCK


def _pool(rows: pd.DataFrame) -> tuple[float, float, float]:
    """One person's repeat error over sessions, its df, and its square where not all is equal."""
    df, step = rows["df"].to_numpy(float), float(rows["step"].iloc[0])
    square = float((df * rows["estimate"].to_numpy(float) ** 2).sum() / df.sum())
    return np.sqrt(square), float(df.sum()), max(square, least_variance(step, df.sum()))


def _expected_square(of: pd.DataFrame, own: pd.DataFrame, entry, df: float):
    """What everybody's sessions before let expect of the person's next mean square."""
    if own["reference"].any():
        return None
    earlier = of[(of["date"] <= entry.date) & ~of["reference"]]
    earlier = earlier[(earlier["measurer"] != entry.measurer) | earlier.index.isin(own.index)]
    everybody = pooled(earlier)
    if len(everybody) < LEAST_PEOPLE:
        return None
    at = int(np.flatnonzero(everybody["measurer"] == entry.measurer)[0])
    return luck.of_repeat_error(variances(everybody), everybody["df"].to_numpy(float), at, df)


def _moved(of: pd.DataFrame, own: pd.DataFrame, entry, again: set[str]) -> dict[str, Any]:
    """The same of a difference: nearer to zero is better."""
    table = of_differences(of[~of["reference"]])
    p = table.people.index(entry.measurer)
    between, rest = (a[p] for a in table.spreads())
    y, others = _beside_others(table, again, entry.date)
    mine = table.rows.index.get_indexer(own.index)
    variance = table.variances(between) * (1 + 1 / max(others, 1))
    picked, fresh, after, why = _sides(own, entry)
    at = {
        name: mine[some.to_numpy()]
        for name, some in (("picked", picked), ("before", fresh), ("after", after))
    }
    row: dict[str, Any] = {name: float(y[i].mean()) for name, i in at.items() if len(i)}
    subjects = int(own.loc[after, "subjects"].sum())
    if why or between != between or subjects < LEAST_SUBJECTS:
        few = FewSubjects(subjects=subjects, least=LEAST_SUBJECTS)
        unknown = Drift.TOO_FEW_SESSIONS if between != between else few
        return row | {"note": notes_of(why or unknown)}
    came, error = row["after"], float(variance[at["after"]].mean() / len(at["after"]))
    expected = _expected_difference(table, y, variance, entry, mine, error, rest)
    if expected is not None:
        row |= {name: expected.quantile(q) for name, q in _LUCK.items()}
    if len(at["before"]) and len(at["picked"]):
        size = np.sqrt(error + variance[at["before"]].mean() / len(at["before"]))
        away, beside, held = np.sign(row["picked"]), row["before"], _against(own[fresh])
        chance = float(special.stdtr(rest, away * (came - beside) / size))
    elif expected is not None:
        beside, held = row["luck_alone"], Retraining.HELD_AGAINST_LUCK
        away = np.sign(beside)
        chance = expected.below(came) if away > 0 else 1 - expected.below(came)
    else:
        return row | {"note": notes_of(FewStaff(staff=len(table.people), least=LEAST_PEOPLE))}
    finding, note = _finding(chance, held), notes_of(held)
    if finding == BETTER and abs(came) >= abs(beside):
        finding, note = WORSE, notes_of(held, Retraining.OVER_ZERO)
    return row | {"p_value": chance, "finding": finding, "note": note}


def _beside_others(table: Table, again: set[str], date: dt.date) -> tuple[Array, int]:
    """Differences less what the staff who were not retrained moved by since before `date`."""
    quiet = np.array([who not in again for who in table.rows["measurer"]])
    staff = len(set(table.rows["measurer"][quiet]))
    if staff < 2:
        return table.y, 0
    cells = table.cells
    whom = np.eye(cells.people)[cells.who]
    when = np.eye(int(cells.when.max()) + 1)[cells.when]
    q = basis(whom[quiet])
    known = when[quiet] - q @ (q.T @ when[quiet])  # sessions, beside the levels of people
    moved = np.linalg.pinv(known) @ table.y[quiet]
    earlier = (table.rows["date"] <= date).to_numpy()
    moved = moved - (when[earlier] @ moved).mean() if earlier.any() else moved
    seen = when[quiet].any(axis=0)
    return table.y - when @ np.where(seen, moved, 0.0), staff


def _expected_difference(
    table: Table, y: Array, variance: Array, entry, mine: Array, error: float, df: float
):
    """What everybody's sessions before let expect of the person's next difference."""
    before = (table.rows["date"] <= entry.date).to_numpy()
    others = (table.rows["measurer"] != entry.measurer).to_numpy()
    used = before & (others | np.isin(np.arange(len(y)), mine))
    people = [p for p in range(len(table.people)) if (used & (table.cells.who == p)).any()]
    if len(people) < LEAST_PEOPLE:
        return None
    cells = [used & (table.cells.who == p) for p in people]
    mean = np.array([y[c].mean() for c in cells])
    spread = np.array([variance[c].mean() / c.sum() for c in cells])
    own = people.index(table.people.index(entry.measurer))
    return luck.of_difference(mean, spread, own, error, df)
