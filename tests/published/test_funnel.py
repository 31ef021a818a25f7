"""Funnel limits against printed tables of chi-squared and F.

Chi-squared: the usual table of upper and lower percentage points, as in Pearson & Hartley (1966)
Biometrika Tables for Statisticians, vol. 1, Table 8 (from memory; printed in many textbooks): at
10 df 3.247 and 20.483 (2.5 %), 1.479 and 29.588 (0.1 %); at 30 df 16.791 and 46.979, 11.588 and
59.703. F: Table 18, 5 % point at 10 and 30 df 2.16 (2.1646).
"""

import numpy as np
import pytest

from anthroqa.program.staff.funnel_limits import f_tail, limits

TABLE = {
    (10, 0.95): (3.247, 20.483), (10, 0.998): (1.479, 29.588),
    (30, 0.95): (16.791, 46.979), (30, 0.998): (11.588, 59.703),
}  # fmt: skip


@pytest.mark.parametrize(("df", "coverage"), TABLE)
def test_limits_are_those_of_the_tables(df, coverage):
    low, high = limits(2.0, df, coverage)
    printed = TABLE[df, coverage]
    # half the last printed digit
    assert df * (low / 2) ** 2 == pytest.approx(printed[0], abs=0.0005)
    assert df * (high / 2) ** 2 == pytest.approx(printed[1], abs=0.0005)


def test_limits_of_many_df_at_once_are_the_same():
    low, high = limits(1.0, np.array([10.0, 30.0]), 0.95)
    assert (low < 1).all()
    assert (high > 1).all()
    assert np.diff(low) > 0 > np.diff(high)


def test_the_f_point_of_the_table_has_its_five_percent():
    assert f_tail(2.1646, 10, 30) == pytest.approx(0.05, abs=0.00005)
