"""Intervals cover the truth as often as they say, in sessions drawn with a fine step."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from strategies import as_session, side_by_side

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


STAFF, N = 4, 10  # beside a lead, each session on its own subjects


@pytest.fixture(scope="module")
def shifted() -> pd.DataFrame:
    """Figures of 500 sessions in which everybody reads one TEM higher in round 2."""
    rng = np.random.default_rng(20261125)
    who = ["LEAD", *(f"P{i}" for i in range(STAFF))]
    one = as_session({p: [[0, 0]] for p in who}, reference="LEAD")
    tables = []
    for _ in range(500):
        truth = rng.uniform(6000, 9000, N)
        counts = nearest(draw(truth, tem=[TEM] * (1 + STAFF), shift=(0.0, TEM), rng=rng))
        p, s, r = np.indices(counts.shape).reshape(3, -1)
        readings = pd.DataFrame({
            "measurer": np.array(who)[p], "subject": "S" + pd.Series(s).astype(str),
            "measure": "length", "round": r + 1, "count": counts.reshape(-1),
        })  # fmt: skip
        names = ["within_tem", "within_tem_less_shift", "own_round_shift", "round_shift"]
        tables.append(anthroqa.score(replace(one, readings=readings), only=names))
    return pd.concat(tables)


def covered(rows: pd.DataFrame, truth: float) -> float:
    return float(((rows["lower"] <= truth) & (truth <= rows["upper"])).mean())


def test_taking_out_a_shift_gives_the_tem_back(shifted):
    plain = shifted[shifted["statistic"] == "within_tem"]
    less = shifted[(shifted["statistic"] == "within_tem_less_shift")]
    staff = less[less["measurer"] != "LEAD"]
    assert covered(plain, TEM) < 0.80  # what the shift does if it is left in
    risk, band = 0.05, 4 * np.sqrt(0.05 * 0.95 / 500)
    assert (staff["lower"] > TEM).mean() <= risk + band
    assert (staff["upper"] < TEM).mean() <= risk + band
    # the others' N (STAFF - 1) differences have an error of 1 / (N (STAFF - 1)) of the square: no
    # more of it is left than what is drawn
    squares = staff["estimate"] ** 2
    # people of one session share part of the shift: sessions are what is independent
    error = squares.to_numpy().reshape(-1, STAFF).mean(axis=1).std(ddof=1) / np.sqrt(500)
    assert abs(squares.mean() - TEM**2) < 4 * error


def test_shifts_are_covered_as_often_as_they_say(shifted):
    for statistic, truth in (("own_round_shift:2", 0.0), ("round_shift:2", TEM)):
        rows = shifted[shifted["statistic"] == statistic]
        band = 4 * np.sqrt(0.9 * 0.1 / 500)
        assert abs(covered(rows, truth) - 0.9) < band
