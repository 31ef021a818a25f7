import numpy as np
import pytest
from calibration.sessions import DESIGNS, session
from scipy.stats import norm

import anthroqa
from anthroqa.scores.marks.digits import read_marks, used
from anthroqa.scores.marks.terminal import expected, terminal_positions


@pytest.mark.parametrize("name", DESIGNS)
def test_expected_counts_are_a_plain_sum_over_places_and_steps(name):
    cube = session(DESIGNS[name], np.random.default_rng(9), staff=3, subjects=6)
    at, cycle = read_marks(cube).at, cube.measure.cycle
    mine = used(at, 0)
    slow = np.zeros(cycle)
    for n in mine:
        cell = at.cell[n]
        for place, weight in zip(at.grid[at.cell_item[cell]], at.others[cell], strict=True):
            there = place + at.honest_bias[0] + at.shift[at.turn[n]]
            steps = np.arange(int(there) - 30, int(there) + 31)
            ends = norm.cdf(np.append(steps - 0.5, steps[-1] + 0.5), there, at.honest_error[0])
            np.add.at(slow, steps % cycle, weight * np.diff(ends))
    assert expected(at, mine, cycle) == pytest.approx(slow, abs=1e-8)


def test_the_table_has_every_position_of_everybody_who_is_judged():
    session_ = anthroqa.read_session("sample_sessions/outreach_metric")
    table = terminal_positions(session_)
    weight = table[table["measure"] == "weight"]
    assert weight.groupby("measurer")["position"].apply(list).tolist() == [list(range(10))] * 6
    sums = table.groupby(["measure", "measurer"])[["observed", "expected"]].sum()
    assert sums["observed"].to_numpy() == pytest.approx(sums["expected"].to_numpy())
    m4 = sums.loc[("length", "M4"), "observed"]
    assert m4 == 10  # of 12: child C6 left, and the reading that was 10 cm off is no reading
