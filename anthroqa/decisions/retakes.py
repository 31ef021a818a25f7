"""Which readings should be taken again while the child is here?"""

from __future__ import annotations

import pandas as pd

from anthroqa.intake import Session

COLUMNS = ["measure", "measurer", "subject", "rounds", "limit", "unit"]


def take_again(session: Session) -> pd.DataFrame:
    """Readings of one person and subject that lie further apart than `limit_pair`.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, subject, rounds, limit, unit`; `rounds` is a text such as
        "1, 2". No value is given: the reader must not see the first one. A pair that has a
        retake already is not listed.
    """
    readings = session.readings
    rows = []
    for name, measure in session.measures.items():
        if measure.limit_pair is None:
            continue
        limit = measure.limit_pair / measure.step.size
        mine = readings[readings["measure"] == name]
        for (measurer, subject), cell in mine.groupby(["measurer", "subject"]):
            again = "retake" in cell and cell["retake"].notna().any()
            if not again and cell["count"].max() - cell["count"].min() > limit:
                rounds = ", ".join(map(str, sorted(cell["round"])))
                rows.append((
                    name, measurer, subject, rounds, float(measure.limit_pair), measure.step.unit
                ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)
