"""How alike readings of one day are: by hand, against single readings, and from drawn days."""

import numpy as np
import pandas as pd
import pytest
from calibration.records import counted, drawn

from anthroqa.program.routine.findings.design_effect import (
    BY_DAY,
    BY_MONTH,
    NEITHER,
    _days,
    _noise,
    clustering,
)
from anthroqa.program.routine.findings.exclusive import ways
from anthroqa.program.routine.findings.groups import cells


def of(shares, rho, *, by_day=True, step="1 oz", mark=16, seed=1, **options):
    staff = drawn(np.random.default_rng(seed), np.asarray(shares), mark=mark, rho=rho, **options)
    return cells(counted(staff, step, days=by_day))[0], staff


def test_covariance_of_a_pair_of_one_day_is_that_of_single_readings():
    c, staff = of([0.4, 0.0], 0.3, readings=120, days=20)
    days = _days(c, "measurer")
    for person in (0, 1):
        mine = staff.who == person
        on, day = (staff.x[mine] % 16 == 0).astype(float), staff.day[mine]
        n, p = len(on), on.mean()
        same = (day[:, None] == day) & ~np.eye(n, dtype=bool)
        apart = p * (1 - p) * n / (n - 1)
        # E x_i x_j of independent readings is p^2, without bias p^2 - p (1 - p) / (n - 1)
        pair = on @ same @ on / same.sum() - (p**2 - apart / n)
        assert days.pairs[person] == same.sum()
        assert days.extra[person, 0] == pytest.approx(pair)


@pytest.mark.parametrize(("rho", "share"), [(0.0, 0.3), (0.1, 0.3), (0.3, 0.3), (0.3, 0.1)])
def test_the_correlation_of_drawn_days_is_found(rho, share):
    # forty people whose days differ alike: 40 x 200 days of 6
    c, _ = of([share] * 40, rho, readings=1200, days=200, months=1)
    on = share + (1 - share) / 16
    true = rho * share * (1 - share) * (15 / 16) ** 2 / (on * (1 - on))
    # the median of forty, each from 200 days whose shares are skewed
    assert clustering(c).rho[-1] == pytest.approx(true, abs=0.01 + 0.08 * true)
    effect = clustering(c).effects(c, "measurer")[:, -1]
    assert effect.mean() == pytest.approx(1 + 6 * true, rel=0.2)  # never under the median


def test_finer_marks_have_the_correlation_of_their_own_days():
    c, _ = of([0.5] * 40, 0.3, mark=4, readings=1200, days=200, months=1)
    rho = dict(zip(c.marks.values(), clustering(c).rho, strict=True))
    on = 0.5 + 0.5 / 4
    true = 0.3 * 0.25 * (3 / 4) ** 2 / (on * (1 - on))
    assert rho["4 oz"] == pytest.approx(true, rel=0.25)
    assert rho["1 lb"] < true / 2  # one reading in four of such a day


def test_one_person_whose_days_differ_has_an_effect_of_their_own():
    c, _ = of([0.3] + [0.0] * 19, 0.3, readings=1000, days=25, months=1)
    effect = clustering(c).effects(c, "measurer")[:, -1]
    assert effect[0] > 3
    assert np.median(effect[1:]) < 1.2


def test_months_stand_in_for_days():
    c, _ = of([0.3] * 20, 0.3, days=24, readings=1200, months=1)
    by_day = clustering(c)
    assert by_day.allows_for == BY_DAY
    months = cells(counted(
        drawn(np.random.default_rng(1), np.array([0.3] * 20), mark=16, rho=0.3, days=24,
              readings=1200, months=24), "1 oz", days=False))[0]  # fmt: skip
    by_month = clustering(months)
    assert (by_month.rho, by_month.allows_for) == (None, BY_MONTH)
    # a day is a month here: both say the same of its fifty readings
    effect = [how.effects(at, "measurer")[:, -1].mean() for how, at in
              ((by_day, c), (by_month, months))]  # fmt: skip
    assert effect[1] == pytest.approx(effect[0], rel=0.15)


def test_without_days_and_months_there_is_no_effect_and_that_is_said():
    c, _ = of([0.3, 0.0], 0.3, by_day=False, months=1)
    how = clustering(c)
    assert how.allows_for == NEITHER
    assert (how.effects(c, "measurer") == 1).all()


def test_one_reading_a_day_says_nothing_of_days():
    x = np.arange(200)
    at = pd.DataFrame({"x": x % 16}).groupby("x").size()
    rows = pd.DataFrame({
        "site": "A", "measurer": "K1", "instrument": "", "measure": "w", "step": "1 oz",
        "kind": "on a mark", "position": at.index, "period": "2026-01", "n": at.to_numpy(),
    })  # fmt: skip
    every = rows.iloc[[0]].assign(kind="all", position=np.nan, n=200)
    table = pd.concat([rows, every])
    (c,) = cells(table.assign(days=table["n"], squares=table["n"]))
    assert clustering(c).allows_for == NEITHER


def test_how_little_positions_tell_of_finer_marks_by_hand():
    # 2 oz: a variance of one puts (1/16)^2 at each of 16 positions, length 1/64; the correlation is
    # (2 - 1) times it, a position's p (1 - p) is 15/256: 15/256 x 64 = 3.75. The pound: all at one
    assert _noise(ways(16))[[0, -1]] == pytest.approx([3.75, 1.0], abs=1e-3)


def test_intervals_rest_on_the_days_there_were():
    c, _ = of([0.3, 0.0], 0.3, readings=400, days=20)
    how = clustering(c)
    # a day is counted apart in each month, as it is in each cell
    assert how.df(c, "measurer").tolist() == [19, 19]
    assert how.df(c, "everybody").tolist() == [39]
    bare, _ = of([0.3, 0.0], 0.3, readings=400, by_day=False)
    assert (clustering(bare).df(bare, "measurer") > 1e5).all()


def test_the_typical_effect_is_that_of_the_median_person():
    c, _ = of([0.3] + [0.0] * 19, 0.3, readings=1000, days=25, months=1)
    typical = clustering(c).typical(c, "measurer")[:, -1]
    assert typical.max() < 1.3
    assert (clustering(c).effects(c, "measurer")[:, -1] >= typical).all()
