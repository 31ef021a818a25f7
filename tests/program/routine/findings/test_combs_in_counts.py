"""Converted readings in counts: planted sites and people, switched units, and those who lean."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from calibration.records import counted, drawn
from scipy import stats

from anthroqa.program.routine.findings.combs_in_counts import (
    COLUMNS,
    by_chance,
    converted,
    nearly_all,
    tail,
)
from anthroqa.program.routine.findings.groups import step_of
from anthroqa.scores.marks.combs import leaves_gaps, on_comb


def put_on_comb(staff, where, step="1 oz"):
    """The same readings, some of them made in the other unit and converted by hand."""
    ratio = float(leaves_gaps(step_of(step))[1])
    x = np.where(where, np.floor(np.round(staff.x / ratio) * ratio + 0.5), staff.x)
    return counted(replace(staff, x=x.astype(np.int64)), step, comb=True)


def staff_of(shares, step="1 oz", mark=16, seed=4, **options):
    centre = 100.0 if step == "1/8 in" else 320.0
    return drawn(np.random.default_rng(seed), np.asarray(shares), mark=mark, centre=centre,
                 spread=centre / 4, **options)  # fmt: skip


@pytest.mark.parametrize(
    ("step", "source", "share"),
    # one over the ratio: 0.05 kg is 1.7637 oz, 0.5 cm 1.5748 eighths, 1/4 lb 1.1340 tenths of a kg;
    # of 127 mm 40 teeth reach 41, one of them lies between two
    [("1 oz", "0.05 kg", 0.567), ("1/8 in", "0.5 cm", 0.635), ("0.1 kg", "1/4 lb", 0.882),
     ("0.1 cm", "1/8 in", 41 / 127)],
)  # fmt: skip
def test_as_many_marks_are_on_a_comb_as_its_teeth_say(step, source, share):
    at = step_of(step)
    assert str(leaves_gaps(at)[0]) == source
    assert np.mean(by_chance(at, at.cycle())) == pytest.approx(share, abs=5e-4)


def test_chance_by_position_is_a_count():
    at = step_of("0.1 cm")  # 1/8 in is 3.175 mm: the pattern is over after 127 mm
    x = np.arange(1270)
    on = on_comb(x, leaves_gaps(at)[1])
    for position, chance in enumerate(by_chance(at, 10)):
        assert chance == pytest.approx(on[position::10].mean(), abs=1e-3)


def test_the_tail_is_at_least_that_of_positions_with_their_own_chances():
    n, chance = np.array([30, 50, 20]), np.array([0.2, 0.6, 0.9])
    sums = np.convolve(np.convolve(*(stats.binom.pmf(np.arange(k + 1), k, p) for k, p in
                                     ((30, 0.2), (50, 0.6)))),
                       stats.binom.pmf(np.arange(21), 20, 0.9))  # fmt: skip
    for on in (60, 70, 80):
        exact = sums[on:].sum()
        ours = tail(np.array([on]), np.array([100]), np.array([n @ chance]))[0]
        assert ours == pytest.approx(stats.binom.sf(on - 1, 100, n @ chance / 100))
        assert ours >= exact
    assert tail(np.array([0]), np.array([9]), np.array([3.0]))[0] == 1


def test_a_converted_site_is_found_and_nobody_else():
    staff = staff_of(np.zeros(16), readings=200)
    found = converted(put_on_comb(staff, staff.site == 2))
    row = found.iloc[0]
    assert list(found.columns) == COLUMNS
    assert (len(found), row["site"], row["measurer"], row["period"]) == (1, "C2", "", "")
    assert (row["source"], row["n"], row["on"]) == ("0.05 kg", 800, 800)
    assert row["expected"] == pytest.approx(0.567, abs=0.01)
    assert row["p_value"] < 1e-6


def test_one_person_who_converts_is_found_by_code():
    staff = staff_of(np.zeros(16), readings=200)
    found = converted(put_on_comb(staff, staff.who == 5))
    assert found[["site", "measurer"]].to_numpy().tolist() == [["C1", "P005"]]


def test_a_unit_that_was_switched_is_told_with_its_months():
    staff = staff_of(np.zeros(12), readings=600, days=60, months=10)
    late = converted(put_on_comb(staff, (staff.site == 1) & (staff.period >= 6)))
    assert late[["site", "measurer", "period"]].to_numpy().tolist() == [
        ["C1", "", "2026-07..2026-10"]
    ]
    assert late["note"].iloc[0].startswith("the unit was likely switched")
    early = converted(put_on_comb(staff, (staff.site == 1) & (staff.period < 3)))
    assert early["period"].tolist() == ["2026-01..2026-03"]


def test_those_who_lean_do_not_convert():
    leaning = staff_of(np.full(12, 0.9), readings=300)  # nearly all on whole pounds
    assert converted(counted(leaning, "1 oz", comb=True)).empty
    halves = staff_of(np.full(12, 1.0), step="1/8 in", mark=4, readings=300)
    assert converted(counted(halves, "1/8 in", comb=True)).empty


def test_a_comb_with_few_gaps_must_miss_half_of_them():
    # 0.1 kg from 1/4 lb: by chance 88 in 100 are on it, so that nine in ten say nothing
    n, expected = np.array([10_000, 10_000, 10_000]), np.array([8820.0, 8820.0, 5670.0])
    on = np.array([9100, 9500, 9100])
    assert (tail(on, n, expected) < 1e-10).all()
    assert nearly_all(on, n, expected).tolist() == [False, True, True]


def test_counts_without_a_comb_or_a_cycle_find_nothing():
    staff = staff_of(np.zeros(4))
    assert converted(counted(staff, "1 oz")).empty
    odd = counted(staff, "1 oz", comb=True).assign(step="3 mm")
    assert converted(odd).empty
    few = staff_of(np.zeros(1), readings=12)
    assert converted(put_on_comb(few, few.who == 0)).empty
    assert isinstance(converted(few_rows()), pd.DataFrame)


def few_rows():
    return counted(staff_of(np.zeros(1)), "1 oz", comb=True).iloc[:0]
