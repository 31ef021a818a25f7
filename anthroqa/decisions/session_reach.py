"""What can a session of this size show, and how much would chance alone find in it?"""

from __future__ import annotations

import pandas as pd

from anthroqa.decisions.enough import spread_factors
from anthroqa.decisions.findings import NOT_JUDGED

COLUMNS = [
    "measure", "question", "people", "by_chance", "half_width", "within_below", "over_above",
    "unit",
]  # fmt: skip


def reach(decisions: pd.DataFrame, scores: pd.DataFrame) -> pd.DataFrame:
    """For each measure and question, what estimates would be settled, and what chance gives.

    Parameters
    ----------
    decisions, scores : pandas.DataFrame
        What `decide` and `score` gave.

    Returns
    -------
    pandas.DataFrame
        `measure, question, people, by_chance, half_width, within_below, over_above, unit`.
        `people` could be found over the limit (they were judged and have an interval);
        `by_chance` is how many of them would be if all sat exactly on the limit.
        `half_width` (bias only) is the median half width of their intervals. An estimate
        under `within_below` is within the limit, one above `over_above` over it, at the
        median df; NaN without a limit. Under one step these two are near, not exact. Amounts
        are in `unit`.
    """
    key = ["measure", "measurer", "statistic"]
    frame = decisions.merge(scores[[*key, "df", "confidence"]], on=key, how="left")
    frame = frame[(frame["state"] != NOT_JUDGED) & frame["lower"].notna()]
    frame = frame.assign(question=pd.Categorical(frame["question"], ["repeatability", "bias"]))
    frame = frame.sort_values("question", kind="stable").sort_values(
        "measure", key=lambda m: m.map({name: i for i, name in enumerate(m.unique())}),
        kind="stable",
    )  # fmt: skip
    rows = []
    for (measure, question), part in frame.groupby(["measure", "question"], sort=False):
        confidence, limit = part["confidence"].iloc[0], part["limit"].iloc[0]
        half = float("nan")
        if question == "repeatability":
            low, high = spread_factors(part["df"].median(), confidence)
            within_below, over_above = limit / high, limit / low
        else:
            half = ((part["upper"] - part["lower"]) / 2).median()
            within_below, over_above = limit - half, limit + half
        rows.append((
            measure, question, len(part), len(part) * (1 - confidence) / 2, half,
            float(within_below), float(over_above), part["unit"].iloc[0],
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)
