"""Is a limit finer than the marks that it is to be judged from?

Rounding to a step adds an error of standard deviation step / sqrt(12) to a reading (JCGM 100:2008,
GUM, F.2.2.1), with a tare step x sqrt(2 / 12): two displays are rounded. A limit is called too
fine for a way of measuring where it is under three times that floor; the factor three is common
practice, no source. A pair that is to be taken again differs by two readings, so the floor of
`limit_pair` is sqrt(2) times that of `limit_tem`. A bias is a mean over subjects, over which
rounding averages out: `limit_bias` is not asked about. What is known of somebody's repeat error
under such a limit is still known with its interval, so no state changes.
"""

from __future__ import annotations

import math

import pandas as pd

from anthroqa.intake import Measure, Session
from anthroqa.notes import notes_of
from anthroqa.notes.cells import worded
from anthroqa.notes.decisions import Limit

LEAST = 3  # rounding floors
_DISPLAYS = {"direct": 1, "tared": 2}
_READINGS = {"limit_tem": 1, "limit_pair": 2}
COLUMNS = ["measure", "limit_name", "limit", "floor", "least", "unit", "method", "note"]


def too_fine(session: Session) -> pd.DataFrame:
    """Limits of a session under three times the rounding floor of a method it was read by.

    Parameters
    ----------
    session : Session

    Returns
    -------
    pandas.DataFrame
        `measure, limit_name, limit, floor, least, unit, method, note`, a row a limit and
        method. `method` is `direct` or `tared` (the caregiver's weight subtracted), `floor`
        what rounding alone gives, `least` three times that; amounts are in `unit`.

    References
    ----------
    JCGM 100:2008 (GUM), F.2.2.1: resolution of a digital display.

    Examples
    --------
    Rounding to 0.1 kg alone gives 0.029 kg: a limit of 0.05 kg is under three times that.

    >>> import anthroqa
    >>> frame = pd.DataFrame({"measurer": "A", "subject": ["1", "1"], "measure": "weight",
    ...                       "round": [1, 2], "reading": ["7.1", "7.2"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"weight": {"recorded_to": "0.1 kg", "limit_tem": "0.05 kg"}})
    >>> too_fine(session)[["limit", "floor", "least"]].round(3).values.tolist()
    [[0.05, 0.029, 0.087]]
    """
    return worded(fine_limit_rows(session))


def fine_limit_rows(session: Session) -> pd.DataFrame:
    """The limits of a session, as `too_fine` gives them, with codes in `note`."""
    rows = []
    for name, measure in session.measures.items():
        methods = methods_of(session.readings[session.readings["measure"] == name])
        for limit_name in _READINGS:
            for method in sorted(methods & too_fine_for(measure, limit_name)):
                least = LEAST * _floor(measure, limit_name, method)
                rows.append((
                    name, limit_name, float(getattr(measure, limit_name)), least / LEAST, least,
                    measure.step.unit, method, notes_of(Limit.NEAR_ROUNDING),
                ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def too_fine_for(measure: Measure, limit_name: str) -> set[str]:
    """The methods for which a limit is too fine."""
    limit = getattr(measure, limit_name)
    return {m for m in _DISPLAYS if limit and limit < LEAST * _floor(measure, limit_name, m)}


def _floor(measure: Measure, limit_name: str, method: str) -> float:
    return float(measure.step.size) * math.sqrt(_READINGS[limit_name] * _DISPLAYS[method] / 12)


def methods_of(readings: pd.DataFrame) -> set[str]:
    """How readings were taken: `direct`, `tared` or both."""
    if "count_tare" not in readings:
        return {"direct"} if len(readings) else set()
    tared = readings["count_tare"].fillna(0) != 0
    return {"tared" if held else "direct" for held in tared.unique()}
