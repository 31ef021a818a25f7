"""Do the reference and the other staff see the same bias, and what of it may be the reference's?

A bias against the reference holds the reference's error too: the differences contain it, so the t
interval of `bias` carries its repeat error already. Its share of the squared standard error is
about TEM^2 / (K n) over that square, from the reference's own TEM, n subjects and K rounds of
each (the variance of a mean). A *constant* error of the reference is in every bias and in no
interval; only the other staff show it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import special

COLUMNS = [
    "measure", "measurer", "bias", "bias_lower", "bias_upper", "reference_part", "bias_from_others",
    "from_others_lower", "from_others_upper", "unit", "agree",
]  # fmt: skip
SAME, OPPOSITE = "both, same side", "both, opposite sides"
REFERENCE_ONLY, OTHERS_ONLY, NEITHER = "reference only", "others only", "neither"


def both_views(scores: pd.DataFrame) -> pd.DataFrame:
    """Each person's bias against the reference beside that against the other staff.

    Parameters
    ----------
    scores : pandas.DataFrame
        What `anthroqa.score` gave, with `bias`, `bias_from_others`, `within_tem` and
        `within_tem_less_shift`.

    Returns
    -------
    pandas.DataFrame
        `measure, measurer, bias, bias_lower, bias_upper, reference_part, bias_from_others,
        from_others_lower, from_others_upper, unit, agree`, a row for each `bias` in the order
        of `scores`. `agree` says which intervals exclude zero: `both, same side`, `both,
        opposite sides`, `reference only`, `others only`, `neither`; empty where one is blank.
        `reference_part` is the share of the squared standard error of `bias` that the
        reference's repeat error makes, at most 1; it is an estimate without an interval, NaN
        where the reference's TEM or the interval of `bias` is blank.

    Examples
    --------
    >>> import anthroqa
    >>> high = {"LEAD": 0, "A": 5, "B": 4, "C": 5}  # all staff lie above the reference
    >>> rows = [(who, str(s), 600 + s * s + high[who] + s % 2 * (who == "A"))
    ...         for who in high for s in range(6)]
    >>> frame = pd.DataFrame(rows, columns=["measurer", "subject", "reading"])
    >>> session = anthroqa.Session.from_frame(
    ...     frame.assign(measure="length", round=1), reference="LEAD",
    ...     measures={"length": {"recorded_to": "1 mm"}})
    >>> views = both_views(anthroqa.score(session)).head(1)
    >>> views[["bias", "bias_from_others", "agree"]].values.tolist()
    [[5.5, 1.0, 'both, same side']]
    """
    key = ["measure", "measurer"]
    rows = {name: scores[scores["statistic"] == name] for name in ("bias", "bias_from_others")}
    views = rows["bias"].merge(rows["bias_from_others"], on=key, how="left", suffixes=("", "_o"))
    side, side_o = (
        np.where(views[f"lower{o}"] > 0, 1, np.where(views[f"upper{o}"] < 0, -1, 0))
        for o in ("", "_o")
    )
    agree = np.select(
        [views[["lower", "lower_o"]].isna().any(axis=1), side * side_o > 0, side * side_o < 0,
         side != 0, side_o != 0],
        ["", SAME, OPPOSITE, REFERENCE_ONLY, OTHERS_ONLY], NEITHER,
    )  # fmt: skip
    views["reference_part"] = _reference_part(views, _reference_tem(scores, rows["bias"]))
    views["agree"] = agree
    names = {
        "estimate": "bias", "lower": "bias_lower", "upper": "bias_upper",
        "estimate_o": "bias_from_others", "lower_o": "from_others_lower",
        "upper_o": "from_others_upper",
    }  # fmt: skip
    return views.rename(columns=names)[COLUMNS]


def _reference_tem(scores: pd.DataFrame, biased: pd.DataFrame) -> pd.Series:
    """The TEM of whoever has no bias, the reference, a measure.

    Less the round shift where that is to be had: differences within a round do not hold it.
    """
    tem = scores[scores["statistic"].isin(["within_tem", "within_tem_less_shift"])]
    tem = tem[tem["estimate"].notna()]
    staff = pd.MultiIndex.from_frame(biased[["measure", "measurer"]])
    mine = tem[~pd.MultiIndex.from_frame(tem[["measure", "measurer"]]).isin(staff)]
    return mine.groupby("measure")["estimate"].last()  # less_shift stands after


def _reference_part(views: pd.DataFrame, tem: pd.Series) -> np.ndarray:
    half = (views["upper"] - views["lower"]) / 2
    error = half / special.stdtrit(views["df"], (1 + views["confidence"]) / 2)
    # readings of both sides are counted: K n of them are the reference's
    mean = views["measure"].map(tem) ** 2 / (views["readings"] / 2)
    return (mean / error**2).clip(upper=1).to_numpy()
