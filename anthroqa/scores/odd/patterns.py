"""Which faults of technique would leave what a person's readings show as a whole?

A line is a thing to watch for, never a finding: many other causes leave the same mark. It is
given where the interval of a figure lies on the pattern's side of zero and meets the sizes that
such a fault usually has (`watch_for.py`). The figures, and what they are taken against:

- bias: against the reference and against the other staff, both beyond a fifth of the usual
  repeat error; where only one is to be had, at a stricter level. Where the reference is off, or
  one of the others, nobody gets a line for it.
- skewness of the differences from the other staff, with the lowest and the highest left out
  (a slip is no pattern). Standard error of G1 for normal samples: Joanes & Gill (1998) The
  Statistician 47:183-189 (from memory).
- repeat error over that of the other staff, each without their widest quarter of subjects, by
  the F distribution, where it is beyond 1.2 and no bias is seen.
- instrument: subjects read on it and on another, by two people or more who are all off to the
  same side (t over subjects). Their own biases get no line where that would explain them.

Levels were set by drawn sessions: see `tests/calibration/patterns.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake import EVERYBODY, Measure, Session
from anthroqa.notes import Note, Notes, notes_of
from anthroqa.notes.cells import coded, worded
from anthroqa.notes.scores.odd import ReadOnInstrument, SameIn, SeenAgainst
from anthroqa.scores.layout.cube import Array, Cube, cubes
from anthroqa.scores.layout.figures import paired_mean, ratio
from anthroqa.scores.odd.pattern_catalogue import (
    BIAS,
    INSTRUMENT,
    PATTERNS,
    REPEAT,
    SKEWNESS,
    TIMES_THE_OTHERS,
    Pattern,
)
from anthroqa.scores.repeats.repeatability import within

COLUMNS = [
    "measure", "measurer", "pattern", "estimate", "lower", "upper", "unit", "technique", "note",
]  # fmt: skip
# about, of people and measures where staff differ by 0.3 TEM only; under 0.03 where by nothing
LINES_BY_CHANCE = 0.10
_AT_MOST = 3  # lines for a person and measure
_STRICT = 0.02  # risk of a figure that no second view checks, on each side
_LEAST_SUBJECTS, _LEAST_READINGS = 6, 12
_USUAL = 0.2  # of a repeat error: staff of one skill differ by so much; common practice, no source
_ONE_APART = 0.5  # mean square of a pair that lies one step apart, in squared steps
_SAME = 1e-9  # steps; a bias less nothing
_VIEWS = ("bias_less_instrument", "bias", "bias_from_others")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """A figure that lies off zero."""

    measurer: str
    figure: str
    estimate: float
    lower: float
    upper: float
    unit: str
    note: Note


def watch_for(scores: pd.DataFrame, session: Session) -> pd.DataFrame:
    """Patterns over all of a person's readings, with the step of technique they point to.

    Parameters
    ----------
    scores : pandas.DataFrame
        What `anthroqa.score` gave for this session, with `bias` and `bias_from_others`.
    session : Session

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, pattern, estimate, lower, upper, unit, technique, note`; at most
        three rows for a person and measure, the best fitting first; `(all)` for what everybody
        on an instrument shows. The reference has none (`reference_doubts`), nor has a drill.
        `unit` is the measure's, `skewness`, or `times the others'`. `note` says against whom it
        was seen, and in which other measures the same is.

        Where staff differ by a third of the repeat error, as people do, about one person and
        measure in ten gets a line at confidence 0.90 (`LINES_BY_CHANCE`).

    Raises
    ------
    ValueError
        If `scores` has neither `bias` nor `bias_from_others`.

    Examples
    --------
    D reads 1.5 to 2.5 cm low, on average 2 cm, against everybody else.

    >>> import anthroqa
    >>> away = {"LEAD": 0, "A": 1, "B": -1, "C": 0, "D": -20}  # mm
    >>> rows = [(who, str(s), 900 + 10 * s + away[who] + (s % 3 - 1) * (5 if who == "D" else 1))
    ...         for who in away for s in range(6)]
    >>> frame = pd.DataFrame(rows, columns=["measurer", "subject", "reading"])
    >>> session = anthroqa.Session.from_frame(
    ...     frame.assign(measure="height", round=1), reference="LEAD",
    ...     measures={"height": {"recorded_to": "1 mm", "kind": "height"}})
    >>> found = watch_for(anthroqa.score(session), session)
    >>> found[["measurer", "pattern", "technique"]].values.tolist()
    [['D', 'knees bent', 'hold both knees straight']]
    """
    table = pattern_rows(coded(scores), session, cubes(session))
    return worded(table, "pattern", "technique", "note")


def pattern_rows(scores: pd.DataFrame, session: Session, of: Iterable[Cube]) -> pd.DataFrame:
    """The patterns of the cubes of a session, as `watch_for` gives them, with codes."""
    if len(scores) and not set(_VIEWS) & set(scores["statistic"]):
        raise ValueError("scores lack bias, bias_from_others; call score() without `only`")
    rows: list[dict] = []
    if len(scores) and session.exercise != "drill":
        confidence = float(scores["confidence"].iloc[0])
        wanted = scores[scores["statistic"].isin(_VIEWS)]
        rows = [
            row
            for cube in of
            for row in _measure(cube, wanted[wanted["measure"] == cube.measure.name], confidence)
        ]
    table = pd.DataFrame(rows, columns=COLUMNS)
    table["note"] = _elsewhere(table)
    return table


def _measure(cube: Cube, scores: pd.DataFrame, confidence: float) -> Iterator[dict]:
    shifts = list(_instruments(cube, confidence))
    biased = dict(_biases(cube, scores))
    skewed, wide = skewness(cube, confidence), repeat_ratio(cube, confidence)
    for p in np.flatnonzero(cube.staff):
        who = cube.people[p]
        seen = []
        if who in biased and not any(p in users and _alike(biased[who], s) for users, s in shifts):
            seen.append(biased[who])
        if (skewed[1][p] > 0 or skewed[2][p] < 0) and skewed[3][p] <= _STRICT:
            seen.append(_seen(who, SKEWNESS, skewed, p, SKEWNESS))
        if who not in biased and wide[1][p] > 1 + _USUAL:
            seen.append(_seen(who, REPEAT, wide, p, TIMES_THE_OTHERS))
        yield from _rows(cube.measure, seen)
    for _, shift in shifts:
        yield from _rows(cube.measure, [shift])


def _alike(person: _Seen, instrument: _Seen) -> bool:
    """Whether a person's bias may be no more than the shift of the instrument."""
    return person.lower <= instrument.upper and instrument.lower <= person.upper


def _seen(who: str, figure: str, found: tuple[Array, ...], p: int, unit: str) -> _Seen:
    estimate, lower, upper = (float(a[p]) for a in found[:3])
    return _Seen(
        measurer=who, figure=figure, estimate=estimate, lower=lower, upper=upper, unit=unit,
        note=SeenAgainst(views=("bias_from_others",)),
    )  # fmt: skip


def _biases(cube: Cube, scores: pd.DataFrame) -> Iterator[tuple[str, _Seen]]:
    """People who lie off zero, to one side in every view there is."""
    table = {(row.measurer, row.statistic): row for row in scores.itertuples()}
    usual = _USUAL * cube.size * np.nan_to_num(_usual_tem(cube))
    for p in np.flatnonzero(cube.staff):
        who = cube.people[p]
        rows = [table[who, name] for name in _VIEWS if (who, name) in table]
        rows = [row for row in rows if row.estimate == row.estimate]
        if rows and rows[0].statistic == "bias_less_instrument":
            same = len(rows) > 1 and abs(rows[0].estimate - rows[1].estimate) < _SAME * cube.size
            rows = rows[1:] if same else rows[:1]  # the others hold what instruments differ by
        if not rows or rows[0].subjects < _LEAST_SUBJECTS:
            continue
        sides = {int(row.lower > usual) - int(row.upper < -usual) for row in rows}
        sure = len(rows) > 1 or rows[0].p_value <= 2 * _STRICT
        if sure and sides in ({1}, {-1}):
            row = rows[0]
            yield who, _Seen(
                measurer=who, figure=BIAS, estimate=row.estimate, lower=row.lower,
                upper=row.upper, unit=row.unit,
                note=SeenAgainst(views=tuple(r.statistic for r in rows)),
            )  # fmt: skip


def _usual_tem(cube: Cube) -> float:
    """The repeat error of the person in the middle of the staff, in steps."""
    tem = within(cube).tem[cube.staff]
    tem = tem[~np.isnan(tem)]
    return float(np.median(tem)) if len(tem) else np.nan


def skewness(cube: Cube, confidence: float) -> tuple[Array, Array, Array, Array]:
    """G1 of each person's differences from the others, its interval, and its one-sided risk."""
    of_others, n_others = cube.others(cube.x, cube.seen)
    used = cube.seen & (n_others >= 2)
    apart = np.where(used, cube.x - np.nan_to_num(of_others), np.nan)
    apart = np.sort(apart.reshape(len(cube.people), -1), axis=1)  # NaN last
    n = used.sum(axis=(1, 2))
    place = np.arange(apart.shape[1])
    kept = (place >= 1) & (place < n[:, None] - 1)
    n = np.where(n - 2 >= _LEAST_READINGS, n - 2, np.nan)
    d = np.where(kept, apart, 0.0)
    d = np.where(kept, d - ratio(d.sum(axis=1), n)[:, None], 0.0)
    second, third = (ratio((d**power).sum(axis=1), n) for power in (2, 3))
    g1 = ratio(third, second**1.5) * np.sqrt(n * (n - 1)) / (n - 2)
    error = np.sqrt(6 * n * (n - 1) / ((n - 2) * (n + 1) * (n + 3)))
    half = special.ndtri((1 + confidence) / 2) * error
    return g1, g1 - half, g1 + half, special.ndtr(-np.abs(g1 / error))


def repeat_ratio(cube: Cube, confidence: float) -> tuple[Array, Array, Array]:
    """Each person's repeat error over that of the other staff, and its interval.

    Everybody, the others too, is taken without their widest quarter of subjects: one slip or
    two make nobody wide. What is left is spread about as F has it. The others' square is
    taken as that of pairs one step apart at least: no less can be told behind a step.
    """
    k = cube.repeats
    mean = ratio(np.where(cube.seen, cube.x, 0).sum(axis=2), k)
    away = np.where(cube.seen, cube.x - np.nan_to_num(mean)[:, :, None], 0.0)
    squares = np.where(k > 1, ratio((away**2).sum(axis=2), k - 1), np.inf)
    order = np.argsort(squares, axis=1, kind="stable")
    n = (k > 1).sum(axis=1, keepdims=True)
    kept = np.arange(squares.shape[1]) < n - np.ceil(n / 4)
    df = np.where(kept, np.take_along_axis(k - 1, order, 1), 0)
    left = (df * np.where(kept, np.take_along_axis(squares, order, 1), 0.0)).sum(axis=1)
    df = df.sum(axis=1)
    others = [(cube.staff * v).sum() - cube.staff * v for v in (left, df)]
    f = ratio(ratio(left, df), np.maximum(ratio(*others), _ONE_APART))
    own, other = (np.where(v > 0, v, np.nan) for v in (df, others[1]))
    tail = (1 - confidence) / 2
    lower, upper = (np.sqrt(f / special.fdtri(own, other, q)) for q in (1 - tail, tail))
    return np.sqrt(f), lower, upper


def _instruments(cube: Cube, confidence: float) -> Iterator[tuple[Array, _Seen]]:
    """Users of an instrument on which subjects read higher, or lower, than elsewhere, and how.

    Of each subject the median over its readers on either side: one slip moves nothing.
    """
    for i, code in enumerate(cube.instruments if len(cube.instruments) > 1 else []):
        on = cube.seen & (cube.instrument == i)
        off = cube.seen & (cube.instrument >= 0) & ~on
        shared = on.any(axis=(0, 2)) & off.any(axis=(0, 2))
        if shared.sum() < _LEAST_SUBJECTS:
            continue
        own, elsewhere = (
            ratio(np.where(w, cube.x, 0).sum(axis=2), w.sum(axis=2))[:, shared] for w in (on, off)
        )
        away = own - np.nanmedian(elsewhere, axis=0)
        users, others = (np.flatnonzero(~np.isnan(v).all(axis=1)) for v in (own, elsewhere))
        sides = set(np.sign(np.nanmedian(away[users], axis=1)))
        shift = paired_mean(np.nanmedian(away, axis=0)[None, :], confidence, cube.size)
        lower, upper = shift.lower[0], shift.upper[0]
        off_zero = (lower > 0 or upper < 0) and shift.p_value[0] <= 2 * _STRICT
        if len(users) > 1 and sides in ({1.0}, {-1.0}) and off_zero:
            yield users, _Seen(
                measurer=EVERYBODY, figure=INSTRUMENT, estimate=shift.mean[0], lower=lower,
                upper=upper, unit=cube.measure.step.unit,
                note=ReadOnInstrument(
                    instrument=code, users=_codes(cube, users), others=_codes(cube, others)
                ),
            )  # fmt: skip


def _codes(cube: Cube, people: Array) -> tuple[str, ...]:
    return tuple(cube.people[p] for p in people)


def _rows(measure: Measure, seen: list[_Seen]) -> list[dict]:
    """The patterns that fit best, as rows."""
    fits = [
        (share, s, pattern)
        for s in seen
        for pattern in PATTERNS
        if pattern.figure == s.figure and pattern.fits(measure)
        for share in [_share(pattern, measure, s)]
        if share > 0
    ]
    best = sorted(fits, key=lambda fit: -fit[0])[:_AT_MOST]  # the first of equals in PATTERNS
    return [
        {
            "measure": measure.name, "measurer": s.measurer, "pattern": pattern.fault,
            "estimate": s.estimate, "lower": s.lower, "upper": s.upper, "unit": s.unit,
            "technique": pattern.technique, "note": s.note,
        }
        for _, s, pattern in best
    ]  # fmt: skip


def _share(pattern: Pattern, measure: Measure, seen: _Seen) -> float:
    """How much of the interval has sizes that the pattern has; 0 on its other side."""
    up = 1 if seen.lower > 0 else -1
    if pattern.direction == -up:
        return 0.0
    least, most = pattern.sizes(measure)
    near, far = sorted((abs(seen.lower), abs(seen.upper)))
    return max(min(far, most) - max(near, least), 0.0) / (far - near)


def _elsewhere(table: pd.DataFrame) -> list[Notes]:
    """The notes, with the other measures in which a person shows the same."""
    key = ["measurer", "pattern"]
    people = table[table["measurer"] != EVERYBODY]
    where = {k: list(dict.fromkeys(some)) for k, some in people.groupby(key, sort=False)["measure"]}
    out = []
    for row in table.itertuples():
        also = [m for m in where.get((row.measurer, row.pattern), []) if m != row.measure]
        out.append(notes_of(row.note, SameIn(measures=tuple(also)) if also else None))
    return out
