"""How far is every reading from its subject's consensus?

The consensus is the median of all first readings of the subject, by everybody and in every
round: one slip does not move it. A reading is called far when it lies more than four robust
standard deviations from its reader's usual distance. The spread is the larger of the
reader's own (median absolute distance / 0.6745) and everybody's (90th percentile of the
distances / 1.6449, which a coarse step does not hide), never under half a step. The factor
four is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from anthroqa.intake import Session

_FAR = 4.0
_NORMAL_MEDIAN, _NORMAL_90 = 0.6745, 1.6449  # quantiles of a standard normal's distance from 0


def residuals(session: Session) -> pd.DataFrame:
    """Every reading against its subject's consensus.

    Parameters
    ----------
    session : Session

    Returns
    -------
    pandas.DataFrame
        One row a reading, in the order of the session's measures, then people (reference
        first), subjects and rounds: `measure, measurer, subject, round, retake, written,
        value, consensus, residual, unit, far`. `retake` is 0 for a first reading. Values
        are in the step's unit; `consensus` is NaN where nobody else measured the subject.

    Examples
    --------
    >>> import anthroqa
    >>> frame = pd.DataFrame({"measurer": ["A", "B", "C"], "subject": "1", "measure": "length",
    ...                       "round": 1, "reading": ["70.1", "70.2", "70.6"]})
    >>> session = anthroqa.Session.from_frame(
    ...     frame, measures={"length": {"recorded_to": "0.1 cm"}})
    >>> anthroqa.residuals(session)["residual"].round(1).tolist()
    [-0.1, 0.0, 0.4]
    """
    frame = session.readings
    retake = frame["retake"].fillna(0).astype("int64") if "retake" in frame else 0
    frame = frame.assign(retake=retake)
    first = frame["retake"] == 0
    size = {name: float(m.step.size) for name, m in session.measures.items()}
    frame["size"] = frame["measure"].map(size)
    frame["unit"] = frame["measure"].map({n: m.step.unit for n, m in session.measures.items()})
    subject = ["measure", "subject"]
    consensus = frame[first].groupby(subject)["count"].median().rename("middle")
    readers = frame.groupby(subject)["measurer"].nunique().rename("readers")
    frame = frame.join(consensus, on=subject).join(readers, on=subject)
    middle = frame["middle"].where(frame["readers"] > 1)
    away = frame["count"] - middle
    frame["consensus"] = middle * frame["size"]
    frame["residual"] = away * frame["size"]
    frame["far"] = _far(frame.assign(away=away.where(first)), away)
    order = {name: i for i, name in enumerate(session.measures)}
    frame = frame.assign(
        by_measure=frame["measure"].map(order), staff=frame["measurer"] != session.reference
    ).sort_values(["by_measure", "staff", "measurer", "subject", "round", "retake"])
    columns = ["measure", "measurer", "subject", "round", "retake", "written", "value",
               "consensus", "residual", "unit", "far"]  # fmt: skip
    return frame[columns].reset_index(drop=True)


def _far(frame: pd.DataFrame, away: pd.Series) -> pd.Series:
    """Which distances are beyond what the reader and the others usually show."""
    person = ["measure", "measurer"]
    usual = frame.groupby(person)["away"].transform("median")
    distance = (frame["away"] - usual).abs()
    frame = frame.assign(distance=distance)
    own = frame.groupby(person)["distance"].transform("median") / _NORMAL_MEDIAN
    everybody = frame.groupby("measure")["distance"].transform("quantile", 0.9) / _NORMAL_90
    spread = np.maximum(np.maximum(own, everybody), 0.5)
    return ((away - usual).abs() > _FAR * spread).fillna(False)
