"""Whose readings repeat the child's last one more often than those of the other staff?

The tally counts, in the database, how many readings followed an earlier one of the same child and
measure, and how many are equal to it. How often that is depends on the children, the time between
visits and the step: the others who read this measure are what a person is held against, with the
spread that there is between them (variance of standardised shares, the outer tenth on each side
drawn in, not under 1: Spiegelhalter 2005, Qual. Saf. Health Care 14:347-351, from memory; brought
to that of a normal, and t on the people less one in place of a normal, are ours). Shares are
standardised on the arcsine scale.

`more alike than expected` is five points and more above the others, significant after Holm (1979)
over all of a level and measures. There are many reasons; the tally cannot tell them apart.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.notes.cells import worded
from anthroqa.notes.program.routine import FewFollow, Repeated
from anthroqa.program.routine.findings.groups import FEWEST, LEVELS, ON_A_MARK, Cells, cells
from anthroqa.scores.layout.cube import Array, Counts
from anthroqa.scores.layout.figures import check_confidence, notes, ratio
from anthroqa.scores.marks.screening import NAMED_AT, holm

COLUMNS = [
    "measure", "level", "who", "followed", "same", "share", "lower", "upper", "expected",
    "p_value", "adjusted", "state", "note",
]  # fmt: skip
ALIKE, EXPECTED, NOT_JUDGED = "more alike than expected", "as expected", "not judged"
POINTS = 0.05  # above the others, below which nothing is told; common practice, no source
OTHERS = 3  # who are needed to be held against; common practice, no source
_DRAWN_IN = 0.10  # share of standardised shares on each side
_NORMAL = 0.6787  # variance of a standard normal that is drawn in so: 0.8 - 2 z f(z) + 0.2 z^2


def repeated(counts: pd.DataFrame, *, confidence: float = 0.90) -> pd.DataFrame:
    """Shares of readings equal to the child's last one, beside those of the others.

    Parameters
    ----------
    counts : pandas.DataFrame
        A tally with the columns `followed` and `same`; without them there are no rows.
    confidence : float, default 0.90
        Of the intervals, two-sided.

    Returns
    -------
    pandas.DataFrame
        `measure, level, who, followed, same, share, lower, upper, expected, p_value, adjusted,
        state, note`: a row a measure, level and name. `expected` is the share of all others of
        that level; `state` is `more alike than expected`, `as expected`, or `not judged` with
        the reason in `note`.
    """
    return worded(repeated_rows(cells(counts), confidence=confidence))


def repeated_rows(measures: Iterable[Cells], *, confidence: float) -> pd.DataFrame:
    """The same, with codes in `note`."""
    check_confidence(confidence)
    parts = [
        _of_level(c, level, confidence)
        for c in measures if "followed" in c.sums
        for level in LEVELS if c.by(level)[0]
    ]  # fmt: skip
    if not parts:
        return pd.DataFrame(columns=COLUMNS)
    table = pd.concat(parts, ignore_index=True)
    for level in LEVELS:
        own = table["level"] == level
        table.loc[own, "adjusted"] = holm(table.loc[own, "p_value"].to_numpy(dtype=float))
    more = (table["adjusted"] <= NAMED_AT) & (table["share"] - table["expected"] >= POINTS)
    judged = table["p_value"].notna()
    table["state"] = np.select([~judged, more], [NOT_JUDGED, ALIKE], EXPECTED)
    table.loc[more, "note"] = notes(int(more.sum()), (True, Repeated.MANY_REASONS))
    return table[COLUMNS]


def _of_level(c: Cells, level: str, confidence: float) -> pd.DataFrame:
    who, code = c.by(level)
    read = c.of_kind(ON_A_MARK)
    followed, same = (c.sum(k, read, (code, len(who))) if k in c.sums else np.zeros(len(who), int)
                      for k in ("followed", "same"))  # fmt: skip
    tail = (1 - confidence) / 2
    # Jeffreys' interval: Brown, Cai & DasGupta (2001) Stat. Sci. 16:101-133
    lower = np.where(same > 0, special.betaincinv(same + 0.5, followed - same + 0.5, tail), 0)
    upper = np.where(
        same < followed, special.betaincinv(same + 0.5, followed - same + 0.5, 1 - tail), 1
    )
    blank = followed == 0
    few = followed < FEWEST
    alone = (~few).sum() <= OTHERS
    expected = ratio(same.sum() - same, followed.sum() - followed)
    p = np.full(len(who), np.nan)
    if not alone:
        p[~few] = _above(same[~few], followed[~few], expected[~few])
    judged = level != LEVELS[0]
    why = notes(
        len(who), (few & judged, FewFollow(least=FEWEST)),
        (alone & judged, Repeated.FEW_OTHERS),
    )  # fmt: skip
    return pd.DataFrame({
        "measure": c.measure, "level": level, "who": who, "followed": followed, "same": same,
        "share": ratio(same, followed), "lower": np.where(blank, np.nan, lower),
        "upper": np.where(blank, np.nan, upper),
        "expected": expected if judged else np.nan, "p_value": p, "adjusted": np.nan,
        "note": why,
    })  # fmt: skip


def _above(same: Counts, followed: Counts, expected: Array) -> Array:
    """How likely a share is so far above the others', with the spread that they have."""
    z = 2 * np.sqrt(followed) * (np.arcsin(np.sqrt(same / followed)) - np.arcsin(np.sqrt(expected)))
    low, high = np.quantile(z, [_DRAWN_IN, 1 - _DRAWN_IN])
    spread = np.sqrt(max(np.mean(np.clip(z, low, high) ** 2) / _NORMAL, 1.0))
    return special.stdtr(len(z) - 1, -z / spread)
