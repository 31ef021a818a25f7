"""How far is every reading from its subject's consensus?

The consensus is the median of all first readings of the subject, by everybody and in every
round: one slip does not move it. What is called far is said in `expected`: there a person's
usual difference and a round's common shift are allowed for. A retake is held against what its
first reading was expected to be.
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from anthroqa.intake import Session
from anthroqa.scores.layout.cube import Cube, cubes
from anthroqa.scores.odd.expectation import expected


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
    return residual_rows(session, cubes(session))


def residual_rows(session: Session, of: Iterable[Cube]) -> pd.DataFrame:
    """Every reading of a session with these cubes, as `residuals` gives them."""
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
    frame["far"] = _far(of, frame)
    order = {name: i for i, name in enumerate(session.measures)}
    frame = frame.assign(
        by_measure=frame["measure"].map(order), staff=frame["measurer"] != session.reference
    ).sort_values(["by_measure", "staff", "measurer", "subject", "round", "retake"])
    columns = ["measure", "measurer", "subject", "round", "retake", "written", "value",
               "consensus", "residual", "unit", "far"]  # fmt: skip
    return frame[columns].reset_index(drop=True)


def _far(of: Iterable[Cube], frame: pd.DataFrame) -> pd.Series:
    """Which readings, retakes too, lie beyond their limit."""
    far = pd.Series(False, index=frame.index)
    for cube in of:
        mine = frame[frame["measure"] == cube.measure.name]
        at = (
            pd.Index(cube.people).get_indexer(mine["measurer"]),
            pd.Index(cube.subjects).get_indexer(mine["subject"]),
            pd.Index(cube.rounds).get_indexer(mine["round"]),
        )
        of = expected(cube)
        far[mine.index] = (mine["count"] - of.value[at]).abs() > of.limit[at]
    return far
