"""Which mark does each person read, and by how much is what they write displaced?

In a drill what was set is known. Every way of reading is fitted (see `ways_of_reading`); the best
one is named where it is twenty times as likely as the next. How it is read follows from the
interval of the displacement, in marks. Assumes that settings are exact: an error of theirs is in
the displacement of everybody who read them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from anthroqa.intake import Session
from anthroqa.notes import notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.marks import (
    Drill,
    FewBetweenSteps,
    FewSettings,
    How,
    MarkNotSettled,
    NotReadHere,
    Reads,
)
from anthroqa.scores.drill.ways_of_reading import NO_CYCLE, Fit, Way, fit, packed, ways
from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags, cubes
from anthroqa.scores.layout.figures import Figures, NoteArray, check_confidence, join, notes

NAMES = ("rounding_shift",)
AHEAD = math.log(20)  # how far ahead the best way must be to be named; common practice, no source
LEAST_SETTINGS = 6  # to judge by, and of those between two steps; common practice, no source
NEAR = 0.05  # steps; a setting nearer to a step than this lies on it
_TOGETHER, _LEAST_TOGETHER = 0.75, 3  # of those judged; common practice, no source

NEAREST, HALF_LOW, HALF_HIGH, LOW, HIGH, WRONG_SIDE, UNDECIDED = (how.value for how in How)
NOT_JUDGED = "not judged"
FINDINGS = (NEAREST, HALF_LOW, HALF_HIGH, LOW, HIGH, WRONG_SIDE, UNDECIDED, NOT_JUDGED)
COLUMNS = [
    "measure", "measurer", "mark", "mark_steps", "shift", "lower", "upper", "margin", "error",
    "settings", "finding", "note",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """What was found of each person in one measure; amounts in marks read, `error` in steps."""

    mark: Counts  # steps; 0 where none is named
    shift: Array
    lower: Array
    upper: Array
    margin: Array  # log-likelihood ahead of the next way; NaN where there is no other
    error: Array
    settings: Counts
    readings: Counts
    finding: npt.NDArray[np.object_]  # of str
    note: NoteArray


def figures(cube: Cube, confidence: float) -> list[Figures]:
    """`rounding_shift` of each person; nothing where no setting is known."""
    if not len(cube.true):
        return []
    found = judge(cube, confidence)
    return [
        Figures(
            statistic="rounding_shift", unit="steps", estimate=found.shift, lower=found.lower,
            upper=found.upper, subjects=found.settings, readings=found.readings, note=found.note,
        )
    ]  # fmt: skip


def marks(session: Session, *, confidence: float = 0.90) -> pd.DataFrame:
    """Which mark each person reads, and how.

    Parameters
    ----------
    session : Session
        A drill: its settings are known.
    confidence : float, default 0.90
        Coverage of the two-sided interval of the displacement.

    Returns
    -------
    pandas.DataFrame
        One row a measure and measurer: `mark` (its name; empty where none is named) and
        `mark_steps`; `shift, lower, upper`, the displacement of what was written from what was
        set, in marks read; `margin`, how far the way of reading is ahead of the next in
        log-likelihood; `error`, the SD of reading before rounding, in steps; `settings`, how
        many were read; `finding`, one of `FINDINGS`; `note`. What cannot be had is NaN, with
        the reason in `note`.

    Raises
    ------
    ValueError
        If the session has no settings, or `confidence` is not between 0 and 1.

    References
    ----------
    Heitjan & Rubin (1991) Ann. Stat. 19:2244-2253; Royall (1997) Statistical Evidence.
    """
    return worded(mark_rows(session, cubes(session), confidence=confidence))


def mark_rows(session: Session, of: Iterable[Cube], *, confidence: float) -> pd.DataFrame:
    """The rows of a drill with these cubes, as `marks` gives them, with codes in `note`."""
    if not len(session.true_values):
        raise ValueError(
            f"nothing is known of what was set in {session.name or 'this session'}: a drill has "
            'exercise = "drill" in session.toml, and true_values.csv'
        )
    check_confidence(confidence)
    tables = [_rows(cube, judge(cube, confidence), session) for cube in of if len(cube.true)]
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=COLUMNS)


def readings(session: Session) -> pd.DataFrame:
    """Every first reading of a drill beside what was set, in steps.

    `measure, measurer, subject, round, written, true` (both as written), `set` and `count`,
    `difference` (count less set), `doubtful`: at least three people read this setting and their
    middle difference is a whole mark or more, so that it is the setting to look at.
    """
    first = session.readings
    if "retake" in first:
        first = first[first["retake"].isna()]
    known = session.true_values.rename(columns={"steps": "set"})
    table = first.merge(known, on=["subject", "measure"], how="inner")
    if "count_read" in table:
        table["count"] = table["count_read"]
    table["difference"] = table["count"] - table["set"]
    cycles = {name: measure.cycle or NO_CYCLE for name, measure in session.measures.items()}
    setting = table.groupby(["measure", "subject"])
    people = setting["measurer"].transform("nunique")
    middle = setting["difference"].transform("median").abs()
    table["doubtful"] = (people >= 3) & (middle >= table["measure"].map(cycles))
    columns = ["measure", "measurer", "subject", "round", "written", "true", "set", "count"]
    return table[[*columns, "difference", "doubtful"]]


def judge(cube: Cube, confidence: float) -> Judged:
    """The mark that each person of a cube with settings reads, and how."""
    there = cube.seen & ~np.isnan(cube.true)[None, :, None]
    usable = there & ~cube.converted & (cube.tare == 0)
    count, true, seen = _side_by_side(cube, usable)
    read = usable.any(axis=2)
    between = np.abs(cube.true - np.round(cube.true)) >= NEAR
    settings, off_step = read.sum(axis=1), (read & between).sum(axis=1)
    highest = np.max(np.where(seen, count, np.iinfo(np.int64).min), axis=1, initial=-1)
    lowest = np.min(np.where(seen, count, np.iinfo(np.int64).max), axis=1, initial=2**62)
    why = notes(len(cube.people), (highest == lowest, Drill.ALL_EQUAL))
    for i, (n, off) in enumerate(zip(settings.tolist(), off_step.tolist(), strict=True)):
        if n < LEAST_SETTINGS:
            why[i] = notes_of(FewSettings(settings=n, least=LEAST_SETTINGS))
        elif off < LEAST_SETTINGS:
            why[i] = notes_of(FewBetweenSteps(between=off, settings=n, least=LEAST_SETTINGS))
    names = {1: str(cube.measure.step), **cube.measure.coarse_marks}
    cycle = cube.measure.cycle
    fits = [fit(count, true, seen, way, cycle, confidence) for way in ways(cycle, list(names))]
    found = _decided(fits, names, why)
    left_out = (there & ~usable).sum(axis=(1, 2))
    also = notes(len(cube.people), (cycle is None, Drill.NO_COARSER_MARK))
    gone = [notes_of(NotReadHere(readings=n) if n else None) for n in left_out.tolist()]
    found["note"] = join(found["note"], also, np.array(gone, dtype=object))
    return Judged(**found, settings=settings, readings=usable.sum(axis=(1, 2)))


def _side_by_side(cube: Cube, usable: Flags) -> tuple[Counts, Array, Flags]:
    """Each person's usable readings: count, setting, and where there is one."""
    n = len(cube.people)
    true = np.broadcast_to(cube.true[None, :, None], usable.shape).reshape(n, -1)
    seen, (count, true) = packed(usable.reshape(n, -1), cube.gross.reshape(n, -1), true)
    return count, np.where(seen, true, 0.0), seen


def _decided(fits: list[Fit], names: dict[int, str], why: NoteArray) -> dict:
    """The best way of each person, and how its marks are read."""
    likely = np.stack([f.log_likelihood for f in fits])
    people = np.arange(likely.shape[1])
    order = np.argsort(-likely, axis=0, kind="stable")
    best, second = order[0], order[min(1, len(fits) - 1)]
    margin = likely[best, people] - likely[second, people]
    if len(fits) == 1:
        margin = np.full(len(people), np.nan)
    mark = np.array([f.way.mark for f in fits])[best]
    judged = np.array([not reason for reason in why])
    named = judged & ~(margin < AHEAD)

    def of_best(field: str, scale: Array | float = 1.0) -> Array:
        values = np.stack([getattr(f, field) for f in fits])[best, people]
        return np.where(named, values / scale, np.nan)

    shift, lower, upper = (of_best(field, mark) for field in ("shift", "lower", "upper"))
    backwards = np.array([f.way.backwards for f in fits])[best]
    finding = _finding(lower, upper)
    finding[backwards] = WRONG_SIDE
    finding[~named] = UNDECIDED
    finding[~judged] = NOT_JUDGED
    note = why.copy()
    for i in people[judged]:
        note[i] = notes_of(
            Reads(
                how=How(finding[i]), mark=names[mark[i]], only=bool(mark[i] > 1),
                half=any(lower[i] <= half <= upper[i] for half in (-0.5, 0.5)),
            )
            if named[i]
            else _not_named(fits[best[i]].way, fits[second[i]].way, margin[i], names)
        )  # fmt: skip
    return {
        "mark": np.where(named, mark, 0), "shift": shift, "lower": lower, "upper": upper,
        "margin": np.where(judged, margin, np.nan), "error": of_best("error"),
        "finding": finding, "note": note,
    }  # fmt: skip


def _finding(lower: Array, upper: Array) -> npt.NDArray[np.object_]:
    """How marks are read, from the interval of the displacement in marks."""
    quarter, rest = 0.25, 0.75
    found = {
        NEAREST: (lower >= -quarter) & (upper <= quarter),
        HALF_LOW: (lower >= -rest) & (upper <= -quarter),
        HALF_HIGH: (lower >= quarter) & (upper <= rest),
        LOW: upper < -quarter,
        HIGH: lower > quarter,
    }  # the first that holds; none does for an interval that cannot be had
    return np.select(list(found.values()), list(found), UNDECIDED).astype(object)


def _not_named(best: Way, second: Way, margin: float, names: dict[int, str]) -> MarkNotSettled:
    return MarkNotSettled(
        mark=names[best.mark], wrong_side=best.backwards,
        other=names[second.mark], other_wrong_side=second.backwards, times=math.exp(margin),
    )  # fmt: skip


def _rows(cube: Cube, found: Judged, session: Session) -> pd.DataFrame:
    names = {0: "", 1: str(cube.measure.step), **cube.measure.coarse_marks}
    table = pd.DataFrame({
        "measure": cube.measure.name, "measurer": cube.people,
        "mark": [names[m] for m in found.mark],
        "mark_steps": pd.arrays.IntegerArray(found.mark, found.mark == 0),
        "shift": found.shift, "lower": found.lower, "upper": found.upper,
        "margin": found.margin, "error": found.error, "settings": found.settings,
        "finding": found.finding, "note": found.note,
    })  # fmt: skip
    for people in _sharing(cube, session):
        some = table["measurer"].isin(people) & table["lower"].notna() & table["upper"].notna()
        for displaced in (table["upper"] < 0, table["lower"] > 0):
            n = int((some & displaced).sum())
            if n >= _LEAST_TOGETHER and n >= _TOGETHER * int(some.sum()):
                also = notes(len(table), (some & displaced, Drill.SHARED_DISPLACEMENT))
                table["note"] = join(table["note"].to_numpy(), also)
    return table


def _sharing(cube: Cube, session: Session) -> Iterator[list[str]]:
    """People who read the same instrument, or all of them where none is named."""
    mine = session.readings[session.readings["measure"] == cube.measure.name]
    if "instrument" not in mine:
        yield cube.people
        return
    for _, rows in mine.groupby("instrument", sort=True):
        yield list(rows["measurer"].unique())
