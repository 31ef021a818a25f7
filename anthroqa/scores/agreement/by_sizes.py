"""Is a person's difference constant, or does it grow with the size of the subject?

One least-squares line a person and measure: each subject's difference on its size. The size
is the mean over everybody who measured the subject, each person counted once; of two people it
is the mean of the two, as in Bland & Altman (1986) Lancet i:307-310 and (1999) Stat. Methods
Med. Res. 8:135-160, section 3.2 (section from memory). One side of the difference alone would
make a slope by its own error. The mean leaves a little of it: with P people, K readings of each
and V the variance of the sizes, a true slope of none becomes (own TEM^2 - the reference's TEM^2) /
(P K V), nothing where both err alike. A true slope shrinks by the same kind of part, TEM^2 /
(P K V): mostly under 1 %. Assumes differences scatter alike at all sizes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake import Session
from anthroqa.notes.cells import worded
from anthroqa.notes.scores.figures import Agreement, TooFewForLine
from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags, cubes
from anthroqa.scores.layout.figures import check_confidence, notes, ratio
from anthroqa.scores.marks.screening import holm

COLUMNS = [
    "measure", "measurer", "against", "readings_used", "slope", "lower", "upper", "slope_unit",
    "at_low", "at_high", "level", "level_lower", "level_upper", "low", "high", "unit", "subjects",
    "p_value", "turns", "note",
]  # fmt: skip
LEAST_SUBJECTS = 6
_RISK = 0.05  # of any line that turns where none does, as in `mark_findings`
_SAME = 1e-9  # steps; what is left of equal amounts after means are taken


def by_size(session: Session, *, confidence: float = 0.90) -> pd.DataFrame:
    """The line of each person's difference on the size of the subject.

    A slope that is not zero suggests the span of an instrument, or technique at one end of
    the sizes. Twelve subjects show large slopes only: a line without one proves little.

    Parameters
    ----------
    session : Session
    confidence : float, default 0.90
        Coverage of every two-sided interval, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, against, readings_used, slope, lower, upper, slope_unit, at_low,
        at_high, level, level_lower, level_upper, low, high, unit, subjects, p_value, turns, note`.
        `against` is `reference` where the measure has one, else `others` (the mean of the other
        staff, two or more). `slope` is in percent of the size; `at_low` and `at_high` are the
        fitted differences at the smallest and the largest subject, `low` and `high`; `level` is
        that at the mean size. All but the slope are in `unit`. `p_value` is that of no slope,
        t on n - 2; `turns` says that it is at or under 0.05 after Holm's adjustment for all lines
        on the same readings. `readings_used` is `all`; a second row `without moving` follows where
        readings under a condition that the program calls moving were in the differences.
        Blank, with the reason in `note`, under six common subjects or where all have one size.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.

    References
    ----------
    Bland & Altman (1986) Lancet i:307-310; (1999) Stat. Methods Med. Res. 8:135-160. Holm (1979)
    Scand. J. Stat. 6:65-70.

    Examples
    --------
    A reads 1 % more than the reference at every size: 1 mm at 100, 6 mm at 600.

    >>> import anthroqa
    >>> rows = [(who, str(s), 100 * s + (s if who == "A" else 0))
    ...         for who in ("LEAD", "A") for s in range(1, 7)]
    >>> frame = pd.DataFrame(rows, columns=["measurer", "subject", "reading"])
    >>> session = anthroqa.Session.from_frame(
    ...     frame.assign(measure="length", round=1), reference="LEAD",
    ...     measures={"length": {"recorded_to": "1 mm"}})
    >>> by_size(session)[["at_low", "at_high", "level"]].round(6).values.tolist()
    [[1.0, 6.0, 3.5]]
    """
    return worded(by_size_rows(session, cubes(session), confidence=confidence))


def by_size_rows(session: Session, of: Iterable[Cube], *, confidence: float) -> pd.DataFrame:
    """The lines of the cubes of a session, as `by_size` gives them, with codes in `note`."""
    check_confidence(confidence)
    tables = [_measure(cube, _moving(cube, session), confidence) for cube in of]
    table = pd.concat([t for t in tables if len(t)] or [pd.DataFrame(columns=COLUMNS)])
    adjusted = table.groupby("readings_used")["p_value"].transform(
        lambda p: holm(p.to_numpy(float))
    )
    return table.assign(turns=adjusted <= _RISK).reset_index(drop=True)[COLUMNS]


def _measure(cube: Cube, moving: Flags, confidence: float) -> pd.DataFrame:
    """Rows of one measure, person by person."""
    apart, k = _differences(cube)
    table = _lines(cube, apart, "all", confidence)[cube.staff]
    if moving.any():
        calm = replace(cube, seen=cube.seen & ~moving)
        apart, k_calm = _differences(calm)
        second = _lines(calm, apart, "without moving", confidence)
        changed = (k != k_calm).any(axis=1)
        table = pd.concat([table, second[cube.staff & changed]]).sort_index(kind="stable")
    return table


def _moving(cube: Cube, session: Session) -> Flags:
    """Which first readings were taken under a condition that the program calls moving."""
    out = np.zeros(cube.seen.shape, dtype=bool)
    readings, codes = session.readings, session.conditions.get("moving", ())
    if "condition" not in readings:
        return out
    moved = (readings["measure"] == cube.measure.name) & readings["condition"].isin(codes)
    if "retake" in readings:
        moved &= readings["retake"].isna()
    mine = readings[moved]
    person, subject = (
        pd.Index(codes).get_indexer(mine[column])
        for codes, column in ((cube.people, "measurer"), (cube.subjects, "subject"))
    )
    out[person, subject, np.searchsorted(cube.rounds, mine["round"])] = True
    return out


def _differences(cube: Cube) -> tuple[Array, Counts]:
    """Own less reference, or less two other staff or more, in steps (people x subjects).

    Each subject's is the mean over the rounds that both sides have, and how many these are; as
    in `bias` and `bias_from_others`.
    """
    if cube.referenced:
        other, both = cube.x[:1], cube.seen & cube.seen[:1]
    else:
        other, n_others = cube.others(cube.x, cube.seen)
        both = cube.seen & (n_others >= 2)
    k = both.sum(axis=2)
    return ratio(np.where(both, cube.x - np.nan_to_num(other), 0).sum(axis=2), k), k


def _sizes(cube: Cube) -> Array:
    """Mean of everybody's means, in steps less the cube's shift, a subject."""
    own = ratio(np.where(cube.seen, cube.x, 0).sum(axis=2), cube.repeats)
    return ratio(np.nan_to_num(own).sum(axis=0), (~np.isnan(own)).sum(axis=0))


def _lines(cube: Cube, apart: Array, used_are: str, confidence: float) -> pd.DataFrame:
    """Least squares for every person at once, in steps until the table."""
    there = ~np.isnan(apart)
    n = there.sum(axis=1)
    size = np.where(there, _sizes(cube), np.nan)
    low = np.min(size, axis=1, where=there, initial=np.inf)
    high = np.max(size, axis=1, where=there, initial=-np.inf)
    few, alike = n < LEAST_SUBJECTS, high - low < _SAME

    usable = there & ~(few | alike)[:, None]
    used = usable.sum(axis=1)
    middle, level = (ratio(np.where(usable, v, 0.0).sum(axis=1), used) for v in (size, apart))
    x = np.where(usable, size - middle[:, None], 0.0)
    y = np.where(usable, apart - level[:, None], 0.0)
    square = (x**2).sum(axis=1)
    slope = ratio((x * y).sum(axis=1), square)
    left = y - np.nan_to_num(slope)[:, None] * x
    on_line = np.abs(left).max(axis=1, initial=0.0) < _SAME
    df = np.where(used > 0, n - 2, np.nan)  # level and slope are taken out
    variance = np.where(on_line, np.nan, (left**2).sum(axis=1)) / df
    t = special.stdtrit(df, (1 + confidence) / 2)
    error = np.sqrt(ratio(variance, square))
    half, level_half = t * error, t * np.sqrt(ratio(variance, n))

    unit, against = cube.measure.step.unit, "reference" if cube.referenced else "others"
    none = n == 0
    return pd.DataFrame({
        "measure": cube.measure.name, "measurer": cube.people, "against": against,
        "readings_used": used_are,
        "slope": 100 * slope, "lower": 100 * (slope - half), "upper": 100 * (slope + half),
        "slope_unit": "% of size",
        "at_low": (level + slope * (low - middle)) * cube.size,
        "at_high": (level + slope * (high - middle)) * cube.size,
        "level": level * cube.size, "level_lower": (level - level_half) * cube.size,
        "level_upper": (level + level_half) * cube.size,
        "low": np.where(none, np.nan, (low + cube.shift) * cube.size),
        "high": np.where(none, np.nan, (high + cube.shift) * cube.size),
        "unit": unit, "subjects": n, "p_value": 2 * special.stdtr(df, -np.abs(slope / error)),
        "note": notes(
            len(n),
            (none & cube.referenced, Agreement.NOTHING_IN_COMMON),
            (none, Agreement.NEEDS_TWO_OTHERS),
            (few, TooFewForLine(least=LEAST_SUBJECTS)),
            (alike, Agreement.ONE_SIZE),
            (on_line, Agreement.ON_A_LINE),
        ),
    })  # fmt: skip
