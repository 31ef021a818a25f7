"""Does each person agree with themselves?

Technical error of measurement (TEM) within a person: the root of the mean square within
subjects, pooled by degrees of freedom; for pairs the root of sum(d^2) / 2N.
Shrout & Fleiss (1979) Psychol. Bull. 86:420-428, Table 1 (WMS); Bland & Altman (1996)
BMJ 312:1654. Assumes one error size for every subject; readings are rounded to the step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from anthroqa.notes.scores.figures import Repeats
from anthroqa.scores.layout.cube import Array, Counts, Cube, Flags
from anthroqa.scores.layout.figures import Figures, notes, pooled_squares, ratio, root_chi2_interval

NAMES = ("within_tem", "within_tem_percent", "reliability")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Within:
    """Repeat error of each person, in steps."""

    tem: Array  # NaN where df is 0
    df: Counts
    used: Flags  # people x subjects with two readings or more
    readings: Counts  # how many those are


def within(cube: Cube) -> Within:
    """Within TEM of each person, in steps, from exact sums of squares.

    One mean is taken out for each subject: df is the sum of (K - 1).
    """
    k = cube.repeats
    used = k >= 2
    times = k * (cube.x**2).sum(axis=2) - cube.x.sum(axis=2) ** 2
    df = np.where(used, k - 1, 0).sum(axis=1)
    squares = pooled_squares(np.where(used, times, 0), np.where(used, k, 0))
    return Within(
        tem=np.sqrt(ratio(squares, df)),
        df=df,
        used=used,
        readings=np.where(used, k, 0).sum(axis=1),
    )


def figures(cube: Cube, confidence: float) -> list[Figures]:
    """`within_tem`, `within_tem_percent` and `reliability` of each person."""
    w = within(cube)
    n = len(cube.people)
    shared = {"subjects": w.used.sum(axis=1), "readings": w.readings, "df": w.df.astype(float)}
    why = notes(
        n,
        (w.df == 0, Repeats.NOT_READ_TWICE),
        (w.tem == 0, Repeats.ALL_EQUAL),
        (w.tem < 1, Repeats.UNDER_ONE_STEP),
    )
    tem = w.tem * cube.size
    lower, upper = root_chi2_interval(tem, shared["df"], confidence)

    total = np.where(w.used, cube.x.sum(axis=2), 0).sum(axis=1)
    mean = (ratio(total, w.readings) + cube.shift) * cube.size
    percent = 100 * ratio(np.ones(n), mean)
    squares = np.where(w.used, (cube.x**2).sum(axis=2), 0).sum(axis=1)
    spread = ratio(
        ratio(w.readings * squares - total**2, w.readings), w.readings - 1
    )  # n - 1: one mean is taken out
    flat = notes(
        n,
        (w.df == 0, Repeats.NOT_READ_TWICE),
        (spread == 0, Repeats.READINGS_ALL_EQUAL),
        (True, Repeats.RELIABILITY_HAS_NO_INTERVAL),
    )
    return [
        Figures(
            statistic="within_tem", unit=cube.measure.step.unit,
            estimate=tem, lower=lower, upper=upper, note=why, **shared,
        ),
        Figures(
            statistic="within_tem_percent", unit="%",
            estimate=percent * tem, lower=percent * lower, upper=percent * upper,
            note=why, **shared,
        ),
        Figures(
            statistic="reliability", unit="share",
            estimate=1 - ratio(w.tem**2, spread), note=flat, **shared,
        ),
    ]  # fmt: skip
