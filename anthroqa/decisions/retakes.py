"""Which readings should be taken again while the child is here?

Two readings of one person on one subject should lie within the repeatability limit: the program's
`limit_pair`, or 1.96 x root 2 = 2.77 times the expected repeat error (ISO 5725-6:1994, 4.1). A
single reading should lie within the matching limit of what the others' readings lead to expect
(`scores/odd/expectation.py`: everybody's usual difference is allowed for). With competent staff
either is passed by about one in twenty (by one pair in twelve, where the step is as coarse as
the error). A difference of one step is never listed unless the program says so.
What was taken again is listed once more only if it still lies too far with the retakes in place.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from anthroqa.intake import Measure, Session
from anthroqa.intake.entries.missing import reasons
from anthroqa.intake.entries.readings import heard
from anthroqa.notes.intake.session import Condition, Missing, SetAside, StoppedOut
from anthroqa.scores.layout.cube import Cube, cubes
from anthroqa.scores.odd.expectation import expected

COLUMNS = ["measure", "measurer", "subject", "rounds", "limit", "unit", "kind", "note"]
PAIR, READING = "pair", "reading"
STOPPED, CAPPED, STILL = "stopped", "cap reached", "still too far"
REPEATABILITY = 1.96 * math.sqrt(2)  # of two readings, in repeat errors
_KEY = ["measure", "measurer", "subject", "round"]
_OTHERS = 3  # people who must have read a subject before one reading is held against theirs


def pair_limit(measure: Measure) -> float | None:
    """How far two readings may lie apart, in the unit; None where nobody says."""
    if measure.limit_pair is not None:
        return float(measure.limit_pair)
    if measure.expected_tem is None:
        return None
    return max(REPEATABILITY * float(measure.expected_tem), float(measure.step.size))


def take_again(session: Session) -> pd.DataFrame:
    """Readings that lie too far from the person's other one, or from what others read.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, subject, rounds, limit, unit, kind, note`, a row a person, subject and
        measure. `rounds` is a text such as "1, 2": those to be taken again. `kind` is `pair`
        (two readings of one person; `limit` is theirs) or `reading` (`limit` is that of two
        readings; the one for a single reading follows from it). `note` is "", `still too far` (so
        it was with the first retakes; after second ones nothing is listed), or why
        nothing is to be taken again after all: `stopped` (a stop code stands at the child and
        measure) or `cap reached` (rows that are empty yet are handlings to come, and so is
        what stands above in this table). No value is given: the reader must not see the first one.

    References
    ----------
    ISO 5725-6:1994, 4.1 (repeatability limit; from memory).
    """
    return retake_rows(session, list(cubes(session)))


def retake_rows(session: Session, first: Sequence[Cube]) -> pd.DataFrame:
    """What is to be taken again of a session with these cubes, as `take_again` gives it."""
    rows, granted = [], Counter()
    times = _times(session.readings)
    after = cubes(replace(session, readings=in_place(session.readings))) if times else ()
    for again, of in enumerate((first, after)):
        for cube in of:
            limit, name = pair_limit(cube.measure), cube.measure.name
            for p, s, rounds, kind in _listed(cube, limit) if limit is not None else ():
                person, subject = cube.people[p], cube.subjects[s]
                if times.get((name, person, subject), 0) != again:
                    continue
                more = granted[name, subject] + len(rounds)
                why_not = _why_not(session, name, subject, more)
                granted[name, subject] = granted[name, subject] if why_not else more
                rows.append({
                    "measure": name, "measurer": person, "subject": subject,
                    "rounds": ", ".join(map(str, rounds)), "limit": limit,
                    "unit": cube.measure.step.unit, "kind": kind,
                    "note": why_not or (STILL if again else ""),
                })  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def in_place(readings: pd.DataFrame) -> pd.DataFrame:
    """The readings with the last retake in place of the first one, where there is one."""
    if "retake" not in readings:
        return readings
    again = readings[readings["retake"].notna()].sort_values("retake")
    last = again.drop_duplicates(_KEY, keep="last")
    taken = pd.MultiIndex.from_frame(readings[_KEY]).isin(pd.MultiIndex.from_frame(last[_KEY]))
    kept = pd.concat([readings[~taken], last.assign(retake=pd.NA)]).sort_index()
    return kept.astype({"retake": "Int64"})


def _times(readings: pd.DataFrame) -> dict[tuple[str, str, str], int]:
    """How often a person took a subject again, by measure, person and subject."""
    if "retake" not in readings:
        return {}
    times = readings.groupby(["measure", "measurer", "subject"])["retake"].max()
    return times.dropna().astype(int).to_dict()


def _listed(cube: Cube, limit: float) -> Iterator[tuple[int, int, list[int], str]]:
    """Person, subject, rounds and kind of what lies too far, by person and subject."""
    # exact: a limit in whole steps is not passed by a difference of as many
    apart = limit / cube.size * (1 + 1e-12)
    high = np.where(cube.seen, cube.x, np.iinfo(np.int64).min).max(axis=2)
    low = np.where(cube.seen, cube.x, np.iinfo(np.int64).max).min(axis=2)
    pairs = (cube.repeats > 1) & (np.where(cube.repeats > 0, high - low, 0) > apart)
    single = _single(cube, apart)
    for p, s in zip(*np.nonzero(pairs | single.any(axis=2)), strict=True):
        which = cube.seen[p, s] if pairs[p, s] else single[p, s]
        yield int(p), int(s), cube.rounds[which].tolist(), PAIR if pairs[p, s] else READING


def _single(cube: Cube, apart: float) -> np.ndarray:
    """Which readings lie further from what the others lead to expect than matches two apart."""
    of = expected(cube)
    n = cube.seen.sum(axis=(0, 2)) - 1  # others of the subject, the own other rounds too
    # a median of n varies by pi / 2n of a reading's variance, a mean of one or two by 1 / n
    widening = np.sqrt(1 + np.where(n > 2, np.pi / 2, 1.0) / np.maximum(n, 1))
    limit = np.maximum(apart / math.sqrt(2) * widening, 1.0)[None, :, None]
    enough = (of.readers > _OTHERS)[None, :, None]
    return cube.seen & enough & (np.abs(np.nan_to_num(of.off_by)) > limit)


def _why_not(session: Session, measure: str, subject: str, more: int) -> str:
    """Why a child is left in peace: a stop code, or the cap of handlings."""
    stops = {heard(code) for code in session.conditions.get("stop", ())}
    why = list(reasons(_of(session.missing, measure, subject)))
    told = (note for notes in why for note in notes if isinstance(note, Condition | StoppedOut))
    if any(heard(note.code) in stops for note in told):
        return STOPPED
    cap = session.handling_cap
    handled = len(_of(session.readings, measure, subject))
    handled += sum(Missing.EMPTY in notes or SetAside in notes for notes in why)  # to come, or was
    return CAPPED if cap is not None and handled + more > cap else ""


def _of(frame: pd.DataFrame, measure: str, subject: str) -> Any:
    return frame[(frame["measure"] == measure) & (frame["subject"] == subject)]
