"""How many more subjects would settle it, and what can a session of this size settle?

Both questions take the estimate as it stands and ask what its interval would be: chi-squared
for a repeat error, t for a mean difference. The interval of a repeat error under one step has
no such form: it is taken to shrink as others do.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

LEAST_DF = 6  # below it nobody is judged
LEAST_SUBJECTS = 6
MOST_MORE = 100

Array = npt.NDArray[np.float64]


def spread_factors(df: Array | float, confidence: float) -> tuple[Array, Array]:
    """What a standard deviation is multiplied by to give the ends of its interval."""
    tail = (1 - confidence) / 2
    df = np.asarray(df, dtype=float)
    return np.sqrt(df / special.chdtri(df, tail)), np.sqrt(df / special.chdtri(df, 1 - tail))


def mean_factor(n: Array | float, confidence: float) -> Array:
    """What the SD of n differences is multiplied by to give the half width of their mean."""
    n = np.asarray(n, dtype=float)
    return special.stdtrit(n - 1, (1 + confidence) / 2) / np.sqrt(n)


def more_for_spread(
    estimate: float, df: float, limit: float, *, rounds: int, confidence: float
) -> int | None:
    """Least number of further subjects, each read `rounds` times; None if over 100."""
    more = np.arange(MOST_MORE + 1)
    total = df + more * (rounds - 1)
    usable = np.maximum(total, 1)
    low, high = spread_factors(usable, confidence)
    settled = (estimate * high < limit) | (estimate * low > limit)
    return _first(more, settled & (total >= LEAST_DF))


def more_for_resolved(
    estimate: float, lower: float, upper: float, df: float, limit: float, *, rounds: int,
    confidence: float,
) -> int | None:  # fmt: skip
    """Least number of further subjects for a repeat error under one step; None if over 100.

    The distances of the ends, as ratios, shrink with the root of df. Where every repeat is
    equal there is no estimate: its bound is where all are equal with the chance of a tail, and
    the chance that one is not rises in line with the TEM.
    """
    more = np.arange(MOST_MORE + 1)
    total = df + more * (rounds - 1)
    if np.isnan(estimate):
        unequal = 1 - ((1 - confidence) / 2) ** (1 / np.maximum(total, 1))
        settled = upper * unequal / unequal[0] < limit
    else:
        part = np.sqrt(df / total)
        high, low = estimate * (upper / estimate) ** part, estimate * (lower / estimate) ** part
        settled = (high < limit) | (low > limit)
    return _first(more, settled & (total >= LEAST_DF))


def more_for_mean(
    estimate: float, n: int, half_width: float, limit: float, *, confidence: float,
    of_instrument: float = 0.0,
) -> int | None:  # fmt: skip
    """Least number of further subjects for a mean difference; None if over 100.

    `of_instrument` is a half width that further subjects leave as it is: that of the errors of
    the instruments.
    """
    more = np.arange(MOST_MORE + 1)
    sd = half_width / mean_factor(float(n), confidence)
    half = np.hypot(sd * mean_factor(n + more.astype(float), confidence), of_instrument)
    settled = (abs(estimate) + half < limit) | (abs(estimate) - half > limit)
    return _first(more, settled & (n + more >= LEAST_SUBJECTS))


def _first(more: npt.NDArray[np.int64], settled: npt.NDArray[np.bool_]) -> int | None:
    return int(more[settled.argmax()]) if settled.any() else None
