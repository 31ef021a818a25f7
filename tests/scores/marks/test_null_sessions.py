"""Null sessions: what is drawn, against what is computed; contrasts, against plain integrals."""

import numpy as np
import pytest
from calibration.sessions import DESIGNS, session
from scipy.stats import norm

from anthroqa.scores.marks.digits import read_marks, used
from anthroqa.scores.marks.null_sessions import MODERATE, MORE_DRAWS, _Null, _p, judge
from anthroqa.scores.marks.terminal import expected


@pytest.fixture(params=list(DESIGNS), scope="module")
def read(request):
    cube = session(DESIGNS[request.param], np.random.default_rng(3), staff=4, leaners=1)
    return cube, read_marks(cube).at


def test_drawn_positions_are_those_expected(read):
    cube, at = read
    mine = used(at, 1)
    null = _Null(at, mine, cube.measure.cycle)
    null.bias_error = 0.0  # expected counts take the bias as known
    counts = null.place(null.draw(20_000, np.random.default_rng(1)))[1]
    exact = expected(at, mine, cube.measure.cycle)
    assert exact.sum() == pytest.approx(len(mine))
    band = 4 * counts.std(axis=0) / np.sqrt(len(counts)) + 0.02 * len(mine) / 20
    assert (np.abs(counts.mean(axis=0) - exact) <= band).all()


def test_a_contrast_is_the_log_of_a_likelihood_ratio(read):
    cube, at = read
    mine = used(at, 2)
    null = _Null(at, mine, cube.measure.cycle)
    bias, error = at.honest_bias[2], at.honest_error[2]
    for which, n in enumerate(mine[:4]):
        cell = at.cell[n]
        for x in range(int(at.x[n]) - 3, int(at.x[n]) + 4):
            likely = []
            for mark in at.marks:
                z = x - at.grid[at.cell_item[cell]] - bias
                inside = norm.cdf((z + mark / 2) / error) - norm.cdf((z - mark / 2) / error)
                likely.append((x % mark == 0) * (inside * at.others[cell]).sum())
            own = null.contrast[null.which[which], x - null.lowest[null.which[which]]]
            floor = max(likely[0], 1e-9)
            ratio = [1 - MODERATE + MODERATE * one / floor for one in likely[1:]]
            assert own == pytest.approx(np.log(ratio), abs=1e-6)


def test_contrasts_and_counts_of_drawn_sessions_are_sums_over_their_readings(read):
    cube, at = read
    mine = used(at, 3)
    null = _Null(at, mine, cube.measure.cycle)
    drawn = null.draw(5, np.random.default_rng(2))
    contrast, counts = null.place(drawn)
    for i, spot in enumerate(drawn):
        digits = (spot + null.lowest[null.which]) % cube.measure.cycle
        assert counts[i].tolist() == np.bincount(digits, minlength=cube.measure.cycle).tolist()
        rows = [null.contrast[c, s] for c, s in zip(null.which, spot, strict=True)]
        assert contrast[i] == pytest.approx(np.sum(rows, axis=0))


def test_own_readings_and_drawn_ones_stand_on_the_same_places(read):
    _, at = read
    mine = used(at, 0)
    null = _Null(at, mine, 10)
    assert (null.spots(at.x[mine]) + null.lowest[null.which]).tolist() == at.x[mine].tolist()


def test_a_p_value_counts_itself_and_ties():
    assert _p(np.array([1.0, 2.0, 2.0, 3.0]), 2.0) == pytest.approx(4 / 5)
    assert _p(np.array([1.0, 2.0]), 9.0) == pytest.approx(1 / 3)


def test_a_small_p_value_comes_from_many_draws():
    cube = session(DESIGNS["10 g"], np.random.default_rng(3), leaners=1, share=1.0)
    at = read_marks(cube).at
    found = judge(at, used(at, 0), 10, np.random.default_rng(0))
    assert found.p_marks[2] == pytest.approx(1 / (1 + MORE_DRAWS))
    assert found.p_marks[0] > found.p_marks[2]  # every tenth is an even one too
    assert found.dissimilarity > 0.5
