"""May the reference be off, rather than everybody else?

The reference's own mean difference from the staff against the limit of bias. One person far off
pulls the mean of the others, so what is said must stand without whoever lies farthest from
the reference too. The interval is that of the mean of *these* staff: where all of them
share a habit, the reference looks off, and neither side can be told from the other.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import asdict, dataclass, replace

import pandas as pd

from anthroqa.decisions.enough import LEAST_SUBJECTS
from anthroqa.decisions.findings import NOT_JUDGED, NOT_SETTLED
from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.decisions import (
    Limit,
    OfReference,
    OtherInstruments,
    Place,
    TooFewSubjects,
    WithoutOne,
)
from anthroqa.scores.layout.cube import cubes
from anthroqa.scores.table import score_rows

MAY_BE_OFF, NO_SIGN = "the reference may be off", "no sign of it"
COLUMNS = [
    "measure", "reference", "estimate", "lower", "upper", "unit", "limit", "state", "without_one",
    "other_lower", "other_upper", "note",
]  # fmt: skip
_STATISTIC = "bias_from_others"
_STATES = {
    Place.ABOVE: MAY_BE_OFF, Place.BELOW_MINUS: MAY_BE_OFF, Place.WITHIN: NO_SIGN,
    Place.ACROSS: NOT_SETTLED,
}  # fmt: skip
_NAN = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Second:
    """The same figure with one person of the staff left out; blank where it cannot be had."""

    without_one: str = ""
    other_lower: float = _NAN
    other_upper: float = _NAN


def reference_doubts(scores: pd.DataFrame, session: Session) -> pd.DataFrame:
    """How the reference lies against the staff, and whether that raises a doubt.

    Parameters
    ----------
    scores : pandas.DataFrame
        What `anthroqa.score` gave for this session, with `bias` and `bias_from_others`.
    session : Session
        For the limits, the reference, the instruments, and the second look.

    Returns
    -------
    pandas.DataFrame
        `measure, reference, estimate, lower, upper, unit, limit, state, without_one,
        other_lower, other_upper, note`, a row for each measure with readings; empty without a
        reference. `estimate` is the reference's `bias_from_others`. `state` is `the reference
        may be off` where its interval lies wholly beyond the limit on one side, `no sign of it`
        where it is wholly within, each only if `other_lower`, `other_upper` says the same: the
        interval without `without_one`, the person of the staff whose bias is the largest, where
        three others or more read (of two, one may pull the mean: no doubt is raised). Else `not
        settled`; `not judged` without a limit, under six subjects, or under two other staff.

    Raises
    ------
    ValueError
        If `scores` lacks a statistic that is needed.

    Examples
    --------
    The staff agree within 2 mm, and LEAD reads 10 mm or so higher than each of them.

    >>> import anthroqa
    >>> away = {"LEAD": 10, "A": 1, "B": -1, "C": 0, "D": 0}  # mm
    >>> rows = [(who, str(s), 900 + 10 * s + away[who] + s % 3 * (who == "LEAD"))
    ...         for who in away for s in range(6)]
    >>> frame = pd.DataFrame(rows, columns=["measurer", "subject", "reading"])
    >>> session = anthroqa.Session.from_frame(
    ...     frame.assign(measure="height", round=1), reference="LEAD",
    ...     measures={"height": {"recorded_to": "1 mm", "limit_bias": "5 mm"}})
    >>> doubts = reference_doubts(anthroqa.score(session), session)
    >>> doubts[["estimate", "state", "without_one"]].values.tolist()
    [[11.0, 'the reference may be off', 'B']]
    """
    return worded(doubt_rows(coded(scores), session))


def doubt_rows(scores: pd.DataFrame, session: Session) -> pd.DataFrame:
    """The doubts on a table of scores with codes, as `reference_doubts` gives them."""
    if session.reference is None:
        return pd.DataFrame(columns=COLUMNS)
    lacking = sorted({"bias", _STATISTIC} - set(scores["statistic"]))
    if lacking and set(scores["measurer"]) - {session.reference, EVERYBODY}:
        raise ValueError(f"scores lack {', '.join(lacking)}; call score() without `only`")
    farthest = _farthest(scores)
    second = _without(session, farthest, scores["confidence"].iloc[0]) if farthest else {}
    rows = scores[(scores["statistic"] == _STATISTIC) & (scores["measurer"] == session.reference)]
    first = {row.measure: row for row in rows.itertuples()}
    unlike, table = _unlike(session), []
    for name, some in scores.groupby("measure", sort=False):
        measure, look, row = session.measures[name], second.get(name, _Second()), first.get(name)
        state, why = _state(row, measure, look)
        staff = set(some["measurer"]) - {session.reference, EVERYBODY}
        note = notes_of(why, _instruments(unlike.get(name, set()), staff))
        estimate, lower, upper = (row.estimate, row.lower, row.upper) if row else (_NAN,) * 3
        limit = _NAN if measure.limit_bias is None else float(measure.limit_bias)
        table.append({
            "measure": name, "reference": session.reference, "estimate": estimate,
            "lower": lower, "upper": upper, "unit": measure.step.unit, "limit": limit,
            "state": state, **asdict(look), "note": note,
        })  # fmt: skip
    return pd.DataFrame(table, columns=COLUMNS)


def _farthest(scores: pd.DataFrame) -> dict[str, str]:
    """In each measure the person with the largest bias, where three staff or more have one."""
    bias = scores[(scores["statistic"] == "bias") & scores["estimate"].notna()]
    return {
        measure: some.loc[some["estimate"].abs().idxmax(), "measurer"]
        for measure, some in bias.groupby("measure")
        if len(some) > 2
    }


def _without(session: Session, left: dict[str, str], confidence: float) -> dict[str, _Second]:
    readings = session.readings
    gone = readings["measurer"] == readings["measure"].map(left)
    fewer = replace(session, readings=readings[~gone])
    table = score_rows(list(cubes(fewer)), confidence=confidence, seed=0, only=[_STATISTIC])
    mine = table[(table["measurer"] == session.reference) & table["lower"].notna()]
    return {
        row.measure: _Second(
            without_one=left[row.measure], other_lower=row.lower, other_upper=row.upper
        )
        for row in mine.itertuples()
        if row.measure in left
    }


def _state(row, measure: Measure, second: _Second) -> tuple[str, Note | Notes | None]:
    """The state and the reason for it, where it needs one."""
    if row is None:
        return NOT_JUDGED, OfReference.NOT_READ
    if measure.limit_bias is None:
        return NOT_JUDGED, Limit.NOT_SET
    if row.subjects == 0:
        return NOT_JUDGED, row.note
    if row.subjects < LEAST_SUBJECTS:
        return NOT_JUDGED, TooFewSubjects(subjects=row.subjects, least=LEAST_SUBJECTS)
    if row.lower != row.lower:
        return NOT_SETTLED, row.note
    limit = float(measure.limit_bias)
    first = _place(row.lower, row.upper, limit)
    if not second.without_one:
        if _STATES[first] == MAY_BE_OFF:
            return NOT_SETTLED, OfReference.TWO_OTHERS
        return _STATES[first], None
    other = _place(second.other_lower, second.other_upper, limit)
    if first == other:
        return _STATES[first], None
    return NOT_SETTLED, WithoutOne(measurer=second.without_one, place=other)


def _place(lower: float, upper: float, limit: float) -> Place:
    """Where an interval lies; `_STATES` has the state of each place."""
    if lower > limit:
        return Place.ABOVE
    if upper < -limit:
        return Place.BELOW_MINUS
    return Place.WITHIN if max(upper, -lower) < limit else Place.ACROSS


def _unlike(session: Session) -> dict[str, set[str]]:
    """Who of the staff read a subject on another instrument than the reference, a measure."""
    readings, own, unlike = session.readings, defaultdict(set), defaultdict(set)
    if "instrument" not in readings:
        return {}
    columns = ["measure", "subject", "measurer", "instrument"]
    named = readings.loc[readings["instrument"].fillna("") != "", columns]
    mine = named["measurer"] == session.reference
    for measure, subject, _, code in named[mine].itertuples(index=False):
        own[measure, subject].add(code)
    for measure, subject, person, code in named[~mine].itertuples(index=False):
        if code not in own.get((measure, subject), {code}):
            unlike[measure].add(person)
    return unlike


def _instruments(unlike: set[str], staff: set[str]) -> Note | None:
    if not unlike:
        return None
    return OtherInstruments(measurers=tuple(sorted(unlike)), everybody=unlike == staff)
