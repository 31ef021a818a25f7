"""To which step were readings kept that are mostly off the one that was named?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pandas as pd

from anthroqa.intake.written.steps import Step
from anthroqa.notes.program.routine_problems import LooksLike
from anthroqa.program.routine.counting.engines import NUMBER, TEXT
from anthroqa.program.routine.counting.query import NEAR, literal, quoted
from anthroqa.program.routine.counting.request import Wanted
from anthroqa.program.routine.counting.sources import Source

_SIZES = [Fraction(1, parts) for parts in (1, 2, 4, 8, 10, 16, 20, 50, 100, 1000)]
_NEARLY_ALL = 0.98  # of the readings are on the step; no source
_ASKED = 2_000  # forms that are looked at


def looks_like(source: Source, one: Wanted) -> Step | LooksLike | None:
    """The coarsest step that nearly all readings are on, with the unit as named."""
    measure, reading = (quoted(source.columns[name]) for name in ("measure", "reading"))
    found = source.ask(
        f"SELECT CAST({reading} AS VARCHAR) AS written, COUNT(*) AS n FROM {source.relation} "
        f"WHERE CAST({measure} AS VARCHAR) = {literal(one.name)} AND {reading} IS NOT NULL "
        f"GROUP BY 1 ORDER BY 2 DESC, 1 LIMIT {_ASKED}",
        {"written": TEXT, "n": NUMBER},
    )
    value = pd.to_numeric(found["written"], errors="coerce").to_numpy(dtype=float)
    good = np.isfinite(value)
    value, n = value[good], found["n"].to_numpy(dtype=float)[good]
    if not n.sum():
        return None
    # an eighth of an inch is kept as 0.13 by columns of two decimals
    size = one.measure.step.size
    if (
        size.denominator % 8 == 0
        and (
            np.abs(value / float(size) - np.rint(value / float(size))) <= 0.006 / float(size)
        ).all()
    ):
        return LooksLike.EIGHTHS_IN_TWO_DECIMALS
    for size in _SIZES:
        steps = value * size.denominator / size.numerator
        on = np.abs(steps - np.rint(steps)) <= NEAR
        if n[on].sum() >= _NEARLY_ALL * n.sum():
            return Step(size, one.measure.step.unit)
    return None
