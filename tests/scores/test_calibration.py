"""Intervals cover the truth as often as they say, in sessions drawn with a fine step."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from strategies import side_by_side

import anthroqa
from anthroqa.simulate import draw, nearest

SESSIONS, AT_ONCE = 3000, 100
SUBJECTS, ROUNDS = 8, 3
TEM, BIAS = 40.0, 25.0  # in steps
CONFIDENCE = 0.90


def scored(rng: np.random.Generator) -> pd.DataFrame:
    """Figures of many sessions of a lead and one person, each on subjects of its own."""
    counts = np.stack([
        nearest(draw(
            rng.uniform(6000, 9000, SUBJECTS), tem=[TEM, TEM], bias=[0.0, BIAS],
            shift=np.zeros(ROUNDS), rng=rng,
        ))
        for _ in range(AT_ONCE)
    ])  # fmt: skip
    table = anthroqa.score(side_by_side(counts), confidence=CONFIDENCE, only=["within_tem", "bias"])
    return table[table["measurer"] != "LEAD"]


@pytest.fixture(scope="module")
def figures() -> pd.DataFrame:
    rng = np.random.default_rng(20261124)
    return pd.concat([scored(rng) for _ in range(SESSIONS // AT_ONCE)])


@pytest.mark.parametrize(("statistic", "truth"), [("within_tem", TEM), ("bias", BIAS)])
def test_an_interval_misses_the_truth_as_often_on_each_side_as_it_says(figures, statistic, truth):
    rows = figures[figures["statistic"] == statistic]
    assert len(rows) == SESSIONS
    p = (1 - CONFIDENCE) / 2
    band = 4 * np.sqrt(p * (1 - p) / SESSIONS)
    assert abs((rows["lower"] > truth).mean() - p) < band
    assert abs((rows["upper"] < truth).mean() - p) < band
    inside = ((rows["lower"] <= truth) & (truth <= rows["upper"])).mean()
    assert abs(inside - CONFIDENCE) < 4 * np.sqrt(CONFIDENCE * (1 - CONFIDENCE) / SESSIONS)


def test_the_t_of_a_bias_rejects_the_truth_at_its_rate(figures):
    rows = figures[figures["statistic"] == "bias"]
    half = (rows["upper"] - rows["lower"]) / 2
    error = half / stats.t.ppf((1 + CONFIDENCE) / 2, SUBJECTS - 1)
    t = rows["estimate"] / error
    assert rows["p_value"].to_numpy() == pytest.approx(2 * stats.t.sf(abs(t), SUBJECTS - 1))
    p = 0.05
    centred = 2 * stats.t.sf(abs((rows["estimate"] - BIAS) / error), SUBJECTS - 1)
    assert abs((centred < p).mean() - p) < 4 * np.sqrt(p * (1 - p) / SESSIONS)
