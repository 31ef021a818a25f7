"""Do the intervals of variance components hold, in balanced and in broken sessions?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pandas as pd
from calibration.sessions import cube_of
from scipy import stats

from anthroqa.intake.written.steps import Step
from anthroqa.scores.components import between, crossed
from anthroqa.scores.layout.cube import Cube

TEM, SUBJECT = 50.0, 500.0  # steps: fine enough for rounding not to matter
SPREADS, APART = (0.0, 0.25, 0.5, 1.0, 2.0), (0.0, 0.5)  # of measurers, of measurer x subject, TEM
CONFIDENCE = 0.90


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Who reads whom how often; `seen` is people x subjects x rounds."""

    seen: np.ndarray
    group: np.ndarray


def _balanced(staff: int, subjects: int) -> Layout:
    return Layout(
        seen=np.ones((staff, subjects, 2), dtype=bool), group=np.zeros(subjects, dtype=np.int64)
    )


def _broken() -> Layout:
    """A child too upset for three of the staff, and one person who missed the second round."""
    layout = _balanced(7, 12)
    layout.seen[4:, 11] = False
    layout.seen[2, :, 1] = False
    return layout


def _groups() -> Layout:
    """Three groups of three staff, ten subjects each."""
    group = np.repeat(np.arange(3), 10)
    seen = np.repeat(np.arange(3), 3)[:, None] == group
    return Layout(seen=np.repeat(seen[:, :, None], 2, axis=2), group=group)


LAYOUTS: Mapping[str, Callable[[], Layout]] = {
    "7 staff x 12 subjects x 2": lambda: _balanced(7, 12),
    "the same, a child dropped, a second round missing": _broken,
    "5 staff x 10 subjects x 2": lambda: _balanced(5, 10),
    "3 groups of 3 staff x 10 subjects x 2": _groups,
}


def session(layout: Layout, spread: float, apart: float, rng: np.random.Generator) -> Cube:
    """One session; everybody reads one TEM higher in round 2. Sizes are in TEMs."""
    people, subjects, rounds = layout.seen.shape
    values = (
        20_000 + SUBJECT * rng.standard_normal((1, subjects, 1))
        + TEM * (
            spread * rng.standard_normal((people, 1, 1))
            + apart * rng.standard_normal((people, subjects, 1))
            + rng.standard_normal((people, subjects, rounds))
            + np.arange(rounds)
        )
    )  # fmt: skip
    cube = cube_of(np.rint(values).astype(np.int64), Step(Fraction(1), "mm"), seen=layout.seen)
    return replace(cube, group=layout.group)


def truth(spread: float, apart: float) -> dict[str, float]:
    """What the figures estimate, in mm."""
    error = TEM**2 * (spread**2 + apart**2 + 1)
    return {
        "sd_measurer": spread * TEM, "sd_measurer_subject": apart * TEM, "sd_repeat": TEM,
        "sd_reproducibility": error**0.5, "icc_agreement": SUBJECT**2 / (SUBJECT**2 + error),
        "between_tem": error**0.5,
    }  # fmt: skip


def covered(cubes: Iterable[Cube], true: dict[str, float], seed: int) -> dict[str, float]:
    """How often the interval of each figure holds the truth; `chi2`: between_tem on its df."""
    held: dict[str, list[bool]] = {name: [] for name in [*true, "chi2"]}
    tails = ((1 + CONFIDENCE) / 2, (1 - CONFIDENCE) / 2)
    for cube in cubes:
        rng = np.random.default_rng(seed)
        rows = [
            *crossed.group_figures(cube, CONFIDENCE, rng),
            *between.group_figures(cube, CONFIDENCE, rng),
        ]
        for row in rows:
            if row.statistic in true:
                held[row.statistic].append(row.lower[0] <= true[row.statistic] <= row.upper[0])
            if row.statistic == "between_tem":
                low, high = row.estimate[0] * np.sqrt(row.df[0] / stats.chi2.ppf(tails, row.df[0]))
                held["chi2"].append(low <= true["between_tem"] <= high)
    return {name: float(np.mean(found)) for name, found in held.items()}


def study(sessions: int, seed: int) -> pd.DataFrame:
    """Share of intervals (0.90) that hold the truth, by layout and by what staff differ by."""
    rng = np.random.default_rng(seed)
    rows = []
    for name, make in LAYOUTS.items():
        for apart in APART:
            for spread in SPREADS:
                drawn = (session(make(), spread, apart, rng) for _ in range(sessions))
                found = covered(drawn, truth(spread, apart), seed)
                rows.append({"layout": name, "apart": apart, "spread": spread, **found})
    return pd.DataFrame(rows)
