"""Bias against the reference beside that against the other staff."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from strategies import as_session

import anthroqa
from anthroqa.scores.agreement.two_views import COLUMNS, both_views

NEEDED = ["within_tem", "within_tem_less_shift", "bias", "bias_from_others"]
OFF = (1, -1, 0, 1, 0, -1, 2, -2)


def session(away: dict[str, int], **settings: str) -> anthroqa.Session:
    """Eight subjects read twice; everybody's readings scatter in a way of their own."""
    layout = {
        p: [[900 + 10 * s + more + OFF[(s + i) % 8], 900 + 10 * s + more + OFF[(s * 3 + i) % 8]]
            for s in range(8)]
        for i, (p, more) in enumerate(away.items())
    }  # fmt: skip
    return as_session(layout, reference="LEAD", **settings)


def views(away: dict[str, int]) -> pd.DataFrame:
    table = both_views(anthroqa.score(session(away)))
    assert list(table.columns) == COLUMNS
    return table.set_index("measurer")


def test_the_figures_are_those_of_the_score_table():
    one = session({"LEAD": 0, "A": 0, "B": 3, "C": -4})
    scores = anthroqa.score(one).set_index(["measurer", "statistic"])
    for row in both_views(anthroqa.score(one)).itertuples():
        bias, others = (scores.loc[(row.measurer, n)] for n in ("bias", "bias_from_others"))
        assert (row.bias, row.bias_lower, row.bias_upper) == tuple(
            bias[["estimate", "lower", "upper"]]
        )
        assert row.bias_from_others == others["estimate"]
        assert (row.from_others_lower, row.from_others_upper) == tuple(others[["lower", "upper"]])


@pytest.mark.parametrize(("away", "agree"), [
    ({"LEAD": 0, "A": 9, "B": 0, "C": 0}, "both, same side"),
    ({"LEAD": 0, "A": -9, "B": 0, "C": 0}, "both, same side"),
    ({"LEAD": 0, "A": 9, "B": 30, "C": 30}, "both, opposite sides"),
    ({"LEAD": -9, "A": 0, "B": 0, "C": 0}, "reference only"),
    ({"LEAD": 0, "A": 0, "B": 20, "C": 20}, "others only"),
    ({"LEAD": 0, "A": 0, "B": 0, "C": 0}, "neither"),
    ({"LEAD": 0, "A": 9, "B": 0}, ""),  # one other is too few
])  # fmt: skip
def test_agree_says_which_intervals_exclude_zero(away, agree):
    assert views(away).loc["A", "agree"] == agree


def test_the_part_of_the_reference_is_its_variance_of_a_mean_over_that_of_the_bias():
    one = session({"LEAD": 0, "A": 0, "B": 3, "C": -4})
    scores = anthroqa.score(one, confidence=0.8)
    figures = scores.set_index(["measurer", "statistic"])
    row = figures.loc["A", "bias"]
    error = (row["upper"] - row["lower"]) / 2 / stats.t.ppf(0.9, 7)
    tem = figures.loc["LEAD", "within_tem_less_shift"]["estimate"]
    assert tem != figures.loc["LEAD", "within_tem"]["estimate"]
    part = both_views(scores).set_index("measurer").loc["A", "reference_part"]
    assert part == pytest.approx(tem**2 / (2 * 8) / error**2)


def test_an_exact_person_owes_all_of_the_interval_to_the_reference_and_an_equal_one_half():
    rng = np.random.default_rng(4)
    true = rng.integers(6000, 9000, 400)
    tems = {"LEAD": 40, "EXACT": 0, "EQUAL": 40, "WIDE": 120}
    layout = {p: np.rint(true[:, None] + rng.normal(0, t, (400, 2))).astype(int).tolist()
              for p, t in tems.items()}  # fmt: skip
    scores = anthroqa.score(as_session(layout, reference="LEAD"), only=NEEDED)
    part = both_views(scores).set_index("measurer")["reference_part"]
    # the ratio of two variances on about 400 df each: relative SD of 0.1
    assert part["EXACT"] == pytest.approx(1, abs=0.3)
    assert part["EQUAL"] == pytest.approx(1 / 2, abs=0.15)
    assert part["WIDE"] == pytest.approx(1 / 10, abs=0.04)
    assert (part <= 1).all()


def test_blank_without_a_reference_and_without_repeats():
    none = both_views(anthroqa.score(as_session({p: [[1], [2]] for p in "ABC"})))
    assert none["bias"].isna().all()
    assert (none["agree"] == "").all()
    once = {p: [[900 + s * 10 + OFF[(s + i) % 8]] for s in range(8)]
            for i, p in enumerate(("LEAD", "A", "B", "C"))}  # fmt: skip
    single = both_views(anthroqa.score(as_session(once, reference="LEAD")))
    assert single["reference_part"].isna().all()
    assert single["bias_lower"].notna().all()
