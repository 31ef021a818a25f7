"""Who is within the program's limit, who is over it, and who is not settled?

A finding is made only when the whole interval lies on one side of the limit: each then has
a risk of at most (1 - confidence) / 2 of being wrong on its own. Limits are the program's;
there is no default. The reference measurer is judged on repeatability only. A repeat error
under one step is judged on the TEM of the unrounded readings: the step hides a part of it.
A shift between rounds that the others share is taken out where its interval excludes zero, and
where the finding would be another with it; a TEM is under one step with the shift out.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from operator import attrgetter

import numpy as np
import numpy.typing as npt
import pandas as pd

from anthroqa.decisions.enough import (
    LEAST_DF,
    LEAST_SUBJECTS,
    MOST_MORE,
    more_for_mean,
    more_for_resolved,
    more_for_spread,
)
from anthroqa.decisions.fine_limits import methods_of, too_fine_for
from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.notes import NONE, Note, Notes, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.decisions import (
    InstrumentDiffers,
    InstrumentErrorsStay,
    Limit,
    SharedShift,
    ShiftStays,
    TooFewDifferences,
    TooFewSubjects,
    TooNear,
)

WITHIN, OVER, NOT_SETTLED, NOT_JUDGED = "within limit", "over limit", "not settled", "not judged"
STATES = (WITHIN, OVER, NOT_SETTLED, NOT_JUDGED)
HIDDEN_BELOW = 1  # steps: a repeat error of which the step hides a part
COLUMNS = [
    "measure", "measurer", "question", "statistic", "estimate", "lower", "upper", "unit",
    "limit", "limit_source", "state", "more_subjects", "note",
]  # fmt: skip
_CELLS = attrgetter(*COLUMNS[:-1], "notes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One row of the table of decisions; amounts are in `unit`."""

    measure: str
    measurer: str
    question: str  # "repeatability" or "bias"
    statistic: str
    estimate: float
    lower: float
    upper: float
    unit: str
    limit: float | None
    limit_source: str
    state: str
    more_subjects: int | None
    notes: Notes  # the reason for the state first


def decide(scores: pd.DataFrame, session: Session) -> pd.DataFrame:
    """The finding on each person, measure and question, with its interval beside it.

    Parameters
    ----------
    scores : pandas.DataFrame
        What `anthroqa.score` gave for this session, all statistics.
    session : Session
        For the limits, the reference and the instruments.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, question, statistic, estimate, lower, upper, unit, limit,
        limit_source, state, more_subjects, note`. `state` is `within limit`, `over limit`,
        `not settled` or `not judged` (under 6 df, under six common subjects, no limit).
        `more_subjects` is the least number, same rounds, that settles it if the estimate
        stands; blank where none up to 100 does, or where more subjects would not help.

    Raises
    ------
    ValueError
        If `scores` lacks a statistic that a decision needs.
    """
    return worded(decision_rows(coded(scores), session))


def decision_rows(scores: pd.DataFrame, session: Session) -> pd.DataFrame:
    """The findings on a table of scores with codes, as `decide` gives them."""
    needed = {"within_tem", "within_tem_resolved", "within_tem_less_shift", "bias_from_others"}
    if set(scores["measurer"]) - {session.reference, EVERYBODY}:  # the reference has no bias
        needed.add("bias")
        if set(session.known_loads["measure"]) & set(scores["measure"]):
            needed.add("bias_less_instrument")
    lacking = sorted(needed - set(scores["statistic"]))
    if lacking and len(scores):
        raise ValueError(f"scores lack {', '.join(lacking)}; call score() without `only`")
    rows = [
        _CELLS(decision)
        for name, table in scores.groupby("measure", sort=False)
        for decision in _measure(table, session.measures[name], session)
    ]
    frame = pd.DataFrame(rows, columns=COLUMNS)
    return frame.astype({"limit": float, "more_subjects": "Int64"})


def _measure(table: pd.DataFrame, measure: Measure, session: Session) -> Iterator[Decision]:
    figures = {(row.measurer, row.statistic): row for row in table.itertuples()}
    shift = table[table["statistic"].str.startswith("round_shift:")]
    shifted = bool(((shift["lower"] > 0) | (shift["upper"] < 0)).any())
    known_to = float(((shift["upper"] - shift["lower"]) / 2).max(skipna=False))
    readings = session.readings[session.readings["measure"] == measure.name]
    rounds = int(readings["round"].nunique())
    people = [p for p in table["measurer"].unique() if (p, "within_tem") in figures]
    referenced = session.reference in people
    unlike = _unlike_instruments(readings, session.reference)
    fine = too_fine_for(measure, "limit_tem")
    for person in people:
        found = _repeatability(figures, person, measure, shifted, known_to, rounds)
        if fine and fine & methods_of(readings[readings["measurer"] == person]):
            found = replace(found, notes=notes_of(found.notes, Limit.TOO_FINE))
        yield found
        if person != session.reference:
            yield _bias(figures, person, measure, unlike.get(person), referenced=referenced)


def _unlike_instruments(
    readings: pd.DataFrame, reference: str | None
) -> dict[str, InstrumentDiffers]:
    """For each person who read common subjects on other instruments than the reference, which."""
    if "instrument" not in readings or reference is None:
        return {}
    used: dict[tuple[str, str], set[str]] = defaultdict(set)
    named = readings.loc[readings["instrument"] != "", ["measurer", "subject", "instrument"]]
    for person, subject, code in zip(*(named[c] for c in named), strict=True):
        used[person, subject].add(code)
    unlike: dict[str, tuple[set[tuple[str, ...]], set[tuple[str, ...]]]] = {}
    for (person, subject), codes in used.items():
        theirs = used.get((reference, subject), codes)
        if codes != theirs:
            own, other = unlike.setdefault(person, (set(), set()))
            own.add(tuple(sorted(codes)))
            other.add(tuple(sorted(theirs)))
    return {
        person: InstrumentDiffers(own=sum(sorted(own), ()), reference=sum(sorted(other), ()))
        for person, (own, other) in unlike.items()
    }


def _repeatability(
    figures: dict, person: str, measure: Measure, shifted: bool, known_to: float, rounds: int
) -> Decision:
    """Judged as read where no shift shows, unless taking it out would change the finding.

    A shift that everybody shares then changes no finding, whether its interval excludes zero or
    not: what hangs on it is judged with the shift out, where it is known to less than the repeat
    error.
    """
    plain, less = figures[person, "within_tem"], figures[person, "within_tem_less_shift"]
    known = less.estimate == less.estimate
    stays = ShiftStays(why=less.note) if shifted and not known else None
    as_read = _spread(figures, plain, measure, stays, rounds)
    if not known or not (shifted or known_to < less.estimate):
        return as_read
    why = SharedShift.TAKEN_OUT if shifted else SharedShift.DECIDES
    taken = _spread(figures, less, measure, why, rounds)
    return taken if shifted or taken.state != as_read.state else as_read


def _spread(figures: dict, row, measure: Measure, shift: Note | None, rounds: int) -> Decision:
    """A repeat error against its limit, by the unrounded readings where it is under one step."""
    limit, more, repeats = _amount(measure.limit_tem), None, figures[row.measurer, "within_tem"]
    hidden, why = row.estimate < HIDDEN_BELOW * float(measure.step.size), notes_of(shift)
    if hidden:
        row = repeats = figures[row.measurer, "within_tem_resolved"]
        why = notes_of(shift if shift is SharedShift.DECIDES else None, row.note)
    if limit is not None and rounds > 1:
        if hidden and row.df > 0:
            more = more_for_resolved(
                row.estimate, row.lower, row.upper, row.df, limit,
                rounds=rounds, confidence=row.confidence,
            )  # fmt: skip
        elif row.estimate > 0:
            more = more_for_spread(
                row.estimate, row.df, limit, rounds=rounds, confidence=row.confidence
            )
    few = notes_of(TooFewDifferences(differences=repeats.df, least=LEAST_DF))
    return _judged(
        row, measure, "repeatability", limit, repeats.df >= LEAST_DF, few, more, why,
        row.lower, row.upper,
    )  # fmt: skip


def _bias(
    figures: dict, person: str, measure: Measure, unlike: Note | None, *, referenced: bool
) -> Decision:
    row = figures[person, "bias" if referenced else "bias_from_others"]
    why, of_instrument = notes_of(unlike), 0.0
    half = (row.upper - row.lower) / 2
    less = figures.get((person, "bias_less_instrument"))
    if less is not None and referenced:
        if less.estimate == less.estimate:
            row, why = less, less.note if less.upper == less.upper else NONE
            own, half = half, (less.upper - less.lower) / 2
            of_instrument, half = math.sqrt(max(half**2 - own**2, 0.0)), min(own, half)
        else:
            why = notes_of(unlike, InstrumentErrorsStay(why=less.note))
    limit = _amount(measure.limit_bias)
    enough = row.subjects >= LEAST_SUBJECTS
    few = notes_of(TooFewSubjects(subjects=row.subjects, least=LEAST_SUBJECTS))
    if row.subjects == 0:
        few = row.note  # why there is none
    more = None
    if limit is not None and row.upper > row.lower:
        more = more_for_mean(
            row.estimate,
            row.subjects,
            half,
            limit,
            confidence=row.confidence,
            of_instrument=of_instrument,
        )
    far, near = max(row.upper, -row.lower), max(row.lower, -row.upper)
    return _judged(row, measure, "bias", limit, enough, few, more, why, near, far)


def _judged(
    row, measure: Measure, question: str, limit: float | None, enough: bool, few: Notes,
    more: int | None, why: Notes, near: float, far: float,
) -> Decision:  # fmt: skip
    """Hold the interval of a size, from `near` to `far` of zero, against its limit.

    The first of the notes is the reason for the state, then what else is to be known.
    """
    if limit is None:
        return _decision(row, measure, question, None, NOT_JUDGED, None, Limit.NOT_SET, why)
    if not enough:
        return _decision(row, measure, question, limit, NOT_JUDGED, more, few, why)
    if far != far:  # no interval
        return _decision(row, measure, question, limit, NOT_SETTLED, None, row.note, why)
    state = str(held_against(near, far, limit))
    if state != NOT_SETTLED:
        return _decision(row, measure, question, limit, state, 0, why)
    near_it = TooNear(most=MOST_MORE) if more is None else None
    return _decision(row, measure, question, limit, NOT_SETTLED, more, near_it, why)


def held_against(near: npt.ArrayLike, far: npt.ArrayLike, limit: float) -> np.ndarray:
    """States of sizes whose intervals reach from `near` to `far` of zero."""
    far, near = np.asarray(far), np.asarray(near)
    return np.select([far < limit, near > limit], [WITHIN, OVER], NOT_SETTLED)


def _amount(limit) -> float | None:
    return None if limit is None else float(limit)


def _decision(
    row, measure: Measure, question: str, limit: float | None, state: str, more: int | None,
    *why: Note | Notes | None,
) -> Decision:  # fmt: skip
    unsourced = Limit.WITHOUT_SOURCE if limit is not None and not measure.limit_source else None
    return Decision(
        measure=measure.name, measurer=row.measurer, question=question,
        statistic=row.statistic, estimate=row.estimate, lower=row.lower, upper=row.upper,
        unit=row.unit, limit=limit, limit_source=measure.limit_source if limit is not None else "",
        state=state, more_subjects=more, notes=notes_of(*why, unsourced),
    )  # fmt: skip
