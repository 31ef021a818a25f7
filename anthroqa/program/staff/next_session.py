"""Who is due for another session, and how many subjects does it need?

So many months after the last session (a parameter; 12 is common practice, no source), and at the
next one where the last finding was over the limit or the instrument or the reference changed.
Subjects: the least number at which 8 of 10 people with the person's moderated repeat error (or
their last difference and its scatter) would be found on one side of the limit, by the intervals
that judge them (`decisions.enough`). Months count from the sessions; there is no clock here.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.decisions.enough import LEAST_SUBJECTS, MOST_MORE, mean_factor, spread_factors
from anthroqa.decisions.findings import OVER, decision_rows
from anthroqa.intake import Session
from anthroqa.notes import Note, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.program.staff import (
    AtNextSession,
    Due,
    OtherInstruments,
    OtherReference,
    Reasons,
    TooManyNeeded,
)
from anthroqa.planning.prospects import WANTED
from anthroqa.program.staff.sessions import Program

COLUMNS = [
    "measurer", "measure", "question", "last", "sessions", "state", "due", "subjects", "note",
]  # fmt: skip


def due(
    program: Program, history: pd.DataFrame, moderated: pd.DataFrame, *, months: int = 12
) -> pd.DataFrame:
    """When each person is due again in each measure, and the subjects of a session that settles it.

    Parameters
    ----------
    program : Program
    history, moderated : pandas.DataFrame
        What `history` and `moderated` gave.
    months : int, default 12
        From the last session to the next; common practice, no source.

    Returns
    -------
    pandas.DataFrame
        `measurer, measure, question, last, sessions, state, due, subjects, note`, by measurer.
        `state` is the finding of the last session; `due` a date: where it is the next session,
        that of the program's last one. `subjects` is NA without a limit or where over 100 would be
        needed; rounds as in the last session.

    Raises
    ------
    ValueError
        If `months` is under 1.
    """
    check_months(months)
    return worded(due_rows(program, coded(history), moderated, months=months))


def check_months(months: int) -> None:
    """Refuse a time that is none."""
    if months < 1:
        raise ValueError(f"months must be 1 or more, not {months}")


def due_rows(
    program: Program, history: pd.DataFrame, moderated: pd.DataFrame, *, months: int
) -> pd.DataFrame:
    """What `due` gives, with codes in `note`."""
    confidence = float(history["confidence"].iloc[0])
    tem = {(r.measure, r.measurer): r.moderated for r in moderated.itertuples()}
    tem |= {
        (r.measure, r.measurer): r.estimate for r in moderated.itertuples()
        if r.moderated != r.moderated
    }  # fmt: skip
    seen: dict[tuple[str, str, str], list[tuple[Any, Session]]] = {}
    for session in program.sessions:
        scores = history[history["session"] == session.name]
        for row in decision_rows(scores.reset_index(drop=True), session).itertuples():
            seen.setdefault((row.measurer, row.measure, row.question), []).append((row, session))
    rows = []
    for (person, measure, question), found in sorted(seen.items()):
        row, session = found[-1]
        why = tuple(_sooner(program, person, measure, question, found))
        subjects, note = _subjects(row, session, tem.get((measure, person), np.nan), confidence)
        rows.append((
            person, measure, question, session.date, len(found), row.state,
            program.sessions[-1].date if why else later(session.date, months), subjects,
            notes_of(AtNextSession(why=Reasons(of=why)) if why else None, note),
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS).astype({"subjects": "Int64"})


def _sooner(
    program: Program, person: str, measure: str, question: str, found: list[tuple[Any, Session]]
) -> Iterator[Note]:
    """Why a person should not wait."""
    row, session = found[-1]
    if row.state == OVER:
        yield Due.OVER_LIMIT
    used = [_used(s, person, measure) for _, s in found]
    if len(used) > 1 and used[-1] and used[-2] and used[-1] != used[-2]:
        yield OtherInstruments(instruments=tuple(sorted(used[-1])))
    if question == "bias":
        of = [s.reference for s in program.sessions if measure in s.measures]
        if session.reference != of[-1]:
            yield OtherReference(reference=of[-1], since=True)
        elif len(found) > 1 and found[-2][1].reference != session.reference:
            yield OtherReference(reference=session.reference, since=False)


def _used(session: Session, person: str, measure: str) -> frozenset[str]:
    rows = session.readings
    if "instrument" not in rows:
        return frozenset()
    own = rows[(rows["measurer"] == person) & (rows["measure"] == measure)]
    return frozenset(own["instrument"]) - {"", "NA"}


def _subjects(row, session: Session, tem: float, confidence: float) -> tuple[Any, Note | None]:
    """The least number of subjects that would settle it, or why there is none."""
    if row.limit != row.limit:
        return pd.NA, Due.NO_LIMIT
    of = session.readings[session.readings["measure"] == row.measure]
    rounds = int(of["round"].nunique())
    n = np.arange(LEAST_SUBJECTS, MOST_MORE + 1)
    if row.question == "repeatability":
        if not tem > 0 or rounds < 2:
            return pd.NA, Due.ONE_ROUND if rounds < 2 else None
        settled = settled_spread(tem, row.limit, n * (rounds - 1), confidence)
    else:
        common = of[of["measurer"] == row.measurer]["subject"].nunique()
        half = (row.upper - row.lower) / 2
        if not half > 0 or common < 2:
            return pd.NA, Due.SCATTER_UNKNOWN
        scatter = half / float(mean_factor(float(common), confidence))
        settled = settled_mean(row.estimate, scatter, row.limit, n, confidence)
    enough = settled >= WANTED
    if not enough.any():
        return pd.NA, TooManyNeeded(most=MOST_MORE)
    return int(n[enough.argmax()]), None


def settled_spread(tem: float, limit: float, df: np.ndarray, confidence: float) -> np.ndarray:
    """The chance that a repeat error `tem` is found on one side of its limit, by chi-squared."""
    low, high = spread_factors(df.astype(float), confidence)
    within = 1 - special.chdtrc(df, df * (limit / (tem * high)) ** 2)
    return within + special.chdtrc(df, df * (limit / (tem * low)) ** 2)


def settled_mean(
    mean: float, scatter: float, limit: float, n: np.ndarray, confidence: float
) -> np.ndarray:
    """The chance that a difference is found on one side of its limit, scatter taken as known."""
    half, error = scatter * mean_factor(n.astype(float), confidence), scatter / np.sqrt(n)
    inside = special.ndtr((limit - half - mean) / error) - special.ndtr(
        (-limit + half - mean) / error
    )
    beyond = special.ndtr((mean - limit - half) / error) + special.ndtr(
        (-limit - half - mean) / error
    )
    return np.maximum(inside, 0.0) + beyond


def later(date: dt.date, months: int) -> dt.date:
    """The same day so many months later; the last of a month that is shorter."""
    year, month = divmod(date.year * 12 + date.month - 1 + months, 12)
    day = min(date.day, calendar.monthrange(year, month + 1)[1])
    return dt.date(year, month + 1, day)
