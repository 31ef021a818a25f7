"""How strong must a habit of reading be for a session of this size to name it?

Readings on a mark are counted as independent, each with its even chance if nobody leans; the
contrast must then pass the adjustment for every naming test of the session. Repeats of one
subject tell a little less than that, positions known from the others a little more:
`tests/calibration/power.md` has what drawn sessions gave.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

from anthroqa.intake import EVERYBODY, Session

POWER = 0.8  # common practice, no source
_RISK = 0.05  # of naming anybody by chance
COLUMNS = ["measure", "mark", "readings", "tests", "least_share"]


def marks_reach(scores: pd.DataFrame, session: Session) -> pd.DataFrame:
    """The least share of readings on a mark that four sessions of five would name.

    Parameters
    ----------
    scores : pandas.DataFrame
        What `anthroqa.score` gave for this session, all statistics.
    session : Session

    Returns
    -------
    pandas.DataFrame
        `measure, mark, readings, tests, least_share`: `readings` of a person in the middle,
        `tests` that a name must hold against, `least_share` beyond what the subjects give,
        NaN where even a person who reads nothing else would mostly not be named.
    """
    people = scores[scores["measurer"] != EVERYBODY]
    tested = people[people["p_value"].notna()]
    marks = tested[tested["statistic"].str.startswith("coarse_share:")]
    tests = len(marks.drop_duplicates(["measure", "measurer"])) + int(
        (tested["statistic"] == "identical_repeats").sum()
    )
    rows = []
    for (measure, statistic), some in marks.groupby(["measure", "statistic"], sort=False):
        name = statistic.partition(":")[2]
        steps = {v: k for k, v in session.measures[measure].coarse_marks.items()}[name]
        readings = int(some["readings"].median())
        rows.append((measure, name, readings, tests, least_share(readings, 1 / steps, tests)))
    return pd.DataFrame(rows, columns=COLUMNS)


def least_share(readings: int, chance: float, tests: int) -> float:
    """Least share on a mark, beyond an even `chance`, that is named with the stated power.

    Examples
    --------
    20 readings, 8 tests, a mark that one reading in five falls on: 10 or more are named.

    >>> least_share(20, 0.2, 8)
    0.47
    """
    on = np.arange(readings + 1)
    named = np.flatnonzero(_at_least(on, readings, chance) <= _RISK / max(tests, 1))
    if not len(named):
        return float("nan")
    shares = np.arange(1, 101) / 100
    enough = _at_least(named[0], readings, shares + (1 - shares) * chance) >= POWER
    return float(shares[enough.argmax()]) if enough.any() else float("nan")


def _at_least(on, readings: int, chance):
    """Chance of so many of some independent readings or more."""
    return np.where(on == 0, 1.0, special.bdtrc(on - 1.0, readings, chance))
