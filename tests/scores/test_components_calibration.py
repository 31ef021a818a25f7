"""Intervals of variance components hold in a broken session; the long study is `calibration`."""

import numpy as np
import pytest
from calibration.components import CONFIDENCE, LAYOUTS, covered, session, truth

SESSIONS = 400
BROKEN = "the same, a child dropped, a second round missing"


@pytest.fixture(scope="module")
def held() -> dict[str, float]:
    rng = np.random.default_rng(20261125)
    layout = LAYOUTS[BROKEN]()
    drawn = (session(layout, 1.0, 0.5, rng) for _ in range(SESSIONS))
    return covered(drawn, truth(1.0, 0.5), seed=7)


@pytest.mark.parametrize(
    "statistic",
    ["sd_measurer", "sd_measurer_subject", "sd_repeat", "sd_reproducibility", "icc_agreement",
     "between_tem"],
)  # fmt: skip
def test_intervals_hold_as_often_as_they_say(held, statistic):
    band = 4 * np.sqrt(CONFIDENCE * (1 - CONFIDENCE) / SESSIONS)
    assert abs(held[statistic] - CONFIDENCE) < band


def test_chi_squared_on_the_df_of_between_tem_would_not(held):
    assert held["chi2"] < 0.7
